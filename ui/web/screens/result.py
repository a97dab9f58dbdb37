"""Result: every figure against every applicable limit, and the exports of the inspection."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import get_args

import streamlit as st

from inspection.assessment import Assessment
from inspection.folder import Folder
from inspection.measurement.section import Section
from inspection.model.loss import LOCAL_GROUND
from inspection.record.views import OpenInspection
from inspection.screening.checks.lay_length import lay_words
from inspection.worst_station import WorstStation, worst_station
from ui.charts.rope import along_rope_chart, square_roundness_chart
from ui.charts.sources import along_rope, roundness
from ui.lengths import diameter_words, length_text
from ui.presenters.result_rows import (
    GROOVE_HEADS,
    LIMIT_HEADS,
    LOCAL_HEADS,
    SECTION_HEADS,
    VERDICT_HEADS,
    WEAR_HEADS,
    answer_lines,
    groove_rows,
    headline,
    limit_rows,
    local_rows,
    next_steps,
    open_lines,
    section_rows,
    sources,
    verdict_rows,
    wear_rows,
    worst_view,
)
from ui.presenters.review.flagged_entries import readings_table
from ui.presenters.whole_rope import WHOLE_ROPE_HEADS, whole_rope, whole_rope_rows
from ui.report.case import case_of_record, record_name
from ui.report.letterhead import letterhead_of_server
from ui.report.report import html_report, pdf_report
from ui.report.writers.pdf import Paper
from ui.services.assess_record import log_of
from ui.text import CLEARS_NOTHING, STATE_MARKS, as_minus, as_typed
from ui.web.components.chart import show_chart
from ui.web.page.address import link_query
from ui.web.page.layout import page_header, show_errors
from ui.web.page.login import can_open, download
from ui.web.page.navigation import next_step_link
from ui.web.page.session import cached_assessment, get_record, record_location, require_access
from ui.web.page.units import U_HELP, page_text, page_units
from ui.web.panels.station import show_one_side, table

REPORT = "report that was made"  # key of the session state
STYLE = """<style>
.stMainBlockContainer .stVerticalBlock{gap:.6rem}
.st-key-now a{border:1px solid light-dark(#0B5FA5,#7FB8E8);border-radius:4px}
.rope-answer{border-left:5px solid light-dark(#4A4C57,#B9BAC4);background:#8881;
padding:.7rem 1rem;border-radius:4px}
.rope-answer.odd{border-color:light-dark(#9A3B00,#F0A060);background:light-dark(#FFF3E0,#3A2A12)}
.rope-answer b{display:block;font-size:1.45rem;line-height:1.25;margin-bottom:.3rem}
.rope-answer span{display:block;line-height:1.45}
.rope-answer small{display:block;margin-top:.4rem;font-size:.85rem}
@media (max-width:640px){.rope-answer b{font-size:1.2rem}}
</style>"""


def _answer(opened: OpenInspection, assessment: Assessment) -> None:
    """Show the worst station with its picture, what is still open, and the next steps."""
    worst = worst_station(assessment)
    left, right = st.columns([5, 4], gap="medium")
    with left:
        if worst is None:
            st.info(
                "No diameter yet: add photographs or gauge readings.", icon=":material/straighten:"
            )
        else:
            lines = "".join(
                f"<span>{html.escape(as_minus(line))}</span>"
                for line in answer_lines(assessment, worst)
            )
            tone = " odd" if worst.why != "thinnest" or worst.doubted else ""
            lead = html.escape(headline(worst, assessment.log.rope))
            clears = html.escape(CLEARS_NOTHING)
            st.html(
                f"{STYLE}<div class='rope-answer{tone}'><b>{lead}</b>{lines}"
                f"<small>{clears}</small></div>"
            )
        _show_open(opened, assessment)
        _show_next(opened, assessment)
    with right, show_errors():
        view = None if worst is None else worst_view(opened, assessment, worst)
        if view is not None:
            show_one_side(opened, view, key=f"worst {opened.inspection.identity}")
        elif worst is not None:
            st.caption(f"Station {worst.station} has no photograph.")


def _show_open(opened: OpenInspection, assessment: Assessment) -> None:
    lines = open_lines(opened, assessment)
    listed = "\n".join(f"- {page_text(line)}" for line in lines)
    st.markdown(f"**Still open**\n{listed}" if lines else "**Nothing is open.**")


def _show_next(opened: OpenInspection, assessment: Assessment) -> None:
    steps = [step for step in next_steps(opened, assessment) if can_open(step.screen)]
    if not steps:
        return
    st.markdown("**Next steps**")
    with st.container(horizontal=True, key="now"):
        for step in steps[:3]:
            st.page_link(
                f"screens/{step.screen}.py",
                label=step.words,
                icon=":material/arrow_forward:",
                width="content",
                query_params=link_query(opened.inspection.identity, step.station, step.view_deg),
            )


def _first(opened: OpenInspection, assessment: Assessment) -> None:
    _answer(opened, assessment)
    worst = worst_station(assessment)
    if not _already_shown(worst, assessment.first_concern):
        st.caption(f":material/visibility: {page_text(assessment.first_concern)}")
    if opened.reviews:
        last = opened.reviews[-1]
        st.markdown(
            f"Review: {STATE_MARKS[opened.state]} by {as_typed(last.who)}. {as_typed(last.why)}"
        )


def _already_shown(worst: WorstStation | None, first: str) -> bool:
    """Say whether the answer already reports the first concern: a local decrease and no limit."""
    if worst is None or worst.local is None or not worst.is_local_decrease:
        return False
    return first.endswith(f"{worst.local.words} {LOCAL_GROUND}")


def _along(assessment: Assessment) -> None:
    """Chart the means along the rope, and show the whole-rope diameter from each source."""
    if not section_rows(assessment):
        return
    st.header("Along the rope")
    words = "Mean diameters along the rope with their uncertainties and limits, as in the table."
    show_chart(along_rope_chart, along_rope(assessment), words=words)
    known = whole_rope_rows(assessment)
    if known:
        st.html(table(WHOLE_ROPE_HEADS, known, "Whole rope, two directions at each station"))
    if len(known) < bool(assessment.photograph_sections) + bool(assessment.gauge_sections):
        for why in whole_rope(assessment):  # gives the reason where there is none
            st.caption(page_text(why))


def _figures(assessment: Assessment) -> None:
    rows = section_rows(assessment)
    if not rows:
        st.info(
            "No station mean yet: a station needs two directions at right angles, by photographs "
            "or by gauge. The Stations page shows what is missing.",
            icon=":material/pin_drop:",
        )
        return
    st.html(table(SECTION_HEADS, rows, "Station means and ovality"))
    st.caption(
        "The mean of two directions at right angles is the measured diameter of ISO 4309:2017, "
        "3.2; sections at least 1 m apart together give that of EN 12385-1. Ovality is the largest "
        "minus the smallest diameter and never negative: a round rope reads a little above 0.",
        help=U_HELP,
    )


def _verdicts(assessment: Assessment) -> None:
    published, own = (limit_rows(assessment, own=mine) for mine in (False, True))
    if published or own:
        for title, rows in (("Published limits", published), ("Your own limits", own)):
            if rows:
                st.html(table(LIMIT_HEADS, rows, f"{title}, outside and undecided first"))
        decision = assessment.verdicts[0].verdict.decision
        st.caption(
            f"Decision rule: {decision.name}, {decision.source}. 'Within' means that one figure at "
            "one place meets one limit, no more. 'Doubted' means that an entry at its station "
            "has to be checked."
        )
        st.html(table(VERDICT_HEADS, verdict_rows(assessment), "All verdicts, by station"))
        if published:
            st.markdown("**Sources of the published limits**")
            for words in sources(assessment, own=False):
                st.markdown(page_text(words))
            st.caption("Check them against a licensed copy before they decide anything.")
        if own:
            st.markdown("**Sources of your own limits**")
            for words in sources(assessment, own=True):
                st.markdown(page_text(words))
    else:
        st.info(
            "No verdict yet: it needs a station with two directions and a limit that applies to "
            "the rope.",
            icon=":material/fact_check:",
        )
    for note in (*assessment.notes, *assessment.not_asked):
        st.caption(page_text(note))
    if assessment.not_applicable:
        st.markdown("**Limits that do not apply, and why**")
        for inapplicable in assessment.not_applicable:
            st.markdown(page_text(inapplicable.reason))


def _wear(assessment: Assessment) -> None:
    rows = wear_rows(assessment)
    local = local_rows(assessment)
    if not (rows or local):
        return
    if rows:
        st.html(table(WEAR_HEADS, rows, "Uniform decrease from the reference (ISO 4309:2017)"))
        st.caption(
            "Diameter is one criterion of several: broken wires, corrosion and deformation also "
            "count, and effects combine. Each station is assessed by its most certain figure."
        )
    for one in assessment.local:
        if one.outcome == "local decrease":
            st.warning(page_text(one.words), icon=":material/warning:")
    if local:
        st.html(table(LOCAL_HEADS, local, "Each station compared with its neighbours"))
        st.caption(as_typed(LOCAL_GROUND))


def _grooves(assessment: Assessment) -> None:
    if not assessment.groove_fits:
        return
    st.html(table(GROOVE_HEADS, groove_rows(assessment), "Grooves and nominal diameter"))
    st.caption("Groove radii as entered. Grooves wear: measure them with a groove gauge.")


def _round_and_lay(assessment: Assessment) -> None:
    sections = {section.station or 0: section for section in assessment.photograph_sections}
    words = lay_words(assessment.lays)
    if sections and words:
        left, right = st.columns(2, gap="large")
    else:
        left = right = st.container()
    with left:
        _roundness(sections)
    with right:
        if words:
            st.markdown("**Lay length**")
            st.markdown("  \n".join(page_text(word) for word in words[:-1]))
            st.caption(words[-1])


def _roundness(sections: dict[int, Section]) -> None:
    if not sections:
        return
    st.markdown("**Roundness**")
    station = st.selectbox(
        "Station",
        sorted(sections),
        key="round station",
        help="Cross-section seen along the rope, from its photographs.",
    )
    one = sections[station]
    words = f"Diameters around the rope at station {station}."
    show_chart(square_roundness_chart, roundness(one, "photographs"), words=words, width="content")
    ovality = diameter_words(one.ovality_mm, one.u_ovality_mm, page_units())
    st.caption(
        f"Ovality {ovality}; a perfectly round rope would show "
        f"{length_text(one.round_rope_mm, units=page_units())} on average."
    )
    if one.ellipse is not None:
        st.markdown(page_text(one.ellipse.words))


def _folded(assessment: Assessment) -> None:
    """Show in expanders everything that the answer is based on."""
    parts: list[tuple[str, str, Callable[[Assessment], None], bool]] = [
        ("Diameter and ovality, station by station", "table_rows", _figures, True),
        ("Against the limits", "rule", _verdicts, True),
        (
            "Wear and local decrease",
            "trending_down",
            _wear,
            bool(assessment.severities or assessment.local),
        ),
        ("Drum and sheaves", "album", _grooves, bool(assessment.groove_fits)),
        (
            "Roundness and lay length",
            "data_usage",
            _round_and_lay,
            bool(assessment.photograph_sections or assessment.lays),
        ),
    ]
    for words, icon, show, there in parts:
        if there:
            with st.expander(words, icon=f":material/{icon}:"):
                show(assessment)


def _report(opened: OpenInspection) -> None:
    identity = opened.inspection.identity
    left, middle, right = st.columns([1, 1, 2], vertical_alignment="bottom")
    paper: Paper = left.selectbox(
        "Report paper size", get_args(Paper), help="The paper in your printer."
    )
    number = middle.text_input(
        "Report number", max_chars=40, help="From your own numbering system."
    )
    wanted = (identity, opened.revision, paper, number)
    if right.button("Create report", type="primary", icon=":material/description:"):
        with st.spinner("Creating the report ..."), show_errors():
            read = Folder(log_of(get_record(), identity), (), ())
            case = case_of_record(get_record(), read, name=record_name(record_location()))
            case = replace(case, number=number, letterhead=letterhead_of_server())
            made = pdf_report(case, paper=paper), html_report(case)
            st.session_state[REPORT] = (wanted, *made)  # only the last: each takes megabytes
    of, pdf, page = st.session_state.get(REPORT, (None, b"", ""))
    if of != wanted:
        return
    name = "".join(letter if letter.isalnum() else "-" for letter in identity)
    with st.container(horizontal=True):
        theirs = partial(require_access, identity)
        download("Report as PDF", lambda: pdf, f"{name}.pdf", "application/pdf", check=theirs)
        download("Report as HTML", lambda: page, f"{name}.html", "text/html", check=theirs)


def _exports(opened: OpenInspection) -> None:
    st.header("Export")
    identity = opened.inspection.identity
    _report(opened)
    with st.container(horizontal=True):
        for suffix in (".csv", ".xlsx"):
            download(
                f"Readings as {suffix[1:].upper()}",
                partial(readings_table, get_record(), suffix, inspection=identity),
                f"readings{suffix}",
                check=partial(require_access, identity),
            )
    st.caption(
        f"Record fingerprint: {get_record().fingerprint()}. Write it down: it later shows whether "
        "the record was changed."
    )


inspection = page_header("4 Result")
if inspection is not None:
    with show_errors():
        if not (inspection.readings or inspection.results):
            st.info("Nothing to assess yet: add photographs and gauge readings first.")
            if can_open("sheet"):
                next_step_link("sheet", "stations")
        else:
            found = cached_assessment(inspection)
            _first(inspection, found)
            _along(found)
            _folded(found)
            _exports(inspection)
