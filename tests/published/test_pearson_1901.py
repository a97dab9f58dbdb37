"""The line of closest fit to Pearson's ten points (Philosophical Magazine 1901; 2: 559-572).

With equal errors in x and y: y = 5.784 - 0.546 x (from memory, confidence 0.9).
"""

from __future__ import annotations

import csv
from pathlib import Path

from inspection.comparison.deming import deming_regression

DATA = Path(__file__).parent / "pearson_1901.csv"


def test_equal_errors_in_both_give_pearsons_line() -> None:
    lines = DATA.read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    line = deming_regression([float(row["x"]) for row in rows], [float(row["y"]) for row in rows])
    assert round(line.slope, 3) == -0.546
    assert round(line.intercept, 3) == 5.784
