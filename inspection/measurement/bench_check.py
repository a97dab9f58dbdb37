"""A bench check: a bar of known diameter, photographed with the user's own printer, card and phone.

Mean error and repeatability follow the GUM (ISO/IEC Guide 98-3:2008, 4.2); the uncertainty of the
whole measurement process on the bar follows ISO 22514-7 (a measurement process on a reference part:
bias, repeatability and the reference's own uncertainty). Whether the stated U holds is tested
twice: is the true value inside it as often as it should be, and is the mean off by no more than U
allows, with what all photographs share (the print's scale, the camera) counted once?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from statistics import median

from inspection.measurement.view import DirectionalDiameter, of_one_view, weighted_terms
from vision.results import Estimate
from vision.uncertainty import combined_u_mm

LEAST_PHOTOGRAPHS = 6
INSIDE_SHARE = 0.9545  # of a normal distribution, within 2 standard deviations
RARE = 0.05  # probability below which the stated U is rejected
OLD_DAYS = 365  # paper, printer and phone change (common practice, no source)
SAME_PRINTS = "unchecked print"


@dataclass(frozen=True, slots=True)
class BenchCheck:
    """The results of photographs of a bar of known diameter.

    Parameters
    ----------
    camera, print_set : str
        The phone, as it names itself, and the card set.
    on : date
        Day of the check.
    true_mm, u_true_mm : float
        The bar's diameter and its standard uncertainty, mm.
    photographs, refused : int
        How many gave a figure, and how many did not.
    mean_error_mm : float
        Mean of figure minus true diameter, mm.
    repeatability_mm : float
        Experimental standard deviation of one figure, mm (GUM 4.2.2).
    u_mean_error_mm : float
        Stated standard uncertainty of the mean error, mm: the mean's budget and the bar's.
    inside : int
        Photographs whose U (k = 2), combined with the bar's own, contains the true diameter.
    usual_expanded_mm : float
        Median of their U, mm.
    """

    camera: str
    print_set: str
    on: date
    true_mm: float
    u_true_mm: float
    photographs: int
    refused: int
    mean_error_mm: float
    repeatability_mm: float
    u_mean_error_mm: float
    inside: int
    usual_expanded_mm: float

    @property
    def u_process_mm(self) -> float:
        """Standard uncertainty of the whole measurement process on this bar, mm.

        ISO 22514-7: the reference's uncertainty, the bias as a rectangular distribution, and the
        repeatability on the reference, in quadrature.
        """
        return math.hypot(
            self.u_true_mm, self.mean_error_mm / math.sqrt(3.0), self.repeatability_mm
        )

    @property
    def as_rare_as(self) -> float:
        """Probability that so few contain the true diameter if U is right (binomial)."""
        n, p = self.photographs, INSIDE_SHARE
        return sum(math.comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(self.inside + 1))

    @property
    def e_n(self) -> float:
        """Mean error over its expanded uncertainty (ISO 13528); beyond 1 U does not explain it."""
        return self.mean_error_mm / (2.0 * self.u_mean_error_mm)

    @property
    def holds(self) -> bool:
        """Whether the stated uncertainty covers the observed errors."""
        return self.as_rare_as >= RARE and abs(self.e_n) <= 1.0

    @property
    def verdict(self) -> str:
        """One sentence: whether U holds, and what was observed."""
        whose = f"{self.camera or 'this phone'} and card set {self.print_set or SAME_PRINTS}"
        begin = "U holds" if self.holds else "Don't rely on U"
        why = "" if self.holds else f"; {self._remedy}"
        return (
            f"{begin} with {whose}: {self.photographs} photographs of {self.true_mm:g} mm were off "
            f"by {self.mean_error_mm:+z.3f} mm on average and scattered by "
            f"{self.repeatability_mm:.3f} mm; the true diameter was within U in {self.inside} of "
            f"{self.photographs}, where 95 in 100 are expected{why}."
        )

    @property
    def _remedy(self) -> str:
        if abs(self.e_n) > 1.0:
            return "measure the card's bars again, and check how closely it lies on the bar"
        return "check the worst photograph: light, focus, and how the card lies"

    def is_old(self, today: date) -> bool:
        """Return whether it should be repeated."""
        return (today - self.on).days > OLD_DAYS

    def reminder(self, today: date) -> str:
        """Return its date and verdict, and a reminder if it is old."""
        done = f"Bench check of {self.on.isoformat()}: {self.verdict}"
        return f"{done} It is more than a year old: repeat it." if self.is_old(today) else done


def _refuse_copies(estimates: Sequence[Estimate]) -> None:
    """Refuse a photograph given twice: copies scatter less than separate photographs."""
    for one, other in combinations(estimates, 2):
        same_file = bool(one.photo_sha256) and one.photo_sha256 == other.photo_sha256
        same_moment = one.taken_at is not None and one.taken_at == other.taken_at
        if same_file or same_moment:
            how = "the same file" if same_file else "taken in the same second"
            raise ValueError(
                f"{one.photo_name} and {other.photo_name} are the same photograph ({how}): give "
                "each once, and take each from a new position."
            )


def bench_check(
    estimates: Sequence[Estimate], *, true_mm: float, u_true_mm: float, refused: int, on: date
) -> BenchCheck:
    """Compare photographs of one bar with its known diameter.

    Parameters
    ----------
    estimates : sequence of Estimate
        Their results: six or more, from one phone with one card set.
    true_mm, u_true_mm : float
        The bar's diameter and its standard uncertainty, mm.
    refused : int
        How many photographs gave no figure.
    on : date
        Day of the check.

    Raises
    ------
    ValueError
        If there are too few, they are from several phones or card sets, or the bar's diameter is
        out of range or does not fit the photographs.

    References
    ----------
    ISO/IEC Guide 98-3:2008 (GUM), 4.2.1 to 4.2.3; ISO 22514-7:2021 (its terms from memory,
    confidence 0.8).
    """
    if not (math.isfinite(true_mm) and 1.0 <= true_mm <= 500.0):
        raise ValueError(f"the bar's diameter must be between 1 and 500 mm; got {true_mm:g}.")
    if not (math.isfinite(u_true_mm) and 0.0 < u_true_mm <= 0.05 * true_mm):
        raise ValueError(
            "the standard uncertainty of the bar's diameter must be more than 0 and at most 5 % of "
            f"it; got {u_true_mm:g} mm."
        )
    if len(estimates) < LEAST_PHOTOGRAPHS:
        raise ValueError(
            f"{len(estimates)} photographs gave a figure and {refused} did not; at least "
            f"{LEAST_PHOTOGRAPHS} are needed: take more, each from a new position."
        )
    _refuse_copies(estimates)
    for what, values in (
        ("phones", {one.camera for one in estimates}),
        ("card sets", {one.print_set for one in estimates}),
    ):
        if len(values) > 1:
            listed = ", ".join(sorted(value or "unnamed" for value in values))
            raise ValueError(
                f"these photographs are from several {what} ({listed}): check one at a time."
            )
    errors = [one.diameter_mm - true_mm for one in estimates]
    n = len(errors)
    mean = sum(errors) / n
    if abs(mean) > 0.1 * true_mm:
        raise ValueError(
            f"the photographs show {true_mm + mean:.2f} mm, but the bar's diameter is given as "
            f"{true_mm:g} mm: give the diameter of the bar that was photographed."
        )
    views = [DirectionalDiameter(one.diameter_mm, one.budget, 0) for one in estimates]
    mean_budget = weighted_terms((1 / n, budget) for budget in of_one_view(views))
    return BenchCheck(
        camera=estimates[0].camera,
        print_set=estimates[0].print_set,
        on=on,
        true_mm=true_mm,
        u_true_mm=u_true_mm,
        photographs=n,
        refused=refused,
        mean_error_mm=mean,
        repeatability_mm=math.sqrt(sum((error - mean) ** 2 for error in errors) / (n - 1)),
        u_mean_error_mm=math.hypot(combined_u_mm(mean_budget), u_true_mm),
        inside=sum(
            abs(error) <= 2.0 * math.hypot(one.u_mm, u_true_mm)
            for error, one in zip(errors, estimates, strict=True)
        ),
        usual_expanded_mm=median(one.expanded_mm() for one in estimates),
    )
