"""The ellipse of the caliper widths: largest and smallest diameter from three directions or more.

A caliper's jaws bear on an ellipse of diameters A and B, the larger at the direction psi, with the
width w(phi)^2 = A^2 cos^2(phi - psi) + B^2 sin^2(phi - psi): the two parallel tangents at right
angles to phi lie at +-h, h the support function of the ellipse (Schneider, Convex Bodies: the
Brunn-Minkowski Theory, 2nd ed., 1.7.1: the support function of a linear image of the unit disc
is |M^T n|, from which this follows in two lines). Hence

    w^2 = p0 + p1 cos 2 phi + p2 sin 2 phi,   p0 = (A^2 + B^2) / 2,   |(p1, p2)| = (A^2 - B^2) / 2,

which is linear in three unknowns. It is solved by generalised least squares with the covariance
of the widths (including what views share, e.g. print scale, gauge or lens); the minimum is tested
by chi-squared with n - 3 degrees of freedom (GUM's companion JCGM 107; Aitken 1935).

Nearly round ropes need care. A - B is never negative, so noise alone makes it positive and gives
psi an arbitrary value. The interval for A - B therefore contains each value with which a rope could
have given these widths (test inversion, with the exact distribution of the length of a
two-dimensional normal vector, Rice 1945); it starts at 0 if a round rope could.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtrc

from inspection.measurement.view import DirectionalDiameter, weighted_terms
from vision.uncertainty import Term, combined_u_mm, covariance_mm2

Array = NDArray[np.float64]

LEAST_TURN_DEG = 10.0  # directions closer together than this count as one; our choice
MOST_OVAL = 2.0  # ratio of two widths beyond which one is a typing slip; our choice
LEVEL = 0.95  # of the interval of the ovality
CLEAR = 0.05  # p-value of the fit below which the section is not an ellipse


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Largest and smallest diameter of one place.

    Parameters
    ----------
    largest_mm, smallest_mm : float
        Diameters A and B of the ellipse, mm.
    u_largest_mm, u_smallest_mm : float
        Their standard uncertainties, mm; widened where roundness is not excluded.
    largest_deg : float
        Direction of the largest diameter, 0 to 180 degrees, as views name directions; the
        smallest is 90 degrees from it.
    u_largest_deg : float
        Its standard uncertainty, degrees; 52 (any direction) where roundness is not excluded.
    ovality_low_mm, ovality_high_mm : float
        95 % interval of A - B; low is 0 if a round rope could give these widths.
    budget : tuple of Term
        Budget of A - B, first order.
    directions : int
        Number of directions.
    chi2 : float
        Weighted sum of the squared residuals.
    """

    largest_mm: float
    smallest_mm: float
    u_largest_mm: float
    u_smallest_mm: float
    largest_deg: float
    u_largest_deg: float
    ovality_low_mm: float
    ovality_high_mm: float
    budget: tuple[Term, ...]
    directions: int
    chi2: float

    @property
    def ovality_mm(self) -> float:
        """Largest minus smallest diameter, mm; on a round rope noise alone makes it positive."""
        return self.largest_mm - self.smallest_mm

    @property
    def round_possible(self) -> bool:
        """Whether a perfectly round rope could have given these widths."""
        return self.ovality_low_mm == 0.0

    @property
    def p_value(self) -> float | None:
        """Probability of residuals this large on an ellipse; None for 3 directions."""
        return float(chdtrc(self.directions - 3, self.chi2)) if self.directions > 3 else None

    def width_mm(self, direction_deg: float) -> float:
        """Return the ellipse's caliper width in a direction, mm."""
        turn = math.radians(direction_deg - self.largest_deg)
        return math.hypot(self.largest_mm * math.cos(turn), self.smallest_mm * math.sin(turn))

    @property
    def words(self) -> str:
        """The ellipse in two sentences."""
        size = (
            f"largest {self.largest_mm:.2f} mm (U {2 * self.u_largest_mm:.2f} mm), smallest "
            f"{self.smallest_mm:.2f} mm (U {2 * self.u_smallest_mm:.2f} mm)"
        )
        if self.round_possible:
            what = (
                f"Ellipse: {size}; it may be round: the difference is between 0 and "
                f"{self.ovality_high_mm:.2f} mm (95 %), so no direction can be called the largest."
            )
        else:
            what = (
                f"Ellipse: {size}, the largest at {self.largest_deg:.0f} deg (U "
                f"{min(2 * self.u_largest_deg, 90.0):.0f} deg); the difference is between "
                f"{self.ovality_low_mm:.2f} and {self.ovality_high_mm:.2f} mm (95 %)."
            )
        p = self.p_value
        if p is None:
            return f"{what} Three directions leave no redundancy to check the ellipse."
        fit = "fits" if p >= CLEAR else "does not fit: a lump, a flat place or a wrong direction"
        return f"{what} With {self.directions} directions the ellipse {fit} (p {p:.2f})."


