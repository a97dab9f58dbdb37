"""Which phones can add to which inspection: short-lived tokens, kept as hashes on the server.

A token is for one inspection and one person. The phone gets it after the ``#`` of a link in a QR
code, which no browser sends, and returns it in a header. It is not a cookie, so another site's
page can't use it. Anybody with the link has what it allows, the photographs and readings of that
inspection, until the token ends or is revoked.
"""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
import time
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from ui.environment import LOGINS_FILE
from ui.services.access.logins import open_tokens, token_hash

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
        Who is recorded for what the phone adds; no e-mail address without a team.
    print_set : str
        Card set on the photographs; empty if its print is not checked.
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
    """Store a grant and return its token."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    row = (token_hash(token), grant.record, grant.inspection, grant.person, grant.email)
    with _phones() as phones:
        phones.execute("DELETE FROM phones WHERE ends < ?", (time.time(),))
        phones.execute(
            "INSERT INTO phones VALUES (?, ?, ?, ?, ?, ?, ?)", (*row, grant.print_set, grant.ends)
        )
    return token


def grant_of(token: str) -> Grant | None:
    """Return what a token allows; None if it is unknown, has ended or was revoked."""
    if TOKEN.fullmatch(token) is None:
        return None
    query = (
        "SELECT record, inspection, person, email, print_set, ends FROM phones "
        "WHERE token = ? AND ends > ?"
    )
    with _phones() as phones:
        row = phones.execute(query, (token_hash(token), time.time())).fetchone()
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


def _phones() -> AbstractContextManager[sqlite3.Connection]:
    return open_tokens(
        "phones (token TEXT PRIMARY KEY, record TEXT, inspection TEXT, person TEXT, email TEXT, "
        "print_set TEXT, ends REAL)"
    )
