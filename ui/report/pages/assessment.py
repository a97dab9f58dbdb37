"""The report's assessment: limits, severity, neighbours, entries to check, earlier inspections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inspection.assessment import Assessment
from inspection.limits.confirmed import confirmation_words, own_words, unconfirmed
from inspection.limits.conformity import DecisionRule, PlacedVerdict
from inspection.limits.outside import beyond_limits, is_own
from inspection.limits.remaining_life import StationHistory
from inspection.limits.rules import Rule
from inspection.limits.standards import RULE_SETS
from inspection.measurement.doubt import DOUBT_MARK, doubt_words
from inspection.measurement.trend import Trend
from inspection.model.confirmation import Confirmation
from inspection.model.loss import LOCAL_GROUND
from inspection.model.rope import Units
from ui.charts.sources import history, limit_lines
from ui.lengths import K, figure, in_units, rate_words, tabled, unit_of
from ui.report.blocks import Block, Drawn, Grid, Heading, Words, without_empty
from ui.report.case import ReportFlag
from ui.report.pages.flag_order import ORDER
from ui.report.pages.measurements import stations_by_hand, stations_without_card
from ui.text import capitalised, chance_words
from vision.results import Finding
from vision.uncertainty import combined_u_mm

UNCONFIRMED = (
    "Limits that nobody has confirmed are shown as stored in this program. Compare them with your "
    "own copy of the document before a decision about a rope depends on them."
)
MOST_HISTORIES = 6  # they fill two pages


def decision_words(rule: DecisionRule) -> str:
    """Return the decision rule as a paragraph."""
    if rule.guard_factor == 0.0:
        return (
            f"Decision rule: {rule.name} ({rule.source}): the figure alone is compared with "
            "the limit; its uncertainty is not taken into account."
        )
    return (
        f'Decision rule: {rule.name} ({rule.source}). "Within" means inside the limit by '
        f'at least {rule.guard_factor:g} standard uncertainties, "outside" beyond it by at least '
        'as much, "undecided" anything between. u includes the uncertainty of the limit itself '
        "where that is based on a measured diameter."
    )


def verdicts(
    assessment: Assessment, rule: DecisionRule, confirmed: Mapping[str, Confirmation]
) -> list[Block]:
    """Return every verdict with its limit, document, edition and who confirmed the limit."""
    blocks: list[Block] = [Words(decision_words(rule))]
    if assessment.doubted:
        where = _named(sorted(assessment.doubted))
        blocks.append(
            Words(
                f"Entries at {where} have to be checked; every figure that they put in doubt is "
                'marked "(doubted)".',
                "strong",
            )
        )
    for stations, what in (
        (stations_by_hand(assessment), "rest on an edge set by hand"),
        (stations_without_card(assessment), "rest on a photograph without the card"),
    ):
        if stations:
            words = f"Figures from photographs at {_named(stations)} {what}."
            blocks.append(Words(words, "strong"))
    if not assessment.verdicts:
        blocks.append(Words("No figure could be compared with a limit."))
        return blocks
    if unconfirmed((one.verdict.limit.rule for one in assessment.verdicts), confirmed):
        blocks.append(Words(UNCONFIRMED, "small"))
    parts = [
        (title, [one for one in assessment.verdicts if is_own(one.verdict.limit.rule) == mine])
        for title, mine in (("Published limits", False), ("Your own limits", True))
    ]
    exceeded = {title: len(beyond_limits(listed)) for title, listed in parts}
    for title, listed in sorted(parts, key=lambda part: not exceeded[part[0]]):
        if listed:
            blocks.append(Heading(title))
            blocks += _by_limit(listed, confirmed, assessment.log.rope.units)
    return blocks


def _by_limit(
    listed: Sequence[PlacedVerdict], confirmed: Mapping[str, Confirmation], units: Units
) -> list[Block]:
    """Return a table for each limit, those exceeded first."""
    blocks: list[Block] = []
    groups: dict[str, list[PlacedVerdict]] = {}
    for verdict in listed:
        of = verdict.verdict.limit.rule
        groups.setdefault(f"{of.rule_set}, {of.what}", []).append(verdict)
    for name, group in sorted(groups.items(), key=lambda item: _first_read(item[1])):
        blocks.append(Heading(capitalised(name), 3))
        blocks.append(Words(_limit_words(group[0], confirmed), "small"))
        rows = tuple(
            (
                "whole rope" if one.station is None else f"station {one.station}",
                one.source,
                tabled(one.verdict.value_mm, units),
                tabled(one.verdict.u_mm, units),
                _bounds(one, units),
                tabled(one.verdict.margin_mm, units, signed=True),
                _chance(one.verdict.p_conform),
                one.verdict.outcome + (DOUBT_MARK if one.doubted else ""),
                _settle(one, units),
            )
            for one in group
        )
        strong = frozenset(
            i for i, one in enumerate(group) if one.verdict.outcome != "within" or one.doubted
        )
        head = (
            "Place",
            "Measured by",
            "Figure (mm)",
            "u (mm)",
            "Limit (mm)",
            "Margin (mm)",
            "Probability of meeting the limit",
            "Verdict",
            "What would decide it",
        )
        widths = (1.4, 1.5, 1, 0.8, 1.5, 1.1, 1.6, 1.2, 2.1)
        right = frozenset({2, 3, 5, 6})
        blocks.append(without_empty(Grid(head, rows, widths, right=right, strong=strong)))
    return blocks


def _named(stations: Sequence[int]) -> str:
    """Return stations by their numbers: "station 3", "stations 3, 6"."""
    numbers = ", ".join(str(number) for number in stations)
    return f"station {numbers}" if len(stations) == 1 else f"stations {numbers}"


def _first_read(group: Sequence[PlacedVerdict]) -> tuple[bool, bool, bool]:
    """Return the sort key of limits: those exceeded first, then those for discard."""
    outcomes = {one.verdict.outcome for one in group}
    return (
        "outside" not in outcomes,
        group[0].verdict.limit.rule.purpose != "discard",
        "undecided" not in outcomes,
    )


def _limit_words(verdict: PlacedVerdict, confirmed: Mapping[str, Confirmation]) -> str:
    limit = verdict.verdict.limit
    rule = limit.rule
    edition = rule.edition or "not named"
    if not edition.startswith("edition"):
        edition = f"edition {edition}"
    parts = [
        f"Source: {rule.source}, {edition}, {rule.clause or 'clause not named'}.",
        _confirmed_words(rule, confirmed),
        f"It applies to the {rule.quantity} ({_PURPOSE[rule.purpose]}).",
    ]
    return " ".join([*parts, limit.note]).strip()


def _confirmed_words(rule: Rule, confirmed: Mapping[str, Confirmation]) -> str:
    """Return whether a limit's figures are confirmed; limits for grooves can't be as yet."""
    if is_own(rule):
        return own_words(rule.rule_set)
    if rule.rule_set in RULE_SETS:
        return confirmation_words(rule.rule_set, confirmed)
    return f"{rule.rule_set}: not confirmed against a copy of the document."


_PURPOSE = {
    "accept": "acceptance of a new rope",
    "discard": "discard",
    "look": "a reason to look closer",
    "fit": "fit of rope and groove",
}


def _bounds(verdict: PlacedVerdict, units: Units) -> str:
    limit = verdict.verdict.limit
    return " and ".join(
        f"{word} {tabled(bound, units)}"
        for word, bound in (("at least", limit.low_mm), ("at most", limit.high_mm))
        if bound is not None
    )


def _chance(p: float) -> str:
    """Return a probability in %, never as 0 or 100.

    Examples
    --------
    >>> _chance(0.9999), _chance(0.5), _chance(0.0)
    ('> 99.9 %', '50.0 %', '< 0.1 %')
    """
    if p > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if p < 0.001 else f"{100 * p:.1f} %"


def _settle(one: PlacedVerdict, units: Units) -> str:
    verdict = one.verdict
    if verdict.settle_u_mm is None:
        return ""
    if verdict.settle_u_mm < 0.0005:
        return "nothing: the figure is at the limit"
    if verdict.limit.u_base_mm > verdict.settle_u_mm:
        return f"a more certain {verdict.limit.rule.start} diameter"
    needed = figure(2 * verdict.settle_u_mm, units, decimals=3)
    return f"U (k = 2) of {needed} {unit_of(units)} or less"


def not_applicable(assessment: Assessment) -> list[Block]:
    """Return every limit that does not apply, with its reason."""
    rows = []
    for inapplicable in assessment.not_applicable:
        name = f"{inapplicable.rule.rule_set}, {inapplicable.rule.what}"
        reason = inapplicable.reason.removeprefix(f"{name}: ")
        rows.append((name, capitalised(reason)))
    if not rows:
        return []
    return [
        Heading("Limits that do not apply, and why", 3),
        Grid(("Limit", "Why it does not apply"), tuple(rows), (2, 5)),
    ]


def wear(assessment: Assessment) -> list[Block]:
    """Return each station's uniform decrease with its severity, and local decreases."""
    units = assessment.log.rope.units
    blocks: list[Block] = []
    rows: list[tuple[str, ...]] = []
    for at in assessment.severities:
        found = at.severity
        others = ", ".join(
            f"{band} {100 * p:.0f} %"
            for band, p in found.spread
            if band != found.band and p >= 0.05
        )
        rows.append(
            (
                str(at.station),
                at.source,
                tabled(found.decrease_mm, units, signed=True),
                f"{found.decrease_pct:+z.2f}",
                f"{found.u_pct:.2f}",
                at.band,
                str(found.severity_pct),
                others,
            )
        )
    if rows:
        blocks.append(Heading("Uniform decrease in diameter and its severity", 3))
        blocks.append(
            Words(
                "By each station's best figure, relative to the reference diameter (ISO "
                "4309:2017). The severity is for this criterion alone; it must be combined with "
                "that of broken wires, corrosion, deformation and the other criteria.",
                "small",
            )
        )
        head = (
            "Station",
            "Measured by",
            "Decrease (mm)",
            "Decrease (% of nominal)",
            "u (% of nominal)",
            "Severity rating",
            "Severity (%)",
            "Could also be",
        )
        table = Grid(
            head, tuple(rows), (1, 1.4, 1.2, 1.5, 1.3, 1.2, 1.6, 2), right=frozenset({2, 3, 4, 6})
        )
        blocks.append(without_empty(table))
    elif assessment.log.rope.service == "in-service":
        why = [
            inapplicable.reason
            for inapplicable in assessment.not_applicable
            if inapplicable.rule.what == "uniform decrease"
        ]
        blocks += [Words(f"No uniform decrease is stated: {one}", "small") for one in why]
    if assessment.local:
        blocks.append(Heading("Each station compared with its neighbours", 3))
        blocks.append(
            Words(
                "A station is called a local decrease if it is thinner than the median of up to "
                "two neighbours on each side by more than 1 % of nominal, beyond the uncertainty. "
                "This rule is the report's own: ISO 4309:2017 speaks of an obvious local decrease "
                "and gives no figure.",
                "small",
            )
        )
        blocks.append(Words(LOCAL_GROUND, "strong"))
        local = tuple(
            (
                str(local.station),
                local.source,
                tabled(local.deficit_mm, units, signed=True),
                f"{local.deficit_pct:+z.1f}",
                tabled(K * local.u_mm, units),
                local.outcome + (DOUBT_MARK if local.doubted else ""),
            )
            for local in assessment.local
        )
        strong = frozenset(
            i for i, one in enumerate(assessment.local) if one.outcome == "local decrease"
        )
        titles = (
            "Station",
            "Measured by",
            "Thinner than its neighbours by (mm)",
            "(% of nominal)",
            "U (mm)",
            "Local decrease?",
        )
        blocks.append(
            Grid(titles, local, (1, 1.4, 2, 1.2, 1, 1.6), right=frozenset({2, 3, 4}), strong=strong)
        )
    return blocks


