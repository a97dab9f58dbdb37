"""Sets of limits as table rows, so that each figure can be compared with your own copy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inspection.limits.confirmed import standing_confirmation
from inspection.limits.outside import is_own
from inspection.limits.rules import NotApplicable, Rule
from inspection.limits.standards import BAND_EDGES_PCT, BANDS, limits_for, usual_sets
from inspection.model.confirmation import Confirmation
from inspection.model.rope import Rope
from ui.lengths import length_text

HEADS = ["Applies to", "Quantity", "Limit", "Clause"]


def limit_rows(rules: Sequence[Rule]) -> list[list[str]]:
    """Return a row for each rule: its ropes, what it limits, its figures, its clause."""
    return [[_scope(rule), rule.what, _figures(rule), rule.clause] for rule in rules]


def rope_limits(rope: Rope, own: Sequence[Rule], confirmations: Mapping[str, Confirmation]) -> str:
    """Return the sets of limits a rope is checked against, and whether each is confirmed."""
    rows, _ = rope_limit_rows(rope, own, confirmations)
    known = {name: state for name, _, _, state in rows}
    words = {"yes": "confirmed", "no": "not confirmed"}
    shown = [f"{name} ({words.get(state, state)})" for name, state in known.items()]
    if not shown:
        return "no limits: see Limits for the reasons"
    return ", ".join(shown)


ROPE_HEADS = ["Set", "Quantity", "Limit", "Confirmed"]
OWN_HEADS = ["Set", "Quantity", "Limit", "Ropes", "Source"]


def rope_limit_rows(
    rope: Rope, own: Sequence[Rule], confirmations: Mapping[str, Confirmation]
) -> tuple[list[list[str]], list[str]]:
    """Return the limits of one rope as rows in its own units, and why the others don't apply."""
    rows, reasons = [], []
    for limit in limits_for(rope, rule_sets=usual_sets(rope), own=own):
        if isinstance(limit, NotApplicable):
            reasons.append(limit.reason)
            continue
        rule = limit.rule
        bounds = [
            f"{word} {length_text(value, units=rope.units)}"
            for word, value in (("at least", limit.low_mm), ("at most", limit.high_mm))
            if value is not None
        ]
        confirmed = standing_confirmation(rule.rule_set, confirmations)
        state = "your own" if is_own(rule) else "yes" if confirmed else "no"
        rows.append([rule.rule_set, rule.what, " and ".join(bounds), state])
    return rows, reasons


def own_rows(sets: Mapping[str, Sequence[Rule]]) -> list[list[str]]:
    """Return your own limits as rows; a withdrawn set is marked as such."""
    rows = []
    for name, rules in sets.items():
        if not rules:
            rows.append([name, "withdrawn", "", "", ""])
        rows += [
            [name, rule.what, _figures(rule), ", ".join(rule.ropes) or "all", rule.source]
            for rule in rules
        ]
    return rows


def band_rows() -> list[list[str]]:
    """Return the table of uniform decrease: one row per band, one column per kind of rope."""
    kinds = list(BAND_EDGES_PCT)
    rows = []
    for at, (name, pct) in enumerate(BANDS):
        cells = [f"{name}, {pct} %"]
        for kind in kinds:
            edges = BAND_EDGES_PCT[kind]
            if at == 0:
                cells.append(f"below {edges[0]:g} %")
            elif at == len(BANDS) - 1:
                cells.append(f"{edges[-1]:g} % and more")
            else:
                cells.append(f"{edges[at - 1]:g} to below {edges[at]:g} %")
        rows.append(cells)
    return rows


def band_heads() -> list[str]:
    """Return the headings of `band_rows`."""
    return ["Severity", *(kind.capitalize() for kind in BAND_EDGES_PCT)]


def _figures(rule: Rule) -> str:
    base = "" if rule.percent_of == "nothing" else f" of {rule.percent_of}"
    bounds = [
        words
        for words in (
            _between(rule.low_pct, rule.high_pct, " %", signed=True),
            _between(rule.low_mm, rule.high_mm, " mm", signed=False),
        )
        if words
    ]
    if not bounds:
        return "no published figure"
    start = "" if rule.start in ("nominal", "nothing") else f", from the {rule.start} diameter"
    return f"{', '.join(bounds)}{base}{start}"


def _between(low: float | None, high: float | None, unit: str, *, signed: bool) -> str:
    """Return bounds in words.

    Examples
    --------
    >>> _between(0.0, 8.0, " %", signed=True), _between(None, 7.0, " mm", signed=False)
    ('0 % to +8 %', 'at most 7 mm')
    """
    shown = [
        "" if value is None else f"{value:+g}" if signed and value else f"{value:g}"
        for value in (low, high)
    ]
    if all(shown):
        return f"{shown[0]}{unit} to {shown[1]}{unit}"
    word = "at least" if shown[0] else "at most"
    return f"{word} {shown[0] or shown[1]}{unit}" if any(shown) else ""


def at_the_edge(rules: Sequence[Rule]) -> str:
    """Return how a figure exactly at its limit is judged, in one sentence."""
    by_verdict: dict[str, list[str]] = {}
    for rule in rules:
        by_verdict.setdefault(rule.at_limit, []).append(rule.what)
    if len(by_verdict) == 1:
        return f"A figure exactly at its limit is {next(iter(by_verdict))}."
    parts = (
        f"{word} for the {', '.join(dict.fromkeys(what))}" for word, what in by_verdict.items()
    )
    return f"A figure exactly at its limit is {'; '.join(parts)}."


def _scope(rule: Rule) -> str:
    parts = []
    if rule.from_mm is not None or rule.to_mm is not None:
        over = "over " if rule.size_edge == "(]" else "from "
        below = "below " if rule.size_edge == "[)" else ""
        low = "" if rule.from_mm is None else f"{over}{rule.from_mm:g} "
        high = "" if rule.to_mm is None else f"to {below}{rule.to_mm:g} "
        parts.append(f"{low}{high}mm")
    for chosen in (rule.services, rule.builds, rule.cores, rule.duties):
        if chosen:
            parts.append(" or ".join(one for one in chosen if one != "general"))
    if rule.fibre_centred is not None:
        parts.append("fibre centres" if rule.fibre_centred else "no fibre centres")
    if rule.plain_winding:
        parts.append("single-layer drum, steel sheaves, no crossover")
    return "; ".join(part for part in parts if part) or "all ropes"
