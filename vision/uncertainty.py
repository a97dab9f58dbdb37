"""Standard uncertainties and how they combine, after the GUM (JCGM 100:2008)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal


class Influence(StrEnum):
    """The kind of unknown that makes a result uncertain; every term's source begins with it."""

    PRINT = "print"
    LENS = "lens"
    CORNERS = "corners"
    FLATNESS = "flat"
    GAP = "gap"
    HEIGHT = "height"
    EDGE = "edge"
    CROWNS = "crowns"
    FACE = "face"  # of a rule beside the rope
    RULE = "rule"
    GAUGE = "gauge"
    JAW = "jaw"
    READING = "reading"

    def source(self, *identity: str) -> str:
        """Return the identity of one unknown of this kind.

        Examples
        --------
        >>> Influence.EDGE.source("9f2c", "left")
        'edge:9f2c:left'
        """
        return ":".join((self, *identity))


@dataclass(frozen=True, slots=True)
class Term:
    """One contribution to an uncertainty budget (GUM, JCGM 100:2008, 5.1.2).

    Parameters
    ----------
    quantity : str
        The uncertain quantity, in words.
    u : float
        Its standard uncertainty, in `unit`.
    unit : str
        Unit of `u`.
    sensitivity : float
        Change of the result in mm per `unit`, signed.
    kind : {"A", "B"}
        Type of evaluation of `u`: from observed scatter (A) or from other knowledge (B).
    source : str
        Identity of the unknown. Two terms with the same source are the *same* unknown and hence
        fully correlated: two photographs of one card set share ``print:<set>:x``. See `Influence`.
    """

    quantity: str
    u: float
    unit: str
    sensitivity: float
    kind: Literal["A", "B"]
    source: str

    @property
    def influence(self) -> Influence | None:
        """The kind of unknown; None where the source begins with none of them."""
        kind = self.source.partition(":")[0]
        return Influence(kind) if kind in Influence.__members__.values() else None

    @property
    def u_mm(self) -> float:
        """Contribution of this term to the result's standard uncertainty, mm (0 or more)."""
        return abs(self.sensitivity) * self.u


def combined_u_mm(terms: Iterable[Term]) -> float:
    """Return the combined standard uncertainty of one result, mm.

    Terms of one source are one unknown: their signed contributions add before squaring.

    Parameters
    ----------
    terms : iterable of Term
        The budget.

    Examples
    --------
    >>> a = Term("left edge", 0.03, "mm", 1.0, "A", "edge:1:left")
    >>> b = Term("right edge", 0.04, "mm", 1.0, "A", "edge:1:right")
    >>> round(combined_u_mm([a, b]), 6)
    0.05
    """
    signed = signed_by_source(terms)
    return math.sqrt(sum(value * value for value in signed.values()))


def covariance_mm2(first: Iterable[Term], second: Iterable[Term]) -> float:
    """Return the covariance of two results due to shared sources, mm².

    GUM (JCGM 100:2008) F.1.2.3: inputs that depend on the same unknowns q_l have covariance
    ``sum over l of (dx/dq_l)(dy/dq_l) u(q_l)^2``.

    Parameters
    ----------
    first, second : iterable of Term
        The budgets of both results.

    Returns
    -------
    float
        Covariance, mm²; 0 where nothing is shared.
    """
    one, two = signed_by_source(first), signed_by_source(second)
    return sum(value * two[source] for source, value in one.items() if source in two)


def signed_by_source(terms: Iterable[Term]) -> dict[str, float]:
    """Return the signed change of a result per standard uncertainty of each unknown, mm.

    Parameters
    ----------
    terms : iterable of Term
        The result's budget.
    """
    signed: dict[str, float] = {}
    for term in terms:
        signed[term.source] = signed.get(term.source, 0.0) + term.sensitivity * term.u
    return signed


def shares(terms: Iterable[Term]) -> list[tuple[Term, float]]:
    """Return the terms with their share of the variance, largest first; shares sum to 1.

    Terms of one source are listed separately here. Where such terms partly cancel, their shares
    are scaled with the rest so that the sum is still 1.

    Parameters
    ----------
    terms : iterable of Term
        The budget.
    """
    listed = list(terms)
    total = sum(term.u_mm**2 for term in listed)
    if total == 0.0:
        return [(term, 0.0) for term in listed]
    ranked = sorted(listed, key=lambda term: term.u_mm, reverse=True)
    return [(term, term.u_mm**2 / total) for term in ranked]
