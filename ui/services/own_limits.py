"""The user's own limits, which a record keeps and applies beside the published ones."""

from __future__ import annotations

import json
from collections.abc import Sequence

from inspection.limits.rules import Rule
from inspection.limits.user_rules import rules_from_json
from inspection.record.limits import keep_own_limits, kept_own_limits
from inspection.record.record import Record


def own_sets(record: Record) -> dict[str, tuple[Rule, ...]]:
    """Return the sets of the user's own limits that the record keeps; a withdrawn one is empty.

    Raises
    ------
    ValueError
        If one can no longer be read.
    """
    return {
        name: rules_from_json(json.dumps(values["rules"])) if values["rules"] else ()
        for name, values in kept_own_limits(record).items()
    }


def own_rules(record: Record) -> tuple[Rule, ...]:
    """Return all of the user's own limits that the record keeps."""
    return tuple(rule for rules in own_sets(record).values() for rule in rules)


def keep_rules(record: Record, name: str, text: str, *, by: str, why: str = "") -> int:
    """Save a set of limits from the text of a JSON file, and return how many there are.

    Raises
    ------
    ValueError
        If they can't be read, or the record can't be written.
    """
    rules = rules_from_json(text)
    keep_own_limits(record, name, {"rules": json.loads(text)}, by=by, why=why)
    return len(rules)


def one_rule(
    rule_set: str,
    what: str,
    source: str,
    *,
    least_mm: float | None,
    least_pct: float | None,
    ropes: Sequence[str] = (),
) -> str:
    """Return the text of the simplest set: a least mean diameter, or a greatest decrease.

    Parameters
    ----------
    rule_set, what, source : str
        Name of the set, what it limits, and its source.
    least_mm : float or None
        Least mean diameter, mm.
    least_pct : float or None
        Largest decrease from the nominal diameter, %.
    ropes : sequence of str, optional
        The ropes it applies to; all if none is named.

    Raises
    ------
    ValueError
        If not exactly one of the two figures is given.
    """
    if (least_mm is None) == (least_pct is None):
        raise ValueError("give either the minimum mean diameter or the maximum decrease.")
    rule: dict[str, object] = {
        "rule_set": rule_set,
        "what": what,
        "quantity": "mean diameter",
        "purpose": "discard",
        "source": source,
    }
    if least_mm is not None:
        rule |= {"start": "nothing", "low_mm": least_mm}
    else:
        rule |= {"start": "nominal", "percent_of": "nominal", "low_pct": -float(least_pct or 0.0)}
    if ropes:
        rule["ropes"] = list(ropes)
    return json.dumps([rule])
