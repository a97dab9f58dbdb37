"""Transactions: how a record is read at one moment, and how it is written whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import Connection, Engine

from inspection import record_drafts
from inspection.record_errors import StaleError, plainly
from inspection.record_events import lock_head
from inspection.record_open import writer


@dataclass(frozen=True, slots=True)
class Access:
    """The way to a record's database.

    Parameters
    ----------
    engine : Engine
        The database.
    where : str
        What to call it in messages.
    batch : Connection or None
        The transaction that all calls share, where they are saved together.
    """

    engine: Engine
    where: str
    batch: Connection | None = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection that sees the record as it is at one moment."""
        if self.batch is not None:
            yield self.batch
            return
        engine = self.engine
        if engine.dialect.name == "postgresql":  # SQLite gives one moment anyway
            engine = engine.execution_options(isolation_level="REPEATABLE READ")
        with plainly(self.where), engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(
        self, by: str = "", inspection: str = "", revision: int | None = None
    ) -> Iterator[Connection]:
        """Yield a connection whose changes are saved at the end, or none of them.

        Where the change comes too late (`StaleError`), it is kept as the draft of `by` about
        `inspection`.
        """
        if self.batch is not None:
            yield self.batch
            return
        try:
            with plainly(self.where), writer(self.engine).begin() as connection:
                lock_head(connection)  # before anything is read that the change builds on
                yield connection
        except StaleError as error:
            if not by or error.change is None:
                raise
            with self.writing() as connection:
                record_drafts.save(
                    connection, by, inspection, error.change, revision or 0, kind="unsaved"
                )
            told = f"{error} Your change was kept as your draft."
            raise StaleError(told, change=error.change, draft_kept=True) from None
