"""Which finding is which, so that what was settled stays settled, however it is worded.

A finding is identified by its code, its places and what it is about, never by its sentence. Its
key is assigned once, when it is first saved, and stays in the event from then on. A settlement is
valid for the figure that was settled: if the figure moves away from it, the finding is a new one.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Sequence

from inspection.model.serialization import canonical
from inspection.record.views import LoggedFinding
from vision.results import Finding

# How far a figure may move and still count as settled: in mm the step of a common gauge, in
# other units a fraction of the settled figure. Our choice, no source.
SAME_MM = 0.05
SAME_PART = 0.1


def match_findings(
    found: Sequence[Finding], stored: Sequence[LoggedFinding]
) -> list[LoggedFinding | None]:
    """Return, for each finding found now, the stored finding that it is; None for a new one.

    Parameters
    ----------
    found : sequence of Finding
        The findings of the current screening.
    stored : sequence of LoggedFinding
        The inspection's findings in the record, settled or not.

    Notes
    -----
    A settled finding takes precedence over an open one, and of several the one with the nearest
    figure. No stored finding is matched twice.
    """
    matches: list[LoggedFinding | None] = []
    left = list(stored)
    for finding in found:
        same = [candidate for candidate in left if _is_same(finding, candidate, found, stored)]
        best = min(
            same,
            key=lambda candidate: (not candidate.settled_by, _moved(finding, candidate)),
            default=None,
        )
        if best is not None:
            left.remove(best)
        matches.append(best)
    return matches


def new_key(finding: Finding, taken: Collection[str]) -> str:
    """Return a short name for a finding that is new to the inspection."""
    identity = [finding.code, *_identity(finding)]
    number = 0
    while (key := _short_hash([*identity, number])) in taken:
        number += 1
    return key


def sentence_key(finding: Finding) -> str:
    """Return the key of events before version 5 of the tables: a hash of the sentence."""
    return _short_hash([finding.code, list(finding.where), finding.seen])


def _short_hash(identity: list[object]) -> str:
    return hashlib.sha256(canonical(identity).encode()).hexdigest()[:12]


def _identity(finding: Finding) -> list[list[object]]:
    places = {
        (place.station, -1 if place.view_deg is None else place.view_deg)
        for place in finding.places
    }
    return [[list(place) for place in sorted(places)], list(finding.about)]


def _is_same(
    finding: Finding,
    logged: LoggedFinding,
    found: Sequence[Finding],
    stored: Sequence[LoggedFinding],
) -> bool:
    old = logged.finding
    if (finding.code, finding.unit) != (old.code, old.unit):
        return False
    if logged.settled_by and not _is_near(finding, logged):
        return False
    if _identity(finding) == _identity(old):
        return True
    return _is_from_sentence(logged) and _continues(finding, logged, found, stored)


def _is_near(finding: Finding, logged: LoggedFinding) -> bool:
    """Return whether a figure is still close to the one that was settled."""
    settled = logged.settled_value
    if finding.value is None or settled is None:
        return finding.value == settled
    reach = SAME_MM if finding.unit == "mm" else SAME_PART * abs(settled)
    return _moved(finding, logged) <= reach + 1e-9


def _moved(finding: Finding, logged: LoggedFinding) -> float:
    old = logged.settled_value if logged.settled_by else logged.finding.value
    return abs(finding.value - old) if finding.value is not None and old is not None else 0.0


def _is_from_sentence(finding: LoggedFinding) -> bool:
    """Return whether a finding was saved before findings recorded what they are about."""
    return not finding.finding.about and finding.key == sentence_key(finding.finding)


def _continues(
    finding: Finding,
    logged: LoggedFinding,
    found: Sequence[Finding],
    stored: Sequence[LoggedFinding],
) -> bool:
    """Return whether a finding continues one that is identified by its sentence and places only.

    It does if the sentence is the same apart from its figures, or, if reworded, when there is only
    one of its kind both now and in the record.
    """

    def same_kind(item: Finding) -> bool:
        return (item.code, _identity(item)[0]) == (finding.code, _identity(finding)[0])

    if not same_kind(logged.finding):
        return False
    if _without_figures(finding.seen) == _without_figures(logged.finding.seen):
        return True
    alone = sum(same_kind(item) for item in found) == 1
    return alone and sum(same_kind(item.finding) for item in stored) == 1


def _without_figures(sentence: str) -> str:
    return re.sub(r"\d+(?:\.\d+)?", "0", sentence)
