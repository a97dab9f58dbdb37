"""Page one, to sign: the result first, then what it rests on, open entries and the decision.

Every text is cut to fit the page; the annex has all of them in full.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from inspection.assessment import NOTHING_APPLIED, Assessment
from inspection.folder import rejected_words
from inspection.limits.combined import CombinedSeverity, combined_severities
from inspection.limits.confirmed import confirmation_words, own_words
from inspection.limits.outside import beyond_limits, is_own
from inspection.measurement.doubt import doubt_words
from inspection.measurement.measured_diameter import MeasuredDiameter
from inspection.measurement.section import Source
from inspection.model.closing import DECISIONS
from inspection.model.condition import CRITERIA
from inspection.model.log import counted
from inspection.model.loss import LOCAL_GROUND
from inspection.model.rope import Rope, Units
from inspection.worst_station import WorstStation, worst_station
from ui.lengths import diameter_words, in_units, length_text, short_length
from ui.presenters.result_rows import headline
from ui.presenters.whole_rope import group_of
from ui.report.blocks import Front, FrontDecision, ReportPicture
from ui.report.case import ReportCase, ReportFlag
from ui.report.pages.flag_order import ORDER, by_action
from ui.report.pages.summary import counts, state_words
from ui.services.bench_checks import bench_check_for, known_bench_checks
from ui.text import capitalised
from vision.results import Estimate, Place

MOST_OPEN = 4  # entries on page one
ENTRY_LETTERS = 170  # of each, if there are so many
MOST_LETTERS = 330  # of an alarm
DISCARD_PCT = 100
SIGNED = (
    "By signing, each person confirms having read this report, and the record where one is named. "
    "A signature does not clear the rope: the competent person decides, by all discard criteria."
)


def front(case: ReportCase) -> Front:
    """Return the page to sign."""
    log = case.assessment.log
    worst = worst_station(case.assessment)
    flags = by_action(case.flags, case.assessment)
    still = [flag for flag in flags if not flag.settled_by and flag.current]
    alarms = tuple(
        shortened(in_units(words, log.rope.units), MOST_LETTERS) for words in _alarms(case, worst)
    )
    letters = ENTRY_LETTERS * MOST_OPEN // max(min(len(still), MOST_OPEN), 2)
    shown = [_entry(flag, log.rope.units, letters) for flag in still[:MOST_OPEN]]
    if len(still) > MOST_OPEN:
        shown.append(f"and {len(still) - MOST_OPEN} more, in the annex")
    return Front(
        letterhead=case.letterhead,
        number=shortened(case.number, 40),
        title=shortened(f"Rope inspection: {log.rope.identity}", 110),
        job=tuple((name, shortened(value, 70)) for name, value in _job(case)),
        alarms=alarms,
        headline="Nothing was measured in this inspection."
        if worst is None
        else headline(worst, log.rope),
        words="" if worst is None else shortened(_towards_discard(worst, log.rope, alarms), 420),
        pictures=() if worst is None else _pictures(case, worst),
        facts=tuple((name, shortened(value, 150)) for name, value in _facts(case)),
        open_title=_open_title(case),
        open_order=ORDER if len(still) > 1 else "",
        open_entries=tuple(shown),
        decision=_decision(case),
        signers=tuple((role, shortened(name, 60)) for role, name in _signers(case)),
        says=SIGNED,
    )


def shortened(text: str, letters: int) -> str:
    """Return a text cut to a number of letters: after a sentence, else a word, else a letter.

    Examples
    --------
    >>> shortened("One two. Three four.", 15), shortened("one two three", 9), shortened("xxxxxx", 5)
    ('One two. …', 'one two …', 'xxxx…')
    """
    if len(text) <= letters:
        return text
    cut = text[: letters - 1]
    sentences = cut.rfind(". ") + 1
    words = cut.rfind(" ")
    at = sentences if sentences > 0.4 * letters else words if words > 0.6 * letters else 0
    return f"{cut[:at]} …" if at else f"{cut}…"


def _job(case: ReportCase) -> Iterator[tuple[str, str]]:
    log = case.assessment.log
    held, rope = log.inspection, log.rope
    yield "Inspection", f"{shortened(held.identity, 50)}, {held.on.isoformat()}"
    yield "Place", held.place or rope.site
    yield "Tension", held.tension
    yield "State", state_words(case)
    centres = ", fibre centres" if rope.fibre_centred_strands else ""
    yield (
        "Rope",
        f"{_nominal(rope)} nominal, {rope.outer_strands} outer strands{centres}, {rope.core} core",
    )
    reference = "none is known"
    if rope.reference_mm is not None:
        day = "" if rope.reference_on is None else f", {rope.reference_on.isoformat()}"
        reference = f"{length_text(rope.reference_mm, units=rope.units)}{day}"
    yield "Reference diameter", reference


def _nominal(rope: Rope) -> str:
    return short_length(rope.nominal_mm, rope.units)


def _alarms(case: ReportCase, worst: WorstStation | None) -> Iterator[str]:
    """Yield what must be read first: limits exceeded, possible loss of section, what is missing."""
    assessment = case.assessment
    beyond = beyond_limits(assessment.verdicts)
    for placed in beyond[:2]:
        whose = "your own" if is_own(placed.verdict.limit.rule) else "a"
        yield f"Beyond {whose} limit. {placed.words}"
    if len(beyond) > 2:
        yield f"In total {len(beyond)} figures are beyond a limit; the annex lists them."
    local = assessment.thin_places
    for one in local[:2]:
        yield f"Possible loss of section. {one.words} {LOCAL_GROUND}"
    if len(local) > 2:
        yield f"Possible loss of section at {len(local)} stations, listed in the annex."
    if worst is not None and worst.why == "possible loss of section" and not local:
        yield (
            f"Possible loss of section at station {worst.station}: look at the rope there for a "
            f"broken core, corrosion or wear. {LOCAL_GROUND}"
        )
    for together in combined(case):
        if together.severity_pct >= DISCARD_PCT and together.parts[1:]:
            yield f"All criteria together reach discard. {together.words}"
    if assessment.judged_against_nothing:
        yield NOTHING_APPLIED
    missing = assessment.not_complete
    if missing:
        more = f" And {len(missing) - 2} more gaps, in the annex." if len(missing) > 2 else ""
        yield f"Not complete: {' '.join(missing[:2])}{more}"
    if case.rejected:
        yield f"Not complete: {rejected_words(case.rejected)}"


def _towards_discard(worst: WorstStation, rope: Rope, alarms: Sequence[str]) -> str:
    """Return decrease and severity of the worst station in words; a doubt only once a page."""
    parts = []
    rated = worst.severity
    if rated is not None:
        found = rated.severity
        way = "below" if found.decrease_pct >= 0 else "above"
        parts.append(
            f"{abs(found.decrease_pct):.1f} % of nominal {way} the reference of "
            f"{length_text(rope.reference_mm or 0.0, units=rope.units)}: severity {found.band}, "
            f"{found.severity_pct} % towards discard by uniform decrease in diameter "
            f"(ISO 4309:2017, {found.category}), by {_by(rated.source)}."
        )
        if rated.out_of_scope:
            parts.append(f"The table does not apply there: {rated.out_of_scope}.")
    else:
        pct = 100.0 * (worst.diameter_mm / rope.nominal_mm - 1.0)
        parts.append(f"{pct:+z.1f} % from nominal. No severity is stated: the annex says why.")
    local = worst.local
    if local is not None and local.outcome != "local decrease" and local.deficit_mm > 0:
        thinner = length_text(local.deficit_mm, units=rope.units)
        parts.append(f"{thinner} thinner than its neighbours.")
    doubt = in_units(doubt_words(worst.doubts, worst.source), rope.units)
    if doubt and not any(doubt in alarm for alarm in alarms):
        parts.append(doubt)
    return " ".join(parts)


def _by(source: Source) -> str:
    return "the gauge" if source == "gauge" else "photographs"


def _decision(case: ReportCase) -> FrontDecision:
    """Return the competent person's decision, or space for it."""
    held = case.assessment.log.inspection
    closing = None if case.record is None else case.record.closing
    if closing is None:
        due, remarks = held.next_due, ""
        choices = [(str(choice), False) for choice in DECISIONS]
    else:
        due, remarks = closing.next_due or held.next_due, closing.remarks
        until = "" if closing.until is None else f" {closing.until}"
        choices = [
            (f"{choice}{until}", True) if choice == closing.decision else (str(choice), False)
            for choice in DECISIONS
        ]
    return FrontDecision(
        tuple(choices), shortened(remarks, 260), "" if due is None else due.isoformat()
    )


