"""An invented inspection for the report's tests: a folder, stand-in figures, small pictures."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image

from inspection.folder import Folder, read_folder
from inspection.model.log import Earlier, Log
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.record.record import Record, open_record
from ui.presenters.photographs.manual_edges import with_edges_moved
from ui.report.blocks import Front, FrontDecision, Letterhead
from ui.report.case import ReportCase, case_of_folder, case_of_record
from ui.report.report import pdf_report
from ui.report.writers.pdf import Paper
from ui.services.assess_record import log_of, screen_inspection
from vision.findings import finding
from vision.pipeline import Settings
from vision.results import Estimate, Marks, Refusal, Result, ScaleSource
from vision.uncertainty import Term

MADE = datetime(2026, 11, 4, 8, 30, tzinfo=UTC)
ROPE = Rope("hoist rope 1", 40.0, reference_mm=41.2, reference_on=date(2025, 2, 3), site="Quay 9")
GAUGE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 31))
PLACES = [(station, view) for station in (1, 2, 3, 4) for view in (0, 90)]
# unusual hundredths, so that a figure is not found in the report by accident
PHOTO_MM = {place: 39.37 + 0.11 * i for i, place in enumerate(PLACES)}
SCALE = Term("print scale", 0.0008, "1", 39.5, "B", "print:set-1:y")


def jpeg(number: int, *, size: tuple[int, int] = (320, 240)) -> bytes:
    """Return a plain picture, different for every number."""
    pixels = np.full((size[1], size[0], 3), 40 + 9 * (number % 16), np.uint8)
    pixels[100:140] = 200
    kept = io.BytesIO()
    Image.fromarray(pixels).save(kept, "JPEG")
    return kept.getvalue()


def estimate(number: int, place: tuple[int, int]) -> Estimate:
    """Return the stand-in pipeline's result for photograph `number`."""
    station, view = place
    name = f"s{station}-{view}.jpg"
    edge = Term("edges", 0.04 + 0.003 * number, "mm", 1.0, "A", f"edge:{name}")
    marks = Marks(
        tuple((float(x), 100.0) for x in range(80, 240, 8)),
        tuple((float(x), 140.0) for x in range(80, 240, 8)),
        ((120.0, 100.0), (200.0, 100.0)),
        ((120.0, 140.0), (200.0, 140.0)),
        (160.0, 120.0),
        ((20.0, 20.0), (300.0, 20.0), (300.0, 220.0), (20.0, 220.0)),
    )
    return Estimate(
        PHOTO_MM[place],
        (SCALE, edge),
        station=station,
        view_deg=view,
        jaw_mm=80.0,
        crowns=4,
        px_per_mm=1.0,
        tilt_deg=6.0,
        photo_name=name,
        photo_sha256=sha256(jpeg(number)).hexdigest(),
        look_hash=f"{0x5A5A << (4 * number):016x}"[-16:],
        camera="phone 1",
        print_set="set-1",
        taken_at=datetime(2026, 11, 3, 9, 0, 30) + timedelta(seconds=95 * number),
        marks=marks,
    )


def results() -> list[Result]:
    """Return eight figures and one refusal."""
    made: list[Result] = [estimate(number, place) for number, place in enumerate(PLACES)]
    refused = Refusal(
        (finding("no-card"),), photo_name="lost.jpg", photo_sha256=sha256(jpeg(8)).hexdigest()
    )
    return [*made, refused]


def measure(paths: list[Path], settings: Settings) -> list[Result]:
    """Stand in for the pipeline."""
    return results()


def readings(wrong: dict[tuple[int, int], str] | None = None) -> tuple[Reading, ...]:
    """Return a reading of every place, 0.02 mm above its photograph unless stated otherwise."""
    texts = {place: f"{mm + 0.02:.2f}" for place, mm in PHOTO_MM.items()} | (wrong or {})
    at = datetime(2026, 11, 3, 9, 0, 12)
    return tuple(
        Reading(
            text, float(text), station, view, "C-1", "A. Berg", at + timedelta(seconds=95 * number)
        )
        for number, ((station, view), text) in enumerate(texts.items())
    )


