"""E_n and zeta scores by ISO 13528 compared with the scores that NIST prints (see the data files).

The NIST page writes the formula with "standard" uncertainties and then says that E_n uses
expanded ones; with k = 2 on both sides zeta = 2 E_n, which is tested, too.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import bartlett

from inspection.comparison.crosscheck import Comparison, compare
from inspection.measurement.view import DirectionalDiameter
from vision.uncertainty import Term

HERE = Path(__file__).parent


def _rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def _gears() -> np.ndarray:
    return np.array([[float(x) for x in row["values"].split()] for row in _rows("nist_gear.csv")])


def _compare(
    value: float, reference: float, expanded: float, expanded_reference: float
) -> Comparison:
    one = DirectionalDiameter(value, (Term("all", expanded / 2, "mm", 1.0, "B", "photo"),), 0)
    two = DirectionalDiameter(
        reference, (Term("all", expanded_reference / 2, "mm", 1.0, "B", "gauge"),), 0
    )
    return compare(one, two, station=1, matters_mm=1.0)


def test_the_data_are_those_that_nist_describes() -> None:
    # e-Handbook 1.3.5.7 prints 20.78587 (from memory, confidence 0.95)
    assert round(float(bartlett(*_gears()).statistic), 5) == 20.78587


@pytest.mark.parametrize("row", _rows("iso_13528_en.csv"), ids=lambda row: row["value"])
def test_the_printed_scores_come_out_to_the_last_digit(row: dict[str, str]) -> None:
    gears = _gears()
    expanded = 2 * float(gears[0].std(ddof=1))
    expanded_reference = 2 * float(gears.std(ddof=1))
    found = _compare(float(row["value"]), 1.0, expanded, expanded_reference)
    assert round(found.en, 3) == float(row["en"])
    assert found.zeta == pytest.approx(2 * found.en)


@pytest.mark.parametrize(
    ("photo", "gauge", "u_photo", "u_gauge", "en", "zeta", "word"),
    # made-up rope values; own arithmetic, done apart from this code
    [
        (20.42, 20.50, 0.12, 0.05, -0.615, -1.231, "agrees"),
        (20.22, 20.50, 0.12, 0.05, -2.154, -4.308, "disagrees"),
        (39.72, 39.55, 0.16, 0.08, 0.950, 1.901, "agrees"),
    ],
)
def test_rope_values_get_the_scores_computed_apart(
    photo: float, gauge: float, u_photo: float, u_gauge: float, en: float, zeta: float, word: str
) -> None:
    found = _compare(photo, gauge, u_photo, u_gauge)
    assert (round(found.en, 3), round(found.zeta, 3), found.word) == (en, zeta, word)


@pytest.mark.parametrize(
    ("difference_mm", "word"),
    # E_n 1 = zeta 2 still agrees, zeta 3 disagrees; U of the difference is 0.2 mm (k = 2)
    [
        (0.1999, "agrees"),
        (0.2001, "doubtful"),
        (0.2999, "doubtful"),
        (0.3001, "disagrees"),
        (-0.2001, "doubtful"),
        (-0.3001, "disagrees"),
    ],
)
def test_the_words_change_at_the_published_scores(difference_mm: float, word: str) -> None:
    assert _compare(20.0 + difference_mm, 20.0, 0.16, 0.12).word == word
