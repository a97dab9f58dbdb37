"""The scoreboard's figures: what is counted, by which factors, and ovality from pairs of views."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from range_list import STRESSES
from range_sensors import FAULTS

from inspection.measurement.view import DirectionalDiameter, seen_from_both_sides, weighted_terms
from vision.uncertainty import Influence, Term, combined_u_mm

Row = dict[str, str]
Array = NDArray[np.float64]
PLAIN_WAYS = ("ratio", "homography", "hough")


@dataclass(frozen=True, slots=True, eq=False)
class Scored:
    """One photograph: its truth, and the result of each method, in % of the truth.

    `error_pct` and `expanded_pct` are NaN where the product refused, values of `plain_pct` where
    that method gave nothing. `group` is "protocol", "stress" or "hopeless". `by_height` is the
    sensitivity of the diameter to the rope's height above the card, mm per mm.
    """

    truth: Row
    group: str
    refused: str
    error_pct: float
    expanded_pct: float
    plain_pct: dict[str, float]
    sources: dict[str, float]
    by_height: float = 0.0

    @property
    def answered(self) -> bool:
        """Whether the product gave a diameter."""
        return not self.refused


def scored(truth: Row, ours: Row, hough: Row) -> Scored:
    """Return one photograph's score."""
    known = float(truth["truth_2d_mm"])

    def off(text: str | None) -> float:
        return 100 * (float(text) / known - 1) if text else np.nan

    plain = {name: off(ours.get(f"{name}_mm")) for name in ("ratio", "homography")}
    return Scored(
        truth,
        group_of(truth),
        ours["refused"],
        off(ours.get("diameter_mm")),
        200 * float(ours["u_mm"]) / known if ours.get("u_mm") else np.nan,
        plain | {"hough": off(hough["hough_mm"])},
        json.loads(ours.get("sources") or "{}"),
        float(ours.get("by_height") or 0),
    )


def group_of(truth: Row) -> str:
    """Return "protocol", "stress" or "hopeless", from the photograph's truth alone."""
    if truth["answerable"] != "yes":
        return "hopeless"
    kept = (
        (truth.get("hold") or "touching") == "touching"
        and float(truth["gap_mm"]) <= 0.5
        and not truth.get("bend")
        and (truth.get("print_checked") or "yes") == "yes"
        and max(abs(float(truth[name]) - 1) for name in ("scale_x", "scale_y")) <= 0.01
        # 200 to 600 mm to the point aimed at; the table has distances to the card's middle
        and 190 <= float(truth["distance_mm"]) <= 610
        and float(truth["tilt_deg"]) <= 25
        and abs(float(truth["axis_angle_deg"])) <= 20  # "lay the card along the rope"
        and float(truth["f35_exif"]) <= 28
        and float(truth.get("megapixels") or 12) >= 11.9
        and not any(name in truth["note"] for name in (*FAULTS, *STRESSES))
        and truth.get("part", "protocol") == "protocol"  # given by world two's list
    )
    return "protocol" if kept else "stress"


def figures(rows: list[Scored]) -> dict[str, float]:
    """Return the tables' figures for answerable photographs, in % of the diameter."""
    done = [row for row in rows if row.answered]
    found: dict[str, float] = {"n": len(rows), "refused": _share(len(rows) - len(done), len(rows))}
    if done:
        error = np.array([row.error_pct for row in done])
        expanded = np.array([row.expanded_pct for row in done])
        found |= _spread(error) | {
            "covered": _share(int((np.abs(error) <= expanded).sum()), len(done)),
            "U": float(np.median(expanded)),
            "z2": float(np.mean((2 * error / expanded) ** 2)),
        }
    for name in PLAIN_WAYS:
        off = np.array([row.plain_pct[name] for row in rows])
        if np.isfinite(off).any():
            found[name] = float(np.nanmedian(np.abs(off)))
            found[f"{name} p95"] = float(np.nanpercentile(np.abs(off), 95))
    found["hough none"] = _share(sum(np.isnan(row.plain_pct["hough"]) for row in rows), len(rows))
    return found


def _spread(error: Array) -> dict[str, float]:
    size = np.abs(error)
    return {
        "bias": float(error.mean()),
        "median": float(np.median(size)),
        "p95": float(np.percentile(size, 95)),
        "worst": float(size.max()),
    }


def _share(part: int, whole: int) -> float:
    return 100 * part / whole if whole else np.nan