def write_folder(folder: Path, *, wrong: dict[tuple[int, int], str] | None = None) -> Path:
    """Write the inspection as a folder."""
    rows = [
        "inspection,station,view_deg,typed,gauge,gauge_kind,resolution_mm,"
        "permissible_error_mm,calibration_due,person,logged_at"
    ]
    for one in readings(wrong):
        assert one.at is not None
        rows.append(
            f"2026-11,{one.station},{one.view_deg},{one.typed},C-1,wide-jaw caliper,0.01,"
            f"0.03,2027-01-31,A. Berg,{one.at.isoformat()}"
        )
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    described = {
        "identity": ROPE.identity,
        "nominal_mm": 40.0,
        "reference_mm": 41.2,
        "reference_on": "2025-02-03",
        "site": "Quay 9",
    }
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
            Reading(
                f"{mm:.2f}",
                mm,
                station,
                view,
                "C-1",
                "A. Berg",
                datetime(year, 11, 3, 9, station, view // 3),
            )
            for (station, view), mm in (
                (place, round(40.6 + 0.01 * i - 0.21 * (year - 2023), 2))
                for i, place in enumerate(PLACES)
            )
        ]
        record.add_readings(held.identity, earlier, by="A. Berg")
    this = Inspection(
        "2026-11",
        rope.identity,
        date(2026, 11, 3),
        inspector=inspector,
        reviewer="R. Two",
        supervisor="S. Three",
        stations=stations,
    )
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


def front_of(text: str) -> Front:
    """Return a page to sign of which every text is the same."""
    return Front(
        letterhead=Letterhead(text, (text,)),
        number=text,
        title=text,
        job=((text, text),),
        alarms=(text,),
        headline=text,
        words=text,
        pictures=(),
        facts=((text, text),),
        open_title=text,
        open_entries=(text,),
        decision=FrontDecision(((text, True),), text, text),
        signers=((text, text),),
        says=text,
    )


LONG = (  # 200 letters
    "the rope was read near the head sheave because nobody could stand where the card says and the "
    "wind moved the rope all the time; read again in the evening, when the crane stood still, "
    "by two people ok"
)
WORD = "Wirerope" * 10  # 80 letters without a place to break


def fill_plain(
    record: Record,
    count: int,
    *,
    rope: Rope = ROPE,
    people: tuple[str, str, str] = ("A. Berg", "R. Two", "S. Three"),
    identity: str = "2026-11",
    place: str = "",
    note: str = "",
    photographs: bool = True,
    gauge: bool = True,
    earlier: int = 0,
) -> str:
    """Put an inspection of `count` stations into a record, with years of gauge readings before."""
    record.add_rope(rope, by="A. Berg")
    record.add_gauge(GAUGE, by="A. Berg")
    stations = tuple(Station(number, 12.0 * number, note) for number in range(1, count + 1))
    places = [(number, view) for number in range(1, count + 1) for view in (0, 90)]
    mm = {one: round(39.3 + 0.013 * i, 2) for i, one in enumerate(places)}
    for year in range(2026 - earlier, 2026):
        record.add_inspection(
            Inspection(f"{year}-05", rope.identity, date(year, 5, 4), stations=stations),
            by="A. Berg",
        )
        older = [
            Reading(
                f"{one + 0.1 * (2026 - year):.2f}",
                round(one + 0.1 * (2026 - year), 2),
                *where,
                "C-1",
                "A. Berg",
                datetime(year, 5, 4, 9, 0) + timedelta(seconds=95 * i),
            )
            for i, (where, one) in enumerate(mm.items())
        ]
        record.add_readings(f"{year}-05", older, by="A. Berg")
    held = Inspection(identity, rope.identity, date(2026, 11, 3), place, *people, stations=stations)
    record.add_inspection(held, by="A. Berg")
    if gauge:
        texts = [f"{one + 0.01 * (i * 7 % 5):.2f}" for i, one in enumerate(mm.values())]
        typed = [
            Reading(
                text,
                float(text),
                *where,
                "C-1",
                people[0],
                datetime(2026, 11, 3, 9, 0, 12) + timedelta(seconds=95 * i),
            )
            for i, (where, text) in enumerate(zip(places, texts, strict=True))
        ]
        record.add_readings(identity, typed, by="A. Berg")
    made: list[Result] = []
    for i, where in enumerate(places if photographs else []):
        data = jpeg(i, size=(320, 240 + i))  # a different size makes each file different
        made.append(
            replace(
                estimate(i % 12, PLACES[i % 8]),
                station=where[0],
                view_deg=where[1],
                diameter_mm=mm[where],
                photo_name=f"s{where[0]}-{where[1]}.jpg",
                photo_sha256=sha256(data).hexdigest(),
                look_hash=f"{0x5A5A5A5A1234567 * (i + 3) % 2**64:016x}",
                taken_at=datetime(2026, 11, 3, 9, 0, 30) + timedelta(seconds=95 * i),
            )
        )
        record.add_photograph(identity, data, name=made[-1].photo_name, by="A. Berg")
    if made:
        record.add_results(identity, made, by="A. Berg")
    return identity


