"""Make the sample photographs and the tables that go with them.

Example: ``python sample_images/make_samples.py`` renders the photographs that are missing from
this folder (seconds each on a graphics card, minutes each on two cores) and rewrites the tables.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from rope_photo import make_photograph, set_up
from rope_render import SPP
from sample_inspection import (
    GAUGE,
    INSPECTION,
    INSPECTION_FACTS,
    LAYOUT,
    READINGS,
    ROPE,
    STATIONS,
    TYPED_MM,
    WRONG,
    bars_read_mm,
    sample_shots,
)

HERE = Path(__file__).resolve().parent


def readings(rows: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """Return the logged gauge readings, one of them wrong; its truth row gets a note.

    Raises
    ------
    ValueError
        If a reading is more than 0.05 mm from the true width: no caliper would show it.
    """
    logged = []
    by_file = {row["file"]: row for row in rows}
    for (station, view), (shown, seconds) in READINGS.items():
        row = by_file[f"station-{station}-view-{view:02d}.jpg"]
        if abs(shown - float(str(row["truth_2d_mm"]))) > 0.05:
            raise ValueError(
                f"Station {station}, {view} degrees: the reading {shown} is more than 0.05 mm from "
                f"the true {row['truth_2d_mm']}. Correct it in READINGS."
            )
        typed = shown
        if (station, view) == WRONG:
            typed = TYPED_MM
            row["note"] = f"the gauge showed {shown:.2f}; {typed:.2f} was typed on purpose"
        at = datetime.fromisoformat(str(row["taken_at"])) + timedelta(seconds=seconds)
        logged.append(
            {
                "inspection": INSPECTION,
                "station": station,
                "view_deg": view,
                "typed": f"{typed:.2f}",
                "gauge": GAUGE,
                "gauge_kind": "wide-jaw caliper",
                "resolution_mm": 0.01,
                "permissible_error_mm": 0.03,
                "calibration_due": "2027-02-28",
                "person": "Inspector A",
                "logged_at": at.isoformat(sep=" "),
            }
        )
    return logged


def main() -> None:
    """Render the missing photographs, then write the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--spp", type=int, default=SPP, help=f"samples per pixel at the outline ({SPP})"
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
