"""An invented inspection for the report's tests: a folder, stand-in figures, small pictures."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import numpy as np
from PIL import Image

from inspection.folder import Folder, read_folder
from inspection.log import Earlier, Log
from inspection.readings import Gauge, Reading
from inspection.record import Record
from inspection.rope import Inspection, Rope, Station
from ui.report import ReportCase, case_of_folder
from vision.estimate import Estimate, Marks, Refusal, Result, Term
from vision.findings import finding
from vision.pipeline import Settings

MADE = datetime(2026, 11, 4, 8, 30, tzinfo=UTC)
ROPE = Rope("hoist rope 1", 40.0, reference_mm=41.2, reference_on=date(2025, 2, 3), site="Quay 9")
GAUGE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 31))
PLACES = [(station, view) for station in (1, 2, 3, 4) for view in (0, 90)]
# odd hundredths, so that a figure that is found in the report was not found by accident
PHOTO_MM = {place: 39.37 + 0.11 * i for i, place in enumerate(PLACES)}
SCALE = Term("print scale", 0.0008, "1", 39.5, "B", "print:set-1:y")


def jpeg(number: int, *, size: tuple[int, int] = (320, 240)) -> bytes:
    """Return a plain picture, different for every number."""
    pixels = np.full((size[1], size[0], 3), 40 + 9 * number, np.uint8)
    pixels[100:140] = 200
    kept = io.BytesIO()
    Image.fromarray(pixels).save(kept, "JPEG")
    return kept.getvalue()


def estimate(number: int, place: tuple[int, int]) -> Estimate:
    """Return what a stand-in for the pipeline says about photograph `number`."""
    station, view = place
    name = f"s{station}-{view}.jpg"
    edge = Term("edges", 0.04 + 0.003 * number, "mm", 1.0, "A", f"edge:{name}")
    marks = Marks(
        tuple((float(x), 100.0) for x in range(80, 240, 8)),
        tuple((float(x), 140.0) for x in range(80, 240, 8)),
        ((120.0, 100.0), (200.0, 100.0)), ((120.0, 140.0), (200.0, 140.0)), (160.0, 120.0),
        ((20.0, 20.0), (300.0, 20.0), (300.0, 220.0), (20.0, 220.0)),
    )  # fmt: skip
    return Estimate(
        PHOTO_MM[place], (SCALE, edge), station=station, view_deg=view, jaw_mm=80.0, crowns=4,
        px_per_mm=1.0, tilt_deg=6.0, photo_name=name, photo_sha256=sha256(jpeg(number)).hexdigest(),
        look_hash=f"{0x5A5A << (4 * number):016x}"[-16:], camera="phone 1", print_set="set-1",
        taken_at=datetime(2026, 11, 3, 9, 0, 30) + timedelta(seconds=95 * number), marks=marks,
    )  # fmt: skip


def results() -> list[Result]:
    """Return eight figures and one refusal."""
    made: list[Result] = [estimate(number, place) for number, place in enumerate(PLACES)]
    refused = Refusal((finding("no-card"),), photo_name="lost.jpg",
                      photo_sha256=sha256(jpeg(8)).hexdigest())  # fmt: skip
    return [*made, refused]


def measure(paths: list[Path], settings: Settings) -> list[Result]:
    """Stand in for the pipeline."""
    return results()


def readings(wrong: dict[tuple[int, int], str] | None = None) -> tuple[Reading, ...]:
    """Return a reading of every place, 0.02 mm above its photograph unless told otherwise."""
    texts = {place: f"{mm + 0.02:.2f}" for place, mm in PHOTO_MM.items()} | (wrong or {})
    at = datetime(2026, 11, 3, 9, 0, 12)
    return tuple(
        Reading(text, float(text), station, view, "C-1", "A. Berg",
                at + timedelta(seconds=95 * number))
        for number, ((station, view), text) in enumerate(texts.items())
    )  # fmt: skip


def write_folder(folder: Path, *, wrong: dict[tuple[int, int], str] | None = None) -> Path:
    """Write the inspection as a folder."""
    rows = ["inspection,station,view_deg,typed,gauge,gauge_kind,resolution_mm,"
            "permissible_error_mm,calibration_due,person,logged_at"]  # fmt: skip
    for one in readings(wrong):
        assert one.at is not None
        rows.append(f"2026-11,{one.station},{one.view_deg},{one.typed},C-1,wide-jaw caliper,0.01,"
                    f"0.03,2027-01-31,A. Berg,{one.at.isoformat()}")  # fmt: skip
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    described = {"identity": ROPE.identity, "nominal_mm": 40.0, "reference_mm": 41.2,
                 "reference_on": "2025-02-03", "site": "Quay 9"}  # fmt: skip
    (folder / "rope.json").write_text(json.dumps(described), encoding="utf-8")
    lines = ["number,position_m,note", *(f"{n},{12 * n},plain" for n in range(1, 5))]
    (folder / "stations.csv").write_text("\n".join(lines), encoding="utf-8")
    for number, shot in enumerate(results()):
        (folder / shot.photo_name).write_bytes(jpeg(number))
    return folder


def folder_case(folder: Path, *, wrong: dict[tuple[int, int], str] | None = None) -> ReportCase:
    """Return the case of that folder."""
    read = read_folder(write_folder(folder, wrong=wrong))
    read = replace(read, log=replace(read.log, results=tuple(results())))
    return case_of_folder(folder, read, made_at=MADE)


def fill(record: Record, *, rope: Rope = ROPE, inspector: str = "A. Berg") -> str:
    """Put the rope, three earlier inspections and this one into a record; return its name."""
    record.add_rope(rope, by="A. Berg")
    record.add_gauge(GAUGE, by="A. Berg")
    stations = tuple(Station(number, 12.0 * number) for number in range(1, 5))
    for year in (2023, 2024, 2025):
        held = Inspection(f"{year}-11", rope.identity, date(year, 11, 3), stations=stations)
        record.add_inspection(held, by="A. Berg")
        earlier = [
            Reading(f"{mm:.2f}", mm, station, view, "C-1", "A. Berg",
                    datetime(year, 11, 3, 9, station, view // 3))
            for (station, view), mm in (
                (place, round(40.6 + 0.01 * i - 0.21 * (year - 2023), 2))
                for i, place in enumerate(PLACES)
            )
        ]  # fmt: skip
        record.add_readings(held.identity, earlier, by="A. Berg")
    this = Inspection("2026-11", rope.identity, date(2026, 11, 3), inspector=inspector,
                      reviewer="R. Two", supervisor="S. Three", stations=stations)  # fmt: skip
    record.add_inspection(this, by="A. Berg")
    record.add_readings(this.identity, readings({(2, 90): "93.70"}), by="A. Berg")
    for number, one in enumerate(results()):
        record.add_photograph(this.identity, jpeg(number), name=one.photo_name, by="A. Berg")
    record.add_results(this.identity, results(), by="A. Berg")
    return this.identity


def read_of(record: Record, identity: str) -> Folder:
    """Return an inspection's log from a record."""
    this = record.inspection(identity)
    known = sorted(record.ranked(rope=this.rope.identity), key=lambda one: one.on)
    earlier = tuple(
        Earlier(
            record.inspection(one.identity).inspection, record.inspection(one.identity).readings
        )
        for one in known
        if one.on < this.inspection.on
    )
    log = Log(this.rope, this.inspection, this.readings, {"C-1": GAUGE}, this.results, earlier)
    return Folder(log, (), ())