def _long(record: Record) -> str:
    """Every name and reason is long, and nothing in it can be broken."""
    rope = replace(
        ROPE,
        identity=LONG,
        site=LONG,
        reference_how=LONG,
        grooves=(Groove(WORD, 21.0, 44.0, 2, 39.0, 41.5),),
    )
    people = (WORD, f"{LONG} R", f"S {WORD}")
    identity = fill_plain(
        record, 3, rope=rope, people=people, identity=f"2026-11 {WORD}", place=WORD, note=LONG
    )
    record.withdraw_reading(identity, 1, by=WORD, why=LONG)
    wrong = replace(record.inspection(identity).readings[0], typed="93.70", value_mm=93.7)
    record.correct_reading(identity, 2, wrong, by=LONG, why=WORD)
    screen_inspection(record, identity, by="A. Berg")
    for one in record.inspection(identity).findings:
        record.settle_finding(identity, one.key, how=f"{LONG} {WORD}", by=f"R {WORD}")
    record.review(identity, "sent back", by=f"R {WORD}", why=LONG + WORD)
    return identity


def _by_hand(record: Record) -> str:
    """An edge by hand, a figure without card, one withdrawn, stations sent back and overruled."""
    identity = fill(record)
    kept = {
        (one.station, one.view_deg): one
        for one in record.inspection(identity).results
        if isinstance(one, Estimate)
    }
    why = "A loose wire misled the left edge"
    moved = with_edges_moved(kept[2, 0], 0.3, -0.1, by="R. Two", why=why)
    record.replace_result(identity, kept[2, 0], moved, by="R. Two", why=why)
    record.replace_result(identity, kept[4, 0], None, by="R. Two", why="It shows another rope.")
    ruled = replace(kept[1, 90], hold="archive, rule, 12 marks", scale_source=ScaleSource.RULE)
    record.replace_result(identity, kept[1, 90], ruled, by="R. Two", why="The card was lost.")
    screen_inspection(record, identity, by="A. Berg")
    record.review(identity, "accepted", by="R. Two", station=1)
    record.review(identity, "sent back", by="R. Two", why="Read it again.", station=3)
    record.review(identity, "overruled", by="S. Three", why="The wear is known.", station=3)
    return identity


def _settled(record: Record) -> str:
    """A user in inches: all flags settled, the inspection accepted."""
    grooves = (Groove("drum", 21.0, 44.0, 2, 39.0, 41.5),)
    identity = fill(record, rope=replace(ROPE, units="inch", grooves=grooves))
    screen_inspection(record, identity, by="A. Berg")
    for one in record.inspection(identity).findings:
        record.settle_finding(identity, one.key, how="Asked: 39.70 was read.", by="R. Two")
    record.review(identity, "accepted", by="R. Two")
    return identity


def _names(record: Record) -> str:
    """Every name is of another script, one of which no font of the report has."""
    rope = replace(ROPE, identity="山田 1", site="김영희, สมชาย ใจดี")
    people = ("Νικόλαος", "Галина Иванова", "عمر علي")
    return fill_plain(record, 2, rope=rope, people=people, place="אביגיל כהן", note="हरीश 王小明")


HARD: dict[str, Callable[[Record], str]] = {
    "long": _long,
    "by hand": _by_hand,
    "settled": _settled,
    "names": _names,
    "one station": lambda record: fill_plain(record, 1),
    "forty stations": lambda record: fill_plain(record, 40),
    "twelve inspections": lambda record: fill_plain(record, 4, earlier=11),
    "no photographs": lambda record: fill_plain(record, 3, photographs=False),
    "no readings": lambda record: fill_plain(record, 3, gauge=False),
    "nothing": lambda record: fill_plain(record, 3, photographs=False, gauge=False),
}


# Letter is shorter than A4, which matters where tables and names are long.
ON_PAPER: list[tuple[str, Paper]] = [
    *((name, "A4") for name in HARD),
    *((name, "Letter") for name in ("long", "by hand", "forty stations", "twelve inspections")),
]


@cache
def hard_case(name: str) -> ReportCase:
    """Return one of the hard cases, from a record; each is made once."""
    with TemporaryDirectory() as folder, open_record(Path(folder) / "record.db") as record:
        identity = HARD[name](record)
        read = Folder(log_of(record, identity), (), ())
        return case_of_record(record, read, name="record.db", made_at=MADE)


@cache
def hard_pdf(name: str, paper: Paper) -> bytes:
    """Return the report of a hard case; each is typeset once."""
    return pdf_report(hard_case(name), paper=paper)
