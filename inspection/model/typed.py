"""Whether a dataclass holds what its annotations say, for whatever comes in from outside.

A dataclass accepts any value for any field. The contents of a file are checked here once, on
entry, so that no text is used where a number is needed.
"""

from __future__ import annotations

import math
import types
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from functools import cache
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

_KINDS: dict[Any, str] = {
    str: "a text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    date: "a day",
    datetime: "a time",
    type(None): "null",
}


def check_types(thing: Any) -> None:
    """Refuse a dataclass with a field, at any depth, that does not match its type.

    Raises
    ------
    ValueError
        One sentence with the field, its value and what it should be.

    Examples
    --------
    >>> from inspection.model.rope import Groove, Rope
    >>> check_types(Rope("hoist 1", 22.0, grooves=(Groove("drum", "12,1"),)))
    Traceback (most recent call last):
    ValueError: 'grooves[0].radius_mm' is '12,1'; it must be a number in mm.
    """
    _check_fields(thing, "")


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _check_fields(thing: Any, inside: str) -> None:
    hints = _hints(cast(Any, type(thing)))
    for field in fields(thing):
        _check(getattr(thing, field.name), hints[field.name], f"{inside}{field.name}")


def _check(value: Any, hint: Any, name: str) -> None:
    options = get_args(hint) if get_origin(hint) in (Union, types.UnionType) else (hint,)
    for option in options:
        if _fits(value, option, name):
            return
    unit = " in mm" if name.endswith("_mm") else ""
    wanted = " or ".join(_words(option) + (unit if option is float else "") for option in options)
    raise ValueError(f"'{name}' is {_shown(value)}; it must be {wanted}.")


def _fits(value: Any, hint: Any, name: str) -> bool:
    """Return whether a value is of a type, checking inside tuples and dataclasses."""
    origin, parts = get_origin(hint), get_args(hint)
    if origin is Literal:
        return any(type(value) is type(part) and value == part for part in parts)
    if origin is tuple:
        if not isinstance(value, tuple):
            return False
        if parts[1:] != (Ellipsis,):
            if len(value) != len(parts):
                return False
        else:
            parts = parts[:1] * len(value)
        for at, (item, part) in enumerate(zip(value, parts, strict=True)):
            _check(item, part, f"{name}[{at}]")
        return True
    if is_dataclass(hint):
        if not isinstance(value, hint):  # type: ignore[arg-type]
            return False
        _check_fields(value, f"{name}.")
        return True
    if type(value) is int and abs(value) >= 2**63:  # no database can store it
        return False
    if hint is float:
        return type(value) in (int, float) and math.isfinite(value)
    if hint is date:
        return type(value) is date
    return type(value) is hint


def _words(hint: Any) -> str:
    if get_origin(hint) is Literal:
        return f"one of {', '.join(map(str, get_args(hint)))}"
    if get_origin(hint) is tuple:
        parts = get_args(hint)
        return "a list" if parts[1:] == (Ellipsis,) else f"a list of {len(parts)}"
    if isinstance(hint, type) and issubclass(hint, Enum):
        return f"one of {', '.join(str(one.value) for one in hint)}"
    return _KINDS.get(hint, "a group of named values")


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
