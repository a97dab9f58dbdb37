"""Time and memory of one photograph, over OpenCV's time to decode it in the same run.

Example: ``python tests/benchmarks/bench_speed.py`` (uses the sample photographs, 12 megapixels).
``--enlarge 2`` enlarges them to 48 megapixels by cubic interpolation, as no such sample was
rendered. Each figure is the best of several runs; compare ratios between machines, not times.
``--cpu`` counts CPU time, for machines that are busy with other work.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def best_s(
    job: Callable[[], object], repeats: int, clock: Callable[[], float] = time.perf_counter
) -> float:
    """Return the shortest of several runs, s."""
    times = []
    for _ in range(repeats):
        start = clock()
        job()
        times.append(clock() - start)
    return min(times)


def enlarged(data: bytes, times: int) -> bytes:
    """Return a photograph enlarged by a factor in both directions, without its EXIF data."""
    if times == 1:
        return data
    whole = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    size = (times * whole.shape[1], times * whole.shape[0])
    big = cv2.resize(whole, size, interpolation=cv2.INTER_CUBIC)
    return bytes(cv2.imencode(".jpg", big, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes())


def main() -> None:
    """Print a line for each photograph, and the median ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photos", nargs="*", type=Path)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--enlarge", type=int, default=1)
    parser.add_argument("--cpu", action="store_true")
    options = parser.parse_args()
    clock = time.process_time if options.cpu else time.perf_counter
    if options.cpu:
        cv2.setNumThreads(1)
    photos = options.photos or sorted(SAMPLES.glob("station-*.jpg"))
    ratios = []
    print(f"{'photograph':32s}{'decode':>9s}{'open':>9s}{'measure':>9s}{'open + measure':>16s}")
    for path in photos:
        raw = enlarged(path.read_bytes(), options.enlarge)
        data = np.frombuffer(raw, np.uint8)
        decode = best_s(lambda d=data: cv2.imdecode(d, cv2.IMREAD_COLOR), options.repeats, clock)  # type: ignore[misc]
        opening = best_s(lambda r=raw: open_photo(r), options.repeats, clock)  # type: ignore[misc]
        photo = open_photo(raw)
        measuring = best_s(lambda p=photo: measure_photo(p, Settings()), options.repeats, clock)  # type: ignore[misc]
        ratio = (opening + measuring) / decode
        ratios.append(ratio)
        print(f"{path.name:32s}{decode:8.3f}s{opening:8.3f}s{measuring:8.3f}s{ratio:13.2f} x")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"median {np.median(ratios):.2f} x the time to decode; peak memory {peak:.0f} MB")


if __name__ == "__main__":
    main()
