"""What `ropephoto check` found, as tables on the screen, as JSON and as CSV."""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.table import Table

from inspection.case import Judgement
from inspection.crosscheck import Comparison
from inspection.folder import Folder
from inspection.limits import NotApplicable
from inspection.log import place_words
from inspection.placed_verdicts import PlacedVerdict
from inspection.record_plain import plain
from inspection.tables import harmless
from ui.tables import as_plain
from ui.words import CAUTIONS, refused, sentence
from vision.estimate import Finding

STYLES = {"disagrees": "bold red", "doubtful": "yellow", "cannot say": "dim",
          "outside": "bold red", "undecided": "yellow"}  # fmt: skip
COLUMNS = ("kind", "where", "source", "code", "value", "limit", "unit", "outcome", "p_value",
           "words")  # fmt: skip


def print_check_table(judgement: Judgement, read: Folder) -> None:
    """Print a judgement for people; its last line says what deserves the first look."""
    console = Console()
    log = judgement.log
    console.print(
        f"{log.rope.identity}, nominal {log.rope.nominal_mm:g} mm: inspection "
        f"{log.inspection.identity} of {log.inspection.on}",
        style="bold", markup=False,
    )  # fmt: skip
    if judgement.crosscheck.comparisons:
        console.print(_comparisons_table(judgement.crosscheck.comparisons))
        console.print(_agreement_line(judgement), markup=False)
    if judgement.findings:
        console.print(_findings_table(judgement.findings))
    if judgement.verdicts:
        console.print(_verdicts_table(judgement.verdicts))
    for line in _lines(judgement, read):
        console.print(line, markup=False)
    for caution in CAUTIONS:
        console.print(caution, style="italic", markup=False)
    # one line whatever the width of the screen, so that it can be cut off and passed on
    console.print(judgement.first_look, style="bold", markup=False, soft_wrap=True)


def _comparisons_table(comparisons: tuple[Comparison, ...]) -> Table:
    table = Table(title="Photograph against gauge; U is expanded, k = 2", title_justify="left")
    table.add_column("place", no_wrap=True)
    table.add_column("gauge")
    for heading in ("typed", "photo mm", "U mm", "photo - gauge mm", "U mm", "E_n"):
        table.add_column(heading, justify="right")
    table.add_column("in words")
    for one in comparisons:
        table.add_row(
            place_words(one.station or 0, one.view_deg),
            _safe(one.gauge),
            _safe(one.typed),
            f"{one.photo_mm:.2f}",
            f"{2 * one.u_photo_mm:.2f}",
            f"{one.difference_mm:+.2f}",
            f"{2 * one.u_difference_mm:.2f}",
            f"{one.en:+.2f}",
            one.word,
            style=STYLES.get(one.word),
        )
    return table


def _agreement_line(judgement: Judgement) -> str:
    found = judgement.agreement
    if found is None:
        return "Fewer than 3 comparisons: no limits of agreement."
    return (
        f"Mean difference photo - gauge {found.bias_mm:+.3f} mm, limits of agreement "
        f"{found.low_mm:+.2f} to {found.high_mm:+.2f} mm ({found.count} comparisons)."
    )


def _findings_table(findings: tuple[Finding, ...]) -> Table:
    table = Table(
        title="Entries that deserve a second look, most deserving first",
        title_justify="left", show_lines=True,
    )  # fmt: skip
    table.add_column("#", justify="right")
    table.add_column("entries", min_width=17)
    table.add_column("what was seen, and what to do", ratio=1)
    table.add_column("if nothing is wrong", max_width=14)
    for number, one in enumerate(findings, start=1):
        words = f"{one.seen}\nTo do: {one.remedy}\nMay be innocent: {one.innocent}"
        table.add_row(
            str(number), _safe(_short(one.where)), _safe(words), chance_words(one.p_value)
        )
    return table


def _verdicts_table(verdicts: tuple[PlacedVerdict, ...]) -> Table:
    """Return one row a limit and source: how its stations fare, and the one nearest to it."""
    table = Table(title="Published limits; a verdict clears nothing", title_justify="left")
    for heading in ("limit", "by", "stations", "nearest"):
        table.add_column(heading)
    for heading in ("figure mm", "limit mm", "margin mm"):
        table.add_column(heading, justify="right")
    groups: dict[tuple[str, str], list[PlacedVerdict]] = {}
    for one in verdicts:
        rule = one.verdict.limit.rule
        groups.setdefault((f"{rule.rule_set}, {rule.what}", one.source), []).append(one)
    for (what, source), group in groups.items():
        nearest = min(group, key=lambda one: one.verdict.margin_mm)
        outcomes = [one.verdict.outcome for one in group]
        counts = {
            word: outcomes.count(word)
            for word in ("outside", "undecided", "within")
            if word in outcomes
        }
        worst = next(iter(counts))
        verdict = nearest.verdict
        least, most = verdict.limit.low_mm, verdict.limit.high_mm
        table.add_row(
            _safe(what),
            source,
            "\n".join(f"{number} {word}" for word, number in counts.items()),
            "whole rope" if nearest.station is None else f"station {nearest.station}",
            f"{verdict.value_mm:.2f}\nu {verdict.u_mm:.2f}",
            "\n".join(
                f"{word} {bound:.2f}"
                for word, bound in (("least", least), ("most", most))
                if bound is not None
            ),
            f"{verdict.margin_mm:+.2f}",
            style=STYLES.get(worst),
        )
    return table


