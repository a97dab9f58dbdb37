"""Whether the figures of a set of limits were confirmed, by whom, and against which copy.

The program's figures come from public copies and from memory. Whoever owns the document compares
them with it once; until then every report says that nobody has.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict

from inspection.limits.rules import Rule
from inspection.limits.standards import BAND_EDGES_PCT, ISO_4309_2017, RULE_SETS
from inspection.model.confirmation import Confirmation

# Fields that only describe a rule: rewording them changes no figure. Published sets name no ropes.
_WORDS = ("source", "sure", "note", "ropes")


def figures_of(rule_set: str) -> str:
    """Return a fingerprint of a published set's figures; it changes with any of them.

    Raises
    ------
    ValueError
        If the set is not known.
    """
    if rule_set not in RULE_SETS:
        raise ValueError(f"'{rule_set}' is not a known set of limits.")
    rules = [
        {name: value for name, value in asdict(rule).items() if name not in _WORDS}
        for rule in RULE_SETS[rule_set]
    ]
    bands = BAND_EDGES_PCT if set(RULE_SETS[rule_set]) & set(ISO_4309_2017) else {}
    text = json.dumps([rules, bands], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def standing_confirmation(
    rule_set: str, confirmations: Mapping[str, Confirmation]
) -> Confirmation | None:
    """Return the confirmation of a set's current figures; None where there is none."""
    known = confirmations.get(rule_set)
    if known is None or rule_set not in RULE_SETS or known.figures != figures_of(rule_set):
        return None
    return known


def confirmation_words(rule_set: str, confirmations: Mapping[str, Confirmation]) -> str:
    """Return one sentence saying whether a set's figures were confirmed, for pages and reports.

    Examples
    --------
    >>> confirmation_words("EN 12385-4", {})
    'EN 12385-4: not confirmed against a copy of the document.'
    """
    if rule_set not in RULE_SETS:
        return own_words(rule_set)
    standing = standing_confirmation(rule_set, confirmations)
    if standing is not None:
        return (
            f"{rule_set}: confirmed against a copy of the document ({standing.copy}) by "
            f"{standing.person} on {standing.on.isoformat()}."
        )
    if rule_set in confirmations:
        return (
            f"{rule_set}: not confirmed. The figures in this program have changed since "
            f"{confirmations[rule_set].person} compared them on {confirmations[rule_set].on}."
        )
    return f"{rule_set}: not confirmed against a copy of the document."


def own_words(rule_set: str) -> str:
    """Return the sentence about your own limits; no confirmation of a published set covers them."""
    return f"{rule_set}: entered by the user, not a published limit of this program."


def unconfirmed(rules: Iterable[Rule], confirmations: Mapping[str, Confirmation]) -> list[str]:
    """Return the published sets among the rules whose figures nobody has confirmed."""
    named = dict.fromkeys(rule.rule_set for rule in rules)
    return [
        name
        for name in named
        if name in RULE_SETS and standing_confirmation(name, confirmations) is None
    ]
