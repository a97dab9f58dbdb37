"""A backup is verified before it is called one."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text

from inspection.model.rope import Rope
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record


def test_a_backup_is_a_record_with_its_photographs(file_record: Record, tmp_path: Path) -> None:
    one = file_record.add_photograph("visit", b"one", name="one.jpg", by="A. Berg")
    two = file_record.add_photograph("visit", b"two", name="two.jpg", by="A. Berg")
    made = file_record.backup(tmp_path / "safe")
    assert made.fingerprint == file_record.fingerprint()
    assert (made.photographs, made.missing) == (2, ())
    with open_record(made.path, create=False) as copy:
        assert copy.inspection("visit") == file_record.inspection("visit")
        assert copy.photographs.get(one) == b"one"
        assert copy.verify(noted=made.fingerprint, photographs=True).sound
    with pytest.raises(RecordError, match="already exists; choose another place"):
        file_record.backup(tmp_path / "safe")
    Path(file_record.photographs.where, two[:2], two).unlink()
    again = file_record.backup(tmp_path / "later")
    assert again.photographs == 1
    assert "is not in the store" in again.missing[0]


def test_a_backup_while_somebody_writes_is_whole(
    file_record: Record, path: Path, tmp_path: Path
) -> None:
    with open_record(path) as other, other.transaction() as batch:
        batch.add_rope(Rope("rope 2", 9.0), by="B. Lind")
        made = file_record.backup(tmp_path / "safe")
    with open_record(made.path) as copy:
        assert [rope.identity for rope in copy.ropes()] == ["rope"]
        assert copy.verify().sound


def test_a_tampered_record_is_not_called_backed_up(file_record: Record, tmp_path: Path) -> None:
    with file_record.access.engine.execution_options(writing=True).begin() as connection:
        connection.execute(text("UPDATE inspections SET place = 'elsewhere'"))
    with pytest.raises(RecordError, match="fails verification: table inspections, visit: place"):
        file_record.backup(tmp_path / "safe")


def test_a_database_record_says_how_it_is_backed_up(new_database: str, tmp_path: Path) -> None:
    with (
        open_record(new_database, photographs=tmp_path) as record,
        pytest.raises(RecordError, match=r"server's own dump tool \(pg_dump\), or export"),
    ):
        record.backup(tmp_path / "safe")