def flags(shown: Sequence[ReportFlag], level: float) -> list[Block]:
    """Return the entries to check, and how each was closed."""
    if not shown:
        return [
            Words(
                "Screening found no entry to check. It finds only slips and unusual patterns; that "
                "does not clear the rope."
            )
        ]
    rows = []
    for number, one in enumerate(shown, start=1):
        finding = one.finding
        settled = "Open: not closed yet."
        if one.settled_by:
            settled = f"Closed by {one.settled_by}, {minute(one.settled_at)}: {one.settled_how}"
        if not one.current:
            settled += " No longer found in the current entries."
        where = "; ".join(finding.where[:6])
        if len(finding.where) > 6:
            where += f" and {len(finding.where) - 6} more"
        innocent = f" Possible innocent cause: {finding.innocent}" if finding.innocent else ""
        words = f"{finding.remedy}{innocent}"
        rows.append(
            (
                str(number),
                where,
                f"{finding.seen} Action: {words}",
                _chance_of(finding),
                settled,
            )
        )
    strong = frozenset(i for i, one in enumerate(shown) if not one.settled_by)
    head = (
        "No.",
        "Entries",
        "Finding and action",
        "Probability if nothing is wrong",
        "How it was closed",
    )
    return [
        Words(
            f"{ORDER} A log with nothing wrong in it raises any finding at all with a "
            f"probability of {100 * level:g} %. No finding accuses anybody.",
            "small",
        ),
        Grid(head, tuple(rows), (0.5, 1.5, 4.2, 1.3, 2.7), strong=strong),
    ]


