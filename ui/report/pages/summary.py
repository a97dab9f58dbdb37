"""The annex's summary: the job, the state of its review, all findings in brief, the stations."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from functools import partial
from importlib.metadata import PackageNotFoundError, version

from inspection.assessment import NOTHING_APPLIED, Assessment
from inspection.folder import rejected_words
from inspection.measurement.measured_diameter import MeasuredDiameter
from inspection.model.log import counted
from inspection.model.loss import LOCAL_GROUND
from ui.lengths import K, along, along_unit, length_text
from ui.presenters.whole_rope import group_of
from ui.report.blocks import Block, Facts, Grid, Words, without_empty
from ui.report.case import ReportCase
from ui.report.pages.assessment import minute
from ui.text import capitalised
from vision.results import Estimate

STATES = {
    "draft": "draft: not submitted for review",
    "submitted": "submitted: not yet decided as a whole",
    "sent back": "sent back",
    "reviewed": "reviewed",
    "closed": "closed",
}
SEVERAL = {"agrees": "agree", "disagrees": "disagree"}
WORST_FIRST = ("disagrees", "outside", "undecided", "doubtful", "cannot say", "agrees", "within")


def job(case: ReportCase) -> list[Block]:
    """Return what the report is about: rope, inspection, people, review, fingerprint."""
    log = case.assessment.log
    held = log.inspection
    pairs = [
        ("Rope", log.rope.identity),
        ("Inspection", held.identity),
        ("Date of inspection", held.on.isoformat()),
        ("Place", held.place or log.rope.site),
        ("Inspector", held.inspector),
        ("Reviewer", held.reviewer),
        ("Supervisor", held.supervisor),
        ("Tension while measuring", held.tension),
        ("Review", state_words(case)),
        ("Record's fingerprint", "" if case.record is None else case.record.fingerprint),
        ("Report made", f"{case.made_at:%Y-%m-%d %H:%M} {case.made_at.tzname() or ''}".strip()),
        ("Made from", f"{case.source}, by Rope Photo Check {_version()}"),
    ]
    return [
        Facts(
            tuple(
                (name, value or "not named")
                for name, value in pairs
                if value or name in ("Inspector", "Reviewer", "Supervisor")
            )
        )
    ]


def state_words(case: ReportCase) -> str:
    """Return the state of the review, with the last decision."""
    record = case.record
    if record is None:
        return "made from a folder, not from a record"
    last = record.reviews[-1] if record.reviews else None
    if last is None or record.state not in ("sent back", "reviewed", "closed"):
        return STATES[record.state]
    why = f": {last.why}" if last.why else ""
    return f"{last.state} by {last.who}, {minute(last.at)}{why}"


def in_short(case: ReportCase) -> list[Block]:
    """Return the first concern, the most important figures, and counts."""
    assessment = case.assessment
    words: Counter[str] = Counter(
        comparison.word for comparison in assessment.crosscheck.comparisons
    )
    outcomes: Counter[str] = Counter(verdict.verdict.outcome for verdict in assessment.verdicts)
    doubted = sum(verdict.doubted for verdict in assessment.verdicts)
    figures = sum(isinstance(result, Estimate) for result in assessment.log.results)
    still = sum(not flag.settled_by for flag in case.flags)
    local = [local for local in assessment.local if local.outcome == "local decrease"]
    pairs = [
        *_figures(assessment),
        (
            "Photographs",
            f"{counted(figures, 'figure', 'figures')}, "
            f"{len(assessment.crosscheck.refused)} refused",
        ),
        ("Gauge readings", counted(len(assessment.log.readings), "reading", "readings")),
        ("Photographs against gauge", counts(words) or "nothing could be compared"),
        (
            "Entries to check",
            f"{counted(len(case.flags), 'finding', 'findings')}, {still} open",
        ),
        (
            "Verdicts",
            (counts(outcomes) or "none")
            + (f"; {doubted} of them doubted: an entry there has to be checked" if doubted else ""),
        ),
        (
            "Local decrease",
            " ".join([*(one.words for one in local), *([LOCAL_GROUND] if local else [])])
            or (
                "none detected"
                if assessment.local
                else "not assessed: fewer than 3 stations in two directions"
            ),
        ),
    ]
    first = assessment.first_line(rejected_words(case.rejected))
    if not assessment.log.results and not assessment.log.readings:
        first = "Nothing was measured in this inspection."
    against = [Words(NOTHING_APPLIED, "strong")] if assessment.judged_against_nothing else []
    return [
        Words(first, "strong"),
        *(against if first != NOTHING_APPLIED else []),
        *(Words(f"Not complete: {words}", "strong") for words in assessment.not_complete),
        Facts(tuple(pairs)),
    ]


def counts(seen: Mapping[str, int]) -> str:
    """Return how often each word occurs, worst first.

    Examples
    --------
    >>> counts(Counter(["within", "outside", "within"])), counts({"agrees": 7, "disagrees": 1})
    ('1 outside, 2 within', '1 disagrees, 7 agree')
    """
    return ", ".join(
        counted(seen[word], word, SEVERAL.get(word, word)) for word in WORST_FIRST if seen.get(word)
    )


def _figures(assessment: Assessment) -> list[tuple[str, str]]:
    """Return the whole rope's diameter, the thinnest station and the largest ovality."""
    shown = partial(length_text, units=assessment.log.rope.units)
    whole, thin, oval = [], [], []
    for source, sections in assessment.sections_by_source:
        if not sections:
            continue
        found = group_of(sections, assessment.log.rope.nominal_mm)
        if isinstance(found, MeasuredDiameter):
            marked = assessment.mark(*(one.station for one in found.sections))
            whole.append(
                f"by {source} {shown(found.mean_mm)}, U {shown(K * found.u_mean_mm)}{marked}"
            )
        least = min(sections, key=lambda section: section.mean_mm)
        pct = least.difference_pct
        thin.append(
            f"by {source} station {least.station}: mean {shown(least.mean_mm)}, "
            f"U {shown(K * least.u_mean_mm)}"
            + ("" if pct is None else f", {pct:+z.2f} % from nominal")
            + assessment.mark(least.station)
        )
        most = max(sections, key=lambda section: section.ovality_mm)
        oval.append(
            f"by {source} station {most.station}: {shown(most.ovality_mm)}, "
            f"U {shown(K * most.u_ovality_mm)}{assessment.mark(most.station)}"
        )
    return [
        (name, "\n".join(capitalised(line) for line in said))
        for name, said in (
            ("Measured diameter", whole),
            ("Thinnest station", thin),
            ("Largest ovality", oval),
        )
        if said
    ]


