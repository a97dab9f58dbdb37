"""Review: stations that need a look, the most doubtful first; decide, and the next is there."""

from __future__ import annotations

import streamlit as st

from inspection.record import OpenInspection
from ui import pictures
from ui.page_parts import (
    as_typed,
    begin,
    plainly,
    say_cautions,
    tell_later,
    tell_wrong,
)
from ui.session import judged, person, record_place, the_record
from ui.station_queue import Decision, Doubt, decide, queue
from ui.station_screen import has_photograph, photograph_named, show_facts, show_photograph
from ui.station_view import View, views_of
from ui.whole_inspection import decide_inspection
from vision.estimate import Estimate


def _review(there: OpenInspection) -> None:
    doubts = queue(there)
    still = [one for one in doubts if not one.settled]
    if not doubts:
        st.info(
            "Nothing in this inspection stands out. Look at its stations all the same, then "
            "decide about the inspection.",
            icon=":material/visibility:",
        )
    _show_progress(doubts, still)
    name = _chosen(there, doubts, still)
    doubt = next((one for one in doubts if one.name == name), None)
    station = doubt.station if doubt else _number(name)
    if doubt is not None:
        _show_findings(doubt)
    view = _show_station(there, station, doubt) if station is not None else None
    if station is None and doubt is not None:
        _show_lone_photograph(there, doubt)
    if doubt is not None:
        _decide(there, doubt)
    if station is not None and view is not None:
        show_facts(there, judged(there), view, station)
    decide_inspection(there, still)
    say_cautions()
    _warm_up(there, still, doubt)


def _show_progress(doubts: list[Doubt], still: list[Doubt]) -> None:
    if doubts:
        done = len(doubts) - len(still)
        st.progress(done / len(doubts), text=f"{done} of {len(doubts)} decided")


def _chosen(there: OpenInspection, doubts: list[Doubt], still: list[Doubt]) -> str:
    """Return what is looked at: the most doubtful that is undecided, unless another is chosen."""
    named = {one.name for one in doubts}
    calm = sorted({one.station for one in there.results if one.station is not None})
    names = [one.name for one in doubts]
    names += [f"Station {one}" for one in calm if f"Station {one}" not in named]
    if not names:
        return ""
    usual = still[0].name if still else names[0]
    key = f"look {there.inspection.identity}"
    asked = st.query_params.get("look")
    if asked in names:
        st.session_state[key] = asked
        st.query_params.pop("look")
    following = st.session_state.pop(f"next {there.inspection.identity}", None)
    if following in names:
        st.session_state[key] = following
    if st.session_state.get(key) not in names:
        st.session_state[key] = usual
    marks = {one.name: "✓ " if one.settled else "● " for one in doubts}
    return str(
        st.selectbox(
            "Station",
            names,
            key=key,
            format_func=lambda name: marks.get(name, "") + name,
            help="● waits for a decision, ✓ was decided; nothing stands out at the others.",
        )
    )


def _number(name: str) -> int | None:
    return int(name.removeprefix("Station ")) if name.startswith("Station ") else None


def _show_findings(doubt: Doubt) -> None:
    for one in doubt.findings:
        finding = one.finding
        words = as_typed(f"{', '.join(finding.where)}: {finding.seen}")
        st.warning(f"{words}  \n{as_typed(finding.remedy)}", icon=":material/visibility:")
        if finding.innocent:
            st.caption(f"It may be innocent: {as_typed(finding.innocent)}")
        if one.settled_by:
            st.info(
                f"{as_typed(one.settled_how)} — {as_typed(one.settled_by)}, "
                f"{one.settled_at[:16].replace('T', ' ')} UTC",
                icon=":material/history:",
            )


