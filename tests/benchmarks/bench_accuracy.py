"""Error and uncertainty on rendered photographs, beside two plainer ways on the same edges.

Example: ``python tests/benchmarks/render_set.py`` once (renders, about half an hour), then
``python tests/benchmarks/bench_accuracy.py`` (a minute). Both take a folder as argument; the
default is the user's cache.

*pixel ratio*: rope pixels over card pixels. *homography*: the jaw lines sent to the card's
plane. Both are given the very jaw lines that the measurement found, so that only the geometry
differs. Truth is the caliper width of the rendered mesh over jaws of two diameters.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np
import platformdirs
from numpy.typing import NDArray

from vision.card import Layout, layout_named
from vision.estimate import Estimate
from vision.pipeline import Settings, measure_photo
from vision.printcheck import PrintCheck

Array = NDArray[np.float64]
TUNED = 25  # the constants of the edge were set on crops of the first 25 scenes of the list


@dataclass(frozen=True, slots=True)
class Row:
    """One photograph: what was found, in % of the truth."""

    file: str
    surface: str
    light: str
    ink: str
    extra: str
    bar: bool
    tuned: bool
    answerable: bool
    refused: str
    error_pct: float
    expanded_pct: float
    ratio_error_pct: float
    homography_error_pct: float


def measure_row(folder: Path, truth: dict[str, str]) -> Row:
    """Measure one photograph with its print check and hold it against its truth."""
    layout = layout_named(truth["layout"])
    check = PrintCheck(
        "bench", layout, float(truth["along_read_mm"]), float(truth["across_read_mm"]), 0.02, None
    )
    result = measure_photo(folder / truth["file"], Settings(print_check=check))[0]
    known = float(truth["truth_2d_mm"])
    common = {
        "file": truth["file"],
        "surface": truth["surface"],
        "light": truth["light"],
        "ink": truth["ink"],
        "extra": truth["extra"],
        "bar": truth["strands"] == "0",
        "tuned": int(truth["file"][:3]) < TUNED,
        "answerable": truth["answerable"] == "yes",
    }
    if not isinstance(result, Estimate):
        reasons = ", ".join(finding.code for finding in result.findings)
        return Row(
            **common,
            refused=reasons,
            error_pct=np.nan,
            expanded_pct=np.nan,  # type: ignore[arg-type]
            ratio_error_pct=np.nan,
            homography_error_pct=np.nan,
        )
    return Row(
        **common,
        refused="",  # type: ignore[arg-type]
        error_pct=100 * (result.diameter_mm / known - 1),
        expanded_pct=100 * result.expanded_mm() / known,
        ratio_error_pct=100 * (_pixel_ratio_mm(result, layout) / known - 1),
        homography_error_pct=100 * (_homography_mm(result, layout) / known - 1),
    )


def _lines(result: Estimate) -> tuple[Array, Array]:
    assert result.marks is not None
    return np.array(result.marks.crown_left_px), np.array(result.marks.crown_right_px)


def _distance(left: Array, right: Array) -> float:
    """Return the distance of the right line's middle from the left line."""
    along = left[1] - left[0]
    off = right.mean(axis=0) - left[0]
    return abs(float(along[0] * off[1] - along[1] * off[0])) / float(np.linalg.norm(along))


def _card_px(result: Estimate) -> Array:
    assert result.marks is not None
    return np.array(result.marks.card_px)


def _pixel_ratio_mm(result: Estimate, layout: Layout) -> float:
    corners = _card_px(result)
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    drawn = 4 * layout.half_height_mm + 2 * layout.length_mm
    return _distance(*_lines(result)) * drawn / float(sides.sum())


def _homography_mm(result: Estimate, layout: Layout) -> float:
    x, y = layout.length_mm / 2, layout.half_height_mm
    drawn = np.array([[-x, y], [x, y], [x, -y], [-x, -y]], np.float32)
    to_card = cv2.getPerspectiveTransform(_card_px(result).astype(np.float32), drawn)
    left, right = (
        cv2.perspectiveTransform(line.reshape(-1, 1, 2), to_card).reshape(-1, 2)
        for line in _lines(result)
    )
    return _distance(left, right)


