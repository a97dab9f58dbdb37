"""The database server stopped and restarted in the middle of the work."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from inspection.exchange import import_rows
from inspection.model.rope import Rope
from inspection.record.errors import RecordError
from inspection.record.record import open_record
from tests.inspection.reading_tables import SAMPLE
from ui.cli.main import main

if TYPE_CHECKING:
    from tests.inspection.conftest import Server


@pytest.mark.fault(
    "the database server restarts",
    "`The record's database ... does not answer (...); is it running? Nothing saved is "
    "lost: try again once it is running.`",
)
def test_a_server_restart_loses_nothing_and_the_record_continues(
    server: Server, new_database: str, tmp_path: Path
) -> None:
    with open_record(new_database, photographs=tmp_path) as record:
        record.add_rope(Rope("saved before", 22.0), by="A. Berg")
        saved = record.fingerprint()
        server.stop()
        try:
            with pytest.raises(RecordError, match=r"does not answer .*; is it running\?") as told:
                record.ropes()
            assert "Nothing saved is lost" in str(told.value)
            assert "\n" not in str(told.value)
        finally:
            server.start()
        assert record.fingerprint() == saved  # the same record, not reopened

        def half_done() -> None:
            with record.transaction() as batch:
                batch.add_rope(Rope("half", 22.0), by="A. Berg")
                server.stop()
                server.start()
                batch.add_rope(Rope("other half", 22.0), by="A. Berg")

        with pytest.raises(RecordError, match="does not answer"):
            half_done()
        assert [rope.identity for rope in record.ropes()] == ["saved before"]
        record.add_rope(Rope("saved after", 22.0), by="A. Berg")
        assert record.verify().faults == ()


@pytest.mark.fault(
    "the database server restarts during an import",
    "the record's message; nothing is imported, and the import can be repeated",
)
def test_a_command_interrupted_by_a_server_restart_can_be_repeated(
    server: Server, new_database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "readings.csv"
    table.write_text(SAMPLE, encoding="utf-8")
    with open_record(new_database, photographs=tmp_path) as record:
        record.add_rope(Rope("hoist rope 1", 22.0), by="A. Berg")
        before = record.fingerprint()

    def run(*arguments: object) -> tuple[int, str]:
        done = CliRunner().invoke(main, ["record", *map(str, arguments)])
        assert done.exception is None or isinstance(done.exception, SystemExit)
        return done.exit_code, done.output

    where = (new_database, "--photographs", tmp_path)
    importing = ("import", *where, table, "--rope", "hoist rope 1", "--by", "A. Berg")
    really = import_rows._by_inspection

    def restarted(*arguments: Any) -> Any:  # gauges and inspections are added, readings not yet
        server.stop()
        server.start()
        return really(*arguments)

    with monkeypatch.context() as patched:
        patched.setattr(import_rows, "_by_inspection", restarted)
        status, said = run(*importing)
    assert status == 1
    (line,) = [line for line in said.splitlines() if line.startswith("Error: ")]
    assert "does not answer" in line
    assert line.endswith("Nothing saved is lost: try again once it is running.")
    with open_record(new_database, photographs=tmp_path) as record:
        assert record.fingerprint() == before  # no half import
    server.stop()
    try:
        status, said = run("verify", *where)
        assert status == 1
        assert "does not answer" in said
        assert "Traceback" not in said
    finally:
        server.start()
    status, said = run(*importing)
    assert status == 0, said
    assert run("verify", *where)[0] == 0
