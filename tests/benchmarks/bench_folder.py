"""A folder of 10 to 1,000 photographs: CPU time of each, memory, and wall-clock time.

Example: ``python tests/benchmarks/bench_folder.py --counts 10 30 100``. The photographs are small
copies (``--long-side``) of the sample photographs, saved so that no two have the same hash. "CPU
each" is the CPU time of all processes over the number of photographs, including the start of the
workers. "Each more" is the cost of a photograph beyond those of the line before, without that
start: the ratio stays at 1 if the cost grows linearly. Between machines, compare ratios and memory.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import cv2

from inspection.model.serialization import result_from_dict, to_dict
from vision.batch import measure_many
from vision.pipeline import Settings
from vision.results import Estimate

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def copies(folder: Path, count: int, long_side: int) -> list[Path]:
    """Write small copies of the samples; bytes after the end make each file different."""
    small = []
    for path in sorted(SAMPLES.glob("station-*.jpg")):
        whole = cv2.imread(str(path))
        size = (long_side, round(long_side * whole.shape[0] / whole.shape[1]))
        small.append(cv2.resize(whole, size, interpolation=cv2.INTER_AREA))
    paths = []
    for i in range(count):
        path = folder / f"{i:04d}.jpg"
        coded = cv2.imencode(".jpg", small[i % len(small)])[1].tobytes()
        path.write_bytes(coded + f"copy {i}".encode())  # after the end of the picture: ignored
        paths.append(path)
    return paths


def used() -> tuple[float, float]:
    """Return CPU time, s, and peak memory, MB, of this process and its finished children."""
    mine, theirs = (resource.getrusage(who) for who in
                    (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))  # fmt: skip
    cpu = mine.ru_utime + mine.ru_stime + theirs.ru_utime + theirs.ru_stime
    return cpu, max(mine.ru_maxrss, theirs.ru_maxrss) / 1024


def main() -> None:
    """Print a line for each count."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--counts", type=int, nargs="+", default=[10, 100, 1000])
    parser.add_argument("--long-side", type=int, default=1600)
    parser.add_argument("--jobs", type=int, default=None)
    options = parser.parse_args()
    print(
        f"{'photographs':>11s}{'wall':>9s}{'CPU each':>10s}{'each more':>11s}{'ratio':>7s}"
        f"{'memory':>10s}{'answered':>10s}"
    )
    earlier, spent, first = 0, 0.0, 0.0
    for count in options.counts:
        with tempfile.TemporaryDirectory() as place:
            paths = copies(Path(place), count, options.long_side)
            before, start = used()[0], time.perf_counter()
            answered = 0
            for _, found in measure_many(
                paths, Settings(), jobs=options.jobs, journal=Path(place) / "done.jsonl",
                pack=to_dict, unpack=result_from_dict,
            ):  # fmt: skip
                answered += sum(isinstance(one, Estimate) for one in found)
            wall = time.perf_counter() - start
            _stop_workers()
            cpu, memory = used()
        more = (cpu - before - spent) / (count - earlier) if earlier else 0.0
        first = first or more
        compared = f"{more:10.3f}s{more / first:7.2f}" if earlier else f"{'-':>11s}{'-':>7s}"
        print(
            f"{count:11d}{wall:8.1f}s{(cpu - before) / count:9.3f}s{compared}{memory:7.0f} MB"
            f"{answered:10d}"
        )
        earlier, spent = count, cpu - before


def _stop_workers() -> None:
    """End the worker processes, so that the system adds their time and memory to ours."""
    from joblib.externals.loky import get_reusable_executor  # type: ignore[import-untyped]

    get_reusable_executor().shutdown(wait=True)


if __name__ == "__main__":
    main()
