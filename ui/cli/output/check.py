"""The result of `ropephoto check` on a terminal of 80 columns or more."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from inspection.assessment import NOTHING_APPLIED, Assessment
from inspection.comparison.crosscheck import why_not_compared
from inspection.folder import Folder, rejected_words
from inspection.limits.conformity import PlacedVerdict
from inspection.limits.outside import is_own
from inspection.limits.remaining_life import NO_CLEARANCE, StationHistory
from inspection.limits.rules import NotApplicable
from inspection.measurement.section import Source
from inspection.model.loss import LOCAL_GROUND
from inspection.model.rope import Units
from inspection.screening.checks.lay_length import lay_words
from ui.cli.output.measure import new_table, print_parts
from ui.lengths import figure, in_units, length_text, rate_words, unit_of
from ui.text import CAUTIONS, capitalised, chance_words, refused
from vision.results import Finding

SOURCES: dict[Source, str] = {"photographs": "photo", "gauge": "gauge"}
STAR = "*"  # "(doubted)" in narrow columns
STYLES = {
    "disagrees": "bold red",
    "doubtful": "yellow",
    "cannot say": "dim",
    "outside": "bold red",
    "undecided": "yellow",
}


def print_check_table(assessment: Assessment, read: Folder) -> None:
    """Print an assessment as tables and text; the last line says what to check first.

    Lengths are in the rope's own units, mm or inch.
    """
    console = Console()
    log = assessment.log
    units = log.rope.units
    nominal = length_text(log.rope.nominal_mm, units=units)
    console.print(
        f"{log.rope.identity}, nominal {nominal}: inspection {log.inspection.identity} of "
        f"{log.inspection.on}\n",
        style="bold",
        markup=False,
    )
    parts: list[Table | list[str | Text]] = []
    if assessment.crosscheck.comparisons:
        parts.append(_comparisons_table(assessment))
        parts.append([in_units(_agreement_line(assessment), units)])
    if assessment.findings:
        parts.append(_findings_table(assessment.findings, units))
    for title, own in (("Published limits", False), ("Your own limits", True)):
        verdicts = [one for one in assessment.verdicts if is_own(one.verdict.limit.rule) == own]
        if verdicts:
            parts.append(_verdicts_table(title, verdicts, units))
    if assessment.severities:
        parts.append(severity_table(assessment))
    if assessment.station_histories:
        parts.append(over_time_table(assessment.station_histories, units, assessment.doubted))
    parts.append(
        [
            *(
                in_units(line, units)
                for line in (
                    *_lines(assessment),
                    *further_lines(assessment),
                    *_notes(assessment, read),
                )
            ),
            *(Text(caution, style="italic") for caution in CAUTIONS),
        ]
    )
    print_parts(console, parts)
    # always one line, so that a script can take the last line
    first = assessment.first_line(rejected_words(read.rejected))
    console.print(in_units(first, units), style="bold", markup=False, soft_wrap=True)


def _comparisons_table(assessment: Assessment) -> Table:
    """Return a table of all comparisons, with a column for the gauge if there are several."""
    comparisons, units = assessment.crosscheck.comparisons, assessment.log.rope.units
    several = len({comparison.gauge for comparison in comparisons}) > 1
    named = "" if several else f" ({comparisons[0].gauge})"
    table = new_table(f"Photograph against gauge{named}; U is expanded, k = 2")
    unit = unit_of(units)
    table.add_column("station,\nview", no_wrap=True)
    if several:
        table.add_column("gauge")
    table.add_column("typed", justify="right", no_wrap=True)
    for heading in (f"photo\n{unit}", f"U\n{unit}", f"photo -\ngauge {unit}", f"U\n{unit}", "E_n"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("agreement", no_wrap=True)
    for comparison in comparisons:
        table.add_row(
            f"{comparison.station}, {comparison.view_deg}",
            *((Text(comparison.gauge),) if several else ()),
            Text(comparison.typed + _mark([assessment.entry_mark(comparison.place, "gauge")])),
            *(
                figure(length_mm, units)
                for length_mm in (comparison.photo_mm, 2 * comparison.u_photo_mm)
            ),
            figure(comparison.difference_mm, units, signed=True),
            figure(2 * comparison.u_difference_mm, units),
            f"{comparison.en:+z.2f}",
            comparison.word,
            style=STYLES.get(comparison.word),
        )
    return table


def _agreement_line(assessment: Assessment) -> str:
    agreement = assessment.agreement
    if agreement is None:
        return "Fewer than 3 comparisons: no limits of agreement."
    return (
        f"Mean difference photo - gauge {agreement.bias_mm:+z.3f} mm, limits of agreement "
        f"{agreement.low_mm:+z.2f} to {agreement.high_mm:+z.2f} mm ({agreement.count} comparisons)."
    )


def _findings_table(findings: tuple[Finding, ...], units: Units) -> Table:
    table = new_table("Entries to check, most urgent first")
    table.show_lines = True
    table.add_column("#", justify="right")
    table.add_column("entries", min_width=17)
    table.add_column("finding and action", ratio=1)
    table.add_column("if nothing\nis wrong", max_width=14)
    for number, finding in enumerate(findings, start=1):
        words = (
            f"{finding.seen}\nAction: {finding.remedy}\nPossible innocent cause: {finding.innocent}"
        )
        table.add_row(
            str(number),
            Text(_short(finding.where)),
            Text(in_units(words, units)),
            chance_words(finding.p_value),
        )
    return table


def _verdicts_table(title: str, verdicts: Sequence[PlacedVerdict], units: Units) -> Table:
    """Return a row for each limit and source: its verdicts, and the station nearest to it."""
    unit = unit_of(units)
    table = new_table(f"{title}; a verdict never clears a rope")
    table.add_column("limit", ratio=1, min_width=15)
    for heading in ("source", "stations", "near-\nest"):
        table.add_column(heading, no_wrap=True)
    for heading in (f"figure\n{unit}", f"u\n{unit}", f"limit\n{unit}", f"margin\n{unit}"):
        table.add_column(heading, justify="right", no_wrap=True)
    for (what, source), group in _by_limit(verdicts).items():
        nearest = min(group, key=lambda one: one.verdict.margin_mm)
        counts = _counts(group)
        verdict = nearest.verdict
        bounds = (("min", verdict.limit.low_mm), ("max", verdict.limit.high_mm))
        table.add_row(
            Text(what),
            SOURCES[source],
            "\n".join(
                f"{number} {word}"
                + _mark(one.doubted for one in group if one.verdict.outcome == word)
                for word, number in counts.items()
            ),
            ("rope" if nearest.station is None else str(nearest.station))
            + _mark([nearest.doubted]),
            figure(verdict.value_mm, units),
            figure(verdict.u_mm, units),
            "\n".join(
                f"{word} {figure(bound, units)}" for word, bound in bounds if bound is not None
            ),
            figure(verdict.margin_mm, units, signed=True),
            style=STYLES.get(next(iter(counts))),
        )
    return table


def _by_limit(
    verdicts: Sequence[PlacedVerdict],
) -> dict[tuple[str, Source], list[PlacedVerdict]]:
    groups: dict[tuple[str, Source], list[PlacedVerdict]] = {}
    for verdict in verdicts:
        rule = verdict.verdict.limit.rule
        groups.setdefault((f"{rule.rule_set}, {rule.what}", verdict.source), []).append(verdict)
    return groups


def _mark(doubted: Iterable[object]) -> str:
    return STAR if any(doubted) else ""


def _counts(group: list[PlacedVerdict]) -> dict[str, int]:
    """Return the number of verdicts of each outcome, worst first."""
    outcomes = [one.verdict.outcome for one in group]
    words = ("outside", "undecided", "within")
    return {word: outcomes.count(word) for word in words if word in outcomes}


def _not_applicable(assessment: Assessment) -> list[str]:
    """Return why limits don't apply; limits for the other state of service are only named."""
    service = assessment.log.rope.service
    close: list[NotApplicable] = []
    far: list[NotApplicable] = []
    for inapplicable in assessment.not_applicable:
        (
            far
            if inapplicable.rule.services and service not in inapplicable.rule.services
            else close
        ).append(inapplicable)
    lines = [f"Does not apply: {one.reason}" for one in close]
    if far:
        named = ", ".join(dict.fromkeys(one.rule.rule_set for one in far))
        other = "new ropes" if service == "in-service" else "ropes in service"
        lines.append(f"Limits for {other} do not apply: {named}.")
    return lines


