"""The report's list of stations: where each is, what is there, and how it came out."""

from __future__ import annotations

from collections import Counter

from ui.report_blocks import Block, Grid, Words, without_empty
from ui.report_case import ReportCase
from ui.report_short import counts
from vision.estimate import Estimate


def stations(case: ReportCase) -> list[Block]:
    """Return the stations with their place, note, what was taken at each, and what was said."""
    judgement = case.judgement
    log = judgement.log
    photographs = Counter(one.station for one in log.results if isinstance(one, Estimate))
    readings = Counter(one.station for one in log.readings)
    known = {one.number: one for one in log.inspection.stations}
    numbers = sorted({*known, *readings, *(n for n in photographs if n is not None)})
    if not numbers:
        return [Words("No station was named.")]
    compared: dict[int | None, Counter[str]] = {}
    for one in judgement.crosscheck.comparisons:
        compared.setdefault(one.station, Counter())[one.word] += 1
    judged: dict[int | None, Counter[str]] = {}
    for placed in judgement.verdicts:
        judged.setdefault(placed.station, Counter())[placed.verdict.outcome] += 1
    rows = []
    for number in numbers:
        station = known.get(number)
        rows.append((
            str(number),
            "" if station is None else f"{station.position_m:g}",
            "" if station is None else station.note,
            str(photographs.get(number, 0)),
            str(readings.get(number, 0)),
            counts(compared.get(number, Counter())),
            counts(judged.get(number, Counter())),
            _decision(case, number),
        ))  # fmt: skip
    head = ("Station", "Place along the rope (m)", "Note", "Photographs with a figure", "Readings",
            "Photographs against gauge", "Verdicts", "Review")  # fmt: skip
    widths = (0.9, 1.3, 2.6, 1.5, 1.1, 1.7, 1.7, 2.0)
    strong = frozenset(
        row for row, number in enumerate(numbers)
        if "disagrees" in compared.get(number, ()) or "outside" in judged.get(number, ())
    )  # fmt: skip
    table = Grid(head, tuple(rows), widths, right=frozenset({0, 1, 3, 4}), strong=strong)
    return [without_empty(table)]


def _decision(case: ReportCase, station: int) -> str:
    """Return the last decision about a station; empty where there is none."""
    reviews = () if case.record is None else case.record.station_reviews
    mine = [one for one in reviews if one.station == station]
    if not mine:
        return ""
    last = mine[-1]
    return f"{last.state} by {last.who}" + ("" if last.stands else "; ended since")