def combined(case: ReportCase) -> tuple[CombinedSeverity, ...]:
    """Return the severities of all criteria at each station, added up; empty without conditions."""
    seen = () if case.record is None else case.record.conditions
    if not seen:
        return ()
    return combined_severities(case.assessment.severities, [one.condition for one in seen])


def _pictures(case: ReportCase, worst: WorstStation) -> tuple[ReportPicture, ...]:
    """Return close-ups of the worst station, one per direction, at most two."""
    chosen: dict[int, ReportPicture] = {}
    for picture in case.close_ups:
        for place in picture.places:
            if place.station == worst.station and place.view_deg is not None:
                chosen.setdefault(place.view_deg, picture)
    rope = case.assessment.log.rope
    shown = []
    for view in sorted(chosen)[:2]:
        picture = chosen[view]
        compared = [one for one in case.assessment.crosscheck.comparisons
                    if one.place == Place(worst.station, view)]  # fmt: skip
        words = picture.caption
        if compared:
            one = compared[0]
            figure = diameter_words(one.photo_mm, one.u_photo_mm, rope.units)
            marked = case.assessment.entry_mark(one.place, "gauge")
            logged = f"logged {one.typed}{marked}, dashed: {one.word}"
            words = f"{view}°: photograph {figure} (solid lines); {logged}"
        shown.append(replace(picture, caption=words))
    return tuple(shown)


