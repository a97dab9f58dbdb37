"""Every figure of the assessment is in the report, on A4, on Letter and in HTML; a wrong figure
would be noticed."""

from __future__ import annotations

import re
from base64 import b64decode
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from html import unescape

import pypdfium2  # type: ignore[import-untyped]
import pytest

from inspection.assessment import Assessment, assess
from inspection.measurement.section import Section
from tests.ui.report_cases import HARD, ON_PAPER, folder_case, hard_case, hard_pdf
from ui.report.case import ReportCase
from ui.report.report import html_report, pdf_report
from ui.report.writers.pdf import Paper
from vision.results import Estimate

Row = tuple[str, str]  # what it is about, and the words as they stand beside each other


def plain(words: str) -> str:
    """Return words without spaces: where a line ends is the typesetter's business."""
    return re.sub(r"\s+", "", words)


def words_of_pdf(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    words = "".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    return plain(words.replace("\ufffe", ""))


def words_of_html(case: ReportCase) -> str:
    """Return what a reader of the HTML sees, the words in its drawings included."""
    said = html_report(case)
    drawn = " ".join(
        b64decode(one).decode("utf-8")
        for one in re.findall(r"data:image/svg\+xml;base64,([^\"]+)", said)
    )
    return plain(
        unescape(re.sub(r"<style>.*?</style>|<[^>]+>", " ", f"{said} {drawn}", flags=re.S))
    )


CHANGED: dict[str, Callable[[ReportCase], str]] = {
    "PDF": lambda case: words_of_pdf(pdf_report(case)),
    "HTML": words_of_html,
}


def rows_of(case: ReportCase) -> Iterator[Row]:
    """Yield every row of figures that must stand in the report, from the assessment alone."""
    judged = case.assessment
    inch = judged.log.rope.units == "inch"
    cell, said = partial(in_a_table, inch=inch), partial(in_a_sentence, inch=inch)
    for one in judged.log.results:
        if isinstance(one, Estimate):
            where = f"station {one.station}, {one.view_deg} deg"
            u = 2 * one.u_mm
            yield (
                "diameter",
                (
                    f"{where} {cell(one.diameter_mm)}{mark_of(judged, where, 'photographs')} "
                    f"{cell(u)} {100 * u / one.diameter_mm:.2f}"
                ),
            )
            # a caption is written in hundredths of a millimetre, and then converted
            seen, wide = (said(round(value, 2)) for value in (one.diameter_mm, u))
            yield "picture", f"{where}: {seen}, U (k = 2) {wide}."
            yield (
                "budget",
                f"{where} combined standard uncertainty u {cell(one.u_mm, 3 if inch else 4)} 100",
            )
            yield "file", one.photo_sha256
    for source, sections in (
        ("photographs", judged.photograph_sections),
        ("gauge", judged.gauge_sections),
    ):
        for part in sections:
            yield "section", section_row(part, source, judged, inch)
        if sections:
            least = min(sections, key=lambda one: one.mean_mm)
            yield (
                "thinnest",
                (
                    f"by {source} station {least.station}: mean {said(least.mean_mm)}, "
                    f"U {said(2 * least.u_mean_mm)}"
                    f", {least.difference_pct:+z.2f} % from nominal{mark_at(judged, least.station)}"
                ),
            )
            most = max(sections, key=lambda one: one.ovality_mm)
            yield (
                "largest ovality",
                (
                    f"by {source} station {most.station}: {said(most.ovality_mm)}, "
                    f"U {said(2 * most.u_ovality_mm)}{mark_at(judged, most.station)}"
                ),
            )
    drawn = judged.photograph_sections or judged.gauge_sections
    for part in sorted(drawn, key=lambda one: -one.ovality_mm)[:12]:  # a page of them
        yield "drawing", f"mean {said(part.mean_mm)}"
    for pair in judged.crosscheck.comparisons:
        yield (
            "comparison",
            (
                f"station {pair.station}, {pair.view_deg} deg {pair.gauge} "
                f"{pair.typed}{mark_of(judged, pair.place.words, 'gauge')} "
                f"{cell(pair.gauge_mm)} {cell(2 * pair.u_gauge_mm)} {cell(pair.photo_mm)} "
                f"{cell(2 * pair.u_photo_mm)} {cell(pair.difference_mm, sign='+')} "
                f"{cell(2 * pair.u_difference_mm)} {pair.en:+z.2f} {pair.word}"
            ),
        )
    for number, reading in enumerate(judged.log.readings, start=1):
        yield (
            "reading",
            (
                f"{number} station {reading.station}, {reading.view_deg} deg "
                f"{reading.typed}{mark_of(judged, reading.place.words, 'gauge')} "
                f"{cell(reading.value_mm, 2 if inch else 3)} {reading.gauge}"
            ),
        )
    yield from judged_rows(judged, inch=inch)


def mark_at(judged: Assessment, station: int) -> str:
    """Return the mark that a station with an entry to be checked has at its figures."""
    return " (doubted)" if station in judged.doubted else ""


def mark_of(judged: Assessment, where: str, source: str) -> str:
    """Return the mark that one entry to be checked has, a reading or a photograph."""
    mine = [one for one in judged.doubts if one.place.words == where]
    return " (doubted)" if any(one.disagrees or one.source == source for one in mine) else ""


def section_row(part: Section, source: str, judged: Assessment, inch: bool) -> str:
    mine = [
        one
        for one in judged.log.results
        if isinstance(one, Estimate) and one.station == part.station
    ]
    said = source
    if source == "photographs" and any(
        finding.code == "edge-by-hand" for one in mine for finding in one.findings
    ):
        said += ", an edge set by hand"
    if source == "photographs" and any(result.without_card for result in mine):
        said += ", without the card"
    said += mark_at(judged, part.station)
    assert part.difference_pct is not None
    cell = partial(in_a_table, inch=inch)
    return (
        f"{part.station} {said} 0° and 90° "
        f"{cell(part.mean_mm)} {cell(2 * part.u_mean_mm)} {part.difference_pct:+z.2f} "
        f"{cell(part.ovality_mm)} {cell(2 * part.u_ovality_mm)} {part.ovality_pct:.2f}"
    )


def in_a_table(mm: float, places: int = 2, *, inch: bool, sign: str = "") -> str:
    """Return a figure as a table holds it; 1 in is 25.4 mm exactly."""
    return f"{mm / 25.4:{sign}z.{places + 2}f}" if inch else f"{mm:{sign}z.{places}f}"


def in_a_sentence(mm: float, places: int = 2, *, inch: bool, sign: str = "") -> str:
    return f"{mm / 25.4:{sign}z.{places + 1}f} in" if inch else f"{mm:{sign}z.{places}f} mm"


def judged_rows(judged: Assessment, *, inch: bool) -> Iterator[Row]:
    """Yield the rows of verdicts, severity, neighbours and agreement."""
    cell, said = partial(in_a_table, inch=inch), partial(in_a_sentence, inch=inch)
    for one in judged.verdicts:
        verdict = one.verdict
        bounds = " and ".join(
            f"{word} {cell(bound)}"
            for word, bound in (
                ("at least", verdict.limit.low_mm),
                ("at most", verdict.limit.high_mm),
            )
            if bound is not None
        )
        p = verdict.p_conform
        chance = "> 99.9 %" if p > 0.999 else "< 0.1 %" if p < 0.001 else f"{100 * p:.1f} %"
        yield (
            "verdict",
            (
                f"{'whole rope' if one.station is None else f'station {one.station}'} {one.source} "
                f"{cell(verdict.value_mm)} {cell(verdict.u_mm)} {bounds} "
                f"{cell(verdict.margin_mm, sign='+')} "
                f"{chance} {verdict.outcome}{' (doubted)' if one.doubted else ''}"
            ),
        )
        rule = verdict.limit.rule
        yield "limit", f"Source: {rule.source}, "
        own = rule.sure == "entered by the user"
        known = (
            "entered by the user, not a published" if own else "not confirmed against a copy of the"
        )
        yield "limit", f"{rule.rule_set}: {known}"
    for at in judged.severities:
        worn = at.severity
        yield (
            "severity",
            (
                f"{at.station} {at.source} {cell(worn.decrease_mm, sign='+')} "
                f"{worn.decrease_pct:+z.2f} {worn.u_pct:.2f} {at.band} {worn.severity_pct}"
            ),
        )
    for thin in judged.local:
        yield (
            "neighbours",
            (
                f"{thin.station} {thin.source} {cell(thin.deficit_mm, sign='+')} "
                f"{thin.deficit_pct:+z.1f} {cell(2 * thin.u_mm)} {thin.outcome}"
                f"{mark_at(judged, thin.station)}"
            ),
        )
    if judged.agreement is not None:
        found = judged.agreement
        yield (
            "agreement",
            (
                f"{said(found.bias_mm, 3, sign='+')}, limits of agreement "
                f"{said(found.low_mm, sign='+')} to {said(found.high_mm, sign='+')} "
                f"({found.count} comparisons)"
            ),
        )


def lacking(case: ReportCase, words: str) -> list[Row]:
    """Return the rows of a case that are missing from a report's words."""
    said = words.lower()
    return [(kind, row) for kind, row in rows_of(case) if plain(row).lower() not in said]


@pytest.mark.parametrize(("name", "paper"), ON_PAPER)
def test_every_figure_of_the_record_is_in_the_report(name: str, paper: Paper) -> None:
    assert lacking(hard_case(name), words_of_pdf(hard_pdf(name, paper))) == []


@pytest.mark.parametrize("name", HARD)
def test_every_figure_of_the_record_is_in_the_html(name: str) -> None:
    assert lacking(hard_case(name), words_of_html(hard_case(name))) == []


def test_the_rows_that_are_looked_for_cover_every_station(case: ReportCase) -> None:
    kinds = [kind for kind, _ in rows_of(case)]
    # 4 stations from 2 directions, by photograph and by gauge; 9 files, of which one is refused
    for kind, count in (
        ("diameter", 8),
        ("picture", 8),
        ("section", 8),
        ("comparison", 8),
        ("reading", 8),
        ("drawing", 4),
        ("severity", 4),
        ("neighbours", 4),
        ("agreement", 1),
    ):
        assert kinds.count(kind) == count, kind
    assert kinds.count("verdict") >= 16


def _first(case: ReportCase) -> Estimate:
    first = case.assessment.log.results[0]
    assert isinstance(first, Estimate)
    return first


def _with_first(case: ReportCase, first: Estimate) -> ReportCase:
    log = case.assessment.log
    return replace(case, assessment=assess(replace(log, results=(first, *log.results[1:]))))


def _another_diameter(case: ReportCase) -> ReportCase:
    return _with_first(case, replace(_first(case), diameter_mm=_first(case).diameter_mm + 0.01))


def _another_uncertainty(case: ReportCase) -> ReportCase:
    wider = replace(_first(case).budget[1], u=_first(case).budget[1].u + 0.008)
    return _with_first(case, replace(_first(case), budget=(_first(case).budget[0], wider)))


def _another_reading(case: ReportCase) -> ReportCase:
    log = case.assessment.log
    first = replace(log.readings[0], typed="39.40", value_mm=39.40)
    return replace(case, assessment=assess(replace(log, readings=(first, *log.readings[1:]))))


def _another_ovality(case: ReportCase) -> ReportCase:
    parts = case.assessment.photograph_sections
    first = replace(parts[0], ovality_mm=parts[0].ovality_mm + 0.01)
    return replace(
        case, assessment=replace(case.assessment, photograph_sections=(first, *parts[1:]))
    )


def _another_verdict(case: ReportCase) -> ReportCase:
    first, *others = case.assessment.verdicts
    turned = replace(first, verdict=replace(first.verdict, outcome="outside"))
    return replace(case, assessment=replace(case.assessment, verdicts=(turned, *others)))


def _another_caption(case: ReportCase) -> ReportCase:
    first = replace(case.pictures[0], caption=case.pictures[0].caption.replace("39.37", "39.38"))
    return replace(case, pictures=(first, *case.pictures[1:]))


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return folder_case(tmp_path_factory.mktemp("folder"))


@pytest.mark.parametrize(
    ("form", "changed", "noticed"),
    [
        ("PDF", _another_diameter, {"diameter", "section", "comparison", "verdict"}),
        ("HTML", _another_diameter, {"diameter", "section", "comparison", "verdict"}),
        ("HTML", _another_uncertainty, {"diameter", "budget", "section"}),
        ("HTML", _another_reading, {"reading", "comparison"}),
        ("HTML", _another_ovality, {"section"}),
        ("HTML", _another_verdict, {"verdict"}),
        ("HTML", _another_caption, {"picture"}),
    ],
)
def test_a_report_with_another_figure_does_not_pass(
    changed: Callable[[ReportCase], ReportCase], noticed: set[str], form: str, case: ReportCase
) -> None:
    assert case.assessment.verdicts[0].verdict.outcome == "within"
    assert noticed <= {kind for kind, _ in lacking(case, CHANGED[form](changed(case)))}