def _not_applicable(judgement: Judgement) -> list[str]:
    """Return why limits don't apply; those of the other service are only named."""
    service = judgement.log.rope.service
    close: list[NotApplicable] = []
    far: list[NotApplicable] = []
    for one in judgement.not_applicable:
        (far if one.rule.services and service not in one.rule.services else close).append(one)
    lines = [f"Does not apply: {one.reason}" for one in close]
    if far:
        named = ", ".join(dict.fromkeys(one.rule.rule_set for one in far))
        other = "new ropes" if service == "in-service" else "ropes in service"
        lines.append(f"Limits for {other} do not apply: {named}.")
    return lines


def _lines(judgement: Judgement, read: Folder) -> list[str]:
    checked = judgement.crosscheck
    lines = [f"{one.photo_name}: {refused(one)}" for one in checked.refused]
    lines += [
        f"{one.photo_name}: {one.diameter_mm:.2f} mm, no reading to hold it against."
        for one in checked.photos_alone
    ]
    lines += [
        f"{place_words(one.station, one.view_deg)}: {one.typed} was logged, no photograph to hold "
        "it against."
        for one in checked.readings_alone
    ]
    lines += [
        f"Station {one.station} is {one.deficit_mm:.2f} mm ({one.deficit_pct:.1f} % of nominal) "
        "thinner than its neighbours: a local decrease."
        for one in judgement.local
        if one.outcome == "local decrease"
    ]
    lines += _not_applicable(judgement)
    lines += [f"Row {one.line} was left out: {one.reason}" for one in read.rejected]
    return [*lines, *(f"Note: {note}" for note in (*judgement.notes, *read.notes))]


def chance_words(p_value: float | None) -> str:
    """Return how unlikely a finding is in a log in which nothing is wrong.

    Examples
    --------
    >>> chance_words(0.0123), chance_words(1e-30), chance_words(None)
    ('1 in 81 logs', 'less than 1 in 1,000,000 logs', 'does not occur')
    """
    if p_value is None:
        return "does not occur"
    if p_value < 1e-6:
        return "less than 1 in 1,000,000 logs"
    return f"1 in {1 / p_value:,.0f} logs"


def _short(where: tuple[str, ...]) -> str:
    shown = "\n".join(where[:4])
    return shown if len(where) <= 4 else f"{shown}\nand {len(where) - 4} more"


def _safe(text: str) -> str:
    """Return text in which a bracket is no markup."""
    return text.replace("[", r"\[")


def print_check_json(judgement: Judgement, read: Folder) -> None:
    """Print a judgement as one JSON document."""
    json.dump(judgement_plain(judgement, read), sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


def judgement_plain(judgement: Judgement, read: Folder) -> dict[str, Any]:
    """Return a judgement as plain values for JSON."""
    log, checked = judgement.log, judgement.crosscheck
    comparisons = []
    for one in checked.comparisons:
        values = plain(one)
        del values["difference_budget"]
        comparisons.append({**values, "u_difference_mm": one.u_difference_mm, "words": one.words})
    return {
        "rope": plain(log.rope),
        "inspection": plain(log.inspection),
        "first_look": judgement.first_look,
        "deserves_a_look": judgement.deserves_a_look,
        "findings": [plain(one) for one in judgement.findings],
        "comparisons": comparisons,
        "agreement": None if judgement.agreement is None else plain(judgement.agreement),
        "verdicts": [
            {"station": one.station, "source": one.source, **plain(one.verdict),
             "words": one.words}
            for one in judgement.verdicts
        ],
        "not_applicable": [one.reason for one in judgement.not_applicable],
        "local": [plain(one) for one in judgement.local],
        "refused": [as_plain(one) for one in checked.refused],
        "photographs_alone": [one.photo_name for one in checked.photos_alone],
        "readings_alone": [plain(one) for one in checked.readings_alone],
        "rejected_rows": [asdict(one) for one in read.rejected],
        "notes": [*judgement.notes, *read.notes],
        "cautions": list(CAUTIONS),
    }  # fmt: skip


def print_check_csv(judgement: Judgement, read: Folder) -> None:
    """Print a judgement as CSV: findings in their order, comparisons, verdicts, refusals."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in _csv_rows(judgement, read):
        writer.writerow([_cell(row.get(column)) for column in COLUMNS])


def _csv_rows(judgement: Judgement, read: Folder) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = [
        {"kind": "finding", "where": "; ".join(one.where), "code": one.code, "value": one.value,
         "limit": one.limit, "unit": one.unit, "p_value": one.p_value,
         "words": f"{sentence(one)} {one.innocent}"}
        for one in judgement.findings
    ]  # fmt: skip
    rows += [
        {"kind": "comparison", "where": place_words(one.station or 0, one.view_deg),
         "source": one.gauge, "value": one.difference_mm, "limit": 2 * one.u_difference_mm,
         "unit": "mm", "outcome": one.word, "p_value": one.p_value, "words": one.words}
        for one in judgement.crosscheck.comparisons
    ]  # fmt: skip
    for placed in judgement.verdicts:
        limit = placed.verdict.limit
        rows.append(
            {"kind": "verdict", "source": placed.source, "value": placed.verdict.value_mm,
             "where": "rope" if placed.station is None else f"station {placed.station}",
             "limit": limit.high_mm if limit.low_mm is None else limit.low_mm, "unit": "mm",
             "outcome": placed.verdict.outcome, "words": placed.words}
        )  # fmt: skip
    rows += [
        {"kind": "refused", "where": one.photo_name, "outcome": "no diameter",
         "words": refused(one)}
        for one in judgement.crosscheck.refused
    ]  # fmt: skip
    rows += [
        {"kind": "row left out", "where": f"line {one.line}", "words": one.reason}
        for one in read.rejected
    ]
    rows.append({"kind": "first look", "words": judgement.first_look})
    return [*rows, *({"kind": "caution", "words": caution} for caution in CAUTIONS)]


def _cell(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else harmless(str(value))