def _lines(assessment: Assessment) -> list[str]:
    checked = assessment.crosscheck
    lines = [f"{refusal.photo_name}: {refused(refusal)}" for refusal in checked.refused]
    lines += [
        f"{one.photo_name}: {one.diameter_mm:.2f} mm, "
        f"{why_not_compared(one, assessment.log.readings)}."
        for one in checked.photos_alone
    ]
    lines += [
        f"{one.place.words}: {one.typed}{assessment.entry_mark(one.place, 'gauge')} was logged, "
        "no photograph to compare it with."
        for one in checked.readings_alone
    ]
    lines += [
        f"{local.words} {LOCAL_GROUND}"
        for local in assessment.local
        if local.outcome == "local decrease"
    ]
    return lines


def _notes(assessment: Assessment, read: Folder) -> list[str]:
    lines = [f"Not complete: {words}" for words in assessment.not_complete]
    if assessment.judged_against_nothing:
        lines.append(NOTHING_APPLIED)
    if assessment.doubts:
        lines.append(
            f'{STAR} or "(doubted)" marks a figure that an entry to be checked puts in doubt.'
        )
    lines += _not_applicable(assessment)
    lines += [f"Assumed or missing: {words}" for words in assessment.not_asked]
    lines += [capitalised(one.words) for one in read.rejected]
    return [*lines, *(f"Note: {note}" for note in (*assessment.notes, *read.notes))]


