"""Review: stations that need a look, the most doubtful first; decide, and the next is there."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from inspection.record.errors import RecordError
from inspection.record.views import OpenInspection
from ui.presenters.review_queue import (
    Decision,
    ReviewItem,
    review_queue,
    save_decision,
    stations_without_findings,
)
from ui.presenters.station import StationView, station_views
from ui.text import as_typed
from ui.web.page import pictures
from ui.web.page.layout import defer_errors, flash_success, page_header, show_cautions, show_errors
from ui.web.page.session import cached_assessment, get_record, user_name
from ui.web.panels.inspection_decision import decide_inspection
from ui.web.panels.station import (
    photograph_of,
    show_comparison,
    show_entries,
    show_photograph,
    show_places,
    show_refusal,
)
from ui.web.panels.station_charts import make_ready, show_budget, show_history
from vision.results import Estimate, Refusal

KEYS = (
    "Keys: Alt+A accept, Alt+B send back, Alt+O overrule, Alt+N next. Tab and Shift+Tab go from "
    "field to field, the arrows choose station and direction; on a photograph + and - zoom, "
    "the arrows move it."
)


def _review(opened: OpenInspection) -> None:
    items = review_queue(opened)
    still = [item for item in items if not item.settled]
    if not items:
        st.info(
            "Nothing in this inspection stands out. Look at its stations all the same, then "
            "decide about the inspection.",
            icon=":material/visibility:",
        )
    known = {one.name: one for one in (*items, *stations_without_findings(opened))}
    left, right = st.columns([2, 3], vertical_alignment="bottom")
    with left:
        name = _choose_item(opened, known, still)
    with right:
        _show_progress(items, still)
    item = known.get(name)
    if item is not None:
        _show_item(opened, item)
    decide_inspection(opened, still)
    show_cautions()
    _warm_up(opened, still, item)


def _show_progress(items: list[ReviewItem], still: list[ReviewItem]) -> None:
    if not items:
        return
    waiting = sum(item.with_inspector for item in items)
    more = f", {waiting} with the inspector" if waiting else ""
    done = len(items) - len(still)
    st.progress(done / len(items), text=f"{done} of {len(items)} decided{more}")


def _choose_item(
    opened: OpenInspection, known: dict[str, ReviewItem], still: list[ReviewItem]
) -> str:
    """Return what is looked at: the most doubtful that is undecided, unless another is chosen."""
    names = list(known)
    if not names:
        return ""
    usual = still[0].name if still else names[0]
    key = f"look {opened.inspection.identity}"
    asked = st.query_params.get("look")
    if asked in names:
        st.session_state[key] = asked
        st.query_params.pop("look")
    following = st.session_state.pop(f"next {opened.inspection.identity}", None)
    if following in names:
        st.session_state[key] = following
    if st.session_state.get(key) not in names:
        st.session_state[key] = usual
    return str(
        st.selectbox(
            "Station",
            names,
            key=key,
            format_func=lambda name: f"{_mark(known[name])}{name}",
            help="● waits for a decision, ↩ is with the inspector, ✓ was decided; nothing stands "
            "out at the others.",
        )
    )


def _mark(item: ReviewItem) -> str:
    if not item.settled:
        return "● "
    if item.with_inspector:
        return "↩ "
    return "✓ " if item.findings or item.decided else ""


def _show_item(opened: OpenInspection, item: ReviewItem) -> None:
    _show_findings(item)
    _show_decision(item)
    if item.station is None:
        _show_lone_photograph(opened, item)
        _decide(opened, item)
        return
    view = _show_station(opened, item.station, item)
    if view is not None and isinstance(view.result, Estimate):
        show_comparison(view, view.result)
    elif view is not None and isinstance(view.result, Refusal):
        show_refusal(view.result)
    _decide(opened, item)
    assessment = cached_assessment(opened)
    if view is not None and isinstance(view.result, Estimate):
        left, right = st.columns(2, gap="large")
        with left, show_errors():
            show_budget(view.result)
        with right, show_errors():
            show_history(assessment, item.station)
    else:
        with show_errors():
            show_history(assessment, item.station)
    show_entries(opened, view, item.station)
    show_places(opened, assessment, item.station)


def _show_findings(item: ReviewItem) -> None:
    for one in item.findings:
        finding = one.finding
        words = as_typed(f"{', '.join(finding.where)}: {finding.seen}")
        innocent = (
            f"  \nPossible innocent cause: {as_typed(finding.innocent)}" if finding.innocent else ""
        )
        st.warning(f"{words}  \n{as_typed(finding.remedy)}{innocent}", icon=":material/visibility:")
        if one.settled_by and item.station is None:
            st.info(
                f"{as_typed(one.settled_how)} — {as_typed(one.settled_by)}, "
                f"{one.settled_at[:16].replace('T', ' ')} UTC",
                icon=":material/history:",
            )


def _show_decision(item: ReviewItem) -> None:
    """Show what was decided about the station, and whether it still holds."""
    last = item.decision
    if last is None:
        return
    why = f": {as_typed(last.why)}" if last.why else ""
    decided = f"{last.state} by {as_typed(last.who)}, {last.at[:16].replace('T', ' ')} UTC{why}"
    if last.stands:
        more = " It waits for the inspector." if last.back else ""
        st.info(f"{decided[:1].upper()}{decided[1:]}.{more}", icon=":material/history:")
    else:
        st.warning(
            f"A reading or a photograph of this station has changed since it was {decided}. "
            "Look at it anew.",
            icon=":material/update:",
        )


def _decide(opened: OpenInspection, item: ReviewItem) -> None:
    key = f"why {opened.inspection.identity} {item.name}"
    # a form, so that a reason counts as soon as it is typed, also when a key is pressed next
    with st.form(f"decide {key}", border=False, enter_to_submit=False):
        st.text_input(
            "Reason",
            key=key,
            placeholder="needed to send back or to overrule",
            help="What the inspector should do, or why the decision is another one. It stands "
            "in the record beside your name.",
        )
        with st.container(horizontal=True):
            for words, decision, letter, icon in (
                ("Accept", "accepted", "A", ":material/check:"),
                ("Send back", "sent back", "B", ":material/undo:"),
                ("Overrule", "overruled", "O", ":material/gavel:"),
            ):
                st.form_submit_button(
                    words,
                    shortcut=f"Alt+{letter}",
                    icon=icon,
                    type="primary" if decision == "accepted" else "secondary",
                    disabled=item.decided != (decision == "overruled"),
                    help="Turns the decision of somebody else round, with a reason: what was "
                    "accepted goes back to the inspector, what was sent back stands as it is."
                    if decision == "overruled"
                    else None,
                    on_click=_take_decision,
                    args=(opened, item, decision, key),
                )
            st.form_submit_button(
                "Next",
                shortcut="Alt+N",
                icon=":material/arrow_forward:",
                on_click=_select_next,
                args=(opened, item),
            )
    with st.container(key="keys"):  # not shown where there are fingers instead
        st.caption(f":material/keyboard: {KEYS}")


def _take_decision(opened: OpenInspection, item: ReviewItem, decision: Decision, key: str) -> None:
    """Keep a decision before the screen is drawn anew, so that it is drawn only once."""
    why = str(st.session_state.get(key, ""))
    with defer_errors():
        save_decision(get_record(), opened, item, decision, by=user_name(), why=why)
        flash_success(f"{item.name}: {decision}.")
        st.session_state[key] = ""
        with suppress(RecordError):  # the next is only looked up; the decision is kept
            _select_next(opened)


def _select_next(opened: OpenInspection, after: ReviewItem | None = None) -> None:
    """Take up the next undecided; after a certain one, the next behind it."""
    identity = opened.inspection.identity
    now = get_record().inspection(identity) if after is None else opened
    names = [item.name for item in review_queue(now) if not item.settled]
    if after is not None:
        # with all decided, "next" still goes from station to station
        names = names or [one.name for one in (*review_queue(now), *stations_without_findings(now))]
        if after.name in names:
            names = names[names.index(after.name) + 1 :] + names[: names.index(after.name)]
    if names:
        st.session_state[f"next {identity}"] = names[0]  # taken up before the list is drawn


def _show_station(opened: OpenInspection, station: int, item: ReviewItem) -> StationView | None:
    views = station_views(opened, cached_assessment(opened), station)
    if not views:
        st.info(
            f"Station {station} has no photograph; its readings can't be compared with anything.",
            icon=":material/no_photography:",
        )
        return None
    directions = [view.view_deg for view in views]
    first = directions.index(item.view_deg) if item.view_deg in directions else 0
    chosen = first
    if len(views) > 1:
        chosen = st.radio(
            "Direction",
            range(len(views)),
            index=first,
            key=f"direction {opened.inspection.identity} {station}",
            format_func=lambda at: _view_name(views[at]),
            horizontal=True,
            help="The two photographs at right angles, as their cards say.",
        )
    view = views[chosen]
    key = f"{opened.inspection.identity} {station} {view.view_deg} {view.result.at_mm}"
    with show_errors():
        photograph = photograph_of(opened, view.result)
        if photograph is not None:
            show_photograph(photograph, view, key=key)
        else:
            st.info("The photograph itself is not in the record; only what it gave is.")
    return view


def _view_name(view: StationView) -> str:
    at = f", at {view.result.at_mm:g} mm" if view.result.at_mm else ""
    return f"{view.view_deg}°{at} {'' if isinstance(view.result, Estimate) else '(refused)'}"


def _show_lone_photograph(opened: OpenInspection, item: ReviewItem) -> None:
    """Show the photographs that something belonging to no single station is about."""
    finding = item.findings[0].finding
    named = {*finding.about, *finding.where}
    for photograph in opened.photographs:
        mine = [result for result in opened.results if result.photo_sha256 == photograph.sha256]
        if mine and named & {photograph.sha256, photograph.name}:
            with show_errors():
                show_photograph(
                    photograph, StationView(0, mine[0], None), key=f"lone {photograph.sha256}"
                )


def _warm_up(opened: OpenInspection, still: list[ReviewItem], now: ReviewItem | None) -> None:
    """Make the next station's pictures and charts while this one is looked at."""
    following = next((one for one in still if now is None or one.name != now.name), None)
    if following is None or following.station is None:
        return
    mine = [result for result in opened.results if result.station == following.station]
    with show_errors():
        for result in mine:
            photograph = photograph_of(opened, result)
            if photograph is not None:
                pictures.make_ready(photograph, result)
        estimates = [one for one in mine if isinstance(one, Estimate)]
        make_ready(cached_assessment(opened), following.station, estimates)


inspection = page_header("Review")
if inspection is not None:
    with show_errors():
        _review(inspection)
