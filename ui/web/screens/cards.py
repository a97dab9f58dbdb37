"""Cards: print them, then enter the measured length of the two bars."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

from inspection.measurement.bench_check import LEAST_PHOTOGRAPHS, bench_check
from inspection.model.length_text import parse_length
from inspection.record.views import OpenInspection
from ui.services.bench_checks import keep_bench_check, known_bench_checks
from ui.services.cameras import known_cameras
from ui.services.measuring_queue import measured
from ui.services.trays import MOST, TrayPhotograph, empty_tray, read_from_tray
from ui.text import as_typed
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.login import download
from ui.web.page.navigation import next_step_link
from ui.web.page.session import get_record, user_name
from ui.web.panels.photographs.remeasure import offer_later_checks
from ui.web.panels.photographs.tray import TrayWords, tray_field, tray_owner
from vision.apart import apart
from vision.photo.containers import PhotoError
from vision.pipeline import Settings
from vision.results import Estimate
from vision.target.layout import LAYOUTS, layout_for
from vision.target.pdf import card_pdf
from vision.target.print_scale import PrintCheck, check_from_dict, check_to_dict, checked_card

BAR_WORDS = TrayWords(
    "Photographs of the bar",
    f"Original files, all from one phone: at least {LEAST_PHOTOGRAPHS}, at most {MOST['bars']}.",
    "Drop photographs of the bar here",
)
UNCHECKED = "not checked"
READ_WITH = {"caliper, 0.05 mm": 0.05, "good caliper, 0.02 mm": 0.02, "steel rule, 0.2 mm": 0.2}


@st.cache_data(max_entries=8, show_spinner="Drawing the cards ...")
def _pdf(layout_name: str, first: int, count: int) -> bytes:
    layout = next(layout for layout in LAYOUTS if layout.name == layout_name)
    return card_pdf(layout, stations=range(first, first + count))


def _print(opened: OpenInspection | None) -> str | None:
    """Offer the cards for download; return the name of their layout."""
    st.header("Print")
    nominal = opened.rope.nominal_mm if opened else 22.0
    if opened is None:
        st.info(
            "No rope has been entered yet, but cards can be printed already.",
            icon=":material/print:",
        )
        nominal = st.number_input(
            "Nominal diameter of the rope, mm",
            4.0,
            120.0,
            22.0,
            help="The card's band must be at least twice as wide as the rope.",
        )
    st.caption(
        "One page for each station and direction. Its number is coded in the chequered strips, so "
        "photographs are filed automatically."
    )
    stations = len(opened.inspection.stations) if opened else 0
    left, middle, right = st.columns(3)
    paper = left.selectbox(
        "Paper", ["A5", "A4", "A6", "Letter"], help="The card must lie flat along the rope."
    )
    count = middle.number_input(
        "Number of stations",
        1,
        60,
        max(stations, 4),
        help="Two cards for each station: one for each direction.",
    )
    first = right.number_input(
        "First station number", 1, 200, 1, help="For adding cards to a rope that already has some."
    )
    with show_errors():
        layout = layout_for(nominal, paper)
        pdf = _pdf(layout.name, int(first), int(count))
        download(
            f"Download {2 * int(count)} cards (PDF)",
            lambda: pdf,
            "cards.pdf",
            "application/pdf",
            primary=True,
        )
        st.caption(
            f"Card {layout.name}, for ropes up to {layout.rope_max_mm:g} mm. Print at 100 % "
            "('actual size') on stiff matt paper. Glue it to a plate where wind or curling would "
            "bend it."
        )
        return layout.name
    return None


def _check(usual: str) -> None:
    st.header("Check the print")
    st.caption(
        "A printer can stretch the print by half a per cent. Measure the two bars on one printed "
        "card and enter the readings to correct the scale. The scale of an unchecked print is "
        "known to 1 % only."
    )
    with st.form("print check"):
        left, right = st.columns(2)
        name = left.text_input(
            "Card set",
            placeholder="spring 2026, office printer",
            key="print check name",
            help="One name for all cards of this print run.",
        )
        names = [layout.name for layout in LAYOUTS]
        layout_name = right.selectbox(
            "Card, as printed on it",
            names,
            index=names.index(usual),
            key=f"print check card {usual}",
            help="Paper size and band width.",
        )
        left, right, last = st.columns(3)
        along = left.text_input(
            "Length of the bar along the rope",
            placeholder="180.62 mm",
            key="print check along",
            help="From end mark to end mark of the long bar.",
        )
        across = right.text_input(
            "Length of the bar across the rope",
            placeholder="109.71 mm",
            key="print check across",
            help="The short bar, at right angles to the long one.",
        )
        read_with = last.selectbox(
            "Measured with",
            list(READ_WITH),
            key="print check read with",
            help="With the standard uncertainty of one reading.",
        )
        if st.form_submit_button("Save print check", type="primary"):
            with show_errors():
                layout = next(layout for layout in LAYOUTS if layout.name == layout_name)
                check = PrintCheck(
                    " ".join(name.split()),
                    layout,
                    parse_length(along),
                    parse_length(across),
                    READ_WITH[read_with],
                    date.today(),
                )
                printed = checked_card(check)
                get_record().add_print_check(
                    check.name, check_to_dict(check), by=user_name(), why="bars measured"
                )
                flash_success(
                    f"{check.name}: printed {100 * (printed.scale_x - 1):+z.2f} % along and "
                    f"{100 * (printed.scale_y - 1):+z.2f} % across. New photographs can use it."
                )
                st.rerun()
    for card_set, values in get_record().print_checks().items():
        with show_errors():
            check = check_from_dict(card_set, values)
            st.markdown(
                f":material/check: **{as_typed(card_set)}** · {check.layout.name} · along "
                f"{check.along_read_mm:g} mm, across {check.across_read_mm:g} mm · "
                f"{check.checked_on or 'date not known'}"
            )


def _check_on_the_bench() -> None:
    """Take photographs of a bar and its diameter, show the result, and list earlier checks."""
    st.header("Bench check")
    st.caption(
        f"Photograph one smooth, straight bar or pin of known diameter on the card at least "
        f"{LEAST_PHOTOGRAPHS} times: nearer and farther, slightly tilted, the card taken off and "
        "fixed again. This shows whether the stated uncertainties hold with your printer, card and "
        "phone."
    )
    files = tray_field("bars", BAR_WORDS)
    with st.form("bench check"):
        sets = [UNCHECKED, *get_record().print_checks()]
        first, left, right = st.columns(3)
        card_set = first.selectbox(
            "Card set",
            sets,
            index=len(sets) - 1,
            key="bench check cards",
            help="The card set in these photographs; its print check is applied.",
        )
        true = left.text_input(
            "Diameter of the bar",
            placeholder="16.002 mm",
            key="bench check true",
            help="From a micrometer or its certificate.",
        )
        u = right.text_input(
            "Standard uncertainty of that diameter",
            placeholder="0.002 mm",
            key="bench check u",
            help="Half of the expanded uncertainty on the certificate.",
        )
        if st.form_submit_button("Check these photographs"):
            with show_errors():
                _check_photographs(str(card_set), parse_length(true), parse_length(u), files)
    with show_errors():
        for check in known_bench_checks():
            mark = ":material/check:" if check.holds else ":material/warning:"
            st.markdown(f"{mark} {as_typed(check.reminder(date.today()))}")


def _check_photographs(
    card_set: str, true_mm: float, u_mm: float, files: Sequence[TrayPhotograph]
) -> None:
    values = None if card_set == UNCHECKED else get_record().print_checks()[card_set]
    check = check_from_dict(card_set, values) if values else None
    settings = Settings(print_check=check, cameras=known_cameras())
    estimates, refused = [], 0
    bar = st.progress(0.0, "Measuring ...")
    owner = tray_owner()
    for number, one in enumerate(files, start=1):
        file = read_from_tray(owner, "bars", one.sha256)
        try:
            results, *_ = apart(file.name, measured, file.data, file.name, settings)
        except PhotoError:
            results = ()
        estimates += [one for one in results if isinstance(one, Estimate)]
        refused += not any(isinstance(one, Estimate) for one in results)
        bar.progress(number / len(files), f"Measured {number} of {len(files)}")
    bar.empty()
    done = bench_check(estimates, true_mm=true_mm, u_true_mm=u_mm, refused=refused, on=date.today())
    keep_bench_check(done)
    empty_tray(owner, "bars")
    flash_success(done.verdict)
    st.rerun()


inspection = page_header("2 Cards", needs_inspection=False)
with show_errors():
    _check(_print(inspection) or "A5 middle")
    if inspection is not None:
        offer_later_checks(inspection)
    _check_on_the_bench()
    next_step_link("sheet", "stations")
