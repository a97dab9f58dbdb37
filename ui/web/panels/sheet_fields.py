"""The sheet on the page: typed values are entered first, then the sheet is drawn."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from inspection.model.names import same_person
from inspection.record.views import OpenInspection
from ui.presenters.sheet.entry import Witness, enter_waiting, read_draft, take_typed
from ui.presenters.sheet.reading_form import change_words
from ui.presenters.sheet.station_sheet import StationSheet, sheet_of
from ui.text import as_typed
from ui.web.components.sheet_view import send_thumbnails, show_sheet, typed_page
from ui.web.page import pictures
from ui.web.page.address import address, show_place
from ui.web.page.login import current_user
from ui.web.page.rescreen import mark_pending
from ui.web.page.session import cached_assessment, entering, get_record, load_inspection
from ui.web.panels.gauge import chosen_gauge
from vision.results import Result

SECOND, BLIND = "second witness", "blind entry"


def enter_typed() -> None:
    """Enter what was typed in the browser.

    This runs before anything is drawn, so that the page shows what the record holds. It runs on
    every screen, because following a link also leaves a field.
    """
    identity = address().inspection
    if not any(str(key).startswith(f"sheet {identity} ") for key in st.session_state):
        return  # no sheet was open in this session
    opened, record = load_inspection(identity), get_record()
    who, entered = witness(opened), 0
    draft = read_draft(record, opened, who.name)
    typed = typed_page(_key(identity, who))
    done = draft.done.get(typed.page, {})
    if any(one.seq > done.get(one.name, 0) for one in typed.fields):
        entering(identity)
        entered += take_typed(record, identity, typed.page, typed.fields, who)
    elif who.gauge and draft.texts:
        entered += enter_waiting(record, identity, who)
    if entered:
        mark_pending(identity)  # the page header screens it


def witness(opened: OpenInspection) -> Witness:
    """Return who is typing, with which gauge, and whether as a second reader."""
    return Witness(current_user().name, chosen_gauge(opened), bool(st.session_state.get(SECOND)))


def draw_sheet(opened: OpenInspection) -> StationSheet:
    """Draw the sheet; if a photograph was clicked, make the address name it."""
    who, identity = witness(opened), opened.inspection.identity
    draft = read_draft(get_record(), opened, who.name)
    assessment = cached_assessment(opened)
    sheet = sheet_of(opened, assessment, draft, who, blind=bool(st.session_state.get(BLIND)))
    if not who.name:
        sheet = replace(sheet, locked=True)
    send_thumbnails(_thumbnails(opened), key=f"thumbnails {identity}")
    place = show_sheet(
        sheet,
        draft,
        inspection=identity,
        key=_key(identity, who),
        go=address().station,
    )
    if place:
        station, view = place.split("/")
        show_place(int(station), int(view))
        st.rerun()
    return sheet


def show_switches(opened: OpenInspection) -> None:
    """Offer to enter independent second readings, and to type blind."""
    first = sorted({reading.person for reading in opened.readings})
    others = [person for person in first if not same_person(person, current_user().name)]
    st.toggle(
        "Enter independent second readings",
        key=SECOND,
        persist_state="session",
        on_change=_second_reader_types_blind,
        disabled=not first,
        help="Your readings are recorded beside the existing ones, in fields of their own"
        + (f". The first readings are by {', '.join(others)}." if others else "."),
    )
    st.toggle(
        "Hide figures until I enter my reading",
        key=BLIND,
        persist_state="session",
        help="Hides the photograph's figure and other people's readings until yours is in the "
        "record. The record notes that you read blind.",
    )


def show_late_change(identity: str) -> None:
    """Show a change that was not saved until the user has dealt with it."""
    unsaved = get_record().draft(identity, by=current_user().name, kind="unsaved")
    if unsaved is None:
        return
    st.warning(
        as_typed(
            "One of your changes was not saved because somebody else changed the inspection first: "
            f"{change_words(unsaved.data)}. If it is still right, make it again; then dismiss it "
            "here."
        ),
        icon=":material/history:",
    )
    if st.button("Dismiss this change", help="The record stays as it is."):
        get_record().drop_draft(identity, by=current_user().name, kind="unsaved")
        st.rerun()


def _second_reader_types_blind() -> None:
    st.session_state[BLIND] = bool(st.session_state.get(SECOND))


def _key(identity: str, who: Witness) -> str:
    return f"sheet {identity} {who.name}{' second' if who.second else ''}"


def _thumbnails(opened: OpenInspection) -> dict[str, bytes]:
    results: dict[str, Result] = {}
    for result in opened.results:
        results.setdefault(result.photo_sha256, result)
    made = {
        photograph.sha256: pictures.thumbnail(photograph, results[photograph.sha256])
        for photograph in opened.photographs
        if photograph.sha256 in results
    }
    return {name: data for name, data in made.items() if data}
