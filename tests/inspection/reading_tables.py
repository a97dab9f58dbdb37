"""A table of readings as the sample inspection has it, and tables made for one test."""

from __future__ import annotations

from pathlib import Path

# The columns of a readings.csv as the sample inspection has it.
SAMPLE = """\
inspection,station,view_deg,typed,gauge,gauge_kind,resolution_mm,permissible_error_mm,\
calibration_due,person,logged_at
visit,1,0,"22,41",C-07,wide-jaw caliper,0.01,0.03,2027-01-31,A. Berg,2026-11-02T09:14:00
visit,1,90,22.4 mm,C-07,wide-jaw caliper,0.01,0.03,2027-01-31,A. Berg,2026-11-02T09:15:10
visit,2,0,7/8,C-07,wide-jaw caliper,0.01,0.03,2027-01-31,A. Berg,2026-11-02T09:21:00
"""


def csv_file(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "table.csv"
    path.write_bytes(text.encode(encoding))
    return path
