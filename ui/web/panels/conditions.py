"""Criteria other than diameter at a station: entered, listed, and added up as published."""

from __future__ import annotations

import streamlit as st

from inspection.assessment import Assessment
from inspection.limits.combined import COMBINED_SOURCE, combined_severities
from inspection.limits.standards import BANDS
from inspection.model.condition import CRITERIA, RATINGS_PCT, Condition, Criterion
from inspection.model.length_text import parse_length
from inspection.record.views import LoggedCondition, OpenInspection
from ui.lengths import short_length, unit_of
from ui.text import as_typed
from ui.web.page.clock import local
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.session import entering, get_record

NOT_RATED = "not rated"
RATINGS: dict[int | None, str] = {None: NOT_RATED} | {
    pct: name if not pct else f"{name}, {pct} %" for name, pct in BANDS
}
HINTS: dict[Criterion, str] = {
    "broken wires": "where: valleys, crowns, one strand",
    "corrosion": "external or internal, surface, pitting",
    "deformation": "waviness, basket, core protrusion, kink, flattening",
    "heat": "discolouration, arcing, burnt lubricant",
}


def stations_of(opened: OpenInspection) -> list[int]:
    """Return the numbers of all stations with any entry, in order."""
    named = {one.number for one in opened.inspection.stations}
    seen = {one.station for one in (*opened.readings, *opened.results) if one.station is not None}
    return sorted(named | seen)


def enter_conditions(opened: OpenInspection, station: int) -> None:
    """Draw the form for one station's other criteria."""
    here = {
        one.condition.criterion: one
        for one in opened.conditions
        if one.condition.station == station
    }
    with st.form(f"conditions {opened.inspection.identity} {station}"):
        typed = [_fields(opened, station, criterion, here.get(criterion)) for criterion in CRITERIA]
        why = ""
        if here:
            why = st.text_input(
                "Reason for the change",
                key=f"condition why {station}",
                help="Required if you change something already recorded.",
            )
        if st.form_submit_button("Save observations", type="primary"):
            with show_errors():
                changed = _keep(opened, [one for one in typed if one is not None], here, why)
                flash_success(f"Station {station}: {changed} criteria were recorded.")
                st.rerun()


def _fields(
    opened: OpenInspection, station: int, criterion: Criterion, known: LoggedCondition | None
) -> Condition | None:
    was = None if known is None else known.condition
    before = None if was is None else was.severity_pct
    ratings = [None, *RATINGS_PCT]
    key = f"{criterion} {opened.inspection.identity} {station}"
    state = "nothing recorded" if was is None else RATINGS[was.severity_pct]
    fold = st.expander(f"**{criterion.capitalize()}** · {state}", expanded=was is not None)
    columns = fold.columns([2, 3, 1, 1] if criterion == "broken wires" else [2, 5])
    rating = columns[0].selectbox(
        "Severity",
        ratings,
        index=ratings.index(before),
        format_func=RATINGS.__getitem__,
        key=f"rating {key}",
        help="Severity towards discard by your own tables; this program does not rate it.",
    )
    seen = columns[1].text_input(
        "What was seen",
        "" if was is None else was.seen,
        key=f"seen {key}",
        placeholder=HINTS[criterion],
        help="In your own words; it appears in the report.",
    )
    count, over = None, ""
    if criterion == "broken wires":
        count = columns[2].number_input(
            "Count",
            0,
            None,
            None if was is None else was.count,
            key=f"count {key}",
            help="Number of visible broken wires.",
        )
        over = columns[3].text_input(
            "Over length",
            _length(opened, None if was is None else was.length_mm),
            key=f"over {key}",
            placeholder="6 d or 30 d",
            help="Length of rope over which they were counted.",
        )
    if rating is None and not seen.strip() and count is None:
        return None
    length = _read_length(opened, over)
    return Condition(station, criterion, rating, " ".join(seen.split()), count, length)


def _length(opened: OpenInspection, value_mm: float | None) -> str:
    if value_mm is None:
        return ""
    return short_length(value_mm, opened.rope.units)


def _read_length(opened: OpenInspection, typed: str) -> float | None:
    """Return a length; "6 d" is six nominal diameters, as in tables of broken wires."""
    typed = typed.strip()
    if not typed:
        return None
    if typed.lower().endswith("d") and (times := typed[:-1].strip()).isdecimal():
        return int(times) * opened.rope.nominal_mm
    return parse_length(typed, unit=unit_of(opened.rope.units))


def _keep(
    opened: OpenInspection,
    typed: list[Condition],
    here: dict[Criterion, LoggedCondition],
    why: str,
) -> int:
    identity = opened.inspection.identity
    changed = [
        one for one in typed if one.criterion not in here or here[one.criterion].condition != one
    ]
    if not changed:
        raise ValueError("nothing was changed: the record already says this.")
    with get_record().transaction() as batch:
        for number, one in enumerate(changed):
            revision = None if number else opened.revision
            batch.observe(
                identity, one, by=entering(identity), why=" ".join(why.split()), revision=revision
            )
    return len(changed)


def show_conditions(opened: OpenInspection, assessment: Assessment) -> None:
    """Show what was recorded, and the combined severity of each station."""
    seen = [one.condition for one in opened.conditions]
    if not seen:
        st.caption(
            "Only the diameter has been recorded. Diameter is one criterion of several: broken "
            "wires, corrosion, deformation and heat damage also count, and effects combine."
        )
        return
    for one in opened.conditions:
        st.markdown(
            f"Station {one.condition.station}, {as_typed(one.condition.words)}  \n"
            f":small[{as_typed(one.who)}, {local(one.at)}]"
        )
    st.markdown("**Combined severity at each station**")
    rated = {one.station for one in seen}
    for combined in combined_severities(assessment.severities, seen):
        if combined.station in rated:
            st.markdown(as_typed(combined.words))
    st.caption(
        f"{COMBINED_SOURCE[0].upper()}{COMBINED_SOURCE[1:]}. This is no verdict: the competent "
        "person decides what a sum means."
    )
