"""Environment variables that the program reads, and the user's data folder."""

from __future__ import annotations

import os
from pathlib import Path

RECORD = "ROPE_PHOTO_RECORD"  # the record that the pages open
STORE = "ROPE_PHOTO_STORE"  # where its photographs are
PERSON = "ROPE_PHOTO_PERSON"  # the name under which commands change a record
LETTERHEAD = "ROPE_PHOTO_LETTERHEAD"  # the letterhead of the pages' reports
# files that replace those in the data folder
CAMERAS_FILE = "ROPE_PHOTO_CAMERAS"
COLUMNS_FILE = "ROPE_PHOTO_COLUMNS"
LOGINS_FILE = "ROPE_PHOTO_LOGINS"
NAME_FILE = "ROPE_PHOTO_PERSON_FILE"
# set by `ropephoto page` for the server that it starts
TEAM_FILE = "ROPE_PHOTO_TEAM"  # the team file; without one nobody logs in
ORIGINS = "ROPE_PHOTO_ORIGINS"  # addresses of the pages, e.g. https://ropes.example.org
PHONES = "ROPE_PHOTO_PHONES"  # addresses for phones at the rope; empty if phones have no access
ONLY_HERE = "ROPE_PHOTO_ONLY_HERE"  # if set, only this machine can open pages other than phones'
TOKEN = "ROPE_PHOTO_TOKEN"  # of a single user on one machine; empty if everybody is admitted


def refuse_misspelt_names() -> None:
    """Refuse variables with a misspelt prefix: unread, they could leave the wrong record open.

    Raises
    ------
    ValueError
        If there is one; the message says how it is spelt.
    """
    for name in sorted(os.environ):
        if name.startswith("ROPEPHOTO_"):
            right = name.replace("ROPEPHOTO_", "ROPE_PHOTO_", 1)
            raise ValueError(f"the environment variable {name} has no effect: name it {right}.")


def store_of(where: str) -> str | None:
    """Return the store of a record's photographs that the environment names; None if none does.

    It belongs to the pages' record and to records on a server, which have no store of their own;
    not to other files, such as a backup with its photographs beside it. If none is named, the pages
    keep the photographs of a record on a server in the user's data folder.
    """
    named = os.environ.get(STORE) or None
    of_pages = os.environ.get(RECORD) or str(data_folder() / "record.db")
    if "://" in where:
        kept = str(data_folder() / "photographs") if where == of_pages else None
        return named or kept
    return named if Path(where).resolve() == Path(of_pages).resolve() else None


def data_folder() -> Path:
    """Return the folder of this user's own files; it is created when first needed."""
    from platformdirs import user_data_path

    return user_data_path("rope-photo-check", appauthor=False)


def own_file(variable: str, name: str) -> Path:
    """Return a file of this user: the one that a variable names, or `name` in the data folder."""
    return Path(os.environ.get(variable) or data_folder() / name)
