"""Which phones may add to which inspection: short-lived tokens, kept as hashes on the server.

A token is for one inspection and one person. It comes to the phone behind the ``#`` of a link in a
QR code, which no browser sends on by itself, and back in a header; no cookie, so another site's
page can't use it. Whoever has the link has what it allows: photographs and readings of that
inspection, until it ends or is taken back.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from ui.services.logins import LOGINS_FILE

LONGEST_S = 4 * 3600
TOKEN_BYTES = 16  # 128 bits; OWASP ASVS 4.0, 3.2.2 asks for 64. A longer one makes a finer QR code
TOKEN = re.compile(r"[A-Za-z0-9_-]{22}")


@dataclass(frozen=True, slots=True)
class Grant:
    """What a token allows.

    Parameters
    ----------
    record : str
        Where the record is.
    inspection : str
        The inspection.
    person, email : str
        Whose name stands beside what the phone adds; no e-mail address without a team.
    print_set : str
        Card set on the photographs; empty where its print is not checked.
    ends : float
        When it ends, seconds since 1970.
    """

    record: str
    inspection: str
    person: str
    email: str
    print_set: str
    ends: float


def begin(grant: Grant) -> str:
    """Note a grant and return its token."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    row = (_hash(token), grant.record, grant.inspection, grant.person, grant.email)
    with _phones() as phones:
        phones.execute("DELETE FROM phones WHERE ends < ?", (time.time(),))
        phones.execute(
            "INSERT INTO phones VALUES (?, ?, ?, ?, ?, ?, ?)", (*row, grant.print_set, grant.ends)
        )
    return token


def grant_of(token: str) -> Grant | None:
    """Return what a token allows; None where it is none, has ended or was taken back."""
    if TOKEN.fullmatch(token) is None:
        return None
    query = (
        "SELECT record, inspection, person, email, print_set, ends FROM phones "
        "WHERE token = ? AND ends > ?"
    )
    with _phones() as phones:
        row = phones.execute(query, (_hash(token), time.time())).fetchone()
    return None if row is None else Grant(*row)


def live(record: str, inspection: str) -> int:
    """Return how many tokens an inspection has that have not ended."""
    if not Path(os.environ.get(LOGINS_FILE, "")).is_file():
        return 0
    query = "SELECT count(*) FROM phones WHERE record = ? AND inspection = ? AND ends > ?"
    with _phones() as phones:
        return int(phones.execute(query, (record, inspection, time.time())).fetchone()[0])


def take_back(record: str, inspection: str) -> None:
    """End all tokens of an inspection."""
    with _phones() as phones:
        phones.execute(
            "DELETE FROM phones WHERE record = ? AND inspection = ?", (record, inspection)
        )


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@contextmanager
def _phones() -> Iterator[sqlite3.Connection]:
    file = Path(os.environ[LOGINS_FILE])
    file.parent.mkdir(parents=True, exist_ok=True)
    if not file.exists():
        file.touch(mode=0o600)
    with closing(sqlite3.connect(file, timeout=10)) as connection, connection:
        connection.execute(
            "CREATE TABLE IF NOT EXISTS phones (token TEXT PRIMARY KEY, record TEXT, "
            "inspection TEXT, person TEXT, email TEXT, print_set TEXT, ends REAL)"
        )
        yield connection
