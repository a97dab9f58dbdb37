"""Explanations: what can have made a figure odd, each with its odds against the others.

For every known cause (a loss of section, a slip of the pen, a gauge that was off, an exchange)
there is a likelihood of the figures and a prior for how often it occurs. The ratio of two such
products gives the odds that are stated (Bayes factor times prior odds; Kass and Raftery, Bayes
factors, J. Am. Stat. Assoc. 1995; 90: 773).

People can be hurt: a figure that is low, and that no photograph contradicts, may be a true loss.
That is stated first whatever the odds, with its own remedy, and a slip of the pen is never named
where the other direction of the station is low too.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from inspection.model.loss import LEAST_PCT, MAY_BE_LOSS, MOST_PCT
from inspection.screening.figures.causes import exchanged, of_jaws, of_many, of_no_rope, of_station
from inspection.screening.figures.evidence import Explanation, log_posterior, row_of, rows_of
from inspection.screening.figures.expected_readings import LET_GO_PCT, Array, Figures, Fit, at, fit
from inspection.screening.figures.narrow_jaws import jaws_chance
from inspection.screening.figures.odd_figures import (
    MOST_LET_GO,
    NOT_READ_PCT,
    Exchange,
    Shift,
    entry_at,
    exchange_chances,
    exchanges_of,
    oddness,
    shift_chances,
    today,
)
from inspection.screening.figures.shifts import shifts
from inspection.screening.multiple_testing import ScreeningTest

# The odds stated are this power of those calculated, which assume too narrow a range of sizes for
# each cause. The power makes them true on simulated logs (tests/benchmarks/screening_odds.py, seeds
# 6811 and 6812; logistic regression: 0.74 for 363 calculated at up to 400, 0.70 for the 300 up to
# 100).
TEMPER = 0.7
NAMED_BEFORE_LOSS = 8.0  # odds over a loss from which another explanation is named before it
WORTH_NAMING = 0.05  # explanations at least this likely, relative to the best, are named
IN_THE_RUNNING = 10  # explanations that are weighed again with their own scatter
FEWEST_EVERYWHERE = 3  # entries; fewer are no rope's whole length
WHICH_ROPE = (
    "Find out first whether this is still the same rope: its certificate, the number on its reel "
    "or tag, a recorded change of rope."
)
FEW = 8  # entries; more are not explained one by one


@dataclass(frozen=True, slots=True)
class Tested:
    """A shift or an exchange that was tested.

    Parameters
    ----------
    cause : Shift or Exchange
        What was tested.
    p : float
        Its p-value, comparable with the level of the whole log.
    times : float
        Factor on a plain p-value when it is tested again (Bonferroni).
    """

    cause: Shift | Exchange
    p: float
    times: float


def explanations(fitted: Fit, entries: Collection[int]) -> list[Explanation]:
    """Return the explanations of odd entries, the most likely first.

    Parameters
    ----------
    fitted : Fit
        The model, its scatter learned without the odd figures.
    entries : collection of int
        The odd entries.

    Notes
    -----
    All are weighed with the scatter of `fitted` first. The best are then weighed again, each with
    the scatter that remains if it is true: otherwise a shift of only half the log would pass for
    scatter under a shift of the whole log. Their odds are tempered at the end.
    """
    figures = fitted.figures
    found = [*of_many(fitted), *of_jaws(fitted), *of_no_rope(fitted)]
    stations = {int(figures.station[k]) for k in today(figures) if entry_at(figures, k) in entries}
    if len(entries) <= FEW:
        for station in sorted(stations):
            found += of_station(fitted, station, entries)
    found += [
        exchanged(fitted, item)
        for item in exchanges_of(figures)
        if set(entries) & set(item.entries)
    ]
    found.sort(key=lambda item: -item.log_odds)
    plain = log_posterior(figures, fitted.learned)
    loss = [item for item in found if item.loss][:2]
    weighed = [
        _weighed_again(item, fitted, plain)
        for item in {id(item): item for item in [*found[:IN_THE_RUNNING], *loss]}.values()
    ]
    tempered = [replace(item, log_odds=TEMPER * item.log_odds) for item in weighed]
    return sorted(tempered, key=lambda item: -item.log_odds)


def _weighed_again(item: Explanation, fitted: Fit, plain: float) -> Explanation:
    predicted = item.figures_if_true(fitted.figures)
    gained = log_posterior(predicted, fitted.learned) - plain + item.log_cut
    if item.size_mm is None and item.otherwise is None and len(item.let_go):
        # freed shifts cost nothing here: correct to the prior of a place that was not measured
        gained += len(item.let_go) * math.log(LET_GO_PCT / NOT_READ_PCT)
    return replace(item, log_odds=item.log_prior + gained)


def explain(
    fitted: Fit, odd: Sequence[Tested], *, level: float, set_aside: Collection[int] = ()
) -> list[ScreeningTest]:
    """Return what is odd about the figures, one finding per cause, each with its explanations.

    Parameters
    ----------
    fitted : Fit
        The model of all figures.
    odd : sequence of Tested
        Every shift and exchange that was tested.
    level : float
        Level of the whole log.
    set_aside : collection of int, optional
        Entries already known to say nothing about the rope.

    Notes
    -----
    The oddest is explained first. Its explanation is then taken as given and the rest is tested
    again, so that each cause is reported once. Shifts that were not odd are tested again, too: an
    outlier inflates the scatter, and what it hid can be a loss of section.
    """
    findings: list[ScreeningTest] = []
    figures, start = fitted.figures, fitted.learned
    left = _the_oddest_first(figures, (item for item in odd if item.p <= level))
    retested = [item for item in odd if item.p <= level or _hides(item.cause)]
    if set_aside:
        figures = figures.without(rows_of(figures, set_aside))
        left = _still_odd(fit(figures, start=start), left, level)
    for _ in range(MOST_LET_GO):
        if not left:
            break
        top = left[0].cause
        fitted = _scatter_of_the_rest(figures, top, start)
        candidates = explanations(fitted, top.entries)
        finding, accepted = _finding(fitted, left[0], candidates)
        findings.append(finding)
        if accepted.change_mm is not None:
            figures = replace(figures, off_mm=figures.off_mm + accepted.change_mm)
        figures = figures.without(accepted.let_go)
        retested = [item for item in retested if not _same(item.cause, top)]
        left = _still_odd(fit(figures, start=start), retested, level)
    return findings


def _same(one: Shift | Exchange, other: Shift | Exchange) -> bool:
    if isinstance(one, Exchange) and isinstance(other, Exchange):
        return one.code == other.code  # when tested again, another of its kind may be the best
    return one is other


def _hides(cause: Shift | Exchange) -> bool:
    """Return whether an overestimated scatter can hide this."""
    return isinstance(cause, Shift) and cause.check != "narrow-jaws"


def _the_oddest_first(figures: Figures, found: Iterable[Tested]) -> list[Tested]:
    def rank(item: Tested) -> tuple[bool, tuple[float, int, float]]:
        # too much scatter, or a better fit in other places, can be due to one outlier: test that
        # first
        last = isinstance(item.cause, Exchange) or item.cause.check == "narrow-jaws"
        return last, oddness(figures, item.p, item.cause.entries)

    return sorted(found, key=rank)


def _scatter_of_the_rest(figures: Figures, top: Shift | Exchange, start: Array) -> Fit:
    """Return the model of all figures, its scatter learned without the odd ones."""
    rows = np.zeros((0, len(figures.off_mm)))
    if isinstance(top, Shift):
        rows = top.direction[None, :]
    if len(top.entries) <= FEW:
        rows = np.vstack([rows, rows_of(figures, top.entries)])
    return at(figures, fit(figures.without(rows), start=start).learned)


def _still_odd(fitted: Fit, left: Sequence[Tested], level: float) -> list[Tested]:
    """Return what is still odd once an explanation is accepted; each keeps its share."""
    moved = [item for item in left if isinstance(item.cause, Shift)]
    again = []
    if moved:
        chances = shift_chances(
            fitted, [item.cause for item in moved if isinstance(item.cause, Shift)]
        )
        for item, p in zip(moved, chances, strict=True):
            if isinstance(item.cause, Shift) and item.cause.check == "narrow-jaws":
                p = jaws_chance(fitted, item.cause.direction)
            again.append(Tested(item.cause, item.times * float(p), item.times))
    exchanged = {item.cause.code: item.times for item in left if isinstance(item.cause, Exchange)}
    if exchanged:
        found = exchange_chances(fitted, list(exchanges_of(fitted.figures)))
        again += [
            Tested(best, exchanged[code] * p, exchanged[code])
            for code, (p, best) in found.items()
            if code in exchanged
        ]
    return _the_oddest_first(fitted.figures, (item for item in again if item.p <= level))


def _finding(
    fitted: Fit, odd: Tested, candidates: list[Explanation]
) -> tuple[ScreeningTest, Explanation]:
    """Return the finding for an odd figure, and the explanation that is accepted."""
    figures, top = fitted.figures, odd.cause
    log = figures.log
    candidates = _with_another_rope(fitted, candidates)
    loss = next((item for item in candidates if item.loss), None)
    best = candidates[0]
    thinner_pct = -100.0 * _size_mm(fitted, best, top) / log.rope.nominal_mm
    low = isinstance(top, Shift) and LEAST_PCT < thinner_pct < MOST_PCT
    # whatever else may explain it, and whatever a photograph of one side shows
    possible = loss is not None and low
    named = best
    if (
        possible
        and loss is not None
        and best.log_odds - loss.log_odds < math.log(NAMED_BEFORE_LOSS)
    ):
        named = loss
    remedy = named.remedy
    if possible and loss is not None and not named.loss:
        remedy = f"{loss.remedy} {named.remedy}"
    size, u = _size_mm(fitted, named, top), _u_mm(fitted, named, top)
    entries = named.entries or top.entries
    return ScreeningTest(
        check="figures",
        code=named.code,
        entries=entries,
        places=log.places(entries),
        p=odd.p,
        seen=f"{_lead(fitted, entries, size, u)}"
        f"{f' {MAY_BE_LOSS}' if possible else ''} "
        f"{_explanation_words(named, candidates)}",
        remedy=remedy,
        innocent=named.innocent,
        value=size,
        limit=2.0 * u,
        unit="mm",
        touches="section" if possible else "figure",
        look_first=(loss if possible and loss is not None else named).code == "loss-of-section",
    ), named


def _with_another_rope(fitted: Fit, candidates: list[Explanation]) -> list[Explanation]:
    """Return the explanations, with another rope named where all of today's figures are higher.

    Only earlier figures say so: a new rope is thicker everywhere, and where it is as even as the
    old one, its figures can't be told from those of a gauge that is off. Odds of one over the
    other would say more than the figures do. A photograph of today shows which of the two it is.
    """
    figures = fitted.figures
    everywhere = set(figures.entries)
    if len(figures.photographs) or len(everywhere) < FEWEST_EVERYWHERE:
        return candidates
    along = row_of(figures, list(today(figures)))
    if shifts(fitted, along[None, :]).size[0] <= 0:
        return candidates
    best = candidates[0]
    if set(best.entries) != everywhere or best.code not in ("gauge-shifted", "follows-no-rope"):
        return candidates
    best = replace(best, remedy=f"{WHICH_ROPE} {best.remedy}")
    if best.code == "follows-no-rope":
        return [best, *candidates[1:]]
    past = figures.first > figures.references
    since = "the earlier inspections" if past else "the reference diameter was measured"
    best = replace(
        best,
        words=f"{best.words}, or a rope changed since {since}",
        innocent=f"A new rope is thicker everywhere. {best.innocent}",
    )
    return [best, *(item for item in candidates[1:] if item.code != "follows-no-rope")]


def _direction(fitted: Fit, named: Explanation, top: Shift | Exchange) -> Array:
    """Return the direction along which the size of an odd figure is stated."""
    places = [k for k in today(fitted.figures) if entry_at(fitted.figures, k) in named.entries]
    if isinstance(top, Shift) and top.check == "across" and set(named.entries) == set(top.entries):
        return top.direction
    if len(named.let_go) == 1:
        along: Array = named.let_go[0] / named.let_go[0].max()
        return along
    return row_of(fitted.figures, places)


def _size_mm(fitted: Fit, named: Explanation, top: Shift | Exchange) -> float:
    return float(shifts(fitted, _direction(fitted, named, top)[None, :]).size[0])


def _u_mm(fitted: Fit, named: Explanation, top: Shift | Exchange) -> float:
    return float(shifts(fitted, _direction(fitted, named, top)[None, :]).u[0])


def _lead(fitted: Fit, entries: Sequence[int], size: float, u: float) -> str:
    """Return the figures of a finding as a sentence."""
    figures = fitted.figures
    readings = figures.log.readings
    photos = "the photographs, " if len(figures.photographs) else ""
    past = figures.first > len(figures.photographs) + figures.references
    before = "earlier inspections, " if past else ""
    new = "the reference diameter, " if figures.references else ""
    known = " and ".join(f"{photos}{before}{new}the other readings".rsplit(", ", 1))
    if len(entries) == 1:
        reading = readings[entries[0]]
        return (
            f"{reading.typed} was logged, but {reading.value_mm - size:.2f} mm is expected "
            f"from {known}: {size:+z.2f} mm, U (k = 2) {2.0 * u:.2f} mm."
        )
    typed = ", ".join(readings[entry].typed for entry in entries[:4])
    return (
        f"{len(entries)} entries ({typed}{', ...' if len(entries) > 4 else ''}) are "
        f"{size:+z.2f} mm off what is expected from {known}, U (k = 2) {2.0 * u:.2f} mm."
    )


def _explanation_words(named: Explanation, candidates: list[Explanation]) -> str:
    """Return the explanations with their odds, as sentences."""
    others: dict[str, Explanation] = {}
    for item in candidates:
        if item.words != named.words and item.code not in others and item.code != named.code:
            others[item.code] = item
    ranked = sorted(others.values(), key=lambda item: -item.log_odds)
    best = candidates[0]
    if best is not named and best.words != named.words:
        text = f"To be ruled out first: {named.words}. More likely by the figures: {best.words}"
        if best.log_odds - named.log_odds > math.log(1.5):
            text += f" ({odds_words(best.log_odds - named.log_odds)} as likely)"
        ranked = [item for item in ranked if item is not best]
    else:
        text = f"Most likely: {named.words}"
        if ranked and named.log_odds - ranked[0].log_odds > math.log(1.5):
            text += (
                f", {odds_words(named.log_odds - ranked[0].log_odds)} as likely as "
                f"{ranked[0].words}"
            )
            ranked = ranked[1:]  # named once
    also = [item.words for item in ranked if item.log_odds - best.log_odds > math.log(WORTH_NAMING)]
    listed = f" Also possible: {'; '.join(also[:3])}." if also else ""
    return f"{text}.{listed}"


def odds_words(log_odds: float) -> str:
    """Return odds in words.

    Examples
    --------
    >>> [odds_words(math.log(odds)) for odds in (2.2, 3.1, 12, 60, 5000)]
    ['twice', 'three times', 'ten times', 'fifty times', 'over a hundred times']
    """
    odds = math.exp(min(log_odds, 20.0))
    for least, words in (
        (100.0, "over a hundred times"),
        (40.0, "fifty times"),
        (15.0, "twenty times"),
        (7.5, "ten times"),
        (4.5, "five times"),
        (3.5, "four times"),
        (2.5, "three times"),
    ):
        if odds >= least:
            return words
    return "twice"
