"""Standing apart: whose readings differ from everyone else's over many inspections.

Within one inspection a gauge or person can seldom be distinguished from chance. Over many, a small
constant difference shows, and so do entries that disagree with their photographs more often than
the others'. Many are tested together, so the share of false names among those named is controlled,
not the probability of each.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, get_args

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import stdtr

from inspection.comparison.bland_altman import FEWEST, flags
from vision.uncertainty import Influence, Term

GaugeOrPerson = Literal["gauge", "person"]
# Influences of one photograph or one reading; all others are shared with other comparisons.
LEVEL = 0.05  # accepted share of false names among those flagged
OWN = frozenset(
    {
        Influence.CORNERS,
        Influence.FLATNESS,
        Influence.GAP,
        Influence.HEIGHT,
        Influence.EDGE,
        Influence.CROWNS,
        Influence.FACE,
        Influence.READING,
    }
)
SharedParts = tuple[tuple[str, float], ...]  # signed standard uncertainties by source, mm


class KnownDifference(Protocol):
    """A photograph minus its reading, with its uncertainty."""

    @property
    def gauge(self) -> str:
        """The gauge."""

    @property
    def person(self) -> str:
        """Who read."""

    @property
    def difference_mm(self) -> float:
        """Photograph minus gauge, mm."""

    @property
    def u_own_mm(self) -> float:
        """Standard uncertainty that no other comparison shares, mm."""

    @property
    def shared(self) -> SharedParts:
        """The rest, by source."""

    @property
    def word(self) -> str:
        """How the two agree."""


def own_and_shared(budget: Iterable[Term]) -> tuple[float, SharedParts]:
    """Return the part of a difference's uncertainty that is its own, and the rest by source.

    Notes
    -----
    Where one photograph is compared twice, its own errors are the same in both; that is neglected,
    because it concerns two comparisons among many.

    Examples
    --------
    >>> edge = Term("left edge", 0.03, "mm", 1.0, "A", "edge:1:left")
    >>> print_scale = Term("print", 0.002, "1", 22.0, "B", "print:A-12:x")
    >>> own_and_shared([edge, print_scale])
    (0.03, (('print:A-12:x', 0.044),))
    """
    by_source: dict[str, float] = {}
    own: set[str] = set()
    for term in budget:
        by_source[term.source] = by_source.get(term.source, 0.0) + term.sensitivity * term.u
        if term.influence in OWN:
            own.add(term.source)
    u_own = math.sqrt(math.fsum(by_source[source] ** 2 for source in own))
    return u_own, tuple((source, u) for source, u in by_source.items() if source not in own)


@dataclass(frozen=True, slots=True)
class StandsApart:
    """One gauge or person against all others.

    Parameters
    ----------
    kind : {"gauge", "person"}
        What it is.
    name : str
        Which one.
    count : int
        Comparisons with photographs.
    difference_mm : float
        How much more it reads than the others that don't stand apart, each relative to the
        photograph of its place, mm.
    u_mm : float
        Standard uncertainty of that, mm.
    p_value : float
        Probability of so large a difference if there is none.
    adjusted : float
        The same, adjusted for the number of tests (Benjamini-Hochberg).
    flagged : bool
        Whether it stands apart at the level.
    disagree : int
        How many of its comparisons disagree.
    p_disagree : float
        Probability of that many if it disagrees as often as all do, adjusted likewise.
    flagged_disagree : bool
        Whether it disagrees more often at the level.
    """

    kind: GaugeOrPerson
    name: str
    count: int
    difference_mm: float
    u_mm: float
    p_value: float
    adjusted: float
    flagged: bool
    disagree: int = 0
    p_disagree: float = 1.0
    flagged_disagree: bool = False

    @property
    def words(self) -> str:
        """The difference in one sentence; it speaks of readings, not of people."""
        return (
            f"{self.count} readings by {self.kind} {self.name} differ by "
            f"{self.difference_mm:+z.3f} mm from the others (U, k = 2, {2 * self.u_mm:.3f} mm), "
            "each relative to its photograph."
        )


def stand_apart(comparisons: Sequence[KnownDifference]) -> list[StandsApart]:
    """Return every gauge and person against all others, the oddest first.

    Parameters
    ----------
    comparisons : sequence
        Of all inspections that are evaluated together.

    Notes
    -----
    The difference of two means of gauge minus photograph; what both share (a card set) cancels.
    Its uncertainty is that of the budgets or of the observed scatter, whichever is larger, with
    Student's t for the smaller group. Groups with fewer than 3 comparisons, or without others,
    are left out. The p-values of a gauge and of the one person who uses it are correlated, which
    the procedure allows (Benjamini, Yekutieli, Ann. Stat. 2001; 29: 1165, positive dependence; from
    memory, confidence 0.85).

    Whoever stands apart is left out of "the others" of everybody else, the least probable first,
    as long as most names and comparisons remain: one biased reader would otherwise make all the
    others differ from a mean that only that reader has shifted.

    How often a group disagrees is compared with all by the hypergeometric distribution (Fisher's
    exact test, one-sided: more often).
    """
    if not comparisons:
        return []
    off_mm = -np.array([item.difference_mm for item in comparisons])  # gauge minus photograph
    own_mm2 = np.array([item.u_own_mm for item in comparisons]) ** 2
    off = _Off(off_mm, own_mm2, _by_source(comparisons))
    disagree = np.array([item.word == "disagrees" for item in comparisons])
    groups = {
        (kind, name): names == name
        for kind in get_args(GaugeOrPerson)
        for names in [np.array([str(getattr(item, kind)) for item in comparisons])]
        for name in sorted({*names.tolist()})
        if name and min(np.sum(names == name), np.sum(names != name)) >= FEWEST
    }
    found = _against_others(groups, off)
    total, odd = len(comparisons), int(disagree.sum())
    often = [int(disagree[mine].sum()) for mine in groups.values()]
    from scipy.stats import hypergeom  # takes 0.4 s

    rates = flags(
        [
            float(hypergeom.sf(here - 1, total, odd, int(mine.sum())))
            for here, mine in zip(often, groups.values(), strict=True)
        ],
        level=LEVEL,
    )
    adjusted = flags([p for *_, p in found], level=LEVEL)
    apart = [
        StandsApart(
            kind,
            name,
            int(mine.sum()),
            *found[at],
            adjusted=adjusted.adjusted[at],
            flagged=adjusted.flagged[at],
            disagree=often[at],
            p_disagree=rates.adjusted[at],
            flagged_disagree=rates.flagged[at],
        )
        for at, ((kind, name), mine) in enumerate(groups.items())
    ]
    return sorted(
        apart,
        key=lambda item: (min(item.adjusted, item.p_disagree), item.p_value, item.kind, item.name),
    )


@dataclass(frozen=True, slots=True)
class _Off:
    """Gauge minus photograph, its own variance, and its share of each shared influence, mm."""

    mm: NDArray[np.float64]
    own_mm2: NDArray[np.float64]
    shared: sparse.csr_array

    def difference(
        self, mine: NDArray[np.bool_], others: NDArray[np.bool_]
    ) -> tuple[float, float, float]:
        """Return the difference of two groups' means, its u, and the chance of it, mm."""
        count, rest = int(mine.sum()), int(others.sum())
        if min(count, rest) < FEWEST:
            return 0.0, 0.0, 1.0
        weight = np.where(mine, 1.0 / count, 0.0) - np.where(others, 1.0 / rest, 0.0)
        of_shared = np.asarray(self.shared.T @ weight).ravel()
        u_mm2 = float(of_shared @ of_shared + weight**2 @ self.own_mm2)
        scatter = sum(
            float(np.var(self.mm[group], ddof=1)) / group.sum() for group in (mine, others)
        )
        u = math.sqrt(max(u_mm2, scatter))
        difference = float(weight @ self.mm)
        dof = min(count, rest) - 1.0
        return difference, u, 2.0 * float(stdtr(dof, -abs(difference) / u)) if u > 0 else 1.0


