"""Explained figures: what is odd, with the explanation accepted, as findings in words.

The expected value in a finding comes from figures that nothing else puts in doubt. What a mistyped
entry shows once it is corrected belongs to the same finding, with the same expected value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from inspection.model.loss import LEAST_PCT, MAY_BE_LOSS, MOST_PCT
from inspection.screening.figures.evidence import Explanation, row_of, rows_of
from inspection.screening.figures.expected_readings import Array, Figures, Fit, at, fit
from inspection.screening.figures.odd_figures import Exchange, Shift, entry_at, today
from inspection.screening.figures.shifts import shifts
from inspection.screening.multiple_testing import ScreeningTest

WORTH_NAMING = 0.05  # explanations at least this likely, relative to the best, are named
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


@dataclass(frozen=True, slots=True)
class Accepted:
    """An odd figure with the explanation that is taken as given.

    Parameters
    ----------
    odd : Tested
        The odd figure.
    fitted : Fit
        The model that it was explained with.
    candidates : list of Explanation
        Its explanations, the most likely first.
    named : Explanation
        The one that is accepted and named first.
    loss : Explanation or None
        The most likely loss of section, where the figure may be one.
    """

    odd: Tested
    fitted: Fit
    candidates: list[Explanation]
    named: Explanation
    loss: Explanation | None

    @property
    def entries(self) -> tuple[int, ...]:
        """The entries concerned."""
        return self.named.entries or self.odd.cause.entries

    def taken_out_of(self, figures: Figures) -> Figures:
        """Return the figures with what this explains corrected or left free."""
        if self.named.change_mm is not None:
            figures = figures.corrected(self.named.change_mm)
        if self.is_one_slip:  # what was meant is only inferred, so it is no evidence
            figures = figures.without(rows_of(figures, self.entries))
        return figures.without(self.named.let_go)

    @property
    def is_one_slip(self) -> bool:
        """Whether a slip in a single entry is accepted."""
        return self.named.change_mm is not None and len(self.named.entries) == 1


def findings_of(found: Sequence[Accepted], start: Array) -> list[ScreeningTest]:
    """Return the findings, each with what the figures that nothing else explains make expected."""
    return [
        _finding(_by_the_rest(one, found[k + 1 :], start), one, found[:k])
        for k, one in enumerate(found)
    ]


def _by_the_rest(one: Accepted, later: Sequence[Accepted], start: Array) -> Fit:
    """Return the model for the expected value: what is explained later doesn't pull it either.

    Where that would leave nothing of the odd figures themselves, they stay in.
    """
    figures, own = one.fitted.figures, set(one.entries)
    around = [item for item in later if own <= set(item.entries)]
    others = [item for item in later if not own <= set(item.entries)]
    if own <= {entry for item in others for entry in item.entries}:
        others = [item for item in others if not own & set(item.entries)]
    for item in others:
        if item.is_one_slip or item.named.change_mm is None or not own & set(item.entries):
            figures = item.taken_out_of(figures)
    for item in around:
        beside = set(item.entries) - own
        if beside and len(item.entries) <= FEW and item.named.change_mm is None:
            figures = figures.without(rows_of(figures, beside))
    if figures is one.fitted.figures:
        return one.fitted
    fitted = scatter_of_the_rest(figures, one.odd.cause, start)
    stays = one.loss is None or is_low(fitted, one.candidates[0], one.odd.cause)
    return fitted if stays else one.fitted  # a possible loss keeps the figures that showed it


def scatter_of_the_rest(figures: Figures, top: Shift | Exchange, start: Array) -> Fit:
    """Return the model of all figures, its scatter learned without the odd ones."""
    rows = np.zeros((0, len(figures.off_mm)))
    if isinstance(top, Shift):
        rows = top.direction[None, :]
    if len(top.entries) <= FEW:
        rows = np.vstack([rows, rows_of(figures, top.entries)])
    return at(figures, fit(figures.without(rows), start=start).learned)


def is_low(fitted: Fit, best: Explanation, top: Shift | Exchange) -> bool:
    """Return whether an odd figure is as low as a loss of section would make it."""
    thinner_pct = -100.0 * _size_mm(fitted, best, top) / fitted.figures.log.rope.nominal_mm
    return isinstance(top, Shift) and LEAST_PCT < thinner_pct < MOST_PCT


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


def _finding(fitted: Fit, one: Accepted, before: Sequence[Accepted]) -> ScreeningTest:
    """Return the finding for an odd figure.

    Parameters
    ----------
    fitted : Fit
        The model of its expected value.
    one : Accepted
        The odd figure.
    before : sequence of Accepted
        What was accepted before it.
    """
    log, named, entries = fitted.figures.log, one.named, one.entries
    size, u = _size_mm(fitted, named, one.odd.cause), _u_mm(fitted, named, one.odd.cause)
    seen = [_lead(fitted, entries, (size, u), before)]
    seen += [MAY_BE_LOSS] if one.loss else []
    seen.append(_explanation_words(named, one.candidates))
    loss = one.loss
    if one.is_one_slip and named.change_mm is not None:
        still_mm = size + float(named.change_mm.sum())
        low = LEAST_PCT < -100.0 * still_mm / log.rope.nominal_mm < MOST_PCT
        if low or abs(still_mm) > 2.0 * u:
            meant = log.readings[entries[0]].value_mm + still_mm - size
            seen.append(f"Corrected to {meant:.2f} mm, it is still {still_mm:+z.2f} mm off.")
        if low and loss is None:  # the slip explains the digit, not what is left
            losses = [item for item in one.candidates if item.loss]
            loss = min(losses, key=lambda item: item.code != "loss-of-section", default=None)
            seen += [MAY_BE_LOSS] if loss is not None else []
    # a loss may be where the figure was logged as well as where it is thought to belong
    logged_at = [_sources(fitted.figures, entry, before) for entry in entries] if loss else []
    where = dict.fromkeys([*entries, *chain.from_iterable(logged_at)])
    remedy = named.remedy
    if loss is not None and not named.loss:
        remedy = f"{loss.remedy} {named.remedy}"
    return ScreeningTest(
        check="figures",
        code=named.code,
        entries=entries,
        places=log.places(where),
        p=one.odd.p,
        seen=" ".join(seen),
        remedy=remedy,
        innocent=named.innocent,
        value=size,
        limit=2.0 * u,
        unit="mm",
        touches="figure" if loss is None else "section",
        look_first=(loss or named).code == "loss-of-section",
    )


def _lead(
    fitted: Fit,
    entries: Sequence[int],
    off: tuple[float, float],
    before: Sequence[Accepted],
) -> str:
    """Return the figures of a finding as a sentence; `off` is their shift with its u, mm."""
    figures = fitted.figures
    readings = figures.log.readings
    photos = "the photographs, " if len(figures.photographs) else ""
    past = figures.first > len(figures.photographs) + figures.references
    earlier = "earlier inspections, " if past else ""
    new = "the reference diameter, " if figures.references else ""
    known = " and ".join(f"{photos}{earlier}{new}the other readings".rsplit(", ", 1))
    size, u = off
    changed = _changed_mm(figures)
    if len(entries) == 1:
        reading = readings[entries[0]]
        value = reading.value_mm + changed.get(entries[0], 0.0)
        logged = f"{reading.typed} was logged, but"
        if entries[0] in changed:
            why = next(item.named.words for item in reversed(before) if _corrects(item, entries[0]))
            source = [figures.log.place(k).words for k in _sources(figures, entries[0], before)]
            at_place = f" (logged at {' or '.join(source)})" if source else ""
            logged = (
                f"{reading.typed} was logged; corrected for {why}, it is {value:.2f} mm{at_place}, "
                "but"
            )
        return (
            f"{logged} {value - size:.2f} mm is expected "
            f"from {known}: {size:+z.2f} mm, U (k = 2) {2.0 * u:.2f} mm."
        )
    typed = ", ".join(
        f"{readings[entry].typed} corrected to {readings[entry].value_mm + changed[entry]:.2f}"
        if entry in changed
        else readings[entry].typed
        for entry in entries[:4]
    )
    return (
        f"{len(entries)} entries ({typed}{', ...' if len(entries) > 4 else ''}) are "
        f"{size:+z.2f} mm off what is expected from {known}, U (k = 2) {2.0 * u:.2f} mm."
    )


def _changed_mm(figures: Figures) -> dict[int, float]:
    """Return by how much each corrected entry was changed, mm."""
    today_mm = figures.changed_mm[figures.first :].tolist()
    return {
        entry: change
        for entry, change in zip(figures.entries, today_mm, strict=True)
        if abs(change) > 1e-6
    }


def _sources(figures: Figures, entry: int, before: Sequence[Accepted]) -> list[int]:
    """Return the entries that an accepted exchange may have moved to this one's place."""
    changed, readings = _changed_mm(figures), figures.log.readings
    for item in reversed(before if entry in changed else ()):
        if _corrects(item, entry) and not item.is_one_slip:
            value = readings[entry].value_mm + changed[entry]
            return [k for k in item.entries if abs(readings[k].value_mm - value) < 1e-6]
    return []


def _corrects(item: Accepted, entry: int) -> bool:
    return item.named.change_mm is not None and entry in item.entries


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
