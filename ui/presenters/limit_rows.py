"""Sets of limits as rows of a table: each figure can be held against one's own copy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inspection.limits.confirmed import standing_confirmation
from inspection.limits.rules import Rule
from inspection.limits.standards import BAND_EDGES_PCT, BANDS, usual_sets
from inspection.model.confirmation import Confirmation
from inspection.model.rope import Rope

HEADS = ["Limited", "Figure", "For", "Clause"]


def limit_rows(rules: Sequence[Rule]) -> list[list[str]]:
    """Return a row for each rule: what is limited, its figures, the ropes it is for, the clause."""
    return [[rule.what, _figures(rule), _scope(rule), rule.clause] for rule in rules]


def rope_limits(rope: Rope, own: Sequence[Rule], confirmations: Mapping[str, Confirmation]) -> str:
    """Return which sets of limits a rope is held against, and which of them were confirmed."""
    shown = []
    for name in usual_sets(rope):
        sure = standing_confirmation(name, confirmations) is not None
        shown.append(f"{name} ({'confirmed' if sure else 'not confirmed'})")
    shown += [f"{name} (your own)" for name in dict.fromkeys(rule.rule_set for rule in own)]
    return ", ".join(shown)


def band_rows() -> list[list[str]]:
    """Return the table of uniform decrease: a row for each band, a column for each kind of rope."""
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
    told = [
        f"{word} {value:+g} %{base}"
        for word, value in (("least", rule.low_pct), ("most", rule.high_pct))
        if value is not None
    ]
    told += [
        f"{word} {value:g} mm"
        for word, value in (("least", rule.low_mm), ("most", rule.high_mm))
        if value is not None
    ]
    if not told:
        return "no figure is published"
    start = "" if rule.start in ("nominal", "nothing") else f", from the {rule.start} diameter"
    return f"{', '.join(told)}{start}; exactly at it: {rule.at_limit}"


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
