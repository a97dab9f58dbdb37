"""Verdicts: a figure with its uncertainty against a limit, by a stated decision rule.

A verdict of "within" says that one figure at one place meets one limit. It never clears a rope:
the competent person, local rules and the maker's instructions decide.

Each verdict has its place: what was judged, where, and the source of the figure.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from inspection.limits.rules import Limit, NotApplicable
from inspection.measurement.doubt import DoubtedEntry, doubt_words
from inspection.measurement.measured_diameter import APART_M, measured_diameter
from inspection.measurement.section import Section, Source
from inspection.model.log import stations_in_words
from inspection.model.quantity import Quantity

Outcome = Literal["within", "undecided", "outside"]
TOUCH_MM = 1e-9  # figures nearer than this to a limit are at it: float noise in sums and means


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """How uncertainty counts when a figure is compared with a limit.

    Parameters
    ----------
    name : str
        In words.
    guard_factor : float
        Width of the guard band in standard uncertainties; 0 is simple acceptance.
    source : str
        Document and edition.
    """

    name: str
    guard_factor: float
    source: str

    def __post_init__(self) -> None:
        """Refuse a factor that is not a number of 0 or more."""
        if not (math.isfinite(self.guard_factor) and self.guard_factor >= 0):
            raise ValueError(f"`guard_factor` must be 0 or more; got {self.guard_factor}.")


# 95 % probability of conformity on one side, where u is small against the tolerance.
GUARD_2017 = DecisionRule(  # 1.65 from memory, confidence 0.85
    "guard band of 1.65 u", 1.65, "ISO 14253-1:2017"
)
GUARD_2013 = DecisionRule("guard band of U = 2 u", 2.0, "ISO 14253-1:1998 and 2013")
SIMPLE = DecisionRule("simple acceptance", 0.0, "JCGM 106:2012, 8.2: up to 50 % wrong at the limit")


@dataclass(frozen=True, slots=True)
class Verdict:
    """One figure against one limit.

    Parameters
    ----------
    limit : Limit
        The limit, with its source.
    value_mm, u_mm : float
        The figure and its standard uncertainty, mm; `u_mm` includes the limit's own.
    outcome : {"within", "undecided", "outside"}
        By the decision rule.
    margin_mm : float
        Distance to the nearest limit, mm; negative beyond it.
    p_conform : float
        Probability that the true value meets the limit (JCGM 106:2012, 7), for a normal
        distribution and no other knowledge.
    decision : DecisionRule
        The rule that was used.
    settle_u_mm : float or None
        Standard uncertainty that would settle an undecided case if the figure stayed, mm; 0
        where the figure is at the limit, so that none can. None where it is decided.
    """

    limit: Limit
    value_mm: float
    u_mm: float
    outcome: Outcome
    margin_mm: float
    p_conform: float
    decision: DecisionRule
    settle_u_mm: float | None

    @property
    def words(self) -> str:
        """The verdict in one or two sentences."""
        rule = self.limit.rule
        bounds = [
            f"{word} {bound:.2f} mm"
            for word, bound in (("at least", self.limit.low_mm), ("at most", self.limit.high_mm))
            if bound is not None
        ]
        sentence = (
            f"{rule.rule_set}, {rule.what}: {self.outcome}; {rule.quantity} "
            f"{self.value_mm:.2f} mm (u {self.u_mm:.2f} mm), limit {' and '.join(bounds)}, "
            f"margin {self.margin_mm:+z.2f} mm."
        )
        if self.settle_u_mm is None:
            return sentence
        if self.settle_u_mm < 0.0005:
            return sentence + " The figure is at the limit: no measurement can settle it."
        if self.limit.u_base_mm > self.settle_u_mm:
            return (
                f"{sentence} The {rule.start} diameter is too uncertain for any measurement to "
                "settle it."
            )
        return (
            f"{sentence} A measurement with U (k = 2) of {2.0 * self.settle_u_mm:.3f} mm or less "
            "would settle it."
        )


def judge(
    limit: Limit,
    value_mm: float,
    u_mm: float,
    *,
    decision: DecisionRule = GUARD_2017,
    base_covariance_mm2: float = 0.0,
) -> Verdict:
    """Return the verdict on one figure.

    Parameters
    ----------
    limit : Limit
        From `inspection.limits.standards.limits_for`.
    value_mm : float
        The figure that `limit.rule.quantity` names, mm.
    u_mm : float
        Its standard uncertainty, mm.
    decision : DecisionRule, optional
        Guard band after ISO 14253-1:2017 by default.
    base_covariance_mm2 : float, optional
        Covariance of the figure with the reference or baseline that the limit starts from
        (same gauge, same card set), mm²; it reduces the uncertainty of the difference.

    Raises
    ------
    ValueError
        If the figure or its uncertainty is not a finite number, or u is negative.

    Notes
    -----
    With guard band g = factor x u: within needs at least g inside every limit, outside means
    g or more beyond one, everything else is undecided. With g = 0, a figure exactly at the limit is
    judged by the rule's own wording ("more than 5 %" or "7.5 % or more"). Below a lower limit a
    thinner rope never gets a more lenient verdict. Where the limits are closer together than 2 g,
    "within" can't be reached.

    References
    ----------
    ISO 14253-1:2017; JCGM 106:2012, 7 and 8.
    """
    if not math.isfinite(value_mm):
        raise ValueError(f"the figure must be a number; got {value_mm}.")
    if not (math.isfinite(u_mm) and u_mm >= 0):
        raise ValueError(f"the standard uncertainty must be 0 or more; got {u_mm}.")
    u = math.sqrt(max(u_mm**2 + limit.u_base_mm**2 - 2.0 * base_covariance_mm2, 0.0))
    margins = []
    if limit.low_mm is not None:
        margins.append(value_mm - limit.low_mm)
    if limit.high_mm is not None:
        margins.append(limit.high_mm - value_mm)
    if not margins:
        raise ValueError(f"the limit '{limit.rule.what}' has no figure: give it one.")
    margin = min(margins)
    guard = decision.guard_factor * u
    outside_at_limit = limit.rule.at_limit == "outside"
    outcome: Outcome = "undecided"
    if margin - guard > TOUCH_MM or (margin - guard >= -TOUCH_MM and not outside_at_limit):
        outcome = "within"
    elif margin + guard < -TOUCH_MM or (margin + guard <= TOUCH_MM and outside_at_limit):
        outcome = "outside"
    return Verdict(
        limit=limit,
        value_mm=value_mm,
        u_mm=u,
        outcome=outcome,
        margin_mm=margin,
        p_conform=_p_conform(limit, value_mm, u, margin, outside_at_limit),
        decision=decision,
        settle_u_mm=_settle_u_mm(limit, value_mm, decision) if outcome == "undecided" else None,
    )


def _p_conform(
    limit: Limit, value_mm: float, u_mm: float, margin_mm: float, outside_at_limit: bool
) -> float:
    if u_mm == 0.0:
        return float(margin_mm > TOUCH_MM or (margin_mm >= -TOUCH_MM and not outside_at_limit))
    true = NormalDist(value_mm, u_mm)
    below_low = 0.0 if limit.low_mm is None else true.cdf(limit.low_mm)
    below_high = 1.0 if limit.high_mm is None else true.cdf(limit.high_mm)
    return below_high - below_low


def _settle_u_mm(limit: Limit, value_mm: float, decision: DecisionRule) -> float:
    """Return the u at which the same figure would be decided, against both limits."""
    distances = [
        abs(value_mm - bound) for bound in (limit.low_mm, limit.high_mm) if bound is not None
    ]
    return min(distances) / decision.guard_factor if decision.guard_factor else 0.0


STATION_FIGURES: tuple[Quantity, ...] = ("mean diameter", "ovality")


@dataclass(frozen=True, slots=True)
class PlacedVerdict:
    """A verdict with its place and source.

    Parameters
    ----------
    station : int or None
        Station number; None for a figure of the whole rope.
    source : {"photographs", "gauge"}
        What the figure came from.
    verdict : Verdict
        The figure against its limit.
    doubts : tuple of DoubtedEntry
        The entries to be checked that put it in doubt.
    out_of_scope : str
        Why the limit does not apply there although the figure is beyond it; empty if it does.
    """

    station: int | None
    source: Source
    verdict: Verdict
    doubts: tuple[DoubtedEntry, ...] = ()
    out_of_scope: str = ""

    @property
    def doubted(self) -> bool:
        """Whether an entry to be checked puts it in doubt."""
        return bool(self.doubts)

    @property
    def words(self) -> str:
        """The verdict with its place, in a few sentences."""
        doubt = doubt_words(self.doubts, self.source)
        where = "Whole rope" if self.station is None else f"Station {self.station}"
        return f"{where}, by {'the ' if self.source == 'gauge' else ''}{self.source}: " + (
            self.verdict.words
            + (f" The table does not apply here: {self.out_of_scope}." if self.out_of_scope else "")
            + (f" {doubt}" if doubt else "")
        )


def station_verdicts(
    sections: Sequence[Section],
    limits: Sequence[Limit | NotApplicable],
    source: Source,
    *,
    decision: DecisionRule = GUARD_2017,
    crossovers: Collection[int] = (),
) -> list[PlacedVerdict]:
    """Return the verdicts on mean diameter and ovality of every station.

    Where a table does not apply (see `scope_of`) a figure beyond it is reported, and none is called
    within: what the table allows need not be allowed there.
    """
    verdicts = []
    for section in sections:
        figures = section.figures
        for limit in limits:
            if isinstance(limit, Limit) and limit.rule.quantity in figures:
                value, u = figures[limit.rule.quantity]
                verdict = judge(limit, value, u, decision=decision)
                scope = scope_of(limit, section.station, crossovers)
                if not scope or verdict.outcome != "within":
                    verdicts.append(
                        PlacedVerdict(section.station, source, verdict, out_of_scope=scope)
                    )
    return verdicts


def scope_of(limit: Limit, station: int | None, crossovers: Collection[int]) -> str:
    """Return why a limit does not apply at a station; empty if it does."""
    crosses = limit.rule.plain_winding and station in crossovers
    return " and ".join(
        filter(None, (limit.out_of_scope, "the rope crosses over here" if crosses else ""))
    )


def scope_notes(limits: Iterable[Limit | NotApplicable], crossovers: Collection[int]) -> list[str]:
    """Return a sentence for each limit that does not apply to the whole rope or a part of it."""
    notes = []
    for limit in limits:
        if not isinstance(limit, Limit) or not limit.rule.plain_winding:
            continue
        name = f"{limit.rule.rule_set}, {limit.rule.what}"
        if limit.out_of_scope:
            notes.append(
                f"{name}: the table does not apply, because {limit.out_of_scope}; no station is "
                "reported as within it."
            )
        elif crossovers:
            where = stations_in_words(sorted(crossovers))
            notes.append(
                f"{name}: the table does not apply where the rope crosses over ({where}), "
                "and wear is worse there; no figure there is reported as within it."
            )
    return notes


def whole_rope_verdicts(
    sections: Sequence[Section],
    limits: Sequence[Limit | NotApplicable],
    source: Source,
    *,
    nominal_mm: float,
    decision: DecisionRule = GUARD_2017,
) -> tuple[list[PlacedVerdict], list[str]]:
    """Return the verdicts on the figures of a whole new rope, and notes on what is missing."""
    wanted = [
        limit
        for limit in limits
        if isinstance(limit, Limit) and limit.rule.quantity not in STATION_FIGURES
    ]
    if not wanted:
        return [], []
    try:
        whole = measured_diameter(sections, nominal_mm=nominal_mm)
    except ValueError as reason:
        return [], [f"By {source}: {reason}"]
    figures = whole.figures
    verdicts = [
        PlacedVerdict(None, source, judge(limit, *figures[limit.rule.quantity], decision=decision))
        for limit in wanted
        if limit.rule.quantity in figures
    ]
    notes = []
    if whole.left_out:
        near = stations_in_words([one.station for one in whole.left_out])
        notes.append(
            f"By {source}: {near} less than {APART_M:g} m from another one; not counted towards "
            "the measured diameter of the whole rope."
        )
    return verdicts, notes
