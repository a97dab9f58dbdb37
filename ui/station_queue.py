"""Stations that need a look, the most doubtful first, and what was decided about each."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from inspection.record import LoggedFinding, OpenInspection, Record, RecordError
from inspection.record_plain import same_person

Decision = Literal["accepted", "sent back", "overruled"]
# Strength of a plain fact, beside minus log10 of a probability: a date or a file used twice
# weighs as in the scrutiny, a refused photograph comes behind whatever concerns a figure.
FACT, OUTSIDE, REFUSED = 6.0, 5.0, 0.5


@dataclass(frozen=True, slots=True)
class Doubt:
    """A station, or something that belongs to no single station, that needs a look.

    Parameters
    ----------
    station : int or None
        Station number; None where a finding is about several stations or none.
    view_deg : int or None
        The direction that the first finding names.
    strength : float
        How doubtful it is; the queue is sorted by it.
    findings : tuple of LoggedFinding
        What was found there, the strongest first.
    """

    station: int | None
    view_deg: int | None
    strength: float
    findings: tuple[LoggedFinding, ...]

    @property
    def settled(self) -> bool:
        """Whether everything here was decided."""
        return all(one.settled_by for one in self.findings)

    @property
    def name(self) -> str:
        """What to call it."""
        return name_of(self.findings[0])


def name_of(one: LoggedFinding) -> str:
    """Return what the review calls the place of a finding."""
    station = station_of(one)
    if station is not None:
        return f"Station {station}"
    return ", ".join(one.finding.where[:2]) or "Whole inspection"


def queue(there: OpenInspection) -> list[Doubt]:
    """Return what needs a look in an inspection, the most doubtful first."""
    groups: dict[object, list[LoggedFinding]] = {}
    for one in there.findings:
        if one.current:
            station = station_of(one)
            groups.setdefault(one.key if station is None else station, []).append(one)
    doubts = []
    for group in groups.values():
        ranked = sorted(group, key=strength, reverse=True)
        doubts.append(
            Doubt(station_of(ranked[0]), _view_of(ranked[0]), strength(ranked[0]), tuple(ranked))
        )
    return sorted(doubts, key=lambda one: -one.strength)


def strength(one: LoggedFinding) -> float:
    """Return how doubtful a finding makes its station."""
    if one.finding.code == "photograph-refused":
        return REFUSED
    if one.finding.p_value is None:
        return OUTSIDE if one.finding.code in ("outside-limit", "local-decrease") else FACT
    return -math.log10(max(one.finding.p_value, 1e-300))


def station_of(one: LoggedFinding) -> int | None:
    """Return the one station that a finding is about; None where there is not just one."""
    found = {int(hit) for where in one.finding.where for hit in re.findall(r"station (\d+)", where)}
    return found.pop() if len(found) == 1 else None


def _view_of(one: LoggedFinding) -> int | None:
    hit = re.search(r", (\d+) deg", one.finding.where[0]) if one.finding.where else None
    return int(hit[1]) if hit else None


def decide(
    record: Record, there: OpenInspection, doubt: Doubt, decision: Decision, *, by: str, why: str
) -> None:
    """Keep a reviewer's decision about a station in the record.

    Accepting settles what was found there. Sending back settles it and sends the inspection
    back with the reason. Overruling settles anew what somebody else decided.

    Raises
    ------
    RecordError
        If the person read or corrected a reading of this inspection, or would overrule
        themselves or nobody.
    ValueError
        If a reason is missing.
    """
    mine = [
        one for one in there.logged
        if same_person(by, one.reading.person) or same_person(by, one.corrected_by)
    ]  # fmt: skip
    if mine:
        raise RecordError(
            f"{by} read or corrected {len(mine)} of these readings and can't review them; "
            "another person must (see 'You are' at the side)."
        )
    why = " ".join(why.split())
    if decision != "accepted" and not why:
        raise ValueError(f"a station is {decision} with a reason: say why.")
    deciders = {one.settled_by for one in doubt.findings if one.settled_by}
    if decision == "overruled":
        if not deciders:
            raise RecordError("nothing was decided here yet: accept it or send it back.")
        if any(same_person(by, one) for one in deciders):
            raise RecordError(f"{by} decided here; another person must overrule it.")
    how = f"{decision}: {why}" if why else decision
    identity = there.inspection.identity
    with record.together() as writing:
        if writing.inspection(identity).revision != there.revision:
            raise RecordError(
                f"inspection {identity!r} was changed while you looked at it; nothing was decided: "
                "look at it as it is now, and decide then."
            )
        for one in doubt.findings:
            if decision == "overruled" or not one.settled_by:
                writing.settle_finding(identity, one.key, how=how, by=by)
        if decision == "sent back":
            writing.review(identity, "sent back", by=by, why=f"{doubt.name}: {why}")


def budget_in_words(shares: list[tuple[str, float]]) -> str:
    """Return where most of an uncertainty comes from, as one sentence.

    Examples
    --------
    >>> budget_in_words([("focal length", 0.75), ("left edge", 0.2), ("gap", 0.05)])
    'Most of the uncertainty comes from: focal length (75 %), then left edge (20 %).'
    """
    if not shares or shares[0][1] <= 0:
        return "The photograph's figure carries no uncertainty budget."
    told = [f"{name} ({100 * share:.0f} %)" for name, share in shares[:3] if share >= 0.1]
    first = told or [f"{shares[0][0]} ({100 * shares[0][1]:.0f} %)"]
    lead = "Most of the uncertainty comes" if shares[0][1] > 0.5 else "The uncertainty comes mostly"
    return f"{lead} from: {', then '.join(first)}."