def fit_ellipse(views: Sequence[DirectionalDiameter]) -> Ellipse | None:
    """Return the ellipse of the caliper widths; None if the directions don't determine it.

    Parameters
    ----------
    views : sequence of DirectionalDiameter
        One for each direction. 0 and 180 degrees are one direction; at least three that differ by
        10 degrees or more are needed, and widths that an ellipse can have.

    Examples
    --------
    >>> edge = lambda n: (Term("edges", 0.01, "mm", 1.0, "A", f"edge:{n}"),)
    >>> seen = [(0, 22.0), (60, 22.259267), (120, 22.259267)]
    >>> found = fit_ellipse([DirectionalDiameter(mm, edge(deg), deg) for deg, mm in seen])
    >>> round(found.largest_mm, 3), round(found.smallest_mm, 3), round(found.largest_deg)
    (22.345, 22.0, 90)
    """
    angles = np.radians([view.view_deg for view in views])
    w = np.array([view.diameter_mm for view in views])
    if _apart(angles) < 3 or w.max() > MOST_OVAL * w.min():
        return None
    cov = np.array([[covariance_mm2(a.budget, b.budget) for b in views] for a in views])
    cov += np.eye(len(w)) * 1e-12 * max(float(np.trace(cov)), 1e-12)
    design = np.column_stack([np.ones_like(angles), np.cos(2 * angles), np.sin(2 * angles)])
    fitted, squares = w, w**2
    for _ in range(6):  # linearise about the fitted widths, not the noisy ones
        weight = np.linalg.inv(4 * fitted[:, None] * cov * fitted)
        p_cov = np.linalg.inv(design.T @ weight @ design)
        solver = p_cov @ design.T @ weight
        p = solver @ squares
        if not math.hypot(p[1], p[2]) < p[0]:
            return None
        fitted = np.sqrt(design @ p)
        squares = fitted**2 + 2 * fitted * (w - fitted)
    p0, p1, p2 = (float(value) for value in p)
    q = math.hypot(p1, p2)
    off = squares - design @ p
    a, b = math.sqrt(p0 + q), math.sqrt(p0 - q)
    unit = (p1 / q, p2 / q) if q > 0 else (1.0, 0.0)
    by_p = {
        "largest": np.array([1.0, *unit]) / (2 * a),
        "smallest": np.array([1.0, -unit[0], -unit[1]]) / (2 * b),
    }
    budgets = {
        name: weighted_terms(
            (float(share), view.budget)
            for share, view in zip((gradient @ solver) * 2 * fitted, views, strict=True)
        )
        for name, gradient in (
            *by_p.items(),
            ("oval", by_p["largest"] - by_p["smallest"]),
            ("mean", (by_p["largest"] + by_p["smallest"]) / 2),
        )
    }
    u = {name: combined_u_mm(budget) for name, budget in budgets.items()}
    low, high = (_oval(p0, edge) for edge in _length_interval(np.array([p1, p2]), p_cov[1:, 1:]))
    across = np.array([-unit[1], unit[0]])
    u_deg = math.degrees(0.5 * math.sqrt(float(across @ p_cov[1:, 1:] @ across)) / max(q, 1e-12))
    if low == 0.0:  # first order then does not describe A - B within the interval
        half = max(a - b - low, high - (a - b)) / 4
        u["largest"] = max(u["largest"], math.hypot(u["mean"], half))
        u["smallest"] = max(u["smallest"], math.hypot(u["mean"], half))
        u_deg = 180.0 / math.sqrt(12.0)
    return Ellipse(
        a,
        b,
        u["largest"],
        u["smallest"],
        math.degrees(0.5 * math.atan2(p2, p1)) % 180.0,
        min(u_deg, 180.0 / math.sqrt(12.0)),
        low,
        high,
        budgets["oval"],
        len(views),
        float(off @ weight @ off),
    )


def _apart(angles: Array) -> int:
    """Return the number of different directions; 0 and 180 degrees are the same."""
    apart: list[float] = []
    for angle in np.degrees(angles) % 180.0:
        if all(min(abs(angle - k), 180.0 - abs(angle - k)) >= LEAST_TURN_DEG for k in apart):
            apart.append(float(angle))
    return len(apart)


def _oval(p0: float, q: float) -> float:
    q = min(q, p0)
    return math.sqrt(p0 + q) - math.sqrt(p0 - q)


def _length_interval(estimate: Array, cov: Array) -> tuple[float, float]:
    """Return the interval of the length of a vector observed with normal noise.

    A length is in the interval if the nearest vector of that length is no farther (Mahalanobis)
    from the one observed than the length of a noisy vector strays with `LEVEL`. That bound uses
    the larger axis of the noise for both, which makes the interval slightly too long, never too
    short.
    """
    sigma = math.sqrt(float(np.linalg.eigvalsh(cov).max()))
    turn = np.linspace(0, 2 * math.pi, 721)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    inverse = np.linalg.inv(cov)
    # squared distance of length r along a direction: c0 - 2 r c1 + r^2 c2, least over directions
    c0, c1 = float(estimate @ inverse @ estimate), estimate @ inverse @ circle
    c2 = np.einsum("ij,ij->j", circle, inverse @ circle)

    def outside(r: float) -> float:
        return float((c0 - 2 * r * c1 + r * r * c2).min()) - _bound(r / sigma)

    length = float(np.hypot(*estimate))
    low = 0.0 if outside(0.0) <= 0 else float(brentq(outside, 0.0, length))
    return low, float(brentq(outside, length, length + 8 * sigma))


def _bound(length: float) -> float:
    """Return the square of how far the length of a unit-noise vector strays with `LEVEL`."""
    lengths, bounds = _bounds()
    return float(np.interp(length, lengths, bounds))


@cache
def _bounds() -> tuple[Array, Array]:
    """Return lengths and the bounds of `_bound` there; beyond them one dimension is left."""
    from scipy.stats import chi2, ncx2  # takes 0.4 s, and few inspections need it

    lengths = np.append(np.linspace(0.0, 4.0, 33), [5.0, 6.0, 8.0, 12.0])

    def missed(reach: float, length: float) -> float:
        inner = max(length - reach, 0.0) ** 2
        between = ncx2.cdf((length + reach) ** 2, 2, length**2) - ncx2.cdf(inner, 2, length**2)
        return float(between) - LEVEL

    reaches = [float(brentq(missed, 1.0, 4.0, args=(length,))) ** 2 for length in lengths]
    return lengths, np.maximum(reaches, chi2.ppf(LEVEL, 1))