def _decide(there: OpenInspection, doubt: Doubt) -> None:
    key = f"why {there.inspection.identity} {doubt.name}"
    st.text_input(
        "Reason",
        key=key,
        placeholder="needed to send back or to overrule",
        help="What the inspector should do, or why the decision is another one. It stands in "
        "the record beside your name. Press Enter when it is written.",
    )
    with st.container(horizontal=True):
        for words, decision, letter, icon in (
            ("Accept", "accepted", "A", ":material/check:"),
            ("Send back", "sent back", "B", ":material/undo:"),
            ("Overrule", "overruled", "O", ":material/gavel:"),
        ):
            st.button(
                words,
                shortcut=f"Alt+{letter}",
                icon=icon,
                type="primary" if decision == "accepted" else "secondary",
                disabled=doubt.settled != (decision == "overruled"),
                help="Only what somebody else decided can be overruled, with a reason."
                if decision == "overruled"
                else None,
                on_click=_take_decision,
                args=(there, doubt, decision, key),
            )
        st.button(
            "Next", shortcut="Alt+N", icon=":material/arrow_forward:", on_click=_go_on,
            args=(there, doubt),
        )  # fmt: skip


def _take_decision(there: OpenInspection, doubt: Doubt, decision: Decision, key: str) -> None:
    """Keep a decision before the screen is drawn anew, so that it is drawn only once."""
    why = str(st.session_state.get(key, ""))
    try:
        decide(the_record(), there, doubt, decision, by=person(), why=why)
    except ValueError as wrong:
        tell_wrong(str(wrong))
        return
    tell_later(f"{doubt.name}: {decision}.")
    _go_on(there)


def _go_on(there: OpenInspection, after: Doubt | None = None) -> None:
    """Take up the next undecided; after a certain one, the next behind it."""
    identity = there.inspection.identity
    still = [one for one in queue(the_record().inspection(identity)) if not one.settled]
    names = [one.name for one in still]
    if after is not None and after.name in names:
        names = names[names.index(after.name) + 1 :] + names[: names.index(after.name)]
    if names:
        st.session_state[f"next {identity}"] = names[0]  # taken up before the list is drawn


def _show_station(there: OpenInspection, station: int, doubt: Doubt | None) -> View | None:
    views = views_of(there, judged(there), station)
    if not views:
        st.info(
            f"Station {station} has no photograph; nothing can be held against its readings.",
            icon=":material/no_photography:",
        )
        return None
    first = 0
    if doubt is not None and doubt.view_deg is not None:
        directions = [one.view_deg for one in views]
        first = directions.index(doubt.view_deg) if doubt.view_deg in directions else 0
    chosen = first
    if len(views) > 1:
        chosen = st.radio(
            "Direction",
            range(len(views)),
            index=first,
            key=f"direction {there.inspection.identity} {station}",
            format_func=lambda at: _view_name(views[at]),
            horizontal=True,
            help="The two photographs at right angles, as their cards say.",
        )
    view = views[chosen]
    key = f"{there.inspection.identity} {station} {view.view_deg} {view.result.at_mm}"
    with plainly():
        if has_photograph(there, view.result.photo_sha256):
            show_photograph(view, key=key)
        else:
            st.info("The photograph itself is not in the record; only what it gave is.")
    return view


def _view_name(view: View) -> str:
    at = f", at {view.result.at_mm:g} mm" if view.result.at_mm else ""
    return f"{view.view_deg}°{at} {'' if isinstance(view.result, Estimate) else '(refused)'}"


def _show_lone_photograph(there: OpenInspection, doubt: Doubt) -> None:
    """Show a photograph that belongs to no station."""
    for where in doubt.findings[0].finding.where:
        found = photograph_named(there, where)
        result = next(
            (one for one in there.results if found and one.photo_sha256 == found.sha256), None
        )
        if result is not None:
            with plainly():
                show_photograph(View(0, result, None), key=f"lone {result.photo_sha256}")


def _warm_up(there: OpenInspection, still: list[Doubt], now: Doubt | None) -> None:
    """Make the next station's pictures while this one is looked at, so that it is there at once."""
    following = next((one for one in still if now is None or one.name != now.name), None)
    if following is None or following.station is None:
        return
    for result in there.results:
        if result.station == following.station and has_photograph(there, result.photo_sha256):
            with plainly():
                pictures.preview(record_place(), result.photo_sha256)


inspection = begin("Review")
if inspection is not None:
    with plainly():
        _review(inspection)