def _chance_of(finding: Finding) -> str:
    """Return how often chance alone gives such a finding, where that was calculated."""
    return "not calculated" if finding.p_value is None else chance_words(finding.p_value)


def minute(at: str) -> str:
    """Return a time of the record, to the minute."""
    return f"{at[:16].replace('T', ' ')} UTC" if at else "no time"


def earlier(assessment: Assessment) -> list[Block]:
    """Return each station's gauge readings over the inspections, with the fitted line if any.

    They are the assessment's own, so that report and pages agree. The stations that lose most are
    drawn; the tables have all.
    """
    if not assessment.log.earlier:
        return []
    units = assessment.log.rope.units
    histories = assessment.station_histories
    if not histories:
        return [
            Words("At earlier inspections no station was measured in two directions: no history.")
        ]
    rows = [
        (
            str(one.station),
            point.on.isoformat(),
            tabled(point.mean_mm, units),
            tabled(K * combined_u_mm(point.budget), units),
        )
        for one in histories
        for point in one.points
    ]
    head = ("Station", "Date", "Mean by gauge (mm)", "U (mm)")
    table = Grid(head, tuple(rows), (1, 1.6, 2, 1.2), right=frozenset({2, 3}))
    lined = [(one, one.line) for one in histories if one.line is not None]
    if not lined:
        few = Words("A rate of loss needs inspections on at least 3 days.", "small")
        return [table, few]
    limits = limit_lines(verdict.verdict.limit for verdict in assessment.verdicts)
    fastest = sorted(lined, key=lambda pair: pair[1].rate_mm_per_year)[:MOST_HISTORIES]
    drawn = [
        Drawn(history(one.station, line, limits=limits), _line_words(one, line, assessment))
        for one, line in lined
        if (one, line) in fastest
    ]
    return [_rates(lined, assessment), table, *drawn]


