"""Render world two's photographs and their truth.

Example: ``python tests/benchmarks/second_world/render.py FOLDER --count 20``; score them with
``python tests/benchmarks/scoreboard.py FOLDER``. Existing photographs are kept.
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[3])]

import cv2  # noqa: E402  (before the renderer, which brings an allocator)
import numpy as np  # noqa: E402

from second_world.camera import camera_of  # noqa: E402
from second_world.phone import picture_of, save  # noqa: E402
from second_world.scene import card_size_mm, trace, truth_mm  # noqa: E402
from second_world.shots import SEED, Shot, all_shots  # noqa: E402

Row = dict[str, object]


def main() -> None:
    """Render what is missing."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=SEED, help="seed of the list")
    parser.add_argument("--first", type=int, default=0, help="number of photographs to skip")
    parser.add_argument("--count", type=int, help="number of photographs (all)")
    parser.add_argument("--every", type=int, default=1, help="use every N-th photograph")
    parser.add_argument("--samples", type=int, default=100, help="paths per pixel (100)")
    parser.add_argument("--card", type=int, help="graphics card to use, from 0 (processor)")
    parser.add_argument("--seconds", type=float, default=1e9, help="start none after this time")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    begun = time.perf_counter()
    for shot in all_shots(options.seed)[options.first :: options.every][: options.count]:
        row_file = options.folder / f"{shot.file}.csv"
        if row_file.exists():
            continue
        if time.perf_counter() - begun > options.seconds:
            break
        row = photograph(shot, options.folder, samples=options.samples, card=options.card)
        _write(row_file, [row])
        print(f"{time.perf_counter() - begun:6.0f} s {shot.file}", flush=True)
    rows = [row for path in sorted(options.folder.glob("*.jpg.csv")) for row in _read(path)]
    _write(options.folder / "truth.csv", rows)
    os._exit(0)  # the renderer's threads crash when the interpreter ends


def photograph(shot: Shot, folder: Path, *, samples: int, card: int | None) -> Row:
    """Render one photograph into `folder`; return its truth, with world one's column names."""
    light = trace(shot, samples=samples, card=card)
    taken = datetime(2026, 11, 2, 8) + timedelta(minutes=shot.seed % 4000)
    model = f"Model {'KLM'[shot.seed % 3]}"
    pixels = picture_of(light, _lit_paper(light, shot), shot.phone, shot.seed)
    save(pixels, folder / shot.file, shot.phone, f35_exif=shot.f35_exif, model=model, taken=taken)
    camera = camera_of(shot)
    width, station = truth_mm(shot)
    scale = min(1.0, 1600 / max(shot.size_px)) if shot.phone.messenger else 1.0
    far = float(np.linalg.norm(station - camera.centre_mm))
    shift = -camera.axes @ camera.centre_mm
    return {
        "file": shot.file,
        "part": shot.part,
        "d_nominal_mm": shot.nominal_mm,
        "strands": shot.rope.strands,
        "surface": shot.finish,
        "light": shot.light,
        "layout": shot.layout,
        "card_number": shot.card_number,
        "distance_mm": round(shot.distance_mm, 1),
        "tilt_deg": round(shot.tilt_deg, 2),
        "f35_exif": shot.f35_exif,
        "focal_px_true": round(camera.focal_px * scale, 2),
        "principal_x_px": round((camera.principal_px[0] + 0.5) * scale - 0.5, 2),
        "principal_y_px": round((camera.principal_px[1] + 0.5) * scale - 0.5, 2),
        "rotation_cam_card": " ".join(f"{value:.8f}" for value in camera.axes.ravel()),
        "t_cam_card_mm": " ".join(f"{value:.5f}" for value in shift),
        "axis_angle_deg": round(shot.axis_deg, 3),
        "station_x_mm": round(float(station[0]), 4),
        "station_y_mm": round(float(station[1]), 4),
        "scale_x": round(shot.scale_x, 6),
        "scale_y": round(shot.scale_y, 6),
        "along_read_mm": shot.along_read_mm,
        "across_read_mm": shot.across_read_mm,
        "gap_mm": round(shot.gap_mm, 3),
        "truth_2d_mm": round(width, 4),
        "answerable": "yes",
        "note": shot.note,
        "extra": shot.stray,
        "view_deg": round(shot.view_deg),
        "rope_px": round(camera.focal_px * scale * shot.rope.diameter_mm / far, 1),
        "megapixels": round(np.prod(shot.size_px) * scale**2 / 1e6, 2),
        "pair": shot.pair,
        "hold": "touching",
        "offset_read_mm": 0.0,
        "print_checked": "yes",
        "bend": shot.bend.kind,
        "bend_mm": round(abs(shot.bend.rise_mm), 2),
        "ovality_pct": round(100 * shot.rope.ovality, 2),
        "thin_pct": round(100 * shot.rope.thin, 2),
        "worn_pct": round(100 * shot.rope.worn, 2),
        "lay": ("lang" if shot.rope.lang else "ordinary") if shot.rope.strands else "",
        "compacted": "yes" if shot.rope.compacted else "no",
        "seed": shot.seed,
        "model": model,
    }


def _lit_paper(light: np.ndarray, shot: Shot) -> np.ndarray:
    """Return the colour (3,) of well-lit white paper, as an exposure meter would read it."""
    camera = camera_of(shot)
    corner = np.array(card_size_mm(shot)) / 2
    outline = camera.project(
        np.array(
            [[a * corner[0], b * corner[1], 0.0] for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        )
    )
    mask = cv2.fillConvexPoly(np.zeros(light.shape[:2], np.uint8), np.rint(outline).astype(int), 1)
    return np.percentile(light[mask.astype(bool)], 88, axis=0).astype(float)


def _read(path: Path) -> list[Row]:
    with path.open(newline="") as lines:
        return [dict(row) for row in csv.DictReader(lines)]


def _write(path: Path, rows: list[Row]) -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, fieldnames=names, restval="")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
