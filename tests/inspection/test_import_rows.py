"""From tables into the record: all rows, or the valid ones on request, or nothing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from inspection.exchange.export_tables import export_readings, export_ropes, export_summary
from inspection.exchange.import_rows import RejectedError, import_readings, import_ropes
from inspection.exchange.parse import read_readings, read_ropes
from inspection.model.rope import Inspection, Rope
from inspection.record.record import Record, open_record
from tests.inspection.reading_tables import SAMPLE, csv_file

pytestmark = pytest.mark.usefixtures("new_records_are_copies")


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Record]:
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("hoist rope 1", 22.0), by="A. Berg")
        yield record


def test_nothing_is_imported_if_a_row_is_bad_unless_the_good_are_asked_for(
    tmp_path: Path, empty: Record
) -> None:
    path = tmp_path / "t.csv"
    path.write_text(SAMPLE + "visit,3,0,abc,C-07,,,,,A. Berg,\nvisit,3,90,22.4,C-99,,,,,A. B,\n")
    before = empty.fingerprint()
    with pytest.raises(RejectedError, match="2 rows were rejected and nothing was imp") as told:
        import_readings(empty, read_readings(path), by="C. Holm", rope="hoist rope 1")
    assert [row.line for row in told.value.rejected] == [5, 6]
    assert "'C-99' is not in the record" in told.value.rejected[1].reason
    assert empty.fingerprint() == before
    done = import_readings(
        empty, read_readings(path), by="C. Holm", rope="hoist rope 1", keep_good=True
    )
    assert (done.readings, done.gauges, done.inspections) == (3, 1, 1)
    assert [row.line for row in done.rejected] == [5, 6]
    there = empty.inspection("visit")
    assert there.inspection.on == date(2026, 11, 2)
    assert there.inspection.inspector == "A. Berg"
    assert [item.value_mm for item in there.readings] == [22.41, 22.4, 22.225]
    assert {event.why for event in empty.events(after=1)} == {"imported from t.csv"}


def test_importing_a_file_twice_adds_nothing(sample: Path, empty: Record) -> None:
    import_readings(empty, read_readings(sample), by="C. Holm", rope="hoist rope 1")
    before = empty.fingerprint()
    with pytest.raises(RejectedError, match="the record already has this reading"):
        import_readings(empty, read_readings(sample), by="C. Holm")
    assert empty.fingerprint() == before


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (("0.01,0.03", "0.1,0.03"), "resolution_mm 0.1 here, 0.01 there"),
        (("2027-01-31", "2028-01-31"), "calibration_due 2028-01-31 here, 2027-01-31 there"),
        (("visit,", "other,"), "its rope is not stated; name it"),
    ],
)
def test_rows_that_contradict_the_record_are_rejected(
    tmp_path: Path, sample: Path, empty: Record, change: tuple[str, str], reason: str
) -> None:
    import_readings(empty, read_readings(sample), by="C. Holm", rope="hoist rope 1")
    text = SAMPLE.replace("T09", "T10").replace(*change)
    with pytest.raises(RejectedError, match=r".") as told:
        import_readings(empty, read_readings(csv_file(tmp_path, text)), by="C. Holm")
    assert reason in told.value.rejected[0].reason


def test_new_inspections_take_rope_day_and_positions_from_the_table(
    tmp_path: Path, empty: Record
) -> None:
    text = (
        "rope,inspection,date,station,position (m),view,typed,gauge,kind,res,mpe,person\n"
        'hoist rope 1,v,2026-11-02,2,"41,5",0,22.4,C,micrometer,0.01,0,A\n'
        "hoist rope 1,v,2026-11-02,1,0,0,22.4,C,micrometer,0.01,0,B\n"
    )
    import_readings(empty, read_readings(csv_file(tmp_path, text)), by="C. Holm")
    visit = empty.inspection("v").inspection
    assert isinstance(visit, Inspection)
    assert [(item.number, item.position_m) for item in visit.stations] == [(1, 0.0), (2, 41.5)]
    assert visit.inspector == ""  # two people read


def test_ropes_come_from_a_table(tmp_path: Path, empty: Record) -> None:
    text = (
        "Rope;Nominal diameter (in);Outer strands;Core;Build;Reference mm;Reference date\n"
        "luffing rope;7/8;8;Fibre;Rotation resistant;22,4;2025-03-01\n"
        "hoist rope 1;22;;;;;\n"
    )
    table = read_ropes(csv_file(tmp_path, text))
    with pytest.raises(
        RejectedError, match=r"line 3: the rope 'hoist rope 1' is already in the record"
    ):
        import_ropes(empty, table, by="A. Berg")
    assert import_ropes(empty, table, by="A. Berg", keep_good=True).ropes == 1
    rope = empty.rope("luffing rope")
    assert (rope.nominal_mm, rope.core, rope.build) == (22.225, "fibre", "rotation-resistant")
    assert (rope.reference_mm, rope.reference_on) == (22.4, date(2025, 3, 1))


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_what_is_exported_comes_back(
    tmp_path: Path, sample: Path, empty: Record, suffix: str
) -> None:
    import_readings(empty, read_readings(sample), by="C. Holm", rope="hoist rope 1")
    assert export_ropes(empty, tmp_path / f"ropes{suffix}") == 1
    assert export_readings(empty, tmp_path / f"readings{suffix}") == 3
    assert export_summary(empty, tmp_path / f"list{suffix}") == 1
    with open_record(tmp_path / "again.db") as again:
        import_ropes(again, read_ropes(tmp_path / f"ropes{suffix}"), by="A")
        import_readings(again, read_readings(tmp_path / f"readings{suffix}"), by="A")
        assert again.ropes() == empty.ropes()
        assert again.gauges() == empty.gauges()
        there, was = again.inspection("visit"), empty.inspection("visit")
        assert there.readings == was.readings
        assert there.inspection == was.inspection
