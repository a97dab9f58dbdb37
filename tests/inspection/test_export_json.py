"""The exported record follows its published schema, and the same record can be made from it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]

from inspection.exchange.export_json import export_json, restore_json, schema
from inspection.exchange.export_tables import export_readings, export_ropes, plain_number
from inspection.exchange.import_rows import import_readings, import_ropes
from inspection.exchange.parse import read_readings, read_ropes
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.model.serialization import from_dict, result_from_dict, to_dict
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record
from tests.inspection.filled_visit import MARKS, fill_visit
from vision.results import Estimate, Finding, Marks, Place, Refusal
from vision.uncertainty import Term


def test_the_schema_is_sound() -> None:
    Draft202012Validator.check_schema(schema())


def test_an_exported_record_follows_the_schema(record: Record, tmp_path: Path) -> None:
    fill_visit(record)
    fingerprint = export_json(record, tmp_path / "record.json")
    document = json.loads((tmp_path / "record.json").read_text("utf-8"))
    faults = list(Draft202012Validator(schema()).iter_errors(document))
    assert faults == []
    assert document["fingerprint"] == fingerprint == record.fingerprint()
    assert [item["withdrawn"] for item in document["inspections"][0]["readings"]] == [False, True]


def test_an_empty_record_follows_the_schema(record: Record, tmp_path: Path) -> None:
    export_json(record, tmp_path / "record.json")
    document = json.loads((tmp_path / "record.json").read_text("utf-8"))
    assert list(Draft202012Validator(schema()).iter_errors(document)) == []


def test_the_schema_refuses_what_is_wrong(record: Record, tmp_path: Path) -> None:
    fill_visit(record)
    export_json(record, tmp_path / "record.json")
    text = (tmp_path / "record.json").read_text("utf-8")
    wrong: list[tuple[tuple[Any, ...], object]] = [
        (("format",), "another"),
        (("ropes", 0, "nominal_mm"), "22"),
        (("inspections", 0, "state"), "fine"),
        (("inspections", 0, "readings", 0, "value_mm"), -1),
        (("inspections", 0, "results", 0, "answer"), "refusal"),
        (("events", 0, "hash"), "x"),
        (("events", 0, "extra"), 1),
    ]
    for path, value in wrong:
        document = json.loads(text)
        inner = document
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = value
        assert list(Draft202012Validator(schema()).iter_errors(document)), path


@pytest.mark.parametrize(
    ("kind", "name"),
    [(Rope, "rope"), (Groove, "groove"), (Gauge, "gauge"), (Station, "station"),
     (Inspection, "inspection"), (Reading, "reading"), (Estimate, "estimate"),
     (Refusal, "refusal"), (Marks, "marks"), (Term, "term"), (Finding, "finding"),
     (Place, "place")],
)  # fmt: skip
def test_the_schema_names_every_field_of_every_type(kind: type, name: str) -> None:
    named = set(schema()["$defs"][name]["properties"])
    assert {item.name for item in fields(kind)} <= named


def test_a_record_made_from_an_export_is_the_same(
    record: Record, tmp_path: Path, opened: Callable[[], Record]
) -> None:
    fill_visit(record)
    export_json(record, tmp_path / "record.json")
    with open_record(tmp_path / "again.db") as again:
        assert restore_json(again, tmp_path / "record.json") == record.fingerprint()
        assert again.verify(noted=record.fingerprint()).faults == ()
        assert again.inspection("visit") == record.inspection("visit")
        with pytest.raises(RecordError, match="is not empty"):
            restore_json(again, tmp_path / "record.json")
        again.add_rope(Rope("rope 2", 9.0), by="A. Berg")
        assert again.verify().sound


def test_a_record_file_moves_into_a_database(tmp_path: Path, new_database: str) -> None:
    with open_record(tmp_path / "record.db") as one:
        fill_visit(one)
        fingerprint = export_json(one, tmp_path / "record.json")
        with open_record(new_database) as two:
            assert restore_json(two, tmp_path / "record.json") == fingerprint
            assert two.verify(noted=fingerprint).faults == ()
            assert two.inspection("visit") == one.inspection("visit")


@pytest.mark.fault(
    "an export whose events were changed",
    "`was changed after it was exported: event 2 is numbered 1. ...`",
)
@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda text: text.replace("Åsa", "Eva"), ""),  # the state is for readers only
        (lambda text: text.replace('"who": "B. Lind"', '"who": "X. Lind"'), "was changed after"),
        (lambda text: text.replace("22.41", "22.14"), "was changed after"),
        (lambda text: text[:-20], "is not valid JSON; was it cut off"),
        (lambda text: text.replace('"format_version": 1', '"format_version": 2'), "version 2"),
        (lambda text: "[]", "is not an exported record"),
        (lambda text: "[" * 100_000, "is not valid JSON"),
        (lambda text: text.replace('"why"', '"reason"'), "lacks part of its events"),
        (lambda text: text.replace('"sequence": 2', '"sequence": ' + "9" * 30), "is numbered 999"),
        (lambda text: text.replace('"sequence": 2', '"sequence": 1'), "event 2 is numbered 1"),
        (lambda text: text.replace('"who": "A. Berg"', '"who": ["A. Berg"]'), "other than text"),
        (lambda text: text.replace('"why": ""', '"why": null'), "other than text"),
    ],
)
def test_a_changed_export_is_not_restored(
    tmp_path: Path,
    empty_record: Path,
    exported_visit: str,
    change: Callable[[str], str],
    sentence: str,
) -> None:
    path = tmp_path / "record.json"
    shutil.copy(empty_record, tmp_path / "again.db")
    path.write_text(change(exported_visit), "utf-8")
    with open_record(tmp_path / "again.db") as again:
        if sentence:
            with pytest.raises(RecordError, match=sentence):
                restore_json(again, path)
            assert again.verify().events == 0
        else:
            restore_json(again, path)
            assert again.inspection("visit").readings[0].person == "Åsa"


# ---- properties ---------------------------------------------------------------------------

LINE = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=12
)
NAME = LINE.map(str.strip).filter(bool)
LENGTH = st.one_of(
    st.decimals(1, 90, places=2).map(lambda d: (f"{d}", float(d))),
    st.decimals(1, 90, places=1).map(lambda d: (f"{d}".replace(".", ","), float(d))),
    st.decimals("0.1", 3, places=3).map(lambda d: (f"{d} in", float(d * 254 / 10))),
)
DAY = st.dates(date(2000, 1, 1), date(2050, 1, 1))
MOMENT = st.none() | st.datetimes(datetime(2000, 1, 1), datetime(2050, 1, 1))
POSITIVE = st.floats(1e-5, 1e3, allow_nan=False)
GAUGE = st.builds(
    Gauge,
    NAME,
    st.sampled_from(["wide-jaw caliper", "micrometer"]),
    POSITIVE,
    st.just(0.0) | POSITIVE,
    st.none() | DAY,
)
ROPE = st.builds(
    Rope,
    NAME,
    POSITIVE,
    st.integers(3, 40),
    st.sampled_from(["steel", "fibre"]),
    st.sampled_from(["single-layer", "parallel-closed", "rotation-resistant"]),
    st.booleans(),
    st.sampled_from(["general", "lift"]),
    st.sampled_from(["new", "in-service"]),
    st.none() | POSITIVE,
    st.none() | DAY,
    LINE.map(str.strip),
    st.sampled_from(["mm", "inch"]),
    site=LINE.map(str.strip),
)


@st.composite
def readings(draw: st.DrawFn, gauge: str) -> Reading:
    """Draw a reading whose text and value agree."""
    typed, value_mm = draw(LENGTH)
    return Reading(
        typed,
        value_mm,
        draw(st.integers(1, 99)),
        draw(st.integers(0, 359)),
        gauge,
        draw(NAME),
        draw(MOMENT),
    )


@given(data=st.data(), suffix=st.sampled_from([".csv", ".xlsx"]))
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_is_exported_comes_back(
    data: st.DataObject, suffix: str, empty_record: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    for new in ("one.db", "two.db"):
        shutil.copy(empty_record, folder / new)
    gauge = data.draw(GAUGE)
    rope, visit = data.draw(ROPE), data.draw(NAME)
    listed = data.draw(
        st.lists(readings(gauge.identity), min_size=1, max_size=5, unique_by=lambda r: r.at or r)
    )
    with open_record(folder / "one.db") as one, open_record(folder / "two.db") as two:
        one.add_rope(rope, by="A")
        one.add_gauge(gauge, by="A")
        one.add_inspection(Inspection(visit, rope.identity, data.draw(DAY)), by="A")
        one.add_readings(visit, listed, by="A")
        export_ropes(one, folder / f"ropes{suffix}")
        export_readings(one, folder / f"readings{suffix}")
        import_ropes(two, read_ropes(folder / f"ropes{suffix}"), by="A")
        import_readings(two, read_readings(folder / f"readings{suffix}"), by="A")
        assert two.ropes() == one.ropes()
        assert two.gauges() == one.gauges()
        back, was = two.inspection(visit), one.inspection(visit)
        assert [r.typed for r in back.readings] == [r.typed for r in listed]
        assert [(r.station, r.view_deg, r.gauge, r.person, r.at) for r in back.readings] == [
            (r.station, r.view_deg, r.gauge, r.person, r.at) for r in listed
        ]
        for reading, before in zip(back.readings, was.readings, strict=True):
            assert reading.value_mm == pytest.approx(before.value_mm, rel=1e-12)
        assert back.inspection.on == was.inspection.on


@given(rope=ROPE, gauge=GAUGE, data=st.data())
@settings(max_examples=60, deadline=None)
def test_plain_values_come_back_as_what_they_were(
    rope: Rope, gauge: Gauge, data: st.DataObject
) -> None:
    reading = data.draw(readings("C"))
    visit = Inspection("v", "r", data.draw(DAY), stations=(Station(1, data.draw(POSITIVE)),))
    finding = Finding("c", "s", "r", "look", spot_px=(1.0, 2.0), where=("a",))
    result = Estimate(data.draw(POSITIVE), (Term("q", 1.0, "mm", -1.0, "B", "s"),), marks=MARKS)

    def trip(thing: Any) -> Any:
        return json.loads(json.dumps(to_dict(thing)))

    assert from_dict(Rope, trip(rope)) == rope
    assert from_dict(Gauge, trip(gauge)) == gauge
    assert from_dict(Reading, trip(reading)) == reading
    assert from_dict(Inspection, trip(visit)) == visit
    assert from_dict(Finding, trip(finding)) == finding
    assert result_from_dict(trip(result)) == result


@given(POSITIVE)
def test_numbers_in_tables_keep_all_their_digits(value: float) -> None:
    assert float(plain_number(value)) == value
    assert "e" not in plain_number(value)


def test_photographs_that_an_export_did_not_bring_are_known_and_others_are_faults(
    tmp_path: Path,
) -> None:
    with open_record(tmp_path / "old.db") as old:
        fill_visit(old)
        old.add_photograph("visit", b"never brought", name="a.jpg", by="A. Berg")
        old.add_photograph("visit", b"there at once", name="b.jpg", by="A. Berg")
        export_json(old, tmp_path / "record.json")
    with open_record(tmp_path / "new.db") as new:
        kept = new.photographs.put(b"there at once")
        restore_json(new, tmp_path / "record.json")
        found = new.verify(photographs=True)
        assert found.sound
        before = found.photographs
        absent = found.absent
        assert before is not None
        assert any("not in the export that this record was restored from" in x for x in found.notes)
        # added again by the program, it is known no longer
        brought = new.add_photograph("visit", b"never brought", name="a.jpg", by="A. Berg")
        found = new.verify(photographs=True)
        assert (found.sound, found.photographs, found.absent) == (True, before + 1, absent - 1)
        for count, sha256 in enumerate((kept, brought), start=1):
            (tmp_path / "new-photographs" / sha256[:2] / sha256).unlink()
            lost = new.verify(photographs=True)
            assert len(lost.faults) == count
            assert any(sha256[:12] in fault for fault in lost.faults)


def test_photographs_can_be_added_to_a_record_restored_without_any(tmp_path: Path) -> None:
    with open_record(tmp_path / "old.db") as old:
        fill_visit(old)
        old.add_photograph("visit", b"never brought", name="a.jpg", by="A. Berg")
        export_json(old, tmp_path / "record.json")
    with open_record(tmp_path / "new.db") as new:
        restore_json(new, tmp_path / "record.json")
        new.add_photograph("visit", b"another", name="c.jpg", by="A. Berg")
        assert new.verify(photographs=True).sound
