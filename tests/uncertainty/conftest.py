"""Results of the sample photographs: used by several tests, measured once per run."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.kept_answers import measured_once
from vision.pipeline import Settings
from vision.results import Result
from vision.target.print_scale import load_print_checks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.fixture(scope="session")
def sample_results(shared: Path) -> dict[str, Result]:
    """Return the figure or the refusal of each, with their print check applied."""
    settings = Settings(print_check=load_print_checks(SAMPLES / "print_checks.json")["demo-set"])
    truth = csv.DictReader((SAMPLES / "truth.csv").read_text(encoding="utf-8").splitlines())
    return {row["file"]: measured_once(shared, SAMPLES / row["file"], settings)[0] for row in truth}
