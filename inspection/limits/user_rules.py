"""The user's own limits: rules in a JSON file, in the same form as the published ones.

A file is a list of objects with the fields of `inspection.limits.rules.Rule`. Five are required:
`rule_set`, `what`, `quantity`, `purpose` and `source`; and at least one of `low_pct`,
`high_pct`, `low_mm`, `high_mm`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, get_args

from inspection.limits.rules import ENTERED, Base, Purpose, Rule, SizeEdge
from inspection.model.quantity import Quantity
from inspection.model.rope import Build, Core, Duty, Service, Tension

_NEEDED = ("rule_set", "what", "quantity", "purpose", "source")
_FIGURES = ("low_pct", "high_pct", "low_mm", "high_mm")
_NUMBERS = (*_FIGURES, "from_mm", "to_mm", "size_slack_mm")
_ONE_OF: dict[str, tuple[str, ...]] = {
    "quantity": get_args(Quantity),
    "purpose": get_args(Purpose),
    "start": get_args(Base),
    "percent_of": get_args(Base),
    "at_limit": ("inside", "outside"),
    "size_edge": get_args(SizeEdge),
}
_SOME_OF: dict[str, tuple[str, ...]] = {
    "cores": get_args(Core),
    "builds": get_args(Build),
    "duties": get_args(Duty),
    "services": get_args(Service),
    "tensions": get_args(Tension),
}


def rules_from_json(text: str) -> tuple[Rule, ...]:
    """Return the user's rules from the text of a JSON file.

    Raises
    ------
    ValueError
        One sentence: which rule, which field, what was found and what is allowed.

    Examples
    --------
    >>> rule, = rules_from_json('[{"rule_set": "Site 4", "what": "least diameter", '
    ...     '"quantity": "mean diameter", "purpose": "discard", "source": "site rule 4.2", '
    ...     '"start": "nothing", "low_mm": 38.5}]')
    >>> rule.low_mm, rule.sure
    (38.5, 'entered by the user')
    """
    try:
        listed = json.loads(text)
    except json.JSONDecodeError as error:
        raise ValueError(
            f"the limits are not JSON (line {error.lineno}, column {error.colno}): correct the "
            "file there."
        ) from error
    except RecursionError:
        raise ValueError("the limits are nested too deeply: make the file a plain list.") from None
    if not isinstance(listed, list):
        raise ValueError("the limits must be a JSON list of objects: put them in [ ].")
    return tuple(_rule(number, row) for number, row in enumerate(listed, start=1))


def _rule(number: int, row: object) -> Rule:
    if not isinstance(row, Mapping):
        raise ValueError(f"limit {number} must be a JSON object in {{ }}; got {row!r}.")
    known = {field.name for field in fields(Rule)}
    for name in row:
        if name not in known:
            raise ValueError(f"limit {number} has an unknown field '{name}': remove it.")
    for name in _NEEDED:
        if not isinstance(row.get(name), str) or not row[name]:
            raise ValueError(f"limit {number} needs '{name}', as text.")
    values: dict[str, Any] = {"edition": "", "clause": "", "sure": ENTERED, **row}
    for name in _NUMBERS:
        if values.get(name) is not None:
            values[name] = _number(number, name, values[name])
    for name, choices in _ONE_OF.items():
        if name in values and values[name] not in choices:
            raise ValueError(
                f"limit {number}: '{name}' must be one of {', '.join(choices)}; "
                f"got {values[name]!r}."
            )
    for name, choices in _SOME_OF.items():
        if name in values:
            chosen = values[name]
            if not isinstance(chosen, list) or any(choice not in choices for choice in chosen):
                raise ValueError(
                    f"limit {number}: '{name}' must be a list of some of {', '.join(choices)}; "
                    f"got {chosen!r}."
                )
            values[name] = tuple(chosen)
    if "ropes" in values:
        named = values["ropes"]
        if not isinstance(named, list) or not all(isinstance(one, str) and one for one in named):
            raise ValueError(f"limit {number}: 'ropes' must be a list of names; got {named!r:.60}.")
        values["ropes"] = tuple(named)
    for name in ("edition", "clause", "sure", "note"):
        if name in values and not isinstance(values[name], str):
            raise ValueError(f"limit {number}: '{name}' must be text; got {values[name]!r}.")
    if not isinstance(values.get("plain_winding", False), bool):
        raise ValueError(f"limit {number}: 'plain_winding' must be true or false.")
    if not isinstance(values.get("fibre_centred"), bool | None):
        raise ValueError(f"limit {number}: 'fibre_centred' must be true, false or null.")
    if all(values.get(name) is None for name in _FIGURES):
        raise ValueError(f"limit {number} has no figure: give one of {', '.join(_FIGURES)}.")
    return Rule(**values)


def _number(number: int, name: str, value: object) -> float:
    message = f"limit {number}: '{name}' must be a number; got {value!r:.60}."
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(message)
    try:
        figure = float(value)
    except OverflowError:
        raise ValueError(message) from None
    if not math.isfinite(figure):
        raise ValueError(message)
    return figure