def ovality_rows(rows: Iterable[Scored]) -> list[dict[str, float]]:
    """Return the error of the ovality and its U for each station with two views, % of the diameter.

    The error is that of the signed difference of the two views, which is never smaller than the
    error of the ovality itself.
    """
    pairs: dict[tuple[str, bool], list[Scored]] = {}
    for row in rows:
        if row.truth.get("pair") and row.answered:
            key = (row.truth["pair"], row.truth["file"].endswith("-b.jpg"))
            pairs.setdefault(key, []).append(row)
    found = []
    for two in pairs.values():
        if len(two) != 2:
            continue
        a, b = seen_from_both_sides(*(_view(row) for row in two))
        true = [float(row.truth["truth_2d_mm"]) for row in two]
        d = sum(true) / 2
        error = a.diameter_mm - b.diameter_mm - (true[0] - true[1])
        u = combined_u_mm(weighted_terms([(1.0, a.budget), (-1.0, b.budget)]))
        found.append({"error": 100 * error / d, "expanded": 200 * u / d})
    return found


def _view(row: Scored) -> DirectionalDiameter:
    """Return an answered photograph as a directional diameter, with its terms by source."""
    terms = []
    for source, signed_mm in row.sources.items():
        by = row.by_height if source.startswith(Influence.HEIGHT) else 1.0
        terms.append(Term(source, signed_mm / by, "mm", by, "B", source))
    known = float(row.truth["truth_2d_mm"])
    return DirectionalDiameter(known * (1 + row.error_pct / 100), tuple(terms), 0)


def ovality_figures(pairs: list[dict[str, float]]) -> dict[str, float]:
    """Return the summary of `ovality_rows`."""
    if not pairs:
        return {"n": 0}
    error = np.array([pair["error"] for pair in pairs])
    expanded = np.array([pair["expanded"] for pair in pairs])
    covered = _share(int((np.abs(error) <= expanded).sum()), len(pairs))
    return (
        {"n": len(pairs)} | _spread(error) | {"covered": covered, "U": float(np.median(expanded))}
    )


def _step(name: str, steps: tuple[float, ...], unit: str) -> Callable[[Row], str]:
    def level(truth: Row) -> str:
        value = truth.get(name)
        if not value:
            return ""
        for low, high in itertools.pairwise(steps):
            if low <= float(value) < high:
                return f"{low:g} to {high:g} {unit}"
        return f"{steps[-1]:g} {unit} and more"

    return level


def _strands(truth: Row) -> str:
    count = int(truth["strands"])
    return "smooth bar" if count == 0 else "15 to 18 strands" if count > 8 else f"{count} strands"


def _print(truth: Row) -> str:
    if truth.get("print_checked") == "no":
        return "unchecked"
    off = max(abs(float(truth[name]) - 1) for name in ("scale_x", "scale_y"))
    return "checked, 1 to 3 % off" if off > 0.01 else "checked, within 1 %"


def _fault(truth: Row) -> str:
    said = truth["note"] if truth.get("part") == "stress" else "good sensor"
    return next((fault for fault in FAULTS if fault in truth["note"]), said)


FACTORS: dict[str, Callable[[Row], str]] = {
    "surface": lambda truth: truth["surface"],
    "light": lambda truth: truth["light"],
    "strands": _strands,
    "lay": lambda truth: truth.get("lay", ""),
    "diameter": _step("d_nominal_mm", (0, 12.5, 25, 41), "mm"),
    "seen as": _step("rope_px", (0, 100, 200, 400), "px"),
    "oval": _step("ovality_pct", (0, 1, 3), "%"),
    "thinned": _step("thin_pct", (0, 1), "%"),
    "worn": _step("worn_pct", (0, 0.1), "%"),
    "sticks out": lambda truth: truth["extra"] or "nothing",
    "held": lambda truth: truth.get("hold") or "touching",
    "gap": _step("gap_mm", (0, 0.25, 0.5001), "mm"),
    "card": lambda truth: truth.get("bend") or "flat",
    "bent by": _step("bend_mm", (0, 0.01, 0.5, 2), "mm"),
    "print": _print,
    "distance": _step("distance_mm", (0, 200, 400, 610), "mm"),
    "tilt": _step("tilt_deg", (0, 12, 25), "deg"),
    "lens": lambda truth: "23 to 28 mm" if float(truth["f35_exif"]) <= 28 else "48 to 77 mm",
    "sensor": _fault,
}