def _facts(case: ReportCase) -> Iterator[tuple[str, str]]:
    assessment = case.assessment
    rope = assessment.log.rope
    whole, reasons = [], ["it needs two directions"]
    for source, sections in assessment.sections_by_source:
        found = group_of(sections, rope.nominal_mm) if sections else ""
        if isinstance(found, MeasuredDiameter):
            figure = diameter_words(found.mean_mm, found.u_mean_mm, rope.units)
            marked = assessment.mark(*(one.station for one in found.sections))
            whole.append(f"{figure} by {_by(source)}{marked}")
        elif found:
            reasons.append(found)
    yield "Measured diameter", "; ".join(whole) or f"none: {reasons[-1]}"
    yield "Largest ovality", _ovality(assessment)
    yield "Lay length", _lay(assessment)
    refused = len(assessment.crosscheck.refused)
    figures = sum(isinstance(result, Estimate) for result in assessment.log.results)
    yield (
        "Photographs",
        f"{counted(figures, 'figure', 'figures')}, {refused} refused",
    )
    words: Counter[str] = Counter(one.word for one in assessment.crosscheck.comparisons)
    yield "Against the gauge", counts(words) or "nothing could be compared"
    yield "Gauge", _gauges(assessment)
    yield "Print check", _prints(case)
    yield "Bench check", in_units(_bench_checks(assessment), rope.units)
    yield "Limits", _limits(case)
    yield from _criteria(case)
    if assessment.log.inspection.remarks:
        yield "Inspector's remarks", assessment.log.inspection.remarks


def _limits(case: ReportCase) -> str:
    """Return the documents for discard or acceptance, and whether their figures are confirmed."""
    confirmed = case.confirmed
    rules = [
        placed.verdict.limit.rule
        for placed in case.assessment.verdicts
        if placed.verdict.limit.rule.purpose in ("discard", "accept")
    ]
    sentences = dict.fromkeys(
        own_words(rule.rule_set) if is_own(rule) else confirmation_words(rule.rule_set, confirmed)
        for rule in rules
    )
    return " ".join(sentences) or "none applied"


def _criteria(case: ReportCase) -> Iterator[tuple[str, str]]:
    """Yield what was seen other than the diameter; a line to write on if nothing was recorded."""
    seen = () if case.record is None else case.record.conditions
    for criterion in CRITERIA:
        mine = [
            f"station {one.condition.station}: {one.condition.words.partition(': ')[2]}"
            for one in seen
            if one.condition.criterion == criterion
        ]
        yield criterion.capitalize(), "; ".join(mine)
    together = combined(case)
    if together:
        worst = max(together, key=lambda one: one.severity_pct)
        yield "All criteria added up", worst.words


