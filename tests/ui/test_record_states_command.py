"""`ropephoto record submit`, `observe`, `close`, `state`: from draft to closed by command."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from ui.cli.main import main


@pytest.fixture
def record(tmp_path: Path) -> str:
    where = str(tmp_path / "record.db")
    with open_record(where) as opened:
        opened.add_rope(Rope("hoist", 22.0), by="A. Berg")
        opened.add_gauge(Gauge("C-1", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        visit = Inspection("visit", "hoist", date(2026, 11, 2), stations=(Station(3, 57.0),))
        opened.add_inspection(visit, by="A. Berg")
        opened.add_readings("visit", [Reading("22,1", 22.1, 3, 0, "C-1", "A. Berg")], by="A. Berg")
    return where


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["record", *words])
    assert "Traceback" not in done.output
    return done.exit_code, done.output


def test_an_inspection_is_closed_by_commands(record: str) -> None:
    seen = ("observe", record, "visit", "3", "broken wires", "--severity", "20", "--count", "3")
    code, said = run(*seen, "--over", "132", "--by", "A. Berg")
    assert (code, said) == (
        0, "visit, station 3: broken wires: 3 on 132 mm; 20 % towards discard.\n"
    )  # fmt: skip
    assert run("submit", record, "visit", "--by", "A. Berg", "--remark", "wet")[0] == 0
    early = run("close", record, "visit", "stays in service", "--by", "C. Holm")
    assert early[0] == 1
    assert "is submitted; it can be closed once it is reviewed" in early[1]
    with open_record(record) as opened:
        opened.review("visit", "accepted", by="B. Lind")
    code, said = run(
        "close", record, "visit", "stays in service until", "--until", "2027-03-01",
        "--next-due", "2027-02-01", "--by", "C. Holm",
    )  # fmt: skip
    assert code == 0
    assert "stays in service until 2027-03-01, next inspection due 2027-02-01" in said
    told = run("state", record, "visit")[1]
    assert told.startswith("visit: closed\n")
    for words in ("submitted by A. Berg: wet", "accepted by B. Lind", "broken wires: 3 on 132 mm",
                  "decided by C. Holm"):  # fmt: skip
        assert words in told
    assert run(*seen, "--by", "A. Berg", "--why", "again")[0] == 1  # nothing in it changes now


def test_a_severity_that_no_table_has_is_refused_in_a_sentence(record: str) -> None:
    code, said = run("observe", record, "visit", "3", "corrosion", "--severity", "30", "--by", "A")
    assert code == 1
    assert "a severity must be one of 0, 20, 40, 60, 80, 100 %; got 30." in said
