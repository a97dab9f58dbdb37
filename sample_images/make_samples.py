"""Make the sample photographs and everything that was written down with them.

Example: ``python sample_images/make_samples.py`` renders what is missing in this folder
(one to two minutes a photograph on two cores) and writes the tables anew.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from rope_photo import make_photograph, set_up
from sample_inspection import (
    GAUGE,
    INSPECTION,
    INSPECTION_FACTS,
    LAYOUT,
    READING_SD_MM,
    ROPE,
    SEED,
    STATIONS,
    WRONG,
    bars_read_mm,
    sample_shots,
)

HERE = Path(__file__).resolve().parent


def readings(rows: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """Return the gauge readings that were logged, one of them wrong, from the truth's rows.

    Raises
    ------
    ValueError
        If exchanging two digits of the wrong one changes it by less than 2.5 %.
    """
    rng = np.random.default_rng(SEED + 2)
    logged = []
    by_file = {row["file"]: row for row in rows}
    for station in STATIONS:
        for view in (0, 90):
            row = by_file[f"station-{station}-view-{view:02d}.jpg"]
            value = float(str(row["truth_2d_mm"])) + float(rng.normal(0, READING_SD_MM))
            typed = f"{value:.2f}"
            if (station, view) == WRONG:
                swapped = typed[0] + typed[3] + "." + typed[1] + typed[4:]
                if abs(float(swapped) / value - 1) < 0.025:
                    raise ValueError(f"{typed} and {swapped} are too alike for the example.")
                row["note"] = f"the gauge showed {typed}; {swapped} was typed on purpose"
                typed = swapped
            at = datetime.fromisoformat(str(row["taken_at"]))
            logged.append(
                {
                    "inspection": INSPECTION,
                    "station": station,
                    "view_deg": view,
                    "typed": typed,
                    "gauge": GAUGE,
                    "gauge_kind": "wide-jaw caliper",
                    "resolution_mm": 0.01,
                    "permissible_error_mm": 0.03,
                    "calibration_due": "2027-02-28",
                    "person": "Inspector A",
                    "logged_at": (at + timedelta(seconds=int(rng.integers(35, 75)))).isoformat(
                        sep=" "
                    ),
                }
            )
    return logged


def main() -> None:
    """Render what is missing, then write the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--spp", type=int, default=16, help="samples a pixel at the outline, 4, 16 or 36 (16)"
    )
    options = parser.parse_args()
    rows = []
    for shot in sample_shots():
        if (HERE / shot.file).exists():
            rows.append(set_up(shot)[2])
        else:
            rows.append(make_photograph(shot, HERE, spp=options.spp))
            print(shot.file, flush=True)
    _write(HERE / "readings.csv", readings(rows))
    _write(HERE / "truth.csv", rows)
    _write(
        HERE / "stations.csv",
        [
            {"number": number, "position_m": facts[0], "note": facts[-1]}
            for number, facts in STATIONS.items()
        ],
    )
    along, across = bars_read_mm()
    _dump(
        "print_checks.json",
        {
            "demo-set": {
                "layout": LAYOUT,
                "along_mm": along,
                "across_mm": across,
                "u_mm": 0.02,
                "checked_on": "2026-09-14",
            }
        },
    )
    _dump("rope.json", ROPE)
    _dump("inspection.json", INSPECTION_FACTS)


def _write(path: Path, rows: Sequence[dict[str, object]]) -> None:
    with path.open("w", newline="") as lines:
        writer = csv.DictWriter(lines, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def _dump(name: str, facts: object) -> None:
    (HERE / name).write_text(json.dumps(facts, indent=2, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
