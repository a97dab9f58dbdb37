"""Limits that figures are outside of, in one sentence; and which limits are your own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from inspection.limits.conformity import PlacedVerdict
from inspection.limits.rules import ENTERED, Rule
from inspection.limits.standards import RULE_SETS

NAMED = 3  # limits named in the sentence; further ones are counted
PURPOSES = ("discard", "accept")  # the most severe first; others only ask for a closer look
PUBLISHED = frozenset(rule for rules in RULE_SETS.values() for rule in rules)
OF_GROOVES = ("ISO 16625", "handbook")  # published, too; figured from the groove


def is_own(rule: Rule) -> bool:
    """Return whether a limit is one that the site or the rope's maker sets, whatever its name."""
    return rule.sure == ENTERED or (rule not in PUBLISHED and rule.rule_set not in OF_GROOVES)


def beyond_limits(verdicts: Iterable[PlacedVerdict]) -> list[PlacedVerdict]:
    """Return the verdicts outside a limit for discard or acceptance, the most severe first."""
    outside = [
        one
        for one in verdicts
        if one.verdict.outcome == "outside" and one.verdict.limit.rule.purpose in PURPOSES
    ]
    return sorted(
        outside,
        key=lambda one: (PURPOSES.index(one.verdict.limit.rule.purpose), one.verdict.margin_mm),
    )


def outside_words(verdicts: Sequence[PlacedVerdict], told: PlacedVerdict | None = None) -> str:
    """Return every limit that a figure is outside of, as one sentence; empty without any.

    Parameters
    ----------
    verdicts : sequence of PlacedVerdict
        All verdicts of an inspection.
    told : PlacedVerdict or None, optional
        A verdict already told: its limit is left out at its station.
    """
    groups: dict[Rule, list[PlacedVerdict]] = {}
    for one in beyond_limits(verdicts):
        rule = one.verdict.limit.rule
        same = told is not None and told.verdict.limit.rule == rule
        if not (same and told is not None and told.station == one.station):
            groups.setdefault(rule, []).append(one)
    if not groups:
        return ""
    named = [_words(group) for group in list(groups.values())[:NAMED]]
    if len(groups) > NAMED:
        named.append(f"and {len(groups) - NAMED} more")
    count = "a limit" if len(groups) == 1 else f"{len(groups)} limits"
    return f"{'Also outside' if told is not None else 'Outside'} {count}: {'; '.join(named)}."


def _words(group: Sequence[PlacedVerdict]) -> str:
    worst = group[0]
    limit = worst.verdict.limit
    own = "your own " if is_own(limit.rule) else ""
    bounds = [
        f"{word} {bound:.2f} mm"
        for word, bound in (("at least", limit.low_mm), ("at most", limit.high_mm))
        if bound is not None
    ]
    where = "for the whole rope" if worst.station is None else f"at station {worst.station}"
    others = len({one.station for one in group} - {worst.station})
    more = f", and at {others} more station{'s' * (others > 1)}" if others else ""
    by = "by gauge" if worst.source == "gauge" else "by photographs"
    scope = "; the table does not apply there" if worst.out_of_scope else ""
    return (
        f"{own}{limit.rule.rule_set}, {limit.rule.what} ({' and '.join(bounds)}): "
        f"{worst.verdict.value_mm:.2f} mm {where}, {by}{scope}{more}"
    )
