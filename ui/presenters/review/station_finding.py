"""One station at a glance for the reviewer: its finding in one line, and the figures last time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from inspection.assessment import Assessment
from inspection.comparison.crosscheck import Comparison
from inspection.model.loss import loss_rank
from inspection.model.rope import Units
from inspection.record.views import OpenInspection
from inspection.screening.checks.completeness import GAPS
from ui.lengths import diameter_words, figure, in_units, signed_length, unit_of
from ui.presenters.review.queue import ReviewItem
from ui.presenters.review.station import StationView, budget_shares, gauge_words
from ui.text import as_minus
from vision.results import Estimate, Finding, Refusal

Tone = Literal["odd", "open", "calm"]
BESIDE = 1  # neighbours shown on either side
COMPARED = ("photograph-doubtful", "photograph-disagrees")  # they say no more than the lead does


@dataclass(frozen=True, slots=True)
class StationFinding:
    """The findings at a station.

    Parameters
    ----------
    lead : str
        The main finding in one line.
    more : tuple of str
        Explanations with their odds, and further findings, one line each.
    remedies : tuple of str
        What to do.
    tone : {"odd", "open", "calm"}
        Whether something disagrees, something is missing, or nothing stands out.
    loss : bool
        Whether the rope may have lost section there; the remedies are then always shown.
    """

    lead: str
    more: tuple[str, ...]
    remedies: tuple[str, ...]
    tone: Tone
    loss: bool = False


@dataclass(frozen=True, slots=True)
class StripEntry:
    """A station in the list at the side.

    Parameters
    ----------
    name, mark, words : str
        Its name, a sign for its state, and the state in one or two words.
    """

    name: str
    mark: str
    words: str


def doubted(item: ReviewItem, views: list[StationView]) -> StationView | None:
    """Return the direction of the finding, or the one that disagrees most; None if none does."""
    compared = [view for view in views if view.comparison is not None]
    named = [view for view in compared if item.findings and view.view_deg == item.view_deg]
    differing = [view for view in compared if _word(view) in ("disagrees", "doubtful")]
    ranked = sorted(named or differing, key=lambda view: -abs(_compared(view).zeta))
    return ranked[0] if ranked else None


def _compared(view: StationView) -> Comparison:
    assert view.comparison is not None
    return view.comparison


def _word(view: StationView) -> str:
    return _compared(view).word


def station_finding(
    item: ReviewItem, views: list[StationView], units: Units = "mm"
) -> StationFinding:
    """Return the findings at a station, the figures first.

    Parameters
    ----------
    item : ReviewItem
        The station, with its findings.
    views : list of StationView
        Its photographs with the logged readings.
    units : {"mm", "inch"}, optional
        The rope's units.
    """
    doubtful = doubted(item, views)
    unsettled = [logged.finding for logged in item.findings if not logged.settled_by]
    findings = unsettled or [logged.finding for logged in item.findings]
    most = max(map(loss_rank, findings), default=0.0)
    lost = [finding for finding in findings if most and loss_rank(finding) == most]
    loss = bool(lost)
    # if the rope itself must be examined first, no other remedy is shown
    remedies = tuple(dict.fromkeys(in_units(one.remedy, units) for one in lost or findings))
    if doubtful is not None and _word(doubtful) in ("disagrees", "doubtful"):
        one = _compared(doubtful)
        lead = (
            f"{one.view_deg}°: {one.typed} logged, the photograph shows "
            f"{diameter_words(one.photo_mm, one.u_photo_mm, units)}"
        )
        told = [finding for finding in findings if finding.code not in COMPARED] or findings
        more = tuple(in_units(_beyond_the_lead(finding), units) for finding in told)
        return StationFinding(lead, more, remedies, "odd", loss)
    if findings:
        calm = all(finding.code in (*GAPS, "photograph-refused") for finding in findings)
        tone: Tone = "open" if calm else "odd"
        first, *others = (in_units(finding.seen, units) for finding in findings)
        return StationFinding(_lead(first), (_rest(first), *others), remedies, tone, loss)
    return StationFinding(_nothing_odd(views), (), (), "calm")


def _beyond_the_lead(finding: Finding) -> str:
    """Return a finding without the figures of a single reading, which the lead states."""
    if finding.check == "figures" and len(finding.where) == 1:
        return _rest(finding.seen)
    return finding.seen


def _lead(seen: str) -> str:
    return re.split(r"(?<=[a-z0-9)])\. (?=[A-Z])", seen, maxsplit=1)[0].rstrip(".")


def _rest(seen: str) -> str:
    return seen[len(_lead(seen)) :].lstrip(". ")


def _nothing_odd(views: list[StationView]) -> str:
    parts = []
    for view in views:
        one = view.comparison
        if one is not None:
            word = "is too uncertain to tell" if one.word == "cannot say" else one.word
            parts.append(f"{view.view_deg}°: {one.typed} logged, photograph {word}")
        elif isinstance(view.result, Estimate):
            parts.append(f"{view.view_deg}°: no gauge reading")
        else:
            parts.append(f"{view.view_deg}°: photograph refused")
    return "; ".join(parts) or "No photograph here to compare with the readings"


def figure_line(view: StationView, units: Units = "mm") -> tuple[str, str]:
    """Return the labels on a photograph: its figure and the logged reading.

    Examples
    --------
    >>> figure_line(StationView(90, Estimate(21.2, ()), None))
    ('90° · 21.20 ± 0.00 mm', 'no reading')
    """
    if isinstance(view.result, Refusal):
        at = "" if view.result.view_deg is None else f"{view.view_deg}° · "
        return f"{at}no diameter", ""
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
        return StripEntry(item.name, "✓", "overruled" if overruled else "accepted")
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
        return StripEntry(item.name, "?", "check")
    if not mine:
        return StripEntry(item.name, "–", "not compared")
    unsure = any(one.word == "cannot say" for one in mine)
    return StripEntry(item.name, "○", "too uncertain" if unsure else "agrees")


def last_time(assessment: Assessment, station: int) -> str:
    """Return the figures of the same station last time; empty if there are none.

    Gauge readings and photographs by direction, and the change in the station's mean since then
    from the same source.
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
    """Return the latest earlier inspection in which a photograph of the station gave a figure."""
    for then in reversed(assessment.log.earlier):
        if any(isinstance(one, Estimate) and one.station == station for one in then.results):
            return then.inspection.identity
    return None


def station_facts(
    opened: OpenInspection, assessment: Assessment, station: int, view: StationView | None
) -> list[tuple[str, str]]:
    """Return the facts shown with the photographs: last time, neighbours, gauge, main sources of U.

    Parameters
    ----------
    opened, assessment : OpenInspection, Assessment
        The inspection.
    station : int
        The station.
    view : StationView or None
        The selected direction; None for all.
    """
    facts = [("Last time", last_time(assessment, station) or "not measured before")]
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
            means = " · ".join(f"{one.station}: {figure(one.mean_mm, units)}" for one in near)
            facts.append(("Neighbours", f"{means} {unit_of(units)}"))
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
            facts.append(("Main sources of U", " · ".join(most)))
    return facts