def _short(where: tuple[str, ...]) -> str:
    shown = "\n".join(where[:4])
    return shown if len(where) <= 4 else f"{shown}\nand {len(where) - 4} more"


GROUPS = {"gauge": "gauge", "person": "person", "print_set": "card set", "camera": "phone"}


def severity_table(assessment: Assessment) -> Table:
    """Return a table of each station's uniform decrease with its severity."""
    table = new_table("Uniform decrease in diameter (ISO 4309:2017), by each station's best figure")
    table.add_column("station", no_wrap=True)
    table.add_column("by", no_wrap=True)
    units = assessment.log.rope.units
    for heading in (f"decrease\n{unit_of(units)}", "% of\nnominal", "u\n%"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("rating", min_width=12)
    table.add_column("severity\n%", justify="right", no_wrap=True)
    table.add_column("could also be", ratio=1)
    for at in assessment.severities:
        one = at.severity
        others = ", ".join(
            f"{band} ({p:.0%})" for band, p in one.spread if band != one.band and p >= 0.05
        )
        table.add_row(
            str(at.station),
            SOURCES[at.source],
            figure(one.decrease_mm, units, signed=True),
            f"{one.decrease_pct:+z.2f}",
            f"{one.u_pct:.2f}",
            at.band,
            str(one.severity_pct),
            others,
        )
    return table


def over_time_table(
    stations: tuple[StationHistory, ...], units: Units = "mm", doubted: Collection[int] = ()
) -> Table:
    """Return a table of each station's rate of loss, and when the next discard limit is reached."""
    table = new_table("Change over the inspections, by gauge; 95 % intervals")
    table.add_column("station")
    table.add_column("inspections", justify="right")
    table.add_column(f"{unit_of(units)} per year", justify="right", no_wrap=True)
    table.add_column("interval", no_wrap=True)
    table.add_column(f"limit {unit_of(units)}", justify="right", no_wrap=True)
    table.add_column("limit\nreached", ratio=1)
    for station in stations:
        name = f"{station.station}{_mark([station.station in doubted])}"
        count = str(len({point.on for point in station.points}))
        if station.line is None:
            table.add_row(name, count, "-", station.why)
            continue
        low, high = station.line.rate_interval
        limit, reached = "-", "no discard limit applies"
        if station.limit is not None:
            limit, reached = figure(station.limit.limit_mm, units), station.limit.when
        table.add_row(
            name,
            count,
            rate_words(station.line.rate_mm_per_year, units),
            f"{rate_words(low, units)} to {rate_words(high, units)}",
            limit,
            reached,
        )
    return table


def further_lines(assessment: Assessment) -> list[str]:
    """Return lines on undecided verdicts, differences between groups, ellipses, lay and grooves."""
    lines = [
        placed.words for placed in assessment.verdicts if placed.verdict.outcome == "undecided"
    ]
    compared = assessment.method_comparison
    if compared is not None:
        lines.append(f"Comparisons: {compared.flags.words}")
        lines += [compared.line_words] if compared.line_words else []
        for group, names in compared.groups.items():
            if len(names) > 1:
                means = [
                    f"{name or 'not named'} "
                    + ("too few" if one is None else f"{one.bias_mm:+z.3f} mm ({one.count})")
                    for name, one in names.items()
                ]
                lines.append(f"Mean difference by {GROUPS[group]}: {'; '.join(means)}.")
    for section in (*assessment.photograph_sections, *assessment.gauge_sections):
        if section.ellipse is not None:
            lines.append(f"Station {section.station}. {section.ellipse.words}")
    lines += lay_words(assessment.lays)
    lines += [fit.words for fit in assessment.groove_fits]
    if any(history.line is not None for history in assessment.station_histories):
        lines.append(NO_CLEARANCE)
    return lines
