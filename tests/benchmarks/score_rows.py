"""Measure one photograph by the product and by three simpler methods.

*pixel ratio*: rope pixels over card pixels. *homography*: the jaw lines mapped to the card's plane.
Both use the jaw lines that the product found, so only the geometry differs. *Canny and Hough*
finds its own lines (`score_hough.py`).
"""

from __future__ import annotations

import csv
import hashlib
import json
import multiprocessing
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import score_hough
from numpy.typing import NDArray
from score_settings import settings_of, with_phone_calibrated

import vision
from vision.photo.photo import open_photo
from vision.pipeline import measure_photo
from vision.results import Estimate, Result
from vision.target.layout import Layout, layout_named
from vision.uncertainty import Influence, signed_by_source

Array = NDArray[np.float64]
Row = dict[str, str]
HEIGHT = Influence.HEIGHT


def measured_row(folder: Path, truth: Row, *, calibrated: bool = False) -> Row:
    """Return the product's result for one photograph; lengths in mm, empty if it refused."""
    photo, settings = open_photo(folder / truth["file"]), settings_of(truth)
    if calibrated:
        settings = with_phone_calibrated(settings, truth, photo)
    results = measure_photo(photo, settings)
    answered = [result for result in results if isinstance(result, Estimate)]
    if not answered:
        return {"file": truth["file"], "refused": _reasons(results)}
    result = answered[0]
    layout = layout_named(truth["layout"])
    signed = signed_by_source(result.budget)
    return {
        "file": truth["file"],
        "refused": "",
        "diameter_mm": f"{result.diameter_mm:.5f}",
        "u_mm": f"{result.u_mm:.5f}",
        "ratio_mm": f"{_pixel_ratio_mm(result, layout):.4f}",
        "homography_mm": f"{_homography_mm(result, layout):.4f}",
        "warnings": ", ".join(found.code for found in result.findings),
        "by_height": f"{sum(t.sensitivity for t in result.budget if t.influence is HEIGHT):.6f}",
        "sources": json.dumps({name: round(value, 7) for name, value in signed.items()}),
    }


def hough_row(folder: Path, truth: Row) -> Row:
    """Return the width by Canny and Hough for one photograph; empty if they find no rope."""
    width = score_hough.width_mm(folder / truth["file"], truth)
    return {"file": truth["file"], "hough_mm": "" if width is None else f"{width:.4f}"}


def _reasons(results: Iterable[Result]) -> str:
    codes = [found.code for result in results for found in result.findings]
    return ", ".join(dict.fromkeys(codes))


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


def read_table(path: Path) -> list[Row]:
    """Return the rows of a CSV file."""
    with path.open(newline="") as lines:
        return list(csv.DictReader(lines))


def fingerprint(*files: Path) -> str:
    """Return a short hash of the code that a row depends on."""
    code = hashlib.sha256()
    for path in sorted(files):
        code.update(path.read_bytes())
    return code.hexdigest()[:12]


def product_files() -> list[Path]:
    """Return the source files of `vision`."""
    return sorted(Path(vision.__file__).parent.rglob("*.py"))


def cached_rows(
    table: Path,
    truths: list[Row],
    measure: Callable[[Row], Row],
    *,
    code: str,
    processes: int,
    say: Callable[[str], None],
) -> dict[str, Row]:
    """Return a row for each photograph, measuring only those not yet measured with this code.

    The table is written every few photographs, so an interrupted run can be resumed.
    """
    kept: dict[str, Row] = {}
    if table.exists():
        kept = {row["file"]: row for row in read_table(table) if row["code"] == code}
    missing = [truth for truth in truths if truth["file"] not in kept]
    step = 8 * processes
    with ProcessPoolExecutor(processes, multiprocessing.get_context("spawn")) as pool:
        for start in range(0, len(missing), step):
            batch = missing[start : start + step]
            # With one process work in this one, so that a traceback shows where a fault is.
            for row in (map if processes == 1 else pool.map)(measure, batch):
                kept[row["file"]] = row | {"code": code}
            _write(table, kept)
            say(f"{table.name}: {start + len(batch)} of {len(missing)}")
    return {truth["file"]: kept[truth["file"]] for truth in truths}


def _write(table: Path, rows: dict[str, Row]) -> None:
    names = list(dict.fromkeys(name for row in rows.values() for name in row))
    part = table.with_suffix(".part")
    with part.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, fieldnames=names, restval="")
        writer.writeheader()
        writer.writerows(rows[name] for name in sorted(rows))
    part.replace(table)
