"""How much each chosen number of `vision.rope` matters: each is moved by a fifth, up and down.

    python tests/benchmarks/bench_constants.py FOLDER [FOLDER ...] [--every N]

A folder holds photographs and their truth.csv (`sample_images`, or rendered ones). No diameter
should move by more than a quarter of its expanded uncertainty, and no answer should become a
refusal. Whole numbers are moved by one.
"""

from __future__ import annotations

import csv
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from score_settings import settings_of

from vision.photo.photo import Photo, open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.rope import constants

ALLOWED = 0.25  # of the expanded uncertainty
Case = tuple[str, Photo, Settings]


@contextmanager
def moved(name: str, value: float) -> Iterator[None]:
    """Set a constant in every module that uses it."""
    users = [
        module
        for title, module in list(sys.modules.items())
        if title.startswith("vision.") and hasattr(module, name)
    ]
    before = getattr(constants, name)
    for module in users:
        setattr(module, name, value)
    try:
        yield
    finally:
        for module in users:
            setattr(module, name, before)


def neighbours(name: str) -> list[float]:
    """Return the two values that a constant is moved to."""
    value = getattr(constants, name)
    return [value - 1, value + 1] if isinstance(value, int) else [0.8 * value, 1.2 * value]


def answers(cases: list[Case]) -> dict[str, Estimate]:
    """Return the estimates of the photographs that are answered, by name."""
    results = {name: measure_photo(photo, settings)[0] for name, photo, settings in cases}
    return {name: one for name, one in results.items() if isinstance(one, Estimate)}


def cases_in(folder: Path, every: int) -> list[Case]:
    """Return the photographs of a folder that should be answered, with their settings."""
    with (folder / "truth.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row.get("answerable", "yes") == "yes"]
    return [
        (row["file"], open_photo(folder / row["file"]), settings_of(row))
        for row in rows[::every]
        if (folder / row["file"]).exists() and "refuse" not in row["file"]
    ]


def main() -> int:
    """Print a line for each number; return 1 if any matters too much."""
    parser = ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--every", type=int, default=1, help="use every N-th photograph")
    parser.add_argument("--only", nargs="*", default=constants.CHOSEN)
    given = parser.parse_args()
    cases = [case for folder in given.folders for case in cases_in(folder, given.every)]
    usual = answers(cases)
    print(f"{len(cases)} photographs, {len(usual)} answered")
    bad = 0
    for name in given.only:
        for value in neighbours(name):
            with moved(name, value):
                now = answers(cases)
            lost = sorted(set(usual) - set(now))
            shift, worst = max(
                (abs(now[key].diameter_mm - usual[key].diameter_mm) / usual[key].expanded_mm(), key)
                for key in usual
                if key in now
            )
            wrong = shift > ALLOWED or bool(lost)
            bad += wrong
            note = f" refused: {', '.join(lost)}" if lost else ""
            print(
                f"{'!' if wrong else ' '} {name} {value:g}: {shift:.2f} U ({worst}){note}",
                flush=True,
            )
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
