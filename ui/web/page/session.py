"""The record, the current user's name and the selected inspection, for all pages.

Pages keep nothing of weight themselves: what must outlive a click stands in the record, what is
dear to work out is cached by the record's own revision numbers or by a photograph's hash.
"""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from inspection.assessment import Assessment
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record
from inspection.record.views import OpenInspection, Summary
from ui.services.access.roles import AccessError, Person
from ui.services.assess_record import assess_recorded
from ui.services.own_limits import own_rules
from ui.web.page.address import address, show_inspection
from ui.web.page.login import authorized_user, current_user, data_folder

SELECTED = "selected inspection"
RECORD = "ROPE_PHOTO_RECORD"  # where `ropephoto page` says which record is meant
NOT_THERE = (
    "there is no inspection {!r} that you may see; choose one at the side, or ask a supervisor "
    "whether it is yours."
)


def record_location() -> str:
    """Return where the record is: a path or a URL."""
    return os.environ.get(RECORD) or str(data_folder() / "record.db")


@st.cache_resource
def _open(place: str) -> Record:
    named = RECORD in os.environ  # one's own record begins by itself, one that was named does not
    if not named:
        folder = Path(place).parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as wrong:
            raise RecordError(
                f"The folder {folder} of the record can't be made: {wrong.strerror}."
            ) from wrong
    return open_record(place, photographs=_store_of(place), create=not named)


def _store_of(place: str) -> str | None:
    photographs = os.environ.get("ROPE_PHOTO_STORE")
    if photographs is None and "://" in place:
        return str(data_folder() / "photographs")
    return photographs


def open_for_queue() -> Record | None:
    """Open the record for the measuring queue, by itself; None while there is none yet."""
    place = record_location()
    if "://" not in place and not Path(place).exists():
        return None
    return open_record(place, photographs=_store_of(place), create=False)


def get_record() -> Record:
    """Return the record; one for all sessions of this server."""
    return _open(record_location())


def user_name() -> str:
    """Return the name that stands beside whatever is entered here.

    Raises
    ------
    AccessError
        If the person may not use the screen that they are on, or not any more.
    """
    return authorized_user().name


def entering(identity: str) -> str:
    """Return the name that stands beside what is entered into an inspection now.

    Raises
    ------
    AccessError
        If the person may not, or the address names another inspection.
    """
    named = address().inspection
    if named and named != identity:
        raise AccessError(
            f"this page shows inspection {named!r} by now, and that was meant for {identity!r}: "
            "nothing was entered. Open the other one and enter it there."
        )
    return user_name()


# ---- the selected inspection --------------------------------------------------------------


def summaries() -> tuple[Summary, ...]:
    """Return the inspections that the person may see, the most urgent first."""
    return _ranked(current_user())


def visible() -> frozenset[str]:
    """Return the names of the inspections that the person may see."""
    who = current_user()
    return _visible(
        record_location(), get_record().last_event(), None if who.sees_all else who.name
    )


def settle_address() -> None:
    """Let an address that names no inspection name the one looked at last, or the most urgent."""
    if address().inspection:
        return
    last = st.session_state.get(SELECTED)
    if last in visible():
        show_inspection(last)
    elif known := summaries():
        show_inspection(known[0].identity)


def selected_inspection() -> str | None:
    """Return the inspection that the address names; None where the person may see none.

    Raises
    ------
    AccessError
        If the address asks for an inspection that is not there or not theirs to see; which of
        the two is not told.
    """
    asked = address().inspection
    if asked and asked not in visible():
        st.query_params.clear()
        raise AccessError(NOT_THERE.format(asked))
    settle_address()
    named = address().inspection or None
    st.session_state[SELECTED] = named
    return named


def select_inspection(identity: str) -> None:
    """Make an inspection the one that the pages show: the address names it."""
    st.session_state[SELECTED] = identity
    show_inspection(identity)


def load_inspection(identity: str) -> OpenInspection:
    """Return an inspection as it stands now.

    Raises
    ------
    AccessError
        If it is not the person's to see.
    """
    require_access(identity, current_user())
    return _loaded(record_location(), identity, get_record().revisions(identity))


@st.cache_resource(max_entries=128, show_spinner=False)
def _loaded(place: str, identity: str, revisions: tuple[int, ...]) -> OpenInspection:
    del place, revisions  # they are the key: after any change it is loaded anew
    return get_record().inspection(identity)


def require_access(identity: str, who: Person) -> None:
    """Raise AccessError if an inspection is not a person's to see."""
    if who.sees_all:
        return
    if identity not in _visible(record_location(), get_record().last_event(), who.name):
        raise AccessError(NOT_THERE.format(identity))


@st.cache_resource(max_entries=64, show_spinner="Assessing the inspection ...")
def _assessment(place: str, identity: str, entries: int, before: tuple[str, ...]) -> Assessment:
    del place, entries, before  # they are the key: other entries are another assessment
    return assess_recorded(get_record(), identity)


def cached_assessment(opened: OpenInspection) -> Assessment:
    """Return all that can be said about an inspection as it stands, worked out once.

    A decision changes no entry, so the next station is not kept waiting for a new assessment.
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
    """Return what tells an inspection's entries from any others."""
    opened = _loaded(place, identity, revisions)
    gauges = tuple(get_record().gauges())  # those of earlier inspections too
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
    del place, last_event  # they are the key: after any event it is listed anew
    return tuple(get_record().ranked(person=person))
