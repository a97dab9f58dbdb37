"""An inspection in a record: its log, and its screening with the findings saved in the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from inspection.assessment import Assessment, assess
from inspection.comparison.standing_apart import own_and_shared
from inspection.limits.conformity import GUARD_2017, DecisionRule
from inspection.limits.rules import Rule
from inspection.model.log import Earlier, Log
from inspection.model.loss import LOSS_REMEDY, loss_rank
from inspection.model.readings import Reading
from inspection.model.serialization import to_dict
from inspection.record.overview.examinations import (
    ComparedEntry,
    ReadBy,
    is_examined,
    keep_examination,
    not_examined,
)
from inspection.record.record import Record
from inspection.screening.checks.completeness import GAPS
from inspection.screening.multiple_testing import WHOLE_ROPE
from inspection.screening.screen import review_rank
from ui.services.key_figures import key_figures
from ui.services.own_limits import own_rules
from vision.results import Finding, Place

LOOK_AGAIN = "Look at both edges in the photograph; where they sit right, read the gauge again."


@dataclass(frozen=True, slots=True)
class AppliedLimits:
    """Which limits figures are compared with, and the decision rule.

    Parameters
    ----------
    decision : DecisionRule
        The decision rule.
    rule_sets : tuple of str or None
        Names of published sets; None for the usual ones.
    own : tuple of Rule
        The user's own limits.
    """

    decision: DecisionRule = GUARD_2017
    rule_sets: tuple[str, ...] | None = None
    own: tuple[Rule, ...] = ()


USUAL_LIMITS = AppliedLimits()


def log_of(record: Record, identity: str) -> Log:
    """Return an inspection's entries with everything that they can be compared with.

    Raises
    ------
    RecordError
        If the record has no such inspection.
    """
    this = record.inspection(identity)
    before = [
        record.inspection(one.identity)
        for one in sorted(record.ranked(rope=this.rope.identity), key=lambda summary: summary.on)
        if (one.on, one.identity) < (this.inspection.on, identity)
    ]
    gauges = {gauge.identity: gauge for one in (*before, this) for gauge in one.gauges}
    earlier = tuple(Earlier(one.inspection, one.readings, one.results) for one in before)
    return Log(this.rope, this.inspection, this.readings, gauges, this.results, earlier)


def assess_recorded(record: Record, identity: str) -> Assessment:
    """Return an inspection's assessment, with the record's own limits included."""
    return assess(log_of(record, identity), own=own_rules(record))


def screen_inspection(record: Record, identity: str, *, by: str) -> tuple[Finding, ...]:
    """Screen an inspection in its current state, and save the findings in the record.

    The screening's findings come first. Doubtful comparisons, figures outside a limit and refused
    photographs follow, so that nothing that a reviewer must see depends on a test's level.
    """
    return save_findings(record, assess_recorded(record, identity), by=by)[0]


def save_findings(
    record: Record, assessment: Assessment, *, by: str
) -> tuple[tuple[Finding, ...], bool]:
    """Save the findings of an assessment in the record, with the inspection's rank.

    Returns
    -------
    findings : tuple of Finding
        The findings.
    changed : bool
        False if the record already held the same, so that no event was added.
    """
    identity = assessment.log.inspection.identity
    findings, changed = _save_findings(record, assessment, by=by)
    if changed or not is_examined(record, identity):
        _keep_examination(record, assessment)
    return findings, changed


def _save_findings(
    record: Record, assessment: Assessment, *, by: str
) -> tuple[tuple[Finding, ...], bool]:
    identity = assessment.log.inspection.identity
    every = (*assessment.findings, *further_findings(assessment))
    # a possible loss of section comes before any entry (the sort is stable)
    findings = tuple(sorted(every, key=lambda one: -loss_rank(one)))
    rank = review_rank(
        [finding for finding in assessment.findings if finding.code not in GAPS]
    ) or 0.01 * min(len(findings), 99)
    rank += max(map(loss_rank, findings), default=0.0)
    saved = [finding.finding for finding in record.inspection(identity).findings if finding.current]
    if [to_dict(one) for one in saved] == [to_dict(one) for one in findings]:
        return findings, False
    record.set_findings(identity, findings, rank=rank, by=by)
    return findings, True


def _keep_examination(record: Record, assessment: Assessment) -> None:
    """Save the comparisons and whose readings each finding concerns, for the supervisor."""
    log = assessment.log
    identity = log.inspection.identity
    entries = []
    for one in assessment.crosscheck.comparisons:
        u_own, shared = own_and_shared(one.difference_budget)
        entries.append(
            ComparedEntry(
                inspection=identity,
                station=one.station,
                view_deg=one.view_deg,
                photo_mm=one.photo_mm,
                gauge_mm=one.gauge_mm,
                difference_mm=one.difference_mm,
                u_mm=one.u_difference_mm,
                u_own_mm=u_own,
                shared=shared,
                word=one.word,
                gauge=one.gauge,
                person=one.person,
                print_set=one.print_set,
                camera=one.camera,
            )
        )
    hands = [
        ReadBy(logged.key, reading.gauge, reading.person)
        for logged in record.inspection(identity).findings
        if logged.current
        for reading in log.readings
        if _is_about(logged.finding, reading)
    ]
    keep_examination(record, identity, entries, hands, key_figures(assessment))


def _is_about(finding: Finding, reading: Reading) -> bool:
    if not finding.places:
        return reading.gauge in finding.about or reading.person in finding.about
    return reading.place in finding.places or Place(reading.station) in finding.places


def examine_all(
    record: Record, *, by: str, report: Callable[[float, str], None] = lambda _at, _what: None
) -> int:
    """Screen every inspection not yet examined in its current state, oldest first.

    Parameters
    ----------
    record : Record
        The record.
    by : str
        Who examines.
    report : callable, optional
        Called with the share done and the next inspection.

    Returns
    -------
    count : int
        How many were examined.
    """
    waiting = not_examined(record)
    for done, identity in enumerate(waiting):
        report(done / len(waiting), identity)
        screen_inspection(record, identity, by=by)
    return len(waiting)


def further_findings(assessment: Assessment) -> list[Finding]:
    """Return findings that a reviewer must see although the screening did not raise them."""
    findings: dict[tuple[str, tuple[str, ...], str], Finding] = {}
    for finding in (
        *_disagreements(assessment),
        *_outside_limits(assessment),
        *_local_decreases(assessment),
        *_refused_photographs(assessment),
    ):
        findings.setdefault((finding.code, finding.where, finding.seen), finding)
    return list(findings.values())


def _disagreements(assessment: Assessment) -> Iterator[Finding]:
    raised = {place for finding in assessment.findings for place in finding.places}
    for comparison in assessment.crosscheck.comparisons:
        if comparison.word in ("doubtful", "disagrees") and comparison.place not in raised:
            yield Finding(
                f"photograph-{comparison.word}",
                comparison.words,
                LOOK_AGAIN,
                "look",
                comparison.zeta,
                2.0,
                "1",
                (comparison.place.words,),
                p_value=comparison.p_value,
                innocent="One comparison in twenty is doubtful although nothing is wrong.",
                places=(comparison.place,),
                about=(comparison.photo_name, comparison.gauge, comparison.typed),
            )


def _outside_limits(assessment: Assessment) -> Iterator[Finding]:
    for placed in assessment.verdicts:
        if placed.verdict.outcome == "outside":
            places = () if placed.station is None else (Place(placed.station),)
            rule = placed.verdict.limit.rule
            yield Finding(
                "outside-limit",
                placed.words,
                "Let the competent person decide.",
                "look",
                placed.verdict.value_mm,
                None,
                "mm",
                tuple(place.words for place in places) or (WHOLE_ROPE,),
                places=places,
                about=(placed.source, rule.rule_set, rule.quantity, rule.purpose),
            )


def _local_decreases(assessment: Assessment) -> Iterator[Finding]:
    for thin in assessment.local:
        if thin.outcome == "local decrease":
            yield Finding(
                "local-decrease",
                thin.words,
                LOSS_REMEDY,
                "look",
                thin.deficit_mm,
                None,
                "mm",
                (Place(thin.station).words,),
                places=(Place(thin.station),),
                look_first=True,
                may_be_loss=True,
            )


def _refused_photographs(assessment: Assessment) -> Iterator[Finding]:
    for refused in assessment.crosscheck.refused:
        reason = refused.findings[0]
        where = refused.photo_name if refused.place is None else refused.place.words
        yield Finding(
            "photograph-refused",
            f"{refused.photo_name} gives no diameter: {reason.seen}",
            reason.remedy,
            "look",
            where=(where,),
            spot_px=reason.spot_px,
            places=() if refused.place is None else (refused.place,),
            about=(refused.photo_sha256 or refused.photo_name, reason.code),
        )
