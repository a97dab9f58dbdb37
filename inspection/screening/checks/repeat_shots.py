"""Several photographs of one view: they are combined, and reported where they disagree.

Two or three shots of one station and direction have print and camera in common, which drop out
of their difference; what is left (edges, the card's corners, how closely it lay on the rope) says
how far apart they may be. Shots farther apart are not of one place, or one of them is wrong.
"""

from __future__ import annotations

from itertools import combinations
from math import erfc, sqrt

from inspection.measurement.section import SAME_PLACE_MM
from inspection.measurement.view import weighted_terms
from inspection.model.log import Log
from inspection.screening.multiple_testing import ScreeningTest
from vision.results import Estimate, Place
from vision.uncertainty import combined_u_mm

TO_DO = (
    "Check the traced edges in each of them; remove the one that is wrong, giving the reason, or "
    "file it where it belongs."
)
INNOCENT = "The card may have been moved along the rope between the shots."


def repeat_shots_tests(log: Log) -> list[ScreeningTest]:
    """Return one test for each view that several photographs show: the two farthest apart.

    With n photographs there are n (n - 1) / 2 pairs, so the probability of the farthest pair is
    at most that many times its own (Bonferroni).
    """
    shown: dict[Place, list[Estimate]] = {}
    for one in log.results:
        if isinstance(one, Estimate) and one.place is not None:
            shown.setdefault(one.place, []).append(one)
    tests = []
    for place, shots in sorted(shown.items()):
        pairs = [
            (abs(a.diameter_mm - b.diameter_mm) / _u_mm(a, b), a, b)
            for a, b in combinations(shots, 2)
            if abs(a.at_mm - b.at_mm) <= SAME_PLACE_MM and _u_mm(a, b) > 0
        ]
        if not pairs:
            continue
        z, one, other = max(pairs, key=lambda pair: pair[0])
        apart_mm, expanded_mm = one.diameter_mm - other.diameter_mm, 2 * _u_mm(one, other)
        tests.append(
            ScreeningTest(
                check="shots",
                code="shots-disagree",
                entries=(),
                places=(place,),
                p=min(1.0, len(pairs) * erfc(z / sqrt(2))),
                seen=f"Two photographs of {place.words} differ by {abs(apart_mm):.2f} mm: "
                f"{one.photo_name} gives {one.diameter_mm:.2f} and {other.photo_name} "
                f"{other.diameter_mm:.2f} mm; U (k = 2) of their difference is "
                f"{expanded_mm:.2f} mm.",
                remedy=TO_DO,
                innocent=INNOCENT,
                value=abs(apart_mm),
                limit=expanded_mm,
                unit="mm",
                touches="figure",
                about=tuple(sorted((one.photo_sha256, other.photo_sha256))),
                photographs=(one.photo_name, other.photo_name),
            )
        )
    return tests


def _u_mm(one: Estimate, other: Estimate) -> float:
    return combined_u_mm(weighted_terms([(1.0, one.budget), (-1.0, other.budget)]))
