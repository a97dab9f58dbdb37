"""One station as the reviewer needs it at a glance: what was found, in one line, and last time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from inspection.assessment import Assessment
from inspection.comparison.crosscheck import Comparison
from inspection.model.loss import asks_for_a_look_at_the_rope
from inspection.model.rope import Units
from inspection.record.views import OpenInspection
from inspection.screening.completeness import GAPS
from ui.lengths import diameter_words, figure, in_units, signed_length, unit_of
from ui.presenters.review_queue import ReviewItem
from ui.presenters.station import StationView, budget_shares, gauge_words
from ui.text import as_minus
from vision.results import Estimate, Refusal

Tone = Literal["odd", "open", "calm"]
BESIDE = 1  # neighbours on either side that are told
# The screening's first sentence repeats the figures that stand in the lead already.
# Records also hold findings with the older wording ("where").
_FIGURES = re.compile(r"^\S+ was logged, (?:but|where) .+? mm\. (?=[A-Z])")


@dataclass(frozen=True, slots=True)
class StationFinding:
    """What was found at a station.

    Parameters
    ----------
    lead : str
        In one line.
    more : tuple of str
        What explains it, with its odds, and what else was found, a line each.
    remedies : tuple of str
        What to do.
    tone : {"odd", "open", "calm"}
        Whether something disagrees, something is missing, or nothing stands out.
    loss : bool
        Whether the rope may have lost section there; then what to do is told, always.
    """

    lead: str
    more: tuple[str, ...]
    remedies: tuple[str, ...]
    tone: Tone
    loss: bool = False


@dataclass(frozen=True, slots=True)
class StripEntry:
    """A station in the strip at the side.

    Parameters
    ----------
    name, mark, words : str
        Which, a sign for its state, and the state in a word or two.
    """

    name: str
    mark: str
    words: str


def doubted(item: ReviewItem, views: list[StationView]) -> StationView | None:
    """Return the direction that the finding is about, or that disagrees most; None if none does."""
    compared = [view for view in views if view.comparison is not None]
    named = [view for view in compared if item.findings and view.view_deg == item.view_deg]
    odd = [view for view in compared if _word(view) in ("disagrees", "doubtful")]
    ranked = sorted(named or odd, key=lambda view: -abs(_compared(view).zeta))
    return ranked[0] if ranked else None


def _compared(view: StationView) -> Comparison:
    assert view.comparison is not None
    return view.comparison


def _word(view: StationView) -> str:
    return _compared(view).word


def station_finding(
    item: ReviewItem, views: list[StationView], units: Units = "mm"
) -> StationFinding:
    """Return what was found at a station, the figures first.

    Parameters
    ----------
    item : ReviewItem
        The station, with its findings.
    views : list of StationView
        Its photographs with what was logged.
    units : {"mm", "inch"}, optional
        The rope's units.
    """
    odd = doubted(item, views)
    open_ones = [logged.finding for logged in item.findings if not logged.settled_by]
    findings = open_ones or [logged.finding for logged in item.findings]
    said = [finding.seen for finding in findings]
    lost = [finding for finding in findings if asks_for_a_look_at_the_rope(finding)]
    loss = bool(lost)
    # where the rope has to be looked at first, nothing stands before that
    remedies = tuple(dict.fromkeys(in_units(one.remedy, units) for one in lost or findings))
    if odd is not None and _word(odd) in ("disagrees", "doubtful"):
        one = _compared(odd)
        lead = (
            f"{one.view_deg}°: {one.typed} was logged, the photograph says "
            f"{diameter_words(one.photo_mm, one.u_photo_mm, units)}"
        )
        more = [_FIGURES.sub("", words) for words in said]
        more = [words for words in more if not words.startswith("Photograph ")] or more
        more = [in_units(words, units) for words in more]
        return StationFinding(lead, tuple(more), remedies, "odd", loss)
    if findings:
        calm = all(finding.code in (*GAPS, "photograph-refused") for finding in findings)
        tone: Tone = "open" if calm else "odd"
        first, *others = (in_units(words, units) for words in said)
        return StationFinding(_lead(first), (_rest(first), *others), remedies, tone, loss)
    return StationFinding(_nothing_odd(views), (), (), "calm")


def _lead(seen: str) -> str:
    return re.split(r"(?<=[a-z0-9)])\. (?=[A-Z])", seen, maxsplit=1)[0].rstrip(".")


def _rest(seen: str) -> str:
    return seen[len(_lead(seen)) :].lstrip(". ")


def _nothing_odd(views: list[StationView]) -> str:
    told = []
    for view in views:
        one = view.comparison
        if one is not None:
            word = "is not sure enough to tell" if one.word == "cannot say" else one.word
            told.append(f"{view.view_deg}°: {one.typed} logged, photograph {word}")
        elif isinstance(view.result, Estimate):
            told.append(f"{view.view_deg}°: no gauge reading")
        else:
            told.append(f"{view.view_deg}°: photograph refused")
    return "; ".join(told) or "No photograph here: nothing to hold the readings against"


def figure_line(view: StationView, units: Units = "mm") -> tuple[str, str]:
    """Return what stands over a photograph: its figure, and what was logged.

    Examples
    --------
    >>> figure_line(StationView(90, Estimate(21.2, ()), None))
    ('90° · 21.20 ± 0.00 mm', 'no reading')
    """
    if isinstance(view.result, Refusal):
        return f"{view.view_deg}° · no diameter", ""
    shown = diameter_words(view.result.diameter_mm, view.result.u_mm, units)
    one = view.comparison
    logged = "no reading" if one is None else f"logged {one.typed}"
    return f"{view.view_deg}° · {shown}", logged


def strip_entry(item: ReviewItem, compared: list[Comparison], units: Units = "mm") -> StripEntry:
    """Return a station with its state; `compared` holds all comparisons of the inspection."""
    mine = [one for one in compared if one.station == item.station]
    if item.with_inspector:
        asks = item.decision.asks if item.decision is not None else ""
        return StripEntry(item.name, "↩", f"{asks} again" if asks else "sent back")
    if item.came_back:
        return StripEntry(item.name, "●", "changed since")
    if not item.waits:
        overruled = item.decision is not None and item.decision.state == "overruled"
        return StripEntry(item.name, "✓", "overruled" if overruled else "stands")
    codes = [logged.finding.code for logged in item.findings if not logged.settled_by]
    disagree = [one for one in mine if one.word == "disagrees"]
    if codes and disagree:
        most = max(abs(one.difference_mm) for one in disagree)
        return StripEntry(item.name, "≠", f"{figure(most, units)} apart")
    if "local-decrease" in codes:
        return StripEntry(item.name, "✕", "thinner")
    if "outside-limit" in codes:
        return StripEntry(item.name, "✕", "outside")
    if codes and set(codes) <= {"photograph-refused"}:
        return StripEntry(item.name, "!", "refused")
    if codes and set(codes) <= set(GAPS):
        return StripEntry(item.name, "–", "incomplete")
    if codes:
        return StripEntry(item.name, "?", "look")
    if not mine:
        return StripEntry(item.name, "–", "not compared")
    unsure = any(one.word == "cannot say" for one in mine)
    return StripEntry(item.name, "○", "can't say" if unsure else "agrees")


def last_time(assessment: Assessment, station: int) -> str:
    """Return what was found at the same station last time; empty where nothing was.

    Gauge readings and photographs each by direction, and how far the station's mean has moved
    since, from the same kind of figure.
    """
    units = assessment.log.rope.units
    for then in reversed(assessment.log.earlier):
        read = {one.view_deg: one.value_mm for one in then.readings if one.station == station}
        seen = {
            one.view_deg or 0: one.diameter_mm
            for one in then.results
            if isinstance(one, Estimate) and one.station == station
        }
        if not (read or seen):
            continue
        parts = [
            f"{name} "
            + " · ".join(f"{view}° {figure(mm, units)}" for view, mm in sorted(found.items()))
            for name, found in (("gauge", read), ("photographs", seen))
            if found
        ]
        words = f"{then.inspection.on:%Y-%m-%d}: {', '.join(parts)} {unit_of(units)}"
        for name, found, sections in (
            ("photographs", seen, assessment.photograph_sections),
            ("gauge", read, assessment.gauge_sections),
        ):
            now = next((one.mean_mm for one in sections if one.station == station), None)
            if now is not None and len(found) > 1:
                change = now - sum(found.values()) / len(found)
                moved = as_minus(signed_length(change, units))
                return f"{words}; mean by {name} {moved} since"
        return words
    return ""


def photographed_before(assessment: Assessment, station: int) -> str | None:
    """Return the newest earlier inspection in which a photograph of the station gave a figure."""
    for then in reversed(assessment.log.earlier):
        if any(isinstance(one, Estimate) and one.station == station for one in then.results):
            return then.inspection.identity
    return None


def station_facts(
    opened: OpenInspection, assessment: Assessment, station: int, view: StationView | None
) -> list[tuple[str, str]]:
    """Return name and words of what is told beside the photographs: last time, neighbours, gauge.

    Parameters
    ----------
    opened, assessment : OpenInspection, Assessment
        The inspection.
    station : int
        The station.
    view : StationView or None
        The direction that is looked at; None for all.
    """
    facts = [
        ("Last time", last_time(assessment, station) or "this station was not measured before")
    ]
    order = [one.station for one in assessment.best]
    if station in order:
        here = order.index(station)
        near = [
            one
            for at, one in enumerate(assessment.best)
            if 0 < abs(at - here) <= BESIDE and one.station is not None
        ]
        if near:
            units = opened.rope.units
            told = " · ".join(f"{one.station}: {figure(one.mean_mm, units)}" for one in near)
            facts.append(("Neighbours", f"{told} {unit_of(units)}"))
    readings = [
        one
        for one in opened.readings
        if one.station == station and (view is None or one.view_deg == view.view_deg)
    ]
    for name in dict.fromkeys(one.gauge for one in readings):
        gauge = next((one for one in opened.gauges if one.identity == name), None)
        people = ", ".join(dict.fromkeys(one.person for one in readings if one.gauge == name))
        facts.append(("Gauge", f"{gauge_words(gauge, opened)}; read by {people}"))
    if view is not None and isinstance(view.result, Estimate):
        most = [name for name, share in budget_shares(view.result)[:2] if share >= 0.1]
        if most:
            facts.append(("Most of U", " · ".join(most)))
    return facts
