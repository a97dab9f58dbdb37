"""Lay length on rendered photographs: error, stated uncertainty and coverage, strands and hand.

Example: ``python tests/benchmarks/render_set.py`` once, then
``python tests/benchmarks/bench_lay.py``. Another folder of renders can be given; the default is the
user's cache. Truth is what the mesh was made with (``lay_mm`` and ``strands`` in truth.csv). The
strands of these meshes are regular; tests/vision/test_lay.py tests how U grows with uneven ones.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import numpy as np
import platformdirs

from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.layout import layout_named
from vision.target.print_scale import PrintCheck
from vision.uncertainty import combined_u_mm


def main() -> None:
    """Print a line for each rope that was measured, and a summary."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    default = Path(platformdirs.user_cache_dir("rope-photo-check")) / "renders" / "range"
    parser.add_argument("folder", nargs="?", type=Path, default=default)
    folder = parser.parse_args().folder
    with (folder / "truth.csv").open(newline="") as lines:
        truths = [row for row in csv.DictReader(lines) if (folder / row["file"]).is_file()]
    errors, expanded, strands, bars, without = [], [], [], 0, 0
    for truth in truths:
        layout = layout_named(truth["layout"])
        read = [float(truth[name]) for name in ("along_read_mm", "across_read_mm")]
        check = PrintCheck("bench", layout, read[0], read[1], 0.02, None)
        one = measure_photo(folder / truth["file"], Settings(print_check=check))[0]
        true_strands = int(truth["strands"])
        if not isinstance(one, Estimate):
            continue
        if not true_strands:
            bars += bool(one.pitch_budget)
            continue
        if not one.pitch_budget or one.crown_pitch_mm is None:
            without += 1
            print(f"{truth['file']:40s} no lay")
            continue
        true_mm = float(truth["lay_mm"]) / true_strands
        errors.append(100 * (one.crown_pitch_mm / true_mm - 1))
        expanded.append(200 * combined_u_mm(one.pitch_budget) / true_mm)
        strands.append((one.strands, true_strands))
        print(
            f"{truth['file']:40s} off {errors[-1]:+.2f} %  U {expanded[-1]:.2f} %  "
            f"strands {one.strands or '-'} of {true_strands}  {one.hand or '-'}"
        )
    off, wide = np.abs(errors), np.array(expanded)
    if not len(off):
        print("No photograph with a lay length.")
        return
    stated = [found == true for found, true in strands if found is not None]
    print(
        f"{len(off)} with a figure, {without} ropes without, {bars} smooth bars with one\n"
        f"off: median {np.median(off):.2f} %, worst {off.max():.2f} %; U: median "
        f"{np.median(wide):.2f} %; truth inside U: {int((off <= wide).sum())} of {len(off)}; "
        f"mean z^2 {float(np.mean((2 * off / wide) ** 2)):.2f}\n"
        f"strands stated in {len(stated)}, correctly in {sum(stated)}"
    )


if __name__ == "__main__":
    main()
