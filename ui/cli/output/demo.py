"""Measure the sample inspection and compare it with its true widths and its gauge readings."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from inspection.assessment import assess, finding_words
from inspection.folder import read_folder
from inspection.model.readings import Reading
from ui.cli.output.measure import new_table
from ui.cli.progress import find_photographs, measure_files
from ui.text import CAUTIONS, refused
from vision.pipeline import Settings
from vision.results import Estimate, Refusal, Result
from vision.target.print_scale import load_print_checks

PRINT_SET = "demo-set"
TRUTH = "truth_2d_mm"  # caliper width of the rendered mesh over the default jaws


@dataclass(frozen=True, slots=True)
class _Line:
    """One result of the samples with its true width and gauge reading."""

    result: Result
    truth_mm: float
    reading: Reading | None
    expected: bool


def run_demo(folder: Path) -> None:
    """Measure the photographs of the sample folder and print the results.

    Parameters
    ----------
    folder : Path
        Holds photographs, truth.csv, readings.csv, rope.json and print_checks.json.

    Raises
    ------
    click.ClickException
        If the folder is not the sample folder.
    """
    try:
        check = load_print_checks(folder / "print_checks.json")[PRINT_SET]
        log = read_folder(folder).log
        with (folder / "truth.csv").open(newline="") as lines:
            truth = {row["file"]: row for row in csv.DictReader(lines)}
    except (OSError, ValueError, KeyError) as wrong:
        raise click.ClickException(
            f"{folder} is not the sample folder ({wrong}); name it with --folder."
        ) from wrong
    results = measure_files(find_photographs([str(folder)]), Settings(print_check=check))
    readings = {(item.station, item.view_deg): item for item in log.readings}
    lines_ = [
        _Line(
            result,
            float(truth[result.photo_name][TRUTH]),
            readings.get((result.station or 0, result.view_deg or 0)),
            truth[result.photo_name]["answerable"] == "yes",
        )
        for result in results
    ]
    console = Console()
    console.print(_table(lines_), "")
    _print_refusals(console, lines_)
    _print_accuracy(console, lines_)
    assessment = assess(replace(log, results=tuple(results)))
    console.print(assessment.first_concern, style="bold", markup=False)
    for finding in assessment.findings[:1]:
        console.print(f"Also: {finding_words(finding)}", markup=False)
    for caution in CAUTIONS:
        console.print(caution, style="italic", markup=False)


def _table(lines: list[_Line]) -> Table:
    table = new_table("Sample inspection (rendered photographs); U is expanded, k = 2")
    table.add_column("photograph", overflow="fold", min_width=12)
    headings = (
        "photo\nmm",
        "U\nmm",
        "truth\nmm",
        "error\n%",
        "within\nU",
        "typed\nmm",
        "typed -\nphoto mm",
    )
    for heading in headings:
        table.add_column(heading, justify="right", no_wrap=True)
    for line in lines:
        one = line.result
        name = Text(one.photo_name)
        if not isinstance(one, Estimate):
            table.add_row(name, "refused")
            continue
        off = one.diameter_mm - line.truth_mm
        expanded = one.expanded_mm()
        typed = (
            ("", "")
            if line.reading is None
            else (line.reading.typed, f"{line.reading.value_mm - one.diameter_mm:+z.2f}")
        )
        table.add_row(
            name,
            f"{one.diameter_mm:.2f}",
            f"{expanded:.2f}",
            f"{line.truth_mm:.2f}",
            f"{100 * off / line.truth_mm:+z.2f}",
            "yes" if abs(off) <= expanded else "no",
            *typed,
        )
    return table


def _print_refusals(console: Console, lines: list[_Line]) -> None:
    for line in lines:
        if isinstance(line.result, Refusal):
            how = "refused as it must be" if not line.expected else "refused but answerable"
            console.print(f"{line.result.photo_name}, {how}: {refused(line.result)}", markup=False)


def _print_accuracy(console: Console, lines: list[_Line]) -> None:
    off = sorted(
        abs(line.result.diameter_mm - line.truth_mm) / line.truth_mm * 100
        for line in lines
        if isinstance(line.result, Estimate)
    )
    if off:
        console.print(
            f"Compared with the true widths: {len(off)} figures, median error "
            f"{off[len(off) // 2]:.2f} %, largest {off[-1]:.2f} %."
        )
