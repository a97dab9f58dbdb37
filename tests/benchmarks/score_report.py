"""The scoreboard's tables, as Markdown for people and as CSV for programs."""

from __future__ import annotations

import csv
import math
from collections import Counter
from pathlib import Path

from score_figures import FACTORS, Scored, figures, ovality_figures, ovality_rows

COLUMNS = {
    "n": "photographs",
    "refused": "refused %",
    "bias": "bias",
    "median": "median",
    "p95": "95 %",
    "worst": "worst",
    "covered": "truth inside ±U, %",
    "U": "usual U",
    "z2": "mean z²",
    "ratio": "pixel ratio",
    "homography": "homography",
    "hough": "Canny + Hough",
    "hough none": "it found none, %",
}
GROUPS = ("protocol", "stress")
HEAD = """# Scoreboard

{n} rendered photographs. Errors and U (k = 2) in % of the true caliper width over jaws of two
diameters; median, 95 % and worst are of the error's size. *Pixel ratio* and *homography* use the
product's own jaw lines; *Canny + Hough* finds its own and is given the nominal diameter and the
card's true scale; their figures are medians of the error's size. Mean z² is 1 where the
stated uncertainty is as large as the observed errors, 4 where it is half as large.
"""


def tables(rows: list[Scored]) -> list[dict[str, object]]:
    """Return every line of the scoreboard: group, factor, level and figures."""
    lines: list[dict[str, object]] = []
    for group in ("all", *GROUPS):
        inside = [r for r in rows if r.group in ((group,) if group != "all" else GROUPS)]
        if not inside:
            continue
        lines.append({"group": group, "factor": "all", "level": ""} | figures(inside))
        for factor, level_of in FACTORS.items():
            levels: dict[str, list[Scored]] = {}
            for row in inside:
                levels.setdefault(level_of(row.truth), []).append(row)
            levels.pop("", None)
            if len(levels) < 2:
                continue
            for level in sorted(levels, key=_by_number):
                lines.append(
                    {"group": group, "factor": factor, "level": level} | figures(levels[level])
                )
    return lines


def _by_number(level: str) -> tuple[float, str]:
    first = level.split(" ")[0]
    return (float(first), level) if first.replace(".", "").isdigit() else (math.inf, level)


def markdown(rows: list[Scored]) -> str:
    """Return the scoreboard as Markdown."""
    lines = tables(rows)
    parts = [HEAD.format(n=len(rows))]
    for group in ("all", *GROUPS):
        ours = [line for line in lines if line["group"] == group]
        if not ours:
            continue
        parts.append(f"## {'All answerable' if group == 'all' else group.capitalize()}\n")
        parts.append("| factor | level | " + " | ".join(COLUMNS.values()) + " |")
        parts.append("|---|---|" + "---:|" * len(COLUMNS))
        for line in ours:
            cells = [_cell(line.get(name), name) for name in COLUMNS]
            parts.append(f"| {line['factor']} | {line['level']} | " + " | ".join(cells) + " |")
        parts.append("")
        if said := difference_of_views(rows, group):
            parts.append(f"{said}.\n")
    return "\n".join([*parts, *_refusals(rows), *_hopeless(rows)]) + "\n"


def difference_of_views(rows: list[Scored], group: str) -> str:
    """Return the error of the difference of two views in words; empty if no place has two."""
    inside = [row for row in rows if row.group in ((group,) if group != "all" else GROUPS)]
    pairs = ovality_figures(ovality_rows(inside))
    names = ("bias", "median", "p95", "worst", "covered", "U")
    said = ", ".join(f"{name} {pairs[name]:.2f}" for name in names if name in pairs)
    return f"Difference of two views of one place ({pairs['n']:.0f}): {said}" if said else ""


def _cell(value: object, name: str) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    return f"{value:.0f}" if name in ("n", "refused", "covered", "hough none") else f"{value:.2f}"


def _refusals(rows: list[Scored]) -> list[str]:
    counts = Counter((r.group, r.refused) for r in rows if r.refused and r.group != "hopeless")
    if not counts:
        return []
    lines = ["## Refused though answerable\n", "| group | reason | photographs |", "|---|---|---:|"]
    lines += [f"| {group} | {why} | {n} |" for (group, why), n in sorted(counts.items())]
    return [*lines, ""]


def _hopeless(rows: list[Scored]) -> list[str]:
    hopeless = [row for row in rows if row.group == "hopeless"]
    if not hopeless:
        return []
    taken = [row for row in hopeless if row.answered]
    lines = [
        "## Hopeless photographs\n",
        f"{len(taken)} of {len(hopeless)} were answered; none should be.\n",
        "| photograph | what is wrong | the product says |",
        "|---|---|---|",
    ]
    for row in hopeless:
        said = f"**answered, {row.error_pct:+.1f} %**" if row.answered else row.refused
        lines.append(f"| {row.truth['file']} | {row.truth['note']} | {said} |")
    return [*lines, ""]


def save_tables(folder: Path, rows: list[Scored]) -> None:
    """Write scoreboard.md, scoreboard.csv (every line) and photographs.csv (every photograph)."""
    (folder / "scoreboard.md").write_text(markdown(rows))
    lines = tables(rows)
    _csv(folder / "scoreboard.csv", lines)
    _csv(
        folder / "photographs.csv",
        [
            {
                "file": row.truth["file"],
                "group": row.group,
                "refused": row.refused,
                "error_pct": round(row.error_pct, 4),
                "expanded_pct": round(row.expanded_pct, 4),
            }
            | {f"{name}_pct": round(value, 4) for name, value in row.plain_pct.items()}
            | {factor: level_of(row.truth) for factor, level_of in FACTORS.items()}
            | {"note": row.truth["note"]}
            for row in rows
        ],
    )


def _csv(path: Path, lines: list[dict[str, object]]) -> None:
    names = list(dict.fromkeys(name for line in lines for name in line))
    with path.open("w", newline="") as out:
        writer = csv.DictWriter(out, fieldnames=names, restval="")
        writer.writeheader()
        writer.writerows(lines)