def _version() -> str:
    try:
        return version("rope-photo-check")
    except PackageNotFoundError:
        return "(version unknown)"


def stations(case: ReportCase) -> list[Block]:
    """Return the stations with place, note, entries, agreement, verdicts and review."""
    assessment = case.assessment
    log = assessment.log
    photographs = Counter(result.station for result in log.results if isinstance(result, Estimate))
    readings = Counter(reading.station for reading in log.readings)
    known = {station.number: station for station in log.inspection.stations}
    numbers = sorted({*known, *readings, *(n for n in photographs if n is not None)})
    if not numbers:
        return [Words("No station was named.")]
    compared: dict[int | None, Counter[str]] = {}
    for comparison in assessment.crosscheck.comparisons:
        compared.setdefault(comparison.station, Counter())[comparison.word] += 1
    judged: dict[int | None, Counter[str]] = {}
    for placed in assessment.verdicts:
        judged.setdefault(placed.station, Counter())[placed.verdict.outcome] += 1
    rows = []
    for number in numbers:
        station = known.get(number)
        rows.append(
            (
                str(number),
                "" if station is None else along(station.position_m, log.rope.units),
                "" if station is None else station.note,
                str(photographs.get(number, 0)),
                str(readings.get(number, 0)),
                counts(compared.get(number, Counter())),
                counts(judged.get(number, Counter()))
                + (assessment.mark(number) if judged.get(number) else ""),
                _decision(case, number),
            )
        )
    head = (
        "Station",
        f"Place along the rope ({along_unit(log.rope.units)})",
        "Note",
        "Photographs with a figure",
        "Readings",
        "Photographs against gauge",
        "Verdicts",
        "Review",
    )
    widths = (0.9, 1.3, 2.6, 1.5, 1.1, 1.7, 1.7, 2.0)
    strong = frozenset(
        row
        for row, number in enumerate(numbers)
        if "disagrees" in compared.get(number, ()) or "outside" in judged.get(number, ())
    )
    table = Grid(head, tuple(rows), widths, right=frozenset({0, 1, 3, 4}), strong=strong)
    return [without_empty(table)]


def _decision(case: ReportCase, station: int) -> str:
    """Return the last decision about a station; empty where there is none."""
    reviews = () if case.record is None else case.record.station_reviews
    mine = [review for review in reviews if review.station == station]
    if not mine:
        return ""
    last = mine[-1]
    return f"{last.state} by {last.who}" + ("" if last.stands else "; no longer in force")
