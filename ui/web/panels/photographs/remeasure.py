"""Remeasuring stored photographs with a later print check, calibration or card position."""

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
    "touching": "rope lying on the card",
    "level": "card face level with the rope axis",
    "stand-off": "rope axis at a known height above the card face",
}


def offer_later_checks(opened: OpenInspection) -> None:
    """Offer print checks and calibrations that are later than the photographs."""
    checks = {
        name: check_from_dict(name, values) for name, values in get_record().print_checks().items()
    }
    for number, offer in enumerate(offers(opened, checks, known_cameras())):
        left, right = st.columns([3, 2], vertical_alignment="center")
        left.markdown(
            f"{counted(len(offer.hashes), 'photograph was', 'photographs were')} measured without "
            "it. The old figures stay in the record's history."
        )
        if right.button(
            as_typed(offer.label),
            key=f"offer {number} {offer.label}",
            icon=":material/refresh:",
            width="stretch",
        ):
            _apply(opened, offer)


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
                flash_success(f"{done.words} Apply it to the photographs.")
                st.rerun()


def offer_other_hold(opened: OpenInspection) -> None:
    """Draw the form that states how the card was held, for all photographs to remeasure."""
    hashes = can_be_measured_again(opened)
    if not hashes:
        return
    with st.expander("The card was held differently", icon=":material/height:"):
        st.caption(
            "Applies to all photographs of this inspection. They are measured again from the "
            "stored files."
        )
        now = manner_of(opened, hashes[0])
        hold = st.selectbox(
            "How the card was held",
            list(HOLDS),
            index=list(HOLDS).index(now.hold),
            format_func=HOLDS.__getitem__,
            key=f"hold {opened.inspection.identity}",
            help="Position of the card relative to the rope when it was photographed.",
        )
        typed = ""
        if hold != "level":
            typed = st.text_input(
                "Gap between rope and card" if hold == "touching" else "Height above the card",
                key=f"offset {hold} {opened.inspection.identity}",
                placeholder="0 mm" if hold == "touching" else "12.5 mm",
                help="As measured; negative if the card is in front of the rope axis.",
            )
        why = st.text_input(
            "Reason",
            key=f"why held {opened.inspection.identity}",
            placeholder="a bracket held the card",
            help="Recorded with the new figures.",
        )
        if st.button(f"Measure {counted(len(hashes), 'photograph', 'photographs')} again"):
            _apply_hold(opened, hashes, hold, typed, why)


def _apply_hold(
    opened: OpenInspection, hashes: tuple[str, ...], hold: str, typed: str, why: str
) -> None:
    text = typed.strip()
    sign = -1.0 if text.startswith("-") else 1.0
    offset_mm = sign * parse_length(text.lstrip("-+")) if text.strip("-+0, .m") else 0.0
    if hold == "touching" and offset_mm < 0:
        raise ValueError(f"the gap {text!r} is negative: enter 0 or more.")
    by_manner: dict[Manner, list[str]] = {}
    for sha256 in hashes:
        manner = replace(manner_of(opened, sha256), hold=hold, offset_mm=offset_mm)
        by_manner.setdefault(manner, []).append(sha256)
    by = entering(opened.inspection.identity)
    with get_record().transaction() as batch:
        for manner, mine in by_manner.items():
            measure_again(batch, opened.inspection.identity, mine, manner, by=by, why=why)
    flash_success(
        f"{counted(len(hashes), 'photograph is', 'photographs are')} being measured again."
    )
    st.rerun()


def _apply(opened: OpenInspection, offer: Offer) -> None:
    identity = opened.inspection.identity
    measure_again(
        get_record(), identity, offer.hashes, offer.manner, by=entering(identity), why=offer.why
    )
    flash_success(
        f"{counted(len(offer.hashes), 'photograph is', 'photographs are')} being measured again. "
        "The old figures stay in the record."
    )
    st.rerun()
