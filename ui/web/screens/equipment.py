"""Gauges, phones and card sets: the equipment in use, and how well each is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import get_args

import streamlit as st

from inspection.model.length_text import parse_length
from inspection.model.log import counted
from inspection.model.readings import Gauge, GaugeKind
from ui.services.access.roles import require_action
from ui.services.calibrate_phone import calibrate_phone
from ui.services.cameras import cameras_file, known_cameras
from ui.services.trays import MOST, TrayPhotograph, empty_tray, read_from_tray
from ui.text import as_typed
from ui.web.page.clock import today
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.login import current_user, download
from ui.web.page.session import get_record, user_name
from ui.web.panels.photographs.tray import TrayWords, tray_field, tray_owner
from vision.calibration.board import board_pdf
from vision.calibration.library import CalibratedCamera, forget_camera
from vision.target.print_scale import check_from_dict

NEW = "another gauge"
BOARDS = ("A4", "US Letter")
BOARD_WORDS = TrayWords(
    "Photographs of the board",
    f"Original files from one phone and one lens: at least 8, at most {MOST['boards']}.",
    "Drop photographs of the board here",
)


def _gauges() -> None:
    known = {gauge.identity: gauge for gauge in get_record().gauges()}
    overdue = [
        one for one in known.values() if one.calibration_due and one.calibration_due < today()
    ]
    if overdue:
        st.warning(
            as_typed(f"Calibration overdue: {', '.join(one.identity for one in overdue)}."),
            icon=":material/event_busy:",
        )
    for gauge in known.values():
        st.markdown(_gauge_line(gauge))
    name = st.selectbox(
        "Gauge",
        [*known, NEW],
        key="equipment gauge",
        help="Its number as marked on the instrument.",
    )
    _gauge_form(known.get(name))


def _gauge_line(gauge: Gauge) -> str:
    due = "no due date" if gauge.calibration_due is None else f"due {gauge.calibration_due}"
    repeatability = (
        "repeatability from the readings"
        if gauge.repeatability_mm is None
        else f"repeatability {gauge.repeatability_mm:g} mm"
    )
    done = ", ".join(str(day) for day in sorted(gauge.calibrated_on))
    return (
        f"**{as_typed(gauge.identity)}** · {gauge.kind} · resolution {gauge.resolution_mm:g} mm, "
        f"permissible error {gauge.permissible_error_mm:g} mm · {repeatability} · {due}"
        + (f" · calibrated {done}" if done else "")
    )


def _gauge_form(known: Gauge | None) -> None:
    was = known or Gauge("", "wide-jaw caliper", 0.01, 0.03)
    key = f"gauge {was.identity}"
    with st.form(key):
        left, right = st.columns(2)
        identity = left.text_input(
            "Gauge number",
            was.identity,
            key=f"{key} number",
            disabled=known is not None,
            help="Unique in this record.",
        )
        kind = right.selectbox(
            "Kind",
            get_args(GaugeKind),
            index=get_args(GaugeKind).index(was.kind),
            key=f"{key} kind",
            help="Narrow jaws can sit between two crowns; wide jaws bear on several.",
        )
        left, middle, right = st.columns(3)
        step = left.text_input(
            "Resolution",
            f"{was.resolution_mm:g} mm",
            key=f"{key} step",
            help="Smallest step that its scale or display can show.",
        )
        error = middle.text_input(
            "Permissible error",
            f"{was.permissible_error_mm:g} mm",
            key=f"{key} error",
            help="As stated by its maker or its calibration certificate.",
        )
        repeatability = right.text_input(
            "Repeatability",
            "" if was.repeatability_mm is None else f"{was.repeatability_mm:g} mm",
            placeholder="from the readings",
            key=f"{key} repeatability",
            help="Standard deviation of repeated readings of one place. If left blank, it is "
            "estimated from the readings.",
        )
        left, right = st.columns(2)
        done = left.date_input(
            "Calibrated on",
            None,
            key=f"{key} done",
            help="Added to its calibration dates. Its error is treated as a new one after each "
            "calibration.",
        )
        due = right.date_input(
            "Calibration due",
            was.calibration_due,
            key=f"{key} due",
            help="Last day on which its calibration is valid.",
        )
        why = (
            ""
            if known is None
            else st.text_input(
                "Reason",
                key=f"{key} why",
                placeholder="back from calibration",
                help="Recorded with the change.",
            )
        )
        if st.form_submit_button("Save gauge", type="primary"):
            with show_errors():
                require_action(current_user(), "gauges")
                days = {*was.calibrated_on, *([done] if isinstance(done, date) else [])}
                gauge = replace(
                    was,
                    identity=" ".join(identity.split()),
                    kind=kind,
                    resolution_mm=parse_length(step),
                    permissible_error_mm=parse_length(error) if _is_not_zero(error) else 0.0,
                    repeatability_mm=parse_length(repeatability) if repeatability.strip() else None,
                    calibration_due=due if isinstance(due, date) else None,
                    calibrated_on=tuple(sorted(days)),
                )
                _save_gauge(gauge, known, " ".join(why.split()))


def _is_not_zero(typed: str) -> bool:
    """Say whether a typed length is other than 0, which `parse_length` does not accept."""
    return any(sign in "123456789" for sign in typed)


def _save_gauge(gauge: Gauge, known: Gauge | None, why: str) -> None:
    if known is None:
        get_record().add_gauge(gauge, by=user_name())
    elif gauge == known:
        raise ValueError("nothing was changed: the record already says this.")
    else:
        get_record().change_gauge(gauge, by=user_name(), why=why)
    flash_success(f"Gauge {gauge.identity} was saved.")
    st.rerun()


def _phones() -> None:
    known = known_cameras()
    if not known:
        st.caption("No phone has been calibrated: focal lengths are taken as known to 4 %.")
    for key, camera in sorted(known.items()):
        left, right = st.columns([4, 1], vertical_alignment="center")
        left.markdown(_camera_line(camera))
        if right.button(
            "Remove", key=f"remove {key}", help="Photographs already measured stay as they are."
        ):
            with show_errors():
                require_action(current_user(), "gauges")
                forget_camera(cameras_file(), key)
                flash_success(f"{key} was removed.")
                st.rerun()
    st.markdown(
        "**Calibrate a phone.** Print the board at 100 %, glue it to something flat, and "
        "photograph it 12 times without touching the zoom: from the front, tilted by 20 to 40 "
        "degrees to each side, up and down, and with the board in every corner of the picture. Or "
        "use existing photographs of ropes with the card: four or more from one phone, solved "
        "together, give the lens nearly as well."
    )
    paper = st.selectbox("Paper", BOARDS, key="board paper", help="Its size does not matter.")
    download("Download the board (PDF)", lambda: board_pdf(paper), "board.pdf", "application/pdf")
    files = tray_field("boards", BOARD_WORDS)
    with st.form("calibrate"):
        left, right = st.columns(2)
        along = left.text_input(
            "Length of the chequered field (11 squares)",
            key="board along",
            placeholder="275.3 mm",
            help="Measured with a rule from edge to edge. If left blank, the print counts as "
            "unmeasured.",
        )
        across = right.text_input(
            "Width of the chequered field (7 squares)",
            key="board across",
            placeholder="174.9 mm",
            help="Measured in the same way.",
        )
        if st.form_submit_button("Calibrate", type="primary"):
            with show_errors(), st.spinner("Looking for the board or cards ..."):
                require_action(current_user(), "gauges")
                _calibrate(files, along, across)


def _camera_line(camera: CalibratedCamera) -> str:
    how = f"residuals {camera.rms_px:.2f} px, {100 * camera.coverage:.0f} % of the picture covered"
    if not camera.coverage:
        how = "with the card"
    return (
        f"**{as_typed(camera.key)}** · focal length {camera.focal_px:.1f} px · "
        f"{counted(camera.photographs, 'photograph', 'photographs')} of "
        f"{camera.on or 'unknown date'} · "
        f"{how}"
    )


def _calibrate(files: Sequence[TrayPhotograph], along: str, across: str) -> None:
    if bool(along.strip()) != bool(across.strip()):
        raise ValueError(
            "enter both dimensions of the chequered field, or neither: their ratio is needed."
        )
    printed = (parse_length(along), parse_length(across)) if along.strip() else None
    owner = tray_owner()
    photographs = [read_from_tray(owner, "boards", one.sha256) for one in files]
    done = calibrate_phone(photographs, printed, on=today())
    empty_tray(owner, "boards")
    flash_success(done.words)
    st.rerun()


def _card_sets() -> None:
    checks = get_record().print_checks()
    if not checks:
        st.caption("No print has been checked: the scale of cards is known to 1 % only.")
    for card_set, values in checks.items():
        with show_errors():
            check = check_from_dict(card_set, values)
            st.markdown(
                f"**{as_typed(card_set)}** · {check.layout.name} · along {check.along_read_mm:g} "
                f"mm, across {check.across_read_mm:g} mm · {check.checked_on or 'date not known'}"
            )
    st.page_link("screens/cards.py", label="Print or check cards", icon=":material/print:")


page_header("Gauges and phones", needs_inspection=False)
with show_errors():
    # key and on_change keep the selected tab: a message above would reset it to the first
    names = ["Gauges", "Phones", "Card sets"]
    gauges, phones, cards = st.tabs(names, key="kinds of equipment", on_change="rerun")
    with gauges, show_errors():
        _gauges()
    with phones, show_errors():
        _phones()
    with cards, show_errors():
        _card_sets()
