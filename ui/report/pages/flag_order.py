"""The order of entries to check in the report: by what a person must do first."""

from __future__ import annotations

from collections.abc import Sequence

from inspection.assessment import Assessment
from inspection.limits.outside import beyond_limits
from inspection.model.loss import loss_rank
from inspection.worst_station import worst_station
from ui.report.case import ReportFlag

ORDER = (
    "First what may be a loss of section or is beyond a limit, then what the answer rests on, "
    "then the rest, the least likely by chance first."
)


def by_action(flags: Sequence[ReportFlag], assessment: Assessment) -> list[ReportFlag]:
    """Return the flags by what a person must do first.

    First a possible loss of section, then entries of stations beyond a limit for discard or
    acceptance, then the entries that decide the answer: those of the worst station, of a local
    decrease, and of figures that a limit leaves undecided. Then the rest by chance; a fact that
    has none counts as 0. Before these the order of the screening stays.
    """
    worst = worst_station(assessment)
    beyond = {one.station for one in beyond_limits(assessment.verdicts)}
    decide = {one.station for one in assessment.local if one.outcome == "local decrease"}
    decide |= {
        one.station
        for one in assessment.verdicts
        if one.verdict.outcome == "undecided" and one.station is not None
    }
    decide |= set() if worst is None else {worst.station}

    def key(flag: ReportFlag) -> tuple[int, float]:
        finding = flag.finding
        stations: set[int | None] = {place.station for place in finding.places}
        if finding.code == "outside-limit" and not stations:
            stations = {None}  # the whole rope
        if loss_rank(finding) or stations & beyond:
            return (0, -loss_rank(finding))
        if stations & decide:
            return (1, 0.0)
        return (2, finding.p_value or 0.0)

    return sorted(flags, key=key)
