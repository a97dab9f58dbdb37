"""Render benchmark photographs and their truth.

Example: ``python tests/benchmarks/render_set.py --which range`` renders the development range (264
scenes, 396 photographs); ``--which fresh`` the same kinds with an unseen seed, for claims;
``--which bars`` unseen smooth bars; ``--which small`` the small set that the tests carry. Existing
photographs are kept, so rendering can be stopped at any time. A graphics card renders in seconds a
scene that takes two cores minutes.
"""

from __future__ import annotations

import argparse
import csv
import multiprocessing
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path

import platformdirs

sys.path.insert(0, str(Path(__file__).resolve().parent))

from range_list import FRESH_SEED, bar_scenes, range_scenes  # puts sample_images on the path too
from rope_photo import make_photographs
from rope_render import SPP
from rope_scene import load_renderer
from rope_shot import Shot
from small_list import small_scenes

LISTS = ("range", "fresh", "bars", "small")
Row = dict[str, object]


def main() -> None:
    """Render what is missing."""
    parser = argparse.ArgumentParser(description=__doc__)
    cache = Path(platformdirs.user_cache_dir("rope-photo-check")) / "renders"
    parser.add_argument("folder", nargs="?", type=Path, help="default: the user's cache")
    parser.add_argument("--which", choices=LISTS, default="range", help="list to render (range)")
    parser.add_argument("--count", type=int, help="number of scenes (all)")
    parser.add_argument(
        "--spp", type=int, default=SPP, help=f"samples per pixel at the outline ({SPP})"
    )
    parser.add_argument("--processes", type=int, default=1, help="scenes at once, 3 GB each (1)")
    options = parser.parse_args()
    for name in ("count", "processes"):
        value = getattr(options, name)
        if value is not None and value < 1:
            parser.error(f"--{name} must be 1 or more; got {value}.")
    render_set(
        options.folder or cache / options.which,
        scenes_of(options.which)[: options.count],
        spp=options.spp,
        processes=options.processes,
    )


def scenes_of(which: str) -> list[list[Shot]]:
    """Return the scenes of a list, each with the photographs developed from it."""
    return {
        "range": range_scenes,
        "fresh": partial(range_scenes, FRESH_SEED),
        "bars": partial(bar_scenes, FRESH_SEED),
        "small": small_scenes,
    }[which]()


def render_set(
    folder: Path,
    scenes: list[list[Shot]],
    *,
    spp: int = SPP,
    processes: int = 1,
) -> None:
    """Render the scenes that are not in `folder` yet."""
    folder.mkdir(parents=True, exist_ok=True)
    table = folder / "truth.csv"
    rows = [row for row in read_rows(table) if (folder / str(row["file"])).exists()]
    known = {row["file"] for row in rows}
    missing = [scene for scene in scenes if any(shot.file not in known for shot in scene)]
    work = partial(_timed, folder=folder, spp=spp)
    if processes == 1:
        for done, scene in enumerate(missing, start=1):
            rows = _noted(table, rows, work(scene), f"{done}/{len(missing)}")
        return
    threads = max(1, (os.cpu_count() or 1) // processes)
    pool = ProcessPoolExecutor(
        processes, multiprocessing.get_context("spawn"), _use_threads, (threads,)
    )
    with pool:
        jobs = [pool.submit(work, scene) for scene in missing]
        for done, job in enumerate(as_completed(jobs), start=1):
            rows = _noted(table, rows, job.result(), f"{done}/{len(missing)}")


def _use_threads(threads: int) -> None:
    load_renderer()
    import drjit

    drjit.set_thread_count(threads)


def _timed(scene: list[Shot], *, folder: Path, spp: int) -> list[Row]:
    wall, cpu = time.perf_counter(), time.process_time()
    made = make_photographs(scene, folder, spp=spp)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    print(f"{scene[0].file} {wall:.0f} s, {cpu:.0f} s of processor time", flush=True)
    return made


def _noted(table: Path, rows: list[Row], made: list[Row], place: str) -> list[Row]:
    files = {row["file"] for row in made}
    rows = [row for row in rows if row["file"] not in files] + made
    rows.sort(key=lambda row: str(row["file"]))
    _write(table, rows)
    print(place, flush=True)
    return rows


def read_rows(table: Path) -> list[Row]:
    """Return the rows of a table of truth; none if there is no such file."""
    if not table.exists():
        return []
    with table.open(newline="") as lines:
        return [dict(row) for row in csv.DictReader(lines)]


def _write(table: Path, rows: list[Row]) -> None:
    """Write the table to a temporary file first, so that no reader sees half of it."""
    part = table.with_suffix(".part")
    names = list(dict.fromkeys(name for row in rows for name in row))
    with part.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, fieldnames=names, restval="")
        writer.writeheader()
        writer.writerows(rows)
    part.replace(table)


if __name__ == "__main__":
    main()
