"""Logins, kept on the server: a login ends on logout, and after 12 hours at the latest.

The provider's cookie alone would open the pages for as long as it lasts, wherever it is copied to.
So every login also gets a random token. Only its hash is kept here, in a small SQLite file that
all server processes of the machine share.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import sqlite3
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

from ui.environment import LOGINS_FILE

LONGEST_S = 12 * 3600
TOKEN_BYTES = 32  # 256 bits; OWASP ASVS 4.0, 3.2.2 asks for 64


def begin(email: str) -> str:
    """Store a login and return its token, which the browser keeps in a cookie."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with _logins() as logins:
        logins.execute("DELETE FROM logins WHERE began < ?", (time.time() - LONGEST_S,))
        logins.execute(
            "INSERT INTO logins VALUES (?, ?, ?)", (token_hash(token), email, time.time())
        )
    return token


def goes_on(token: str, email: str) -> bool:
    """Return whether a login is this person's, has not ended and is less than 12 hours old."""
    query = "SELECT 1 FROM logins WHERE token = ? AND email = ? AND began > ?"
    with _logins() as logins:
        found = logins.execute(
            query, (token_hash(token), email, time.time() - LONGEST_S)
        ).fetchone()
    return found is not None


def end_all(email: str) -> None:
    """End every login of a person, in all browsers."""
    with _logins() as logins:
        logins.execute("DELETE FROM logins WHERE email = ?", (email,))


def token_hash(token: str) -> str:
    """Return the hash that is kept of a token: a reader of the file can't use it."""
    return hashlib.sha256(token.encode()).hexdigest()


@contextmanager
def open_tokens(table: str) -> Iterator[sqlite3.Connection]:
    """Open the file of tokens in a transaction; its table is created if missing."""
    file = Path(os.environ[LOGINS_FILE])
    file.parent.mkdir(parents=True, exist_ok=True)
    if not file.exists():
        file.touch(mode=0o600)
    with closing(sqlite3.connect(file, timeout=10)) as connection, connection:
        connection.execute(f"CREATE TABLE IF NOT EXISTS {table}")
        yield connection


def _logins() -> AbstractContextManager[sqlite3.Connection]:
    return open_tokens("logins (token TEXT PRIMARY KEY, email TEXT, began REAL)")
