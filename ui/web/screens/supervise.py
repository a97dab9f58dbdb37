"""Supervise: entries across all inspections, ranked by rope, person and gauge, with evidence."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import count
from typing import Literal

import streamlit as st

from inspection.comparison.standing_apart import GaugeOrPerson, StandsApart, stand_apart
from inspection.model.log import counted
from inspection.model.rope import Units
from inspection.record.overview.examinations import ComparedEntry
from inspection.record.overview.rankings import (
    InspectionFilter,
    Status,
    Totals,
    compared_entries,
    corrected_slips,
    findings_about,
    mark,
    ranked_findings,
    reader_tallies,
    rope_tallies,
    stations_sent_back,
    totals,
)
from ui.presenters.review.flagged_entries import (
    HEADINGS,
    READER_HEADINGS,
    ROPE_HEADINGS,
    SLIP_HEADINGS,
    FlaggedEntry,
    RankedReader,
    entry_rows,
    flagged_entries,
    grouped_entries,
    ranked_readers,
    reader_rows,
    readings_table,
    rope_rows,
    slip_rows,
    table_file,
)
from ui.services.assess_record import examine_all
from ui.text import as_typed, chance_words
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.login import download
from ui.web.page.session import (
    cached_assessment,
    get_record,
    load_inspection,
    record_location,
    summaries,
    user_name,
)
from ui.web.page.units import U_HELP, page_text
from ui.web.panels.station import table
from ui.web.panels.supervisor_charts import show_differences, show_digits, show_reader, show_trends

STYLE = """<style>
.stMainBlockContainer .stVerticalBlock{gap:.7rem}
[data-testid=stBaseButton-segmented_controlActive] p{color:light-dark(#0B5FA5,#CFE6FA)}
</style>"""
SHOWN = 20
MOST_IN_TREND = 30  # inspections of one rope whose figures are drawn
View = Literal["Entries", "Ropes", "People", "Gauges"]
VIEWS: tuple[View, ...] = ("Entries", "Ropes", "People", "Gauges")


def _scope() -> InspectionFilter:
    with st.expander("Filter", icon=":material/filter_alt:"):
        record = get_record()
        ropes = record.ropes()
        rope = st.selectbox(
            "Rope",
            ["all ropes", *(one.identity for one in ropes)],
            key="filter rope",
            persist_state="session",
            help="One rope, or all ropes in the record.",
        )
        words = st.text_input(
            "Site or place contains",
            key="filter place",
            persist_state="session",
            help="Part of the rope's site or of the inspection's place, e.g. quay.",
        ).strip()
        left, right = st.columns(2)
        since = left.date_input(
            "From", None, key="filter since", help="First inspection date to include."
        )
        until = right.date_input(
            "To", None, key="filter until", help="Last inspection date to include."
        )
    sites = tuple(one.identity for one in ropes if words.casefold() in one.site.casefold())
    wanted = None if rope == "all ropes" else rope
    return InspectionFilter(wanted, words, sites if words else (), since, until)


# ---- totals, and inspections not examined yet ------------------------------------------------


def _state(known: Totals) -> None:
    parts = [
        counted(known.inspections, "inspection", "inspections"),
        f"{known.open} to check",
        f"{known.accepted} accepted as they are",
    ]
    st.markdown("**" + " · ".join(parts) + "**")
    if not known.not_examined:
        return
    st.warning(
        f"**{known.not_examined} not examined yet.** Entries were imported or changed since the "
        "last examination; these inspections are not in the lists below.",
        icon=":material/hourglass_top:",
    )
    with st.container():
        if st.button(
            f"Examine {known.not_examined} now",
            type="primary",
            icon=":material/troubleshoot:",
            help="About half a second each. If you leave, those already examined are kept.",
        ):
            _examine()


def _examine() -> None:
    by = user_name()
    bar = st.progress(0.0, text="Examining")

    def report(at: float, what: str) -> None:
        bar.progress(at, text=f"Examining {as_typed(what)}")

    count = examine_all(get_record(), by=by, report=report)
    flash_success(f"{counted(count, 'inspection was', 'inspections were')} examined.")
    st.rerun()


@st.cache_resource(max_entries=8, show_spinner="Comparing gauges and people ...")
def _compared(
    place: str, marked: str, scope: InspectionFilter
) -> tuple[list[ComparedEntry], list[StandsApart]]:
    del place, marked  # cache key: any change triggers a new comparison
    compared = compared_entries(get_record(), scope)
    return compared, stand_apart(compared)


# ---- entries ---------------------------------------------------------------------------------


def _listed(
    status: Status, scope: InspectionFilter, *, limit: int | None = None
) -> list[FlaggedEntry]:
    record = get_record()
    found = ranked_findings(record, status, scope, limit=limit)
    compared, _ = _compared(record_location(), mark(record), scope)
    return flagged_entries(found, stations_sent_back(record), compared)


def _show_more() -> None:
    st.session_state["entries shown"] += SHOWN


def _entries(scope: InspectionFilter, known: Totals) -> None:
    examined = known.inspections - known.not_examined
    most = st.session_state.setdefault("entries shown", SHOWN)
    groups = grouped_entries(_listed("open", scope, limit=3 * most))[:most]
    if not groups:
        st.info(
            f"No entry is waiting in the {counted(examined, 'inspection', 'inspections')} "
            "examined. That does not clear any rope.",
            icon=":material/visibility:",
        )
    ranks = count(1)
    for group in groups:
        for entry in group.shown:
            _entry(f"{next(ranks)}. ", entry)
        if group.folded:
            with st.expander(as_typed(group.folded_words), icon=":material/history:"):
                for entry in group.folded:
                    _entry("", entry)
    left = known.open - sum(len(one.shown) + len(one.folded) for one in groups)
    if left > 0:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.button(
                f"Show {SHOWN} more",
                on_click=_show_more,
                help="The next entries; the exported table holds all of them.",
            )
            st.caption(f"{counted(left, 'entry is', 'entries are')} not shown.")
    accepted = _listed("accepted", scope, limit=SHOWN)
    if accepted:
        st.header(f"Accepted as they are ({known.accepted})")
        for entry in accepted:
            _entry("", entry)
        if known.accepted > len(accepted):
            st.caption(f"{known.accepted - len(accepted)} more are in the exported table.")
    slips = corrected_slips(get_record(), limit=SHOWN)
    if slips:
        with st.expander(f"Slips corrected at review ({len(slips)})", icon=":material/edit:"):
            st.html(table(list(SLIP_HEADINGS), slip_rows(slips), "Latest first"))
    st.header("Differences")
    show_differences(_compared(record_location(), mark(get_record()), scope)[0])


@st.cache_data(max_entries=4, show_spinner=False)
def _rope_units(place: str, last_event: int) -> dict[str, Units]:
    del place, last_event  # cache key
    return {rope.identity: rope.units for rope in get_record().ropes()}


def _entry(rank: str, entry: FlaggedEntry) -> None:
    listed, finding = entry.listed, entry.listed.logged.finding
    units = _rope_units(record_location(), get_record().last_event()).get(listed.rope, "mm")
    with st.container(border=True, gap="xxsmall"):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(
                f"**{rank}{as_typed(entry.where)}** · {as_typed(listed.rope)} · "
                f"{listed.on:%Y-%m-%d} · {entry.state}"
            )
            st.page_link(
                "screens/review.py",
                label="Open the photograph" if listed.photographs else "Open in review",
                width="content",
                icon=":material/photo:" if listed.photographs else ":material/visibility:",
                query_params=entry.query,
            )
        lines = [page_text(finding.seen, units)]
        lines += [f":material/straighten: {page_text(line, units)}" for line in entry.evidence]
        if entry.reason or entry.who:
            lines.append(f":material/history: {as_typed(entry.reason)} — {as_typed(entry.who)}")
        st.markdown("  \n".join(lines), help=U_HELP if entry.evidence else None)
        notes = [page_text(finding.remedy, units)]
        if finding.p_value is not None:
            notes.append(f"By chance alone: {chance_words(finding.p_value)}.")
        if finding.innocent:
            notes.append(as_typed(f"Innocent explanation: {finding.innocent}"))
        st.caption(" ".join(notes))


# ---- ropes, people, gauges -------------------------------------------------------------------


def _ropes(scope: InspectionFilter) -> None:
    tallies = rope_tallies(get_record(), scope)
    rows = rope_rows(tallies)
    st.html(table(list(ROPE_HEADINGS), rows[:SHOWN], "Most urgent rope first"))
    if len(rows) > SHOWN:
        st.caption(f"{len(rows) - SHOWN} more are in the exported table.")
    if not tallies:
        return
    rope = st.selectbox(
        "Show rope", [one.rope for one in tallies], key="one rope", help="Most urgent first."
    )
    for entry in _listed("open", InspectionFilter(rope=rope), limit=3):
        _entry("", entry)
    mine = [one.identity for one in sorted(summaries(), key=lambda one: one.on) if one.rope == rope]
    assessments = [cached_assessment(load_inspection(name)) for name in mine[-MOST_IN_TREND:]]
    st.header("Trend towards the limits")
    show_trends(assessments)


def _readers(kind: GaugeOrPerson, scope: InspectionFilter) -> list[RankedReader]:
    compared, apart = _compared(record_location(), mark(get_record()), scope)
    return ranked_readers(kind, apart, reader_tallies(get_record(), kind, scope), compared)


def _people_or_gauges(kind: GaugeOrPerson, scope: InspectionFilter) -> None:
    readers = _readers(kind, scope)
    if not readers:
        st.info("No reading has a photograph of the same place and direction yet.")
        return
    rows = [row[1:] for row in reader_rows(readers)]
    heads = [kind, *READER_HEADINGS[2:]]
    heads = [head.replace(" k = 2", "") for head in heads]
    st.html(table(heads, rows[:SHOWN], f"Each {kind} against all others"))
    st.caption(
        "Of the names that stand apart, at most 5 % do so by chance (Benjamini-Hochberg). They are "
        "not counted among the others, if most remain. The "
        "effects of a gauge and of the person who reads it can't be separated, and whoever "
        "inspects the worst ropes has the most to check.",
        help=U_HELP,
    )
    named = {one.name: one for one in readers}
    name = st.selectbox(
        f"Show {kind}", list(named), key=f"one {kind}", help="Those that stand apart come first."
    )
    compared, _ = _compared(record_location(), mark(get_record()), scope)
    show_reader(named[name], compared)
    if kind == "gauge":
        gauge = next((one for one in get_record().gauges() if one.identity == name), None)
        if gauge is not None:
            logged = get_record().readings(gauge=name)
            show_digits(gauge, [one.reading for one in logged if not one.withdrawn])
    about = findings_about(get_record(), kind, name, limit=5)
    for entry in flagged_entries(about, stations_sent_back(get_record()), compared):
        _entry("", entry)


# ---- exported tables -------------------------------------------------------------------------


def _all_entries(scope: InspectionFilter, suffix: str) -> bytes:
    entries = [*_listed("open", scope), *_listed("settled", scope)]
    return table_file(HEADINGS, entry_rows(entries), suffix)


def _all_readers(scope: InspectionFilter, suffix: str) -> bytes:
    rows = reader_rows([*_readers("person", scope), *_readers("gauge", scope)])
    return table_file(READER_HEADINGS, rows, suffix)


def _all_ropes(scope: InspectionFilter, suffix: str) -> bytes:
    return table_file(ROPE_HEADINGS, rope_rows(rope_tallies(get_record(), scope)), suffix)


def _exports(scope: InspectionFilter) -> None:
    st.header("Export")
    tables: tuple[tuple[str, Callable[[str], bytes], str], ...] = (
        ("Entries", partial(_all_entries, scope), "entries-to-look-at"),
        ("Ropes", partial(_all_ropes, scope), "ropes"),
        ("People, gauges", partial(_all_readers, scope), "apart"),
        ("All readings", partial(readings_table, get_record()), "readings"),
    )
    for column, (words, make, name) in zip(st.columns(len(tables)), tables, strict=True):
        with column:
            for suffix in (".csv", ".xlsx"):
                data = partial(make, suffix)
                download(f"{words} ({suffix[1:].upper()})", data, f"{name}{suffix}")


st.html(STYLE)
page_header("Supervise", needs_inspection=False)
with show_errors():
    if not totals(get_record()).inspections:
        st.info("There is no inspection yet. Load the sample or start one.")
        st.page_link("screens/start.py", label="Start", icon=":material/home:")
    else:
        chosen: View = st.segmented_control(
            "Rank by",
            VIEWS,
            default="Entries",
            required=True,
            key="ranked by",
            persist_state="session",
            help="What the list ranks; each entry is shown with its evidence.",
        )
        wanted = _scope()
        found = totals(get_record(), wanted)
        if not found.inspections:
            st.info("No inspection matches the filter; widen it.")
        else:
            _state(found)
            if chosen == "Entries":
                _entries(wanted, found)
            elif chosen == "Ropes":
                _ropes(wanted)
            else:
                _people_or_gauges("person" if chosen == "People" else "gauge", wanted)
            _exports(wanted)
