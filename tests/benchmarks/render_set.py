"""Render the benchmark photographs, with their truth beside them.

Example: ``python tests/benchmarks/render_set.py --count 48`` (about a minute a photograph
on two cores). Photographs that are there already are kept, so it can be stopped at any time.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from pathlib import Path

import platformdirs

sys.path.insert(0, str(Path(__file__).resolve().parent))

from render_list import benchmark_shots  # puts sample_images on the path too
from rope_photo import make_photograph


def main() -> None:
    """Make what is missing."""
    parser = argparse.ArgumentParser(description=__doc__)
    default = Path(platformdirs.user_cache_dir("rope-photo-check")) / "renders"
    parser.add_argument("folder", nargs="?", type=Path, default=default)
    parser.add_argument("--count", type=int, default=48, help="how many photographs (48)")
    parser.add_argument("--spp", type=int, default=9, help="samples a pixel at the rope (9)")
    options = parser.parse_args()
    if options.count < 1:
        parser.error(f"--count must be 1 or more; got {options.count}.")
    render_set(options.folder, count=options.count, spp=options.spp)


def render_set(folder: Path, *, count: int, spp: int) -> None:
    """Render the first `count` photographs of the list that `folder` does not hold yet."""
    folder.mkdir(parents=True, exist_ok=True)
    table = folder / "truth.csv"
    rows = [row for row in _rows(table) if (folder / str(row["file"])).exists()]
    known = {row["file"] for row in rows}
    shots = benchmark_shots(count)
    for place, shot in enumerate(shots, start=1):
        if shot.file in known:
            continue
        start = time.perf_counter()
        rows.append(make_photograph(shot, folder, spp=spp))
        _write(table, sorted(rows, key=lambda row: str(row["file"])))
        took = time.perf_counter() - start
        print(f"{place}/{len(shots)} {shot.file} {took:.0f} s", flush=True)


def _rows(table: Path) -> list[dict[str, object]]:
    if not table.exists():
        return []
    with table.open(newline="") as lines:
        return [dict(row) for row in csv.DictReader(lines)]


def _write(table: Path, rows: list[dict[str, object]]) -> None:
    """Write the table beside itself first, so that a reader never sees half of it."""
    part = table.with_suffix(".part")
    with part.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    part.replace(table)


if __name__ == "__main__":
    main()
