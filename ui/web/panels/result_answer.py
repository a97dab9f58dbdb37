"""The answer of an inspection on the page: worst station and picture, what is open, what now."""

from __future__ import annotations

import html

import streamlit as st

from inspection.assessment import Assessment
from inspection.record.views import OpenInspection
from ui.presenters.result_rows import answer_lines, next_steps, open_lines, worst_view
from ui.presenters.worst_station import headline, worst_station
from ui.text import CLEARS_NOTHING
from ui.web.page.address import link_query
from ui.web.page.layout import show_errors
from ui.web.page.login import can_open
from ui.web.page.units import in_page_units, told
from ui.web.panels.station import show_one_side

STYLE = """<style>
.stMainBlockContainer{padding-top:2.6rem!important}
.stMainBlockContainer .stVerticalBlock{gap:.6rem}
.st-key-now a{border:1px solid light-dark(#0B5FA5,#7FB8E8);border-radius:4px}
.rope-answer{border-left:5px solid light-dark(#4A4C57,#B9BAC4);background:#8881;
padding:.7rem 1rem;border-radius:4px}
.rope-answer.odd{border-color:light-dark(#9A3B00,#F0A060);background:light-dark(#FFF3E0,#3A2A12)}
.rope-answer b{display:block;font-size:1.45rem;line-height:1.25;margin-bottom:.3rem}
.rope-answer span{display:block;line-height:1.45}
.rope-answer small{display:block;margin-top:.4rem;font-size:.85rem}
@media (max-width:640px){.stMainBlockContainer{padding-top:4rem!important}
.rope-answer b{font-size:1.2rem}}
</style>"""


def show_answer(opened: OpenInspection, assessment: Assessment) -> None:
    """Show the worst station with its picture, what is open, and what comes now."""
    worst = worst_station(assessment)
    left, right = st.columns([5, 4], gap="medium")
    with left:
        if worst is None:
            st.info(
                "No diameter yet: add photographs or gauge readings.", icon=":material/straighten:"
            )
        else:
            lines = "".join(
                f"<span>{html.escape(in_page_units(line))}</span>"
                for line in answer_lines(assessment, worst)
            )
            odd = " odd" if worst.why != "thinnest" or worst.doubted else ""
            lead = html.escape(headline(worst, assessment.log.rope))
            clears = html.escape(CLEARS_NOTHING)
            st.html(
                f"{STYLE}<div class='rope-answer{odd}'><b>{lead}</b>{lines}"
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
    listed = "\n".join(f"- {told(line)}" for line in lines)
    st.markdown(f"**Open**\n{listed}" if lines else "**Nothing is open.**")


def _show_next(opened: OpenInspection, assessment: Assessment) -> None:
    steps = [step for step in next_steps(opened, assessment) if can_open(step.screen)]
    if not steps:
        return
    st.markdown("**Now**")
    with st.container(horizontal=True, key="now"):
        for step in steps[:3]:
            st.page_link(
                f"screens/{step.screen}.py",
                label=step.words,
                icon=":material/arrow_forward:",
                width="content",
                query_params=link_query(opened.inspection.identity, step.station, step.view_deg),
            )
