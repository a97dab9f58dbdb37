"""Results as a pandas table, one row each; refused photographs have no figure.

>>> from vision.results import Estimate, Refusal, Finding
>>> from vision.uncertainty import Term
>>> budget = (Term("edge", 0.04, "mm", 1.0, "A", "edge:1"),)
>>> seen = Finding("too-far", "The rope is 30 px wide.", "Go nearer.", "refuse")
>>> table = results_frame([Estimate(22.04, budget, station=3, view_deg=90), Refusal((seen,))])
>>> table[["station", "diameter_mm", "expanded_mm"]]
   station  diameter_mm  expanded_mm
0        3        22.04         0.08
1     <NA>          NaN          NaN
>>> table["findings"][1]
'The rope is 30 px wide. Go nearer.'
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from vision.results import Estimate, Result
from vision.uncertainty import combined_u_mm

# Each column with its type; values in mm, degrees and px/mm; uncertainties are standard (`u_...`)
# or expanded with k = 2.
COLUMNS = {
    "photo": "str",
    "station": "Int64",
    "view_deg": "Int64",
    "at_mm": "float64",
    "diameter_mm": "float64",
    "expanded_mm": "float64",
    "u_mm": "float64",
    "crowns": "Int64",
    "crown_pitch_mm": "float64",
    "u_pitch_mm": "float64",
    "strands": "Int64",
    "lay_mm": "float64",
    "u_lay_mm": "float64",
    "hand": "str",
    "px_per_mm": "float64",
    "tilt_deg": "float64",
    "print_set": "str",
    "taken_at": "str",
    "camera": "str",
    "findings": "str",
}


def results_frame(results: Iterable[Result]) -> pd.DataFrame:
    """Return results as a table, one row for each.

    Parameters
    ----------
    results : iterable of Estimate or Refusal
        As `measure_photo` returns them, of one photograph or of many.

    Returns
    -------
    DataFrame of shape (N, 20)
        Columns as in `COLUMNS`: place, diameter and expanded uncertainty (k = 2) in mm, lay
        length, scale in px/mm, tilt in degrees, and, in `findings`, warnings and reasons for a
        refusal.
    """
    rows = [_row(result) for result in results]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return frame.astype(COLUMNS)


def _row(result: Result) -> dict[str, object]:
    row: dict[str, object] = {
        "photo": result.photo_name,
        "station": result.station,
        "view_deg": result.view_deg,
        "at_mm": result.at_mm,
        "taken_at": "" if result.taken_at is None else result.taken_at.isoformat(),
        "camera": result.camera,
        "findings": " ".join(f"{one.seen} {one.remedy}" for one in result.findings),
        "hand": "",
        "print_set": "",
    }
    if isinstance(result, Estimate):
        row |= {
            "diameter_mm": result.diameter_mm,
            "expanded_mm": result.expanded_mm(),
            "u_mm": result.u_mm,
            "crowns": result.crowns,
            "crown_pitch_mm": result.crown_pitch_mm,
            "u_pitch_mm": combined_u_mm(result.pitch_budget) if result.pitch_budget else None,
            "strands": result.strands,
            "lay_mm": result.lay_mm,
            "u_lay_mm": None if result.lay_mm is None else result.u_lay_mm,
            "hand": result.hand,
            "px_per_mm": result.px_per_mm,
            "tilt_deg": result.tilt_deg,
            "print_set": result.print_set,
        }
    return row
