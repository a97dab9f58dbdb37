"""Stations that need review, the most doubtful first, and the decision about each."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from inspection.model.loss import loss_rank
from inspection.record.views import LoggedFinding, OpenInspection, StationReview
from inspection.screening.checks.completeness import GAPS

# Findings that can be accepted without a reason: no entry definitely disagrees.
CALM = (*GAPS, "photograph-refused", "photograph-doubtful")
# Strength of findings without a probability, on the scale of -log10 of a probability. A date or a
# file used twice weighs as in the screening; a refused photograph comes after anything that
# concerns a figure. A station returned by its inspector comes before weak findings, and a possible
# loss of section before everything else, however improbable an entry elsewhere may be.
FACT, OUTSIDE, RETURNED, GAP, REFUSED = 6.0, 5.0, 4.0, 1.0, 0.5


@dataclass(frozen=True, slots=True)
class ReviewItem:
    """A station, or a finding that belongs to no single station, and the decision about it.

    Parameters
    ----------
    station : int or None
        Station number; None if a finding concerns several stations or none.
    view_deg : int or None
        The direction that the first finding names.
    strength : float
        How doubtful it is; sorts the queue.
    findings : tuple of LoggedFinding
        The findings there, the strongest first; empty if nothing stands out.
    decision : StationReview or None
        The last decision about the station, whether it stands or not.
    """

    station: int | None
    view_deg: int | None
    strength: float
    findings: tuple[LoggedFinding, ...]
    decision: StationReview | None = None

    @property
    def with_inspector(self) -> bool:
        """Whether it was sent back and nothing has changed there yet."""
        return self.decision is not None and self.decision.stands and self.decision.back

    @property
    def came_back(self) -> bool:
        """Whether it was sent back and one of its figures has changed since."""
        return self.decision is not None and self.decision.back and not self.decision.stands

    @property
    def settled(self) -> bool:
        """Whether it needs no review until something changes."""
        if self.with_inspector:
            return True
        return not self.came_back and all(finding.settled_by for finding in self.findings)

    @property
    def waits(self) -> bool:
        """Whether a reviewer still has to decide, even if nothing stands out."""
        if not self.settled:
            return True
        return not self.findings and (self.decision is None or not self.decision.stands)

    @property
    def owes_reason(self) -> bool:
        """Whether accepting it as it stands needs a reason."""
        return any(
            not logged.settled_by and logged.finding.code not in CALM for logged in self.findings
        )

    @property
    def decided(self) -> bool:
        """Whether a decision stands that another person could overrule."""
        if self.station is None:
            return self.settled
        return self.decision is not None and self.decision.stands

    @property
    def key(self) -> str:
        """What distinguishes it from the inspection's other items."""
        return self.findings[0].key if self.station is None else f"Station {self.station}"

    @property
    def name(self) -> str:
        """Its name on the review page; several findings can share one."""
        return (
            f"Station {self.station}" if self.station is not None else item_name(self.findings[0])
        )

    @property
    def label(self) -> str:
        """Its name in a narrow list."""
        where = self.findings[0].finding.where if self.station is None else ()
        if len(where) < 2:
            return self.name
        photographs = all(one.startswith("photograph ") for one in where)
        return f"{len(where)} {'photographs' if photographs else 'entries'}"


def distinct_labels(labels: Mapping[str, str]) -> dict[str, str]:
    """Return labels by key, with a number added to those that repeat.

    Examples
    --------
    >>> distinct_labels({"a": "2 photographs", "b": "2 photographs"})
    {'a': '2 photographs', 'b': '2 photographs (2)'}
    """
    count: Counter[str] = Counter()
    distinct = {}
    for key, label in labels.items():
        count[label] += 1
        distinct[key] = label if count[label] == 1 else f"{label} ({count[label]})"
    return distinct


def item_name(finding: LoggedFinding) -> str:
    """Return the name of a finding's place on the review page."""
    station = station_of(finding)
    if station is not None:
        return f"Station {station}"
    return ", ".join(finding.finding.where[:2]) or "Whole inspection"


def review_queue(opened: OpenInspection) -> list[ReviewItem]:
    """Return what needs review in an inspection, the most doubtful first.

    A station that was sent back stays in the queue, marked as being with the inspector, and needs
    review again as soon as one of its readings or photographs has changed.
    """
    groups: dict[object, list[LoggedFinding]] = {}
    for logged in opened.findings:
        if logged.current:
            station = station_of(logged)
            groups.setdefault(logged.key if station is None else station, []).append(logged)
    decisions = {
        review.station: review for review in opened.station_reviews
    }  # the latest of each station
    for number, decision in decisions.items():
        if decision.back:
            groups.setdefault(number, [])
    items = [_review_item(key, group, decisions) for key, group in groups.items()]
    return sorted(items, key=lambda item: -item.strength)


def stations_without_findings(opened: OpenInspection) -> list[ReviewItem]:
    """Return the stations where nothing stands out, in order; they can also be decided."""
    taken = {item.station for item in review_queue(opened)}
    numbers = {one.station for one in (*opened.results, *opened.readings)} - taken
    decisions = {review.station: review for review in opened.station_reviews}
    return [
        ReviewItem(number, None, 0.0, (), decisions.get(number))
        for number in sorted(number for number in numbers if number is not None)
    ]


def _review_item(
    key: object, group: list[LoggedFinding], decisions: dict[int, StationReview]
) -> ReviewItem:
    ranked = sorted(group, key=finding_strength, reverse=True)
    station = key if isinstance(key, int) else None
    decision = None if station is None else decisions.get(station)
    most = finding_strength(ranked[0]) if ranked else RETURNED
    if decision is not None and decision.back and not decision.stands:
        most = max(most, RETURNED)
    views = (_view_of(one) for one in ranked)  # None for a finding about a whole station
    view = next((one for one in views if one is not None), None)
    return ReviewItem(station, view, most, tuple(ranked), decision)


def finding_strength(finding: LoggedFinding) -> float:
    """Return how doubtful a finding makes its station; a possible loss of section comes first."""
    return loss_rank(finding.finding) + _doubt(finding)


def _doubt(finding: LoggedFinding) -> float:
    if finding.finding.code == "photograph-refused":
        return REFUSED
    if finding.finding.code in GAPS:
        return GAP
    if finding.finding.p_value is None:
        return OUTSIDE if finding.finding.code in ("outside-limit", "local-decrease") else FACT
    return -math.log10(max(finding.finding.p_value, 1e-300))


def station_of(finding: LoggedFinding) -> int | None:
    """Return the station that a finding is about; None unless there is exactly one."""
    stations = {place.station for place in finding.finding.places}
    return stations.pop() if len(stations) == 1 else None


def _view_of(finding: LoggedFinding) -> int | None:
    return finding.finding.places[0].view_deg if finding.finding.places else None


def budget_in_words(shares: list[tuple[str, float]]) -> str:
    """Return the main sources of an uncertainty, as one sentence.

    Examples
    --------
    >>> budget_in_words([("focal length", 0.75), ("left edge", 0.2), ("gap", 0.05)])
    'Main sources of uncertainty: focal length (75 %), left edge (20 %).'
    """
    if not shares or shares[0][1] <= 0:
        return "The photograph's figure has no uncertainty budget."
    large = [f"{name} ({100 * share:.0f} %)" for name, share in shares[:3] if share >= 0.1]
    listed = large or [f"{shares[0][0]} ({100 * shares[0][1]:.0f} %)"]
    return f"Main sources of uncertainty: {', '.join(listed)}."
