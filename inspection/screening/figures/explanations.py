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
from dataclasses import replace

from inspection.screening.figures.causes import exchanged, of_jaws, of_many, of_no_rope, of_station
from inspection.screening.figures.evidence import Explanation, log_posterior, row_of, rows_of
from inspection.screening.figures.expected_readings import Figures, Fit, fit
from inspection.screening.figures.explained import (
    FEW,
    Accepted,
    Tested,
    findings_of,
    is_low,
    scatter_of_the_rest,
)
from inspection.screening.figures.narrow_jaws import jaws_chance
from inspection.screening.figures.odd_figures import (
    MOST_LET_GO,
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
IN_THE_RUNNING = 10  # explanations that are weighed again with their own scatter
FEWEST_EVERYWHERE = 3  # entries; fewer are no rope's whole length
WHICH_ROPE = (
    "Find out first whether this is still the same rope: its certificate, the number on its reel "
    "or tag, a recorded change of rope."
)


def explanations(
    fitted: Fit, entries: Collection[int], moved: Collection[int] = ()
) -> list[Explanation]:
    """Return the explanations of odd entries, the most likely first.

    Parameters
    ----------
    fitted : Fit
        The model, its scatter learned without the odd figures.
    entries : collection of int
        The odd entries.
    moved : collection of int, optional
        Entries that an exchange already accepted put in other places: a second exchange of them
        would contradict the first.

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
        if set(entries) & set(item.entries) and not set(moved) & set(item.entries)
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
    found: list[Accepted] = []
    moved: set[int] = set()
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
        fitted = scatter_of_the_rest(figures, top, start)
        one = _accepted(fitted, left[0], explanations(fitted, top.entries, moved))
        found.append(one)
        figures = one.taken_out_of(figures)
        if one.named.change_mm is not None and not one.named.slip:
            moved.update(one.entries)
        retested = [item for item in retested if not _same(item.cause, top)]
        left = _still_odd(fit(figures, start=start), retested, level)
    return findings_of(found, start)


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


def _accepted(fitted: Fit, odd: Tested, candidates: list[Explanation]) -> Accepted:
    """Return an odd figure with the explanation that is accepted."""
    candidates = _with_another_rope(fitted, candidates)
    loss = next((item for item in candidates if item.loss), None)
    best = candidates[0]
    # whatever else may explain it, and whatever a photograph of one side shows
    if loss is None or not is_low(fitted, best, odd.cause):
        return Accepted(odd, fitted, candidates, best, None)
    close = best.log_odds - loss.log_odds < math.log(NAMED_BEFORE_LOSS)
    return Accepted(odd, fitted, candidates, loss if close else best, loss)


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