def _against_others(
    groups: Mapping[tuple[GaugeOrPerson, str], NDArray[np.bool_]], off: _Off
) -> list[tuple[float, float, float]]:
    """Return each name's difference from the others that don't stand apart, its u and chance."""
    apart: set[tuple[GaugeOrPerson, str]] = set()
    while True:
        out = {
            kind: np.any([groups[one] for one in apart if one[0] == kind], axis=0)
            if any(one[0] == kind for one in apart)
            else np.zeros(len(off.mm), bool)
            for kind in get_args(GaugeOrPerson)
        }
        found = [off.difference(mine, ~mine & ~out[kind]) for (kind, _), mine in groups.items()]
        flagged = flags([p for *_, p in found], level=LEVEL).flagged
        named = [
            (p, -abs(difference), one)
            for one, (difference, _, p), flag in zip(groups, found, flagged, strict=True)
            if flag and one not in apart and _majority_stays({*apart, one}, one[0], groups)
        ]
        if not named:
            return found
        apart.add(min(named)[2])


def _majority_stays(
    apart: set[tuple[GaugeOrPerson, str]],
    kind: GaugeOrPerson,
    groups: Mapping[tuple[GaugeOrPerson, str], NDArray[np.bool_]],
) -> bool:
    """Return whether most names of a kind, with most comparisons, remain as the others.

    Otherwise nothing says which of two groups reads differently, and both stand apart.
    """
    mine = [one for one in groups if one[0] == kind]
    left = [one for one in mine if one not in apart]
    counted = sum(int(groups[one].sum()) for one in left)
    return 2 * len(left) > len(mine) and 2 * counted > sum(int(groups[one].sum()) for one in mine)


def _by_source(comparisons: Sequence[KnownDifference]) -> sparse.csr_array:
    """Return each comparison's share of each shared influence, one row per comparison, mm."""
    columns: dict[str, int] = {}
    rows, at, values = [], [], []
    for row, item in enumerate(comparisons):
        for source, u in item.shared:
            rows.append(row)
            at.append(columns.setdefault(source, len(columns)))
            values.append(u)
    shape = (len(comparisons), max(len(columns), 1))
    return sparse.csr_array((values, (rows, at)), shape=shape, dtype=np.float64)
