"""The database's server stopped and started again in the middle of the work."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.record import RecordError, open_record
from inspection.rope import Rope

if TYPE_CHECKING:
    from tests.inspection.conftest import Server


def test_a_server_that_restarts_loses_nothing_and_the_record_goes_on(
    server: Server, new_database: str, tmp_path: Path
) -> None:
    with open_record(new_database, photographs=tmp_path) as record:
        record.add_rope(Rope("saved before", 22.0), by="A. Berg")
        saved = record.fingerprint()
        server.stop()
        try:
            with pytest.raises(RecordError, match=r"does not answer .*; is it running\?") as told:
                record.ropes()
            assert "Nothing that was saved is lost" in str(told.value)
            assert "\n" not in str(told.value)
        finally:
            server.start()
        assert record.fingerprint() == saved  # the same record, not opened anew

        def half_done() -> None:
            with record.together() as batch:
                batch.add_rope(Rope("half", 22.0), by="A. Berg")
                server.stop()
                server.start()
                batch.add_rope(Rope("other half", 22.0), by="A. Berg")

        with pytest.raises(RecordError, match="does not answer"):
            half_done()
        assert [rope.identity for rope in record.ropes()] == ["saved before"]
        record.add_rope(Rope("saved after", 22.0), by="A. Berg")
        assert record.verify().faults == ()
