"""The record, the current user's name and the selected inspection, for all pages.

Pages hold no state that matters: what must outlive a click is in the record, and expensive results
are cached by the record's revision numbers or by a photograph's hash.
"""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from inspection.assessment import Assessment
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record
from inspection.record.views import OpenInspection, Summary
from ui.environment import RECORD, data_folder, store_of
from ui.services.access.roles import AccessError, Person
from ui.services.assess_record import assess_recorded
from ui.services.own_limits import own_rules
from ui.web.page.address import address, show_inspection
from ui.web.page.login import authorized_user, current_user

SELECTED = "selected inspection"
NAMELESS = (
    "Enter your name in the sidebar first (» opens it on a phone): it is recorded with everything "
    "you enter."
)
NOT_THERE = (
    "there is no inspection {!r} that you can see. Choose one in the sidebar, or ask a supervisor "
    "whether it is assigned to you."
)


def record_location() -> str:
    """Return where the record is: a path or a URL."""
    return os.environ.get(RECORD) or str(data_folder() / "record.db")


@st.cache_resource
def _open(place: str) -> Record:
    named = RECORD in os.environ  # only the user's own record is created automatically
    if not named:
        folder = Path(place).parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as wrong:
            raise RecordError(
                f"The folder {folder} for the record can't be created: {wrong.strerror}."
            ) from wrong
    return open_record(place, photographs=store_of(place), create=not named)


def open_for_queue() -> Record | None:
    """Open the record separately for the measuring queue; None while there is none yet."""
    place = record_location()
    if "://" not in place and not Path(place).exists():
        return None
    return open_record(place, photographs=store_of(place), create=False)


def get_record() -> Record:
    """Return the record, which all sessions of this server share."""
    return _open(record_location())


def user_name() -> str:
    """Return the name under which entries are recorded.

    Raises
    ------
    AccessError
        If the user is not, or no longer, allowed to use the current screen.
    ValueError
        If they have not given their name.
    """
    name = authorized_user().name
    if not name:
        raise ValueError(NAMELESS)
    return name


def entering(identity: str) -> str:
    """Return the name under which an entry into an inspection is recorded.

    Raises
    ------
    AccessError
        If the user is not allowed to, or the address names another inspection.
    ValueError
        If they have not given their name.
    """
    named = address().inspection
    if named and named != identity:
        raise AccessError(
            f"this page now shows inspection {named!r}, but the entry was meant for {identity!r}: "
            "nothing was entered. Open that inspection and enter it there."
        )
    return user_name()


# ---- the selected inspection --------------------------------------------------------------


def summaries() -> tuple[Summary, ...]:
    """Return the inspections that the user is allowed to see, the most urgent first."""
    return _ranked(current_user())


def visible() -> frozenset[str]:
    """Return the names of the inspections that the user is allowed to see."""
    who = current_user()
    return _visible(
        record_location(), get_record().last_event(), None if who.sees_all else who.name
    )


def settle_address() -> None:
    """Make an address without an inspection name the last one shown, or the most urgent."""
    if address().inspection:
        return
    last = st.session_state.get(SELECTED)
    if last in visible():
        show_inspection(last)
    elif known := summaries():
        show_inspection(known[0].identity)


def selected_inspection() -> str | None:
    """Return the inspection that the address names; None if the user can see none.

    Raises
    ------
    AccessError
        If the address names an inspection that does not exist or is not theirs to see; the
        message does not say which.
    """
    requested = address().inspection
    if requested and requested not in visible():
        st.query_params.clear()
        raise AccessError(NOT_THERE.format(requested))
    settle_address()
    named = address().inspection or None
    st.session_state[SELECTED] = named
    return named


def select_inspection(identity: str) -> None:
    """Make an inspection the one shown on all pages, by naming it in the address."""
    st.session_state[SELECTED] = identity
    show_inspection(identity)


def load_inspection(identity: str) -> OpenInspection:
    """Return an inspection in its current state.

    Raises
    ------
    AccessError
        If the user is not allowed to see it.
    """
    require_access(identity, current_user())
    return _loaded(record_location(), identity, get_record().revisions(identity))


@st.cache_resource(max_entries=128, show_spinner=False)
def _loaded(place: str, identity: str, revisions: tuple[int, ...]) -> OpenInspection:
    del place, revisions  # cache key: reloaded after any change
    return get_record().inspection(identity)


def require_access(identity: str, who: Person) -> None:
    """Raise AccessError if a person is not allowed to see an inspection."""
    if who.sees_all:
        return
    if identity not in _visible(record_location(), get_record().last_event(), who.name):
        raise AccessError(NOT_THERE.format(identity))


@st.cache_resource(max_entries=64, show_spinner="Assessing the inspection ...")
def _assessment(place: str, identity: str, entries: int, before: tuple[str, ...]) -> Assessment:
    del place, entries, before  # cache key: other entries give another assessment
    return assess_recorded(get_record(), identity)


def cached_assessment(opened: OpenInspection) -> Assessment:
    """Return the assessment of an inspection in its current state, computed once.

    A decision changes no entry, so the next station does not wait for a new assessment.
    """
    identity = opened.inspection.identity
    entries = _entries(record_location(), identity, get_record().revisions(identity))
    before = tuple(
        f"{summary.identity} {summary.changed_at}"
        for summary in get_record().ranked(rope=opened.rope.identity)
        if (summary.on, summary.identity) < (opened.inspection.on, opened.inspection.identity)
    )
    return _assessment(record_location(), identity, entries, before)


@st.cache_resource(max_entries=128, show_spinner=False)
def _entries(place: str, identity: str, revisions: tuple[int, ...]) -> int:
    """Return a hash of everything that an inspection's assessment depends on."""
    opened = _loaded(place, identity, revisions)
    gauges = tuple(get_record().gauges())  # including those of earlier inspections
    limits = own_rules(get_record())
    return hash((opened.inspection, opened.rope, opened.logged, gauges, opened.results, limits))


@st.cache_resource(max_entries=64, show_spinner=False)
def _visible(place: str, last_event: int, person: str | None) -> frozenset[str]:
    return frozenset(summary.identity for summary in _listed(place, last_event, person))


def _ranked(who: Person) -> tuple[Summary, ...]:
    person = None if who.sees_all else who.name
    return _listed(record_location(), get_record().last_event(), person)


@st.cache_resource(max_entries=64, show_spinner=False)
def _listed(place: str, last_event: int, person: str | None) -> tuple[Summary, ...]:
    del place, last_event  # cache key: listed again after any event
    return tuple(get_record().ranked(person=person))
