"""The one person of a machine without logins: their data folder, and the name they gave."""

from __future__ import annotations

import getpass
import json
import os
from pathlib import Path

import streamlit as st
from platformdirs import user_data_path

from inspection.record_plain import checked_name

FILE = "ROPE_PHOTO_PERSON_FILE"


def data_folder() -> Path:
    """Return the folder of this user's own record; it is made when it is first needed."""
    return user_data_path("rope-photo-check", appauthor=False)


def own_name() -> str:
    """Return the name that was given on this machine, else the name of the account."""
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
    file = _file()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps({"person": told}), encoding="utf-8")
    except OSError:
        return  # the name holds for this session all the same


def _file() -> Path:
    return Path(os.environ.get(FILE) or data_folder() / "person.json")


def _remembered() -> str:
    try:
        told = json.loads(_file().read_text(encoding="utf-8"))["person"]
        return checked_name(str(told), "person")
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        return checked_name(getpass.getuser(), "person")
    except (OSError, KeyError, ImportError, ValueError):
        return "somebody"