def _ovality(assessment: Assessment) -> str:
    if not assessment.best:
        return "none: it needs two directions"
    most = max(assessment.best, key=lambda section: section.ovality_mm)
    figure = diameter_words(most.ovality_mm, most.u_ovality_mm, assessment.log.rope.units)
    marked = assessment.mark(most.station)
    return f"station {most.station}: {figure}, by {_by(most.source)}{marked}"


def _lay(assessment: Assessment) -> str:
    lays = assessment.lays
    if not lays:
        return "not visible in any photograph"
    units = assessment.log.rope.units
    least, most = min(one.lay_mm for one in lays), max(one.lay_mm for one in lays)
    u = length_text(2 * max(one.u_mm for one in lays), units=units, decimals=None)
    figure = length_text(least, units=units, decimals=1 if units == "mm" else 2)
    if most > least:
        last = length_text(most, units=units, decimals=1 if units == "mm" else 2)
        figure = f"{figure.rpartition(' ')[0]} to {last}"
    known = assessment.log.rope.lay_mm
    stated = "" if known is None else f"; certificate: {length_text(known, units=units)}"
    return f"{figure}, U up to {u}{stated}"


def _gauges(assessment: Assessment) -> str:
    log = assessment.log
    used = {reading.gauge for reading in log.readings}
    parts = []
    for name in sorted(used):
        gauge = log.gauges.get(name)
        if gauge is None:
            parts.append(f"{name}: no details known")
        elif gauge.calibration_due is None:
            parts.append(f"{name}, calibration date not known")
        else:
            late = gauge.calibration_due < log.inspection.on
            parts.append(
                f"{name}, calibration {'overdue since' if late else 'due'} {gauge.calibration_due}"
            )
    return "; ".join(parts) or "no reading was logged"


def _prints(case: ReportCase) -> str:
    estimates = [one for one in case.assessment.log.results if isinstance(one, Estimate)]
    sets = sorted({one.print_set for one in estimates if one.print_set})
    unchecked = sum(not one.print_set and not one.without_card for one in estimates)
    days = {} if case.record is None else dict(case.record.print_checks)
    parts = [f"{name}, checked {days[name] or 'on an unknown date'}" if name in days else name
             for name in sets]  # fmt: skip
    if unchecked:
        parts.append(f"{counted(unchecked, 'photograph', 'photographs')} with an unchecked print")
    return "; ".join(parts) or "no photograph with a card"


def _bench_checks(assessment: Assessment) -> str:
    """Return bench checks of these phones and cards; empty for a line to write on."""
    log = assessment.log
    try:
        made = bench_check_for(log.results, known_bench_checks())
    except ValueError:
        return "the saved ones can't be read; the annex says why"
    return "; ".join(
        f"{check.on.isoformat()}{', over a year old' if check.is_old(log.inspection.on) else ''}: "
        f"{'U holds' if check.holds else 'U does not hold'}, {check.photographs} photographs of "
        f"{check.true_mm:g} mm, mean error {check.mean_error_mm:+z.3f} mm"
        for check in sorted(made, key=lambda check: (check.holds, check.on))
    )


def _open_title(case: ReportCase) -> str:
    flags = case.flags
    still = sum(not flag.settled_by and flag.current for flag in flags)
    if not flags and case.rejected:
        return f"Open entries: {counted(len(case.rejected), 'row', 'rows')} that could not be read"
    if not flags:
        return "No entry to check was found. That does not clear the rope."
    if not still:
        return f"No entry is open ({counted(len(flags), 'finding', 'findings')}, all closed)."
    return f"Open entries: {still} of {len(flags)}"


def _entry(flag: ReportFlag, units: Units, letters: int) -> str:
    finding = flag.finding
    where = "; ".join(finding.where[:2]) + (" …" if len(finding.where) > 2 else "")
    seen = in_units(finding.seen, units)
    if where and not seen.casefold().startswith(where.casefold()):
        seen = f"{capitalised(where)}: {seen}"
    return shortened(seen, letters)


def _signers(case: ReportCase) -> Iterator[tuple[str, str]]:
    held = case.assessment.log.inspection
    yield "Inspector", held.inspector
    yield "Reviewer", held.reviewer
    if held.supervisor:
        yield "Supervisor", held.supervisor
    closing = None if case.record is None else case.record.closing
    yield "Competent person", "" if closing is None else closing.competent_person
