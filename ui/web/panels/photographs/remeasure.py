"""What came after the photographs: a print check, a calibration, a hold, applied from the bytes."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from inspection.model.length_text import parse_length
from inspection.model.log import counted
from inspection.record.views import Manner, OpenInspection
from ui.services.access.roles import may_do, require_action
from ui.services.calibrate_phone import calibrate_from_inspection, phones_to_calibrate
from ui.services.cameras import known_cameras
from ui.services.measuring_queue import manner_of, measure_again
from ui.services.print_sets import Offer, can_be_measured_again, offers
from ui.text import as_typed
from ui.web.page.clock import today
from ui.web.page.layout import flash_success
from ui.web.page.login import current_user
from ui.web.page.session import entering, get_record
from vision.target.print_scale import check_from_dict

HOLDS = {
    "touching": "the rope lies on the card",
    "level": "the card's face is level with the rope's axis",
    "stand-off": "the rope's axis is off the card's face by",
}


def offer_later_checks(opened: OpenInspection) -> None:
    """Offer print checks and calibrations that came after the photographs."""
    checks = {
        name: check_from_dict(name, values) for name, values in get_record().print_checks().items()
    }
    for number, offer in enumerate(offers(opened, checks, known_cameras())):
        left, right = st.columns([3, 2], vertical_alignment="center")
        left.markdown(
            f"{counted(len(offer.hashes), 'photograph was', 'photographs were')} measured without "
            "it. Old figures stay in the record's history."
        )
        if right.button(
            as_typed(offer.label),
            key=f"offer {number} {offer.label}",
            icon=":material/refresh:",
            width="stretch",
        ):
            _ask(opened, offer)


def offer_calibration(opened: OpenInspection) -> None:
    """Offer to calibrate each phone from the photographs it took of this inspection."""
    if not may_do(current_user(), "gauges"):
        return
    for key, hashes in phones_to_calibrate(opened, known_cameras()).items():
        photographs = counted(len(hashes), "photograph", "photographs")
        with st.expander(f"Calibrate {as_typed(key)}", icon=":material/center_focus_strong:"):
            st.caption(
                "The focal length that a phone records is only known to 4 %, which is often the "
                f"largest part of U. Solved together, these {photographs} usually determine it two "
                "to three times as well; photographs tilted to several sides help most."
            )
            if st.button(f"Calibrate it from these {photographs}", key=f"calibrate {key}"):
                require_action(current_user(), "gauges")
                with st.spinner(f"Solving {photographs} together ..."):
                    done = calibrate_from_inspection(get_record(), opened, hashes, on=today())
                left_out = f" Left out: {'; '.join(done.left_out)}." if done.left_out else ""
                share = 100 * done.u_focal_px / done.camera.focal_px
                flash_success(
                    f"{key} is calibrated: focal length {done.camera.focal_px:.0f} px, known to "
                    f"{share:.1f} %. Apply it to the photographs below.{left_out}"
                )
                st.rerun()


def offer_other_hold(opened: OpenInspection) -> None:
    """Offer to say how the card was held, for all photographs that stand otherwise."""
    hashes = can_be_measured_again(opened)
    if not hashes:
        return
    with st.expander("The card was held otherwise", icon=":material/height:"):
        st.caption(
            "Said once for all photographs of this inspection; they are measured again from their "
            "stored bytes."
        )
        now = manner_of(opened, hashes[0])
        hold = st.selectbox(
            "How the card was held",
            list(HOLDS),
            index=list(HOLDS).index(now.hold),
            format_func=HOLDS.__getitem__,
            key=f"hold {opened.inspection.identity}",
            help="As the card was held to the rope while it was photographed.",
        )
        typed = ""
        if hold != "level":
            typed = st.text_input(
                "Gap between rope and card" if hold == "touching" else "Height over the card",
                key=f"offset {hold} {opened.inspection.identity}",
                placeholder="0 mm" if hold == "touching" else "12.5 mm",
                help="Measured; negative where the card stands in front of the rope's axis.",
            )
        why = st.text_input(
            "Reason",
            key=f"why held {opened.inspection.identity}",
            placeholder="a bracket held the card",
            help="Stands in the record beside the new figures.",
        )
        if st.button(f"Measure {counted(len(hashes), 'photograph', 'photographs')} again"):
            _say_hold(opened, hashes, hold, typed, why)


def _say_hold(
    opened: OpenInspection, hashes: tuple[str, ...], hold: str, typed: str, why: str
) -> None:
    text = typed.strip()
    sign = -1.0 if text.startswith("-") else 1.0
    offset_mm = sign * parse_length(text.lstrip("-+")) if text.strip("-+0, .m") else 0.0
    if hold == "touching" and offset_mm < 0:
        raise ValueError(f"a gap can't be negative; got {text!r}.")
    asked: dict[Manner, list[str]] = {}
    for sha256 in hashes:
        manner = replace(manner_of(opened, sha256), hold=hold, offset_mm=offset_mm)
        asked.setdefault(manner, []).append(sha256)
    by = entering(opened.inspection.identity)
    with get_record().transaction() as batch:
        for manner, mine in asked.items():
            measure_again(batch, opened.inspection.identity, mine, manner, by=by, why=why)
    flash_success(f"{counted(len(hashes), 'photograph is', 'photographs are')} measured again.")
    st.rerun()


def _ask(opened: OpenInspection, offer: Offer) -> None:
    identity = opened.inspection.identity
    measure_again(
        get_record(), identity, offer.hashes, offer.manner, by=entering(identity), why=offer.why
    )
    flash_success(
        f"{counted(len(offer.hashes), 'photograph is', 'photographs are')} measured again; what "
        "they gave before stays in the record."
    )
    st.rerun()