def summary(rows: list[Row]) -> dict[str, float]:
    """Return the figures that the table shows."""
    done = [row for row in rows if not row.refused]
    if not done:
        return {"n": 0, "refused": len(rows)}
    error = np.array([row.error_pct for row in done])
    expanded = np.array([row.expanded_pct for row in done])
    return {
        "n": len(done),
        "refused": len(rows) - len(done),
        "bias": float(error.mean()),
        "median": float(np.median(np.abs(error))),
        "p95": float(np.percentile(np.abs(error), 95)),
        "worst": float(np.abs(error).max()),
        "covered": 100 * float((np.abs(error) <= expanded).mean()),
        "U": float(np.median(expanded)),
        "z2": float(((2 * error / expanded) ** 2).mean()),
        "ratio": float(np.median(np.abs([row.ratio_error_pct for row in done]))),
        "homography": float(np.median(np.abs([row.homography_error_pct for row in done]))),
    }


def print_table(rows: list[Row]) -> None:
    """Print the summary of all photographs and by each factor."""
    names = (
        "n",
        "refused",
        "bias",
        "median",
        "p95",
        "worst",
        "covered",
        "U",
        "z2",
        "ratio",
        "homography",
    )
    print(f"{'%':28s}" + "".join(f"{name:>11s}" for name in names))
    groups: list[tuple[str, Callable[[Row], bool]]] = [
        ("all answerable", lambda row: True),
        ("  scenes not tuned on", lambda row: not row.tuned),
        (
            "  rope, blue band, clean",
            lambda row: row.ink == "blue" and not row.extra and not row.bar,
        ),
        (
            "  blue band, not polished",
            lambda row: row.ink == "blue" and row.surface != "bright" and not row.extra,
        ),
        ("  smooth bar", lambda row: row.bar),
    ]
    groups += [
        (f"  {value}", lambda row, v=value: row.surface == v)  # type: ignore[misc]
        for value in sorted({row.surface for row in rows})
    ]
    groups += [
        (f"  {value}", lambda row, v=value: row.light == v)  # type: ignore[misc]
        for value in sorted({row.light for row in rows})
    ]
    groups += [
        (f"  {value} band", lambda row, v=value: row.ink == v)  # type: ignore[misc]
        for value in sorted({row.ink for row in rows})
    ]
    groups += [
        (f"  with {value}", lambda row, v=value: row.extra == v)  # type: ignore[misc]
        for value in sorted({row.extra for row in rows} - {""})
    ]
    for label, belongs in groups:
        figures = summary([row for row in rows if row.answerable and belongs(row)])
        print(
            f"{label:28s}"
            + "".join(
                f"{figures[name]:11.2f}"
                if name in figures and name not in ("n", "refused")
                else f"{int(figures.get(name, 0)):11d}"
                if name in ("n", "refused")
                else f"{'':11s}"
                for name in names
            )
        )


def main() -> None:
    """Measure every photograph of a folder and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    default = Path(platformdirs.user_cache_dir("rope-photo-check")) / "renders"
    parser.add_argument("folder", nargs="?", type=Path, default=default)
    parser.add_argument("--json", type=Path, help="also write every photograph's row here")
    options = parser.parse_args()
    with (options.folder / "truth.csv").open(newline="") as lines:
        truths = list(csv.DictReader(lines))
    rows = []
    for i, truth in enumerate(truths, start=1):
        print(f"\r{i}/{len(truths)} {truth['file']:50s}", end="", flush=True)
        rows.append(measure_row(options.folder, truth))
    print("\r" + " " * 70 + "\r", end="")
    for row in rows:
        if row.refused:
            print(f"refused: {row.file} ({row.refused})")
    print_table(rows)
    if options.json:
        options.json.write_text(json.dumps([asdict(row) for row in rows], indent=1))


if __name__ == "__main__":
    main()
