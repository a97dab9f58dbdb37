"""A record with one visit that has an entry of most kinds."""

from __future__ import annotations

from datetime import date, datetime

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.record.record import Record
from vision.results import Estimate, Finding, Marks, Refusal
from vision.uncertainty import Term

MARKS = Marks(((1.0, 2.0),), ((3.0, 4.0),), ((1, 2), (3, 4)), ((5, 6), (7, 8)), (4.0, 5.0), ())


def fill_visit(record: Record) -> None:
    record.add_rope(Rope("rope", 22.0, grooves=(Groove("drum", 12.1, 24.5),)), by="A. Berg")
    record.add_gauge(Gauge("C-07", "micrometer", 0.01, 0.0), by="A. Berg")
    visit = Inspection("visit", "rope", date(2026, 11, 2), stations=(Station(1, 0.0),))
    record.add_inspection(visit, by="A. Berg")
    reading = Reading("22,41", 22.41, 1, 0, "C-07", "Åsa", datetime(2026, 11, 2, 9, 14))
    record.add_readings("visit", [reading, reading], by="A. Berg")
    record.withdraw_reading("visit", 2, by="A. Berg", why="twice")
    odd = Finding("odd", "seen", "look", "look", where=("station 1",), p_value=0.01)
    bad = Finding("too-far", "seen", "go", "refuse", 31.0, 40.0, "px", spot_px=(1.0, 2.0))
    term = Term("left edge", 0.02, "mm", 1.0, "A", "edge:1:left")
    results: list[Estimate | Refusal] = [
        Estimate(22.38, (term,), station=1, view_deg=0, photo_sha256="ab" * 32, marks=MARKS),
        Refusal((bad,)),
    ]
    record.add_results("visit", results, by="A. Berg")
    record.add_photograph("visit", b"bytes", name="s1.jpg", by="A. Berg")
    record.set_findings("visit", [odd], rank=2.0, by="C. Holm")
    record.replace_result("visit", results[1], None, by="A. Berg", why="of another rope")
    record.review("visit", "sent back", by="B. Lind", why="again", station=1)
    record.review("visit", "sent back", by="B. Lind", why="again")
    record.add_print_check("set A", {"along_mm": 180.2}, by="A. Berg")
