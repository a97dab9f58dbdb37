"""Results as a table on the screen, as JSON and as CSV."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from inspection.exchange.spreadsheet import escape_formula
from inspection.measurement.ellipse import Ellipse
from inspection.measurement.measured_diameter import MeasuredDiameter
from inspection.measurement.section import Section
from inspection.model.serialization import to_dict
from ui.text import CAUTIONS, refused, sentence
from vision.frame import COLUMNS, results_frame
from vision.results import Estimate, Refusal, Result
from vision.uncertainty import combined_u_mm, shares

# Columns of `vision.frame` as a spreadsheet shows them.
HEADINGS = {
    "photo": "photograph",
    "view_deg": "direction (deg)",
    "at_mm": "place along the card (mm)",
    "diameter_mm": "diameter (mm)",
    "expanded_mm": "expanded uncertainty k = 2 (mm)",
    "u_mm": "standard uncertainty (mm)",
    "crowns": "crowns on the jaws",
    "crown_pitch_mm": "crown pitch (mm)",
    "u_pitch_mm": "standard uncertainty of the pitch (mm)",
    "strands": "outer strands",
    "lay_mm": "lay length (mm)",
    "u_lay_mm": "standard uncertainty of the lay length (mm)",
    "hand": "hand of lay",
    "px_per_mm": "scale (px/mm)",
    "tilt_deg": "tilt (deg)",
    "print_set": "card set",
    "taken_at": "taken at",
    "findings": "warnings or why no diameter",
}
WIDE = 105  # columns from which the table has room for the main source of U


def new_table(title: str) -> Table:
    """Return an empty table in the style that all commands share: light, narrow, titled."""
    return Table(
        title=title,
        title_justify="left",
        box=SIMPLE_HEAD,
        show_edge=False,
        padding=(0, 1, 0, 0),
    )


def print_table(
    results: list[Result],
    sections: tuple[Section, ...],
    nominal_mm: float | None,
    measured: MeasuredDiameter | None = None,
) -> None:
    """Print results as tables and text: figures, sections, refusals, warnings, cautions."""
    console = Console()
    estimates = [result for result in results if isinstance(result, Estimate)]
    wide = console.width >= WIDE
    parts: list[Table | list[str | Text]] = []
    if estimates:
        parts.append(_estimates_table(estimates, nominal_mm, wide=wide))
        parts.append([] if wide else [_most_of_u(estimates)])
    if sections:
        parts.append(_sections_table(sections))
    parts.append(
        [
            f"Station {section.station}. {section.ellipse.words}"
            for section in sections
            if section.ellipse is not None
        ]
    )
    if any(estimate.pitch_budget for estimate in estimates):
        parts.append(_lay_table(estimates))
    refusals = [result for result in results if isinstance(result, Refusal)]
    parts.append(
        [
            *([] if measured is None else [_measured_line(measured)]),
            *(
                Text(f"{refusal.photo_name}: {refused(refusal)}", style="bold")
                for refusal in refusals
            ),
            *_warnings(estimates),
            *(Text(caution, style="italic") for caution in CAUTIONS),
        ]
    )
    print_parts(console, parts)


def print_parts(console: Console, parts: Iterable[Table | Sequence[str | Text]]) -> None:
    """Print tables and groups of lines, with one empty line between each and the next."""
    for number, part in enumerate(part for part in parts if isinstance(part, Table) or part):
        if number:
            console.print()
        for line in [part] if isinstance(part, Table) else part:
            console.print(line, markup=False)


def _estimates_table(estimates: list[Estimate], nominal_mm: float | None, *, wide: bool) -> Table:
    table = new_table("Diameter by photograph; U is expanded, k = 2")
    table.add_column("photograph", overflow="fold", min_width=12)
    table.add_column("station,\nview", no_wrap=True)
    headings = ["diameter\nmm", "U\nmm", "U\n%"]
    if nominal_mm is not None:
        headings.append("from nominal\n%")
    for heading in (*headings, "crowns"):
        table.add_column(heading, justify="right", no_wrap=True)
    if wide:
        table.add_column("main source of U")
    for estimate in estimates:
        expanded = estimate.expanded_mm()
        row = [
            f"{estimate.diameter_mm:.2f}",
            f"{expanded:.2f}",
            f"{100 * expanded / estimate.diameter_mm:.2f}",
        ]
        if nominal_mm is not None:
            row.append(f"{100 * (estimate.diameter_mm - nominal_mm) / nominal_mm:+z.2f}")
        row.append(str(estimate.crowns) if estimate.crowns else "smooth")
        if wide and estimate.budget:
            term, share = shares(estimate.budget)[0]
            row.append(f"{term.quantity} ({100 * share:.0f} %)")
        # as Text: brackets in a file's name are not markup
        table.add_row(Text(estimate.photo_name), _short_place(estimate), *row)
    return table


def _short_place(estimate: Estimate) -> str:
    """Return station and view in short form for a column, e.g. ``"3, 90"``."""
    words = "-" if estimate.station is None else f"{estimate.station}, {estimate.view_deg}"
    return f"{words}\nat {estimate.at_mm:g} mm" if estimate.at_mm else words


def _most_of_u(estimates: list[Estimate]) -> str:
    largest = Counter(
        shares(estimate.budget)[0][0].quantity for estimate in estimates if estimate.budget
    )
    named = (f"{quantity} ({count} of {len(estimates)})" for quantity, count in largest.items())
    return f"Main sources of U: {', '.join(named)}."


def _sections_table(sections: tuple[Section, ...]) -> Table:
    table = new_table("Station means from two directions")
    table.add_column("station")
    for heading in ("mean mm", "U mm", "ovality mm", "U mm"):
        table.add_column(heading, justify="right")
    for section in sections:
        where = f"{section.station}" + (f" at {section.at_mm:g} mm" if section.at_mm else "")
        table.add_row(
            where,
            f"{section.mean_mm:.2f}",
            f"{2 * section.u_mean_mm:.2f}",
            f"{section.ovality_mm:.2f}",
            f"{2 * section.u_ovality_mm:.2f}",
        )
    return table


def _lay_table(estimates: list[Estimate]) -> Table:
    table = new_table("Lay length; U is expanded, k = 2")
    table.add_column("station,\nview", overflow="fold")
    for heading in ("crown pitch\nmm", "U\nmm", "strands", "lay length\nmm", "U\nmm", "hand"):
        table.add_column(heading, justify="right", no_wrap=True)
    for estimate in estimates:
        if not estimate.pitch_budget:
            continue
        lay = (
            ("-", "-")
            if estimate.lay_mm is None
            else (f"{estimate.lay_mm:.1f}", f"{2 * estimate.u_lay_mm:.1f}")
        )
        table.add_row(
            Text(estimate.photo_name) if estimate.station is None else _short_place(estimate),
            f"{estimate.crown_pitch_mm:.2f}",
            f"{2 * combined_u_mm(estimate.pitch_budget):.2f}",
            str(estimate.strands or "-"),
            *lay,
            estimate.hand or "-",
        )
    return table


def _measured_line(measured: MeasuredDiameter) -> str:
    readings = sum(len(section.views) for section in measured.sections)
    return (
        f"Measured diameter (mean of {readings} readings): {measured.mean_mm:.2f} mm, "
        f"U {2 * measured.u_mean_mm:.2f} mm. Largest difference: "
        f"{measured.largest_difference_mm:.2f} mm, U {2 * measured.u_difference_mm:.2f} mm, "
        f"{measured.difference_pct:.1f} % of nominal."
    )


def _warnings(estimates: list[Estimate]) -> list[str]:
    """Return each warning once, with the number of results that have it."""
    occurrences = Counter(
        sentence(finding) for estimate in estimates for finding in estimate.findings
    )
    return [f"Note ({count} of {len(estimates)}): {words}" for words, count in occurrences.items()]


def as_plain(result: Result) -> dict[str, Any]:
    """Return a result as plain values for JSON, with its uncertainties calculated."""
    plain = to_dict(result)
    plain["answered"] = plain.pop("answer") == "estimate"
    if isinstance(result, Estimate):
        plain["u_mm"] = result.u_mm
        plain["expanded_mm"] = result.expanded_mm()
        known = bool(result.pitch_budget)
        plain["u_pitch_mm"] = combined_u_mm(result.pitch_budget) if known else None
        plain["lay_mm"] = result.lay_mm
        plain["u_lay_mm"] = None if result.lay_mm is None else result.u_lay_mm
        plain["budget"] = [
            {**to_dict(term), "u_mm": term.u_mm, "share": share}
            for term, share in shares(result.budget)
        ]
    return plain


def print_json(
    results: list[Result], sections: tuple[Section, ...], measured: MeasuredDiameter | None = None
) -> None:
    """Print results, sections and the measured diameter as one JSON document."""
    plain = [
        {
            "station": section.station,
            "at_mm": section.at_mm,
            "mean_mm": section.mean_mm,
            "u_mean_mm": section.u_mean_mm,
            "ovality_mm": section.ovality_mm,
            "u_ovality_mm": section.u_ovality_mm,
            "difference_mm": section.difference_mm,
            "views_deg": [view.view_deg for view in section.views],
            "ellipse": None if section.ellipse is None else _ellipse_plain(section.ellipse),
        }
        for section in sections
    ]
    document = {
        "results": [as_plain(result) for result in results],
        "sections": plain,
        "measured_diameter": None if measured is None else _measured_plain(measured),
        "cautions": list(CAUTIONS),
    }
    json.dump(document, sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


def _ellipse_plain(ellipse: Ellipse) -> dict[str, Any]:
    plain = to_dict(ellipse)
    del plain["budget"]
    return {
        **plain,
        "ovality_mm": ellipse.ovality_mm,
        "p_value": ellipse.p_value,
        "words": ellipse.words,
    }


def _measured_plain(measured: MeasuredDiameter) -> dict[str, Any]:
    return {
        "mean_mm": measured.mean_mm,
        "u_mean_mm": measured.u_mean_mm,
        "largest_difference_mm": measured.largest_difference_mm,
        "u_difference_mm": measured.u_difference_mm,
        "difference_pct": measured.difference_pct,
        "positions_m": [section.position_m for section in measured.sections],
    }


def print_csv(results: list[Result]) -> None:
    """Print results as CSV, one line each; refused photographs have no figure."""
    frame = results_frame(results)
    words = [name for name, kind in COLUMNS.items() if kind == "str"]
    frame[words] = frame[words].map(escape_formula)
    frame = frame.rename(columns=HEADINGS)
    frame.to_csv(sys.stdout, index=False, float_format="%.4f", lineterminator="\n")
