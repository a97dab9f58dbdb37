"""The one place that opens the record for the pages, and knows who sits before them.

Pages keep nothing of weight themselves: what must outlive a click stands in the record, what is
dear to work out is cached by the record's own revision numbers or by a photograph's hash.
"""

from __future__ import annotations

import getpass
import json
import os
import unicodedata
from pathlib import Path

import streamlit as st
from platformdirs import user_data_path

from inspection.case import Judgement, judge_log
from inspection.record import OpenInspection, Record, Summary, open_record
from inspection.record_plain import checked_name
from ui.record_log import log_of

PLACE = "ROPE_PHOTO_RECORD"  # where `ropephoto page` says which record is meant
PEOPLE = "ROPE_PHOTO_PERSON_FILE"


def data_folder() -> Path:
    """Return the folder of this user's own record; it is made when it is first needed."""
    return user_data_path("rope-photo-check", appauthor=False)


def record_place() -> str:
    """Return where the record is: a path or a URL."""
    return os.environ.get(PLACE) or str(data_folder() / "record.db")


@st.cache_resource
def _open(place: str) -> Record:
    if "://" not in place:
        Path(place).expanduser().parent.mkdir(parents=True, exist_ok=True)
    photographs = os.environ.get("ROPE_PHOTO_STORE")
    if photographs is None and "://" in place:
        photographs = str(data_folder() / "photographs")
    return open_record(place, photographs=photographs)


def the_record() -> Record:
    """Return the record; one for all sessions of this server."""
    return _open(record_place())


# ---- people -------------------------------------------------------------------------------


def person() -> str:
    """Return the name that stands beside whatever is entered here."""
    if "person" not in st.session_state:
        st.session_state["person"] = _remembered()
    return str(st.session_state["person"])


def become(name: str) -> None:
    """Take another name, and remember it on this machine.

    Raises
    ------
    ValueError
        If it can't stand in a record.
    """
    told = checked_name(" ".join(name.split()), "person")
    st.session_state["person"] = told
    file = _person_file()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps({"person": told}), encoding="utf-8")
    except OSError:
        return  # the name holds for this session all the same


def _person_file() -> Path:
    return Path(os.environ.get(PEOPLE) or data_folder() / "person.json")


def _remembered() -> str:
    try:
        told = json.loads(_person_file().read_text(encoding="utf-8"))["person"]
        return checked_name(str(told), "person")
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        return checked_name(getpass.getuser(), "person")
    except (OSError, KeyError, ImportError, ValueError):
        return "somebody"


def same_person(one: str, other: str) -> bool:
    """Say whether two names are one person's, as the record compares them."""
    return _plain(one) == _plain(other)


def _plain(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


# ---- the inspection at hand ---------------------------------------------------------------


def summaries() -> list[Summary]:
    """Return all inspections, those that most deserve a look first."""
    return the_record().ranked()


def at_hand() -> str | None:
    """Return the inspection that the pages are about; None in an empty record."""
    known = [one.identity for one in summaries()]
    chosen = st.query_params.get("inspection") or st.session_state.get("at_hand")
    if chosen not in known:
        chosen = known[0] if known else None
    st.session_state["at_hand"] = chosen
    return chosen


def take_up(identity: str) -> None:
    """Make an inspection the one that the pages are about."""
    st.session_state["at_hand"] = identity
    st.query_params.pop("inspection", None)


def opened(identity: str) -> OpenInspection:
    """Return an inspection as it stands now."""
    return the_record().inspection(identity)


@st.cache_resource(max_entries=64, show_spinner="Judging the inspection ...")
def _judged(place: str, identity: str, revision: int, before: tuple[int, ...]) -> Judgement:
    del place, revision, before  # they are the key: another revision is another judgement
    return judge_log(log_of(the_record(), identity))


def judged(there: OpenInspection) -> Judgement:
    """Return all that can be said about an inspection as it stands, worked out once."""
    before = tuple(
        (the_record().inspection(one.identity).revision)
        for one in the_record().ranked(rope=there.rope.identity)
        if (one.on, one.identity) < (there.inspection.on, there.inspection.identity)
    )
    return _judged(record_place(), there.inspection.identity, there.revision, before)