def _rates(lined: Sequence[tuple[StationHistory, Trend]], assessment: Assessment) -> Grid:
    """Return the change in diameter of every station that has a line."""
    units = assessment.log.rope.units
    rows = []
    for one, line in lined:
        low, high = line.rate_interval
        loss = "shown (95 %)" if line.loses else "not shown (95 %)"
        doubted = assessment.mark(one.station)
        rows.append(
            (str(one.station), rate_words(line.rate_mm_per_year, units),
             f"{rate_words(low, units)} to {rate_words(high, units)}", loss + doubted,
             "" if one.limit is None else one.limit.words)
        )  # fmt: skip
    head = ("Station", "Change (mm per year)", "95 % interval", "Loss", "When a limit is reached")
    strong = frozenset(i for i, (_, line) in enumerate(lined) if line.loses)
    widths = (0.8, 1.2, 1.5, 1.6, 4)
    return without_empty(Grid(head, tuple(rows), widths, right=frozenset({1}), strong=strong))


def _line_words(one: StationHistory, line: Trend, assessment: Assessment) -> str:
    low, high = line.rate_interval
    loses = "A loss is shown with 95 % confidence."
    if not line.loses:
        loses = "No loss is shown with 95 % confidence; it is not ruled out either."
    units = assessment.log.rope.units
    doubt = in_units(doubt_words(assessment.doubts_at(one.station), "gauge"), units)
    caveat = f" {doubt}" if doubt else ""
    return (
        f"Station {one.station}, by the gauge: {rate_words(line.rate_mm_per_year, units)} "
        f"{unit_of(units)} per year (95 % interval {rate_words(low, units)} to "
        f"{rate_words(high, units)} {unit_of(units)} per year). {loses} Bars: U (k = 2); "
        "shaded: where a new reading with the uncertainty of the last is expected (95 %), if wear "
        f"continues at the same rate.{caveat}"
    )
