"""Results as a table on the screen, as JSON and as CSV."""

from __future__ import annotations

import csv
import json
import sys
from dataclasses import asdict
from datetime import datetime
from typing import Any

from rich.console import Console
from rich.table import Table

from inspection.section import Pairing, Section
from ui.words import CAUTIONS, place, refused, sentence
from vision.estimate import Estimate, Refusal, Result, shares

COLUMNS = (
    "photo",
    "station",
    "view_deg",
    "at_mm",
    "diameter_mm",
    "expanded_mm",
    "u_mm",
    "crowns",
    "crown_pitch_mm",
    "px_per_mm",
    "tilt_deg",
    "print_set",
    "taken_at",
    "camera",
    "findings",
)


def print_table(results: list[Result], pairing: Pairing, nominal_mm: float | None) -> None:
    """Print results for people: figures, sections, refusals, warnings, cautions."""
    console = Console()
    estimates = [result for result in results if isinstance(result, Estimate)]
    if estimates:
        console.print(_estimates_table(estimates, nominal_mm))
    if pairing.sections:
        console.print(_sections_table(pairing.sections))
    for result in results:
        if isinstance(result, Refusal):
            console.print(f"{result.photo_name}: {refused(result)}", style="bold", markup=False)
    for line in _warnings(estimates):
        console.print(line, markup=False)
    for caution in CAUTIONS:
        console.print(caution, style="italic", markup=False)


def _estimates_table(estimates: list[Estimate], nominal_mm: float | None) -> Table:
    table = Table(title="Diameter by photograph; U is expanded, k = 2", title_justify="left")
    table.add_column("photograph", overflow="fold")
    table.add_column("place")
    for heading in ("diameter mm", "U mm", "U %"):
        table.add_column(heading, justify="right")
    if nominal_mm is not None:
        table.add_column("to nominal %", justify="right")
    table.add_column("crowns", justify="right")
    table.add_column("most of U comes from")
    for one in estimates:
        expanded = one.expanded_mm()
        row = [
            one.photo_name,
            place(one),
            f"{one.diameter_mm:.2f}",
            f"{expanded:.2f}",
            f"{100 * expanded / one.diameter_mm:.2f}",
        ]
        if nominal_mm is not None:
            row.append(f"{100 * (one.diameter_mm - nominal_mm) / nominal_mm:+.2f}")
        row.append(str(one.crowns) if one.crowns else "smooth")
        ranked = shares(one.budget)
        row.append(f"{ranked[0][0].quantity} ({100 * ranked[0][1]:.0f} %)" if ranked else "")
        table.add_row(*row)
    return table


def _sections_table(sections: tuple[Section, ...]) -> Table:
    table = Table(title="Stations seen from two directions", title_justify="left")
    table.add_column("station")
    for heading in ("mean mm", "U mm", "ovality mm", "U mm"):
        table.add_column(heading, justify="right")
    for one in sections:
        where = f"{one.station}" + (f" at {one.at_mm:g} mm" if one.at_mm else "")
        table.add_row(
            where,
            f"{one.mean_mm:.2f}",
            f"{2 * one.u_mean_mm:.2f}",
            f"{one.ovality_mm:.2f}",
            f"{2 * one.u_ovality_mm:.2f}",
        )
    return table


def _warnings(estimates: list[Estimate]) -> list[str]:
    """Return each warning once, with the number of photographs that it concerns."""
    seen: dict[str, int] = {}
    for one in estimates:
        for finding in one.findings:
            words = sentence(finding)
            seen[words] = seen.get(words, 0) + 1
    return [f"Note ({count} of {len(estimates)}): {words}" for words, count in seen.items()]


def as_plain(result: Result) -> dict[str, Any]:
    """Return a result as plain values for JSON, with its uncertainties worked out."""
    plain = asdict(result)
    plain["taken_at"] = _iso(result.taken_at)
    plain["answered"] = isinstance(result, Estimate)
    if isinstance(result, Estimate):
        plain["u_mm"] = result.u_mm
        plain["expanded_mm"] = result.expanded_mm()
        plain["budget"] = [
            {**asdict(term), "u_mm": term.u_mm, "share": share}
            for term, share in shares(result.budget)
        ]
    return plain


def print_json(results: list[Result], pairing: Pairing) -> None:
    """Print results and sections as one JSON document."""
    sections = [
        {
            "station": one.station,
            "at_mm": one.at_mm,
            "mean_mm": one.mean_mm,
            "u_mean_mm": one.u_mean_mm,
            "ovality_mm": one.ovality_mm,
            "u_ovality_mm": one.u_ovality_mm,
            "difference_mm": one.difference_mm,
            "views_deg": [view.view_deg for view in one.views],
        }
        for one in pairing.sections
    ]
    document = {
        "results": [as_plain(result) for result in results],
        "sections": sections,
        "cautions": list(CAUTIONS),
    }
    json.dump(document, sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


def print_csv(results: list[Result]) -> None:
    """Print results as CSV, a line each; refused photographs have no figure."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in results:
        plain = as_plain(one)
        plain["photo"] = harmless(one.photo_name)
        plain["camera"] = harmless(one.camera)
        plain["findings"] = " ".join(sentence(finding) for finding in one.findings)
        for name in (
            "diameter_mm",
            "expanded_mm",
            "u_mm",
            "crown_pitch_mm",
            "px_per_mm",
            "tilt_deg",
        ):
            if plain.get(name) is not None:
                plain[name] = f"{plain[name]:.4f}"
        writer.writerow(["" if plain.get(c) is None else plain[c] for c in COLUMNS])


def harmless(text: str) -> str:
    """Return text that a spreadsheet won't take for a formula (OWASP: CSV injection)."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _iso(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
