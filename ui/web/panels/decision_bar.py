"""The reviewer's decisions about a station: a bar that stays in view, one key for each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress

import streamlit as st

from inspection.record.errors import RecordError
from inspection.record.views import AskedAgain, OpenInspection, StationState
from ui.presenters.review.decisions import (
    ask_again,
    correct_slip,
    reading_of,
    save_decision,
    set_aside,
    slips,
)
from ui.presenters.review.queue import ReviewItem, review_queue, stations_without_findings
from ui.presenters.review.station import StationView
from ui.text import as_typed, capitalised
from ui.web.components.focus import focus_field
from ui.web.page.address import show_place
from ui.web.page.clock import local
from ui.web.page.layout import defer_errors, flash_success, show_errors
from ui.web.page.rescreen import rescreen
from ui.web.page.session import entering, get_record
from ui.web.panels.photographs.manual_edges import edges_by_hand
from ui.web.panels.station import photograph_of
from vision.results import Estimate

WHOLE = "The inspection"  # the strip's last entry
KEYS = "1 to 6: decide. N and P: next and previous. 0 and 9: direction. Esc: cancel a question."


def show_bar(
    opened: OpenInspection,
    item: ReviewItem,
    views: Sequence[StationView],
    view: StationView | None,
) -> None:
    """Show the decisions about a station, or the question that one of them raises.

    Parameters
    ----------
    opened : OpenInspection
        The inspection.
    item : ReviewItem
        The station, or a finding that belongs to no station.
    views : sequence of StationView
        Its photographs.
    view : StationView or None
        The direction to which the decisions apply.
    """
    asking = st.session_state.get(_asking(opened))
    with st.container(key="decisions"):
        _show_decision(item)
        if asking is not None and asking[0] == item.key:
            _ask(opened, item, view, asking[1])
        else:
            _buttons(opened, item, views, view)


def _asking(opened: OpenInspection) -> str:
    return f"asking {opened.inspection.identity}"


def _show_decision(item: ReviewItem) -> None:
    """Show what was decided about the station, and whether the decision still stands."""
    last = item.decision
    if last is None:
        for one in item.findings:
            if one.settled_by and item.station is None:
                st.caption(
                    f":material/history: {as_typed(one.settled_how)} — {as_typed(one.settled_by)}"
                )
        return
    why = f": {as_typed(last.why)}" if last.why else ""
    decided = f"{last.state} by {as_typed(last.who)}, {local(last.at)}{why}"
    if last.stands:
        more = " Waiting for the inspector." if last.back else ""
        st.caption(f":material/history: {capitalised(decided)}.{more}")
    else:
        st.warning(
            f"A reading or photograph of this station has changed since it was {decided}. "
            "Review it again.",
            icon=":material/update:",
        )


def _buttons(
    opened: OpenInspection,
    item: ReviewItem,
    views: Sequence[StationView],
    view: StationView | None,
) -> None:
    one = None if view is None else view.comparison
    estimate = None if view is None or not isinstance(view.result, Estimate) else view.result
    logged = None if one is None else reading_of(opened, one)
    meant = []
    if logged is not None and one is not None:
        meant = slips(logged.reading, one, {found.finding.code for found in item.findings})
    at = f" {view.view_deg}°" if view is not None else ""
    stands = item.decided and not item.with_inspector
    compared = any(one.comparison for one in views)
    with st.container(horizontal=True, vertical_alignment="center"):
        if view is not None and len({one.view_deg for one in views}) > 1:
            _directions(item, views, view)
        _button(
            "Overrule" if item.with_inspector else "Accept reading" if compared else "Accept",
            "1",
            lambda: _accept(opened, item),
            disabled=stands,
            help="The log stays as it is. A reason is required where the figures disagree.",
        )
        if item.station is not None:
            _button(
                f"Slip: correct to {meant[0].text}" if meant else "Slip: correct to …",
                "2",
                lambda: _open(opened, item, "slip"),
                disabled=logged is None,
                help="Corrects the logged reading where the photograph shows a slip.",
            )
            _button(
                f"Read again{at}",
                "3",
                lambda: _read_again(opened, item, view),
                help="Sends the station back: the inspector gets a field for it under Stations.",
            )
            _button(
                "Correct an edge by hand",
                "4",
                lambda: _open(opened, item, "edge"),
                disabled=estimate is None or estimate.marks is None,
                help="Where grease, a loose wire or a shadow was mistaken for the rope.",
            )
            _button(
                "Set photograph aside",
                "5",
                lambda: _open(opened, item, "aside"),
                disabled=view is None,
                help="It stays in the record with the reason, but no longer counts.",
            )
        _button(
            "Send back",
            "6",
            lambda: _open(opened, item, "back"),
            help="Asks the inspector for something else, in your own words.",
        )
        if stands:
            _button(
                "Overrule",
                "O",
                lambda: _open(opened, item, "overruled"),
                help="Reverses another person's decision, with a reason.",
            )
    with st.container(key="keys"):  # hidden on touch screens
        st.caption(f":material/keyboard: {KEYS}")


def show_steps(opened: OpenInspection, item: ReviewItem | None) -> None:
    """Draw the buttons for the previous and the next station."""
    for words, key, back in (("Previous", "P", True), ("Next", "N", False)):
        st.button(
            words,
            key=f"decide {key}",
            shortcut=key,
            type="tertiary",
            on_click=select_next,
            args=(opened, item),
            kwargs={"back": back},
        )


def _directions(item: ReviewItem, views: Sequence[StationView], view: StationView) -> None:
    """Draw the buttons for the direction to which the decisions apply."""
    for degrees in sorted({one.view_deg for one in views}):
        st.button(
            f"{degrees}°",
            key=f"about {degrees}",
            shortcut={0: "0", 90: "9"}.get(degrees),
            type="primary" if degrees == view.view_deg else "tertiary",
            on_click=show_place,
            args=(item.station, degrees),
            help="The direction to which these decisions apply.",
        )


def _button(
    words: str,
    key: str,
    act: Callable[[], None],
    *,
    disabled: bool = False,
    help: str | None = None,
) -> None:
    st.button(
        words,
        key=f"decide {key}",
        shortcut=key,
        on_click=act,
        disabled=disabled,
        help=help,
        width="content",
    )


# ---- decisions made at once, and those that ask something first ------------------------------


def _open(opened: OpenInspection, item: ReviewItem, what: str) -> None:
    turn = st.session_state.get("turn of asking", 0) + 1
    st.session_state["turn of asking"] = turn
    st.session_state[_asking(opened)] = (item.key, what)


def _close(opened: OpenInspection) -> None:
    st.session_state.pop(_asking(opened), None)


def _accept(opened: OpenInspection, item: ReviewItem) -> None:
    if item.with_inspector:
        _open(opened, item, "overruled")
    elif item.owes_reason:
        _open(opened, item, "accepted")
    else:
        _decide(opened, item, "accepted", "")


def _read_again(opened: OpenInspection, item: ReviewItem, view: StationView | None) -> None:
    with defer_errors():
        assert item.station is not None
        request = AskedAgain(item.station, "reading", None if view is None else view.view_deg)
        by = entering(opened.inspection.identity)
        ask_again(get_record(), opened, item, request, by=by)
        flash_success(f"{item.name}: sent back to be read again.")
        with suppress(RecordError):
            _select_waiting(opened)


def _decide(opened: OpenInspection, item: ReviewItem, decision: StationState, why: str) -> None:
    """Save a decision before the screen is redrawn, so that it is drawn only once."""
    with defer_errors():
        by = entering(opened.inspection.identity)
        save_decision(get_record(), opened, item, decision, by=by, why=why)
        word = "accepted" if decision == "accepted" else decision
        flash_success(f"{item.name}: {word}.")
        _close(opened)
        with suppress(RecordError):  # this only looks up the next item; the decision is saved
            _select_waiting(opened)


QUESTIONS: dict[str, tuple[str, str, StationState | None]] = {
    "accepted": ("Why accept it although it disagrees?", "Accept", "accepted"),
    "overruled": ("Why overrule the decision?", "Overrule", "overruled"),
    "back": ("What should the inspector do?", "Send back", "sent back"),
    "aside": ("What is wrong with the photograph?", "Set it aside", None),
}
HINTS = {
    "accepted": "e.g. checked at the rope: a raised wire under the jaw",
    "overruled": "recorded with your name",
    "back": "recorded with your name",
    "aside": "e.g. the card had slipped",
}


def _ask(opened: OpenInspection, item: ReviewItem, view: StationView | None, what: str) -> None:
    if what == "edge":
        _edge(opened, view)
    elif what == "slip":
        _ask_slip(opened, item, view)
    else:
        _ask_why(opened, item, view, what)


def _ask_why(opened: OpenInspection, item: ReviewItem, view: StationView | None, what: str) -> None:
    label, words, decision = QUESTIONS[what]
    key = f"why {what} {opened.inspection.identity} {item.key}"

    def act() -> None:
        why = str(st.session_state.get(key, ""))
        if decision is not None:
            _decide(opened, item, decision, why)
            return
        with defer_errors():
            assert view is not None
            by = entering(opened.inspection.identity)
            set_aside(get_record(), opened, view.result, by=by, why=why)
            rescreen(opened.inspection.identity)
            flash_success(f"{view.result.photo_name} was set aside.")
            _close(opened)

    with st.form(f"ask {key}", border=False):
        st.text_input(
            label,
            key=key,
            placeholder=HINTS[what],
            help="Recorded with your name, and shown in the supervisor's list.",
        )
        with st.container(horizontal=True):
            st.form_submit_button(words, type="primary", on_click=act)
            st.form_submit_button(
                "Back to the decisions", shortcut="Esc", on_click=lambda: _close(opened)
            )
    _focus(label)


def _ask_slip(opened: OpenInspection, item: ReviewItem, view: StationView | None) -> None:
    one = None if view is None else view.comparison
    logged = None if one is None else reading_of(opened, one)
    if one is None or logged is None:
        _close(opened)
        return
    meant = slips(logged.reading, one, {found.finding.code for found in item.findings})
    key = f"slip {opened.inspection.identity} {item.key} {one.view_deg}"

    def act() -> None:
        with defer_errors():
            by = entering(opened.inspection.identity)
            text = str(st.session_state.get(key, ""))
            why = str(st.session_state.get(f"{key} why", ""))
            done = correct_slip(get_record(), opened, one, text, by=by, why=why)
            rescreen(opened.inspection.identity)
            flash_success(done)
            _close(opened)

    label = f"Correct {logged.reading.typed} at {one.view_deg}° to"
    with st.form(f"ask {key}", border=False):
        left, right = st.columns([1, 2])
        left.text_input(
            label,
            value=meant[0].text if meant else "",
            key=key,
            help="What the gauge must have shown. Only a figure that the photograph supports is "
            "accepted; for anything else, ask for the reading again.",
        )
        right.text_input(
            "Remark",
            key=f"{key} why",
            placeholder=meant[0].words if meant else "",
            help="Recorded with the correction.",
        )
        with st.container(horizontal=True):
            st.form_submit_button("Correct it", type="primary", on_click=act)
            st.form_submit_button(
                "Back to the decisions", shortcut="Esc", on_click=lambda: _close(opened)
            )
    _focus(label)


def _edge(opened: OpenInspection, view: StationView | None) -> None:
    if view is None or not isinstance(view.result, Estimate) or view.result.marks is None:
        _close(opened)
        return
    estimate = view.result
    with show_errors():
        photograph = photograph_of(opened, estimate)
        if photograph is None:
            raise ValueError("the photograph is not in the record, so its edges can't be moved.")
        edges_by_hand(opened, photograph, estimate)
    st.button("Back to the decisions", shortcut="Esc", on_click=lambda: _close(opened))


def _focus(label: str) -> None:
    turn = str(st.session_state.get("turn of asking", 0))
    focus_field(label, turn=turn, key="focus of the question")


# ---- from station to station ----------------------------------------------------------------


def all_items(opened: OpenInspection) -> list[ReviewItem]:
    """Return everything to decide: the most doubtful first, then the stations that agree."""
    return [*review_queue(opened), *stations_without_findings(opened)]


def select_next(opened: OpenInspection, after: ReviewItem | None, *, back: bool = False) -> None:
    """Select the next or previous item; after the whole inspection comes the first."""
    keys = [*(item.key for item in all_items(opened)), WHOLE]
    here = keys.index(WHOLE if after is None else after.key)
    _select(opened, keys[(here + (-1 if back else 1)) % len(keys)])


def _select_waiting(opened: OpenInspection) -> None:
    """Select the next waiting item, from the record as it is after the decision just saved."""
    items = all_items(get_record().inspection(opened.inspection.identity))
    _select(opened, next((item.key for item in items if item.waits), WHOLE))


def _select(opened: OpenInspection, key: str) -> None:
    # applied at the next run, before the list is drawn
    st.session_state[f"next {opened.inspection.identity}"] = key
