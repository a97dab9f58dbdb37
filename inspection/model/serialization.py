"""Frozen dataclasses as plain values for JSON, and back, for record, files and output alike.

An event is never changed, so reading back is lenient in one direction only: a field that an older
event lacks takes its default.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import MISSING, asdict, fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from inspection.model.loss import LOOK_THERE, MAY_BE_LOSS
from vision.results import Estimate, Finding, Refusal, Result, ScaleSource

JsonObject = dict[str, Any]
Reader = Callable[[Any], Any]
_T = TypeVar("_T")


def canonical(value: Any) -> str:
    r"""Return `value` as canonical JSON: sorted keys, no spaces, ASCII, no NaN or infinity.

    Raises
    ------
    ValueError
        If a number is not finite.

    Examples
    --------
    >>> canonical({"b": 1, "a": "38 ⌀"})
    '{"a":"38 \\u2300","b":1}'
    """
    try:
        return json.dumps(
            value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
        )
    except ValueError as error:
        raise ValueError("a number to be recorded is not finite (NaN or infinity).") from error


def to_dict(thing: Any) -> JsonObject:
    """Return a frozen dataclass as plain values; dates and times in ISO 8601.

    An estimate and a refusal have an "answer" that distinguishes them.

    Examples
    --------
    >>> from inspection.model.rope import Station
    >>> to_dict(Station(2, 41.5))
    {'number': 2, 'position_m': 41.5, 'note': ''}
    """
    values: JsonObject = _plain(asdict(thing))
    if isinstance(thing, Estimate):
        values["answer"] = "estimate"
    elif isinstance(thing, Refusal):
        values["answer"] = "refusal"
    return values


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, date):  # a datetime is a date too
        return value.isoformat()
    return value


def from_dict(kind: type[_T], values: JsonObject) -> _T:
    """Return the dataclass from the values of `to_dict`; unknown names are ignored.

    Parameters
    ----------
    kind : type
        The dataclass. Its fields are plain values, dates, dataclasses, tuples of these, or None.
    values : dict
        Plain values.

    Raises
    ------
    ValueError
        If a field without a default is missing, or a value can't be converted to its type. Numbers
        and texts are not checked: for values from outside see `inspection.model.typed`.

    Examples
    --------
    >>> from inspection.model.rope import Inspection
    >>> from_dict(Inspection, {"identity": "I-1", "rope": "R-1", "on": "2026-11-03"}).on
    datetime.date(2026, 11, 3)
    """
    if not isinstance(values, dict):
        raise ValueError(
            f"a {kind.__name__.lower()} must be an object with named values; got {values!r:.60}."
        )
    lacking = [name for name in _needed(kind) if name not in values]  # type: ignore[arg-type]
    if lacking:
        raise ValueError(f"a {kind.__name__.lower()} needs {' and '.join(lacking)}.")
    if kind is Finding and not {"places", "look_first", "may_be_loss"} <= values.keys():
        values = _older_finding(values) | values
    if kind is Estimate and "scale_source" not in values:
        values = {**values, "scale_source": ScaleSource.of_hold(values.get("hold", ""))}
    given: JsonObject = {}
    for name, reader in _readers(kind).items():  # type: ignore[arg-type]  # a class is hashable
        if name in values:
            try:
                given[name] = values[name] if values[name] is None else reader(values[name])
            except ValueError as wrong:
                raise ValueError(f"in '{name}': {wrong}") from wrong
    return kind(**given)


def result_from_dict(values: JsonObject) -> Result:
    """Return the estimate or refusal from the values of `to_dict`."""
    refused = values.get("answer") == "refusal"
    return from_dict(Refusal, values) if refused else from_dict(Estimate, values)


@cache
def _readers(kind: type) -> dict[str, Reader]:
    hints = get_type_hints(kind)
    return {item.name: _reader(hints[item.name]) or _as_it_is for item in fields(kind)}


@cache
def _needed(kind: type) -> tuple[str, ...]:
    return tuple(
        item.name
        for item in fields(kind)
        if item.default is MISSING and item.default_factory is MISSING
    )


def _as_it_is(value: Any) -> Any:
    return value


@cache
def _reader(hint: Any) -> Reader | None:
    """Return the converter from a plain value to a declared type; None if it needs none."""
    if get_origin(hint) in (Union, UnionType):
        return _reader(next(arg for arg in get_args(hint) if arg is not NoneType))
    if get_origin(hint) is tuple:
        return _tuple_reader(get_args(hint))
    if not isinstance(hint, type):
        return None
    if is_dataclass(hint):
        return lambda values: from_dict(hint, values)
    if issubclass(hint, date):
        return lambda value: _date(hint, value)
    if issubclass(hint, Enum):
        return lambda value: _member(hint, value)
    return None


def _tuple_reader(inner: tuple[Any, ...]) -> Reader:
    """Return the converter from a list to a tuple; other values stay, to be refused later."""
    readers = [_reader(arg) for arg in inner if arg is not Ellipsis]
    if not any(readers):
        return lambda value: tuple(value) if isinstance(value, list | tuple) else value
    each = [reader or _as_it_is for reader in readers]
    endless = inner[-1] is Ellipsis

    def read(value: Any) -> Any:
        if not isinstance(value, list | tuple):
            return value
        if endless:
            return tuple(map(each[0], value))
        return tuple(reader(item) for reader, item in zip(each, value, strict=False))

    return read


def _date(kind: type[date], value: Any) -> date:
    try:
        return kind.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError(
            f"{value!r:.60} is not a {'time' if kind is datetime else 'day'} such as "
            f"{'2026-09-14T10:32:05' if kind is datetime else '2026-09-14'}."
        ) from None


def _member(kind: type[Enum], value: Any) -> Enum:
    try:
        return kind(value)
    except ValueError:
        listed = ", ".join(member.value for member in kind)
        raise ValueError(f"{value!r:.60} is not one of {listed}.") from None


_PLACE = re.compile(r"(?:photograph .* \()?station (\d+)(?:, (\d+) deg)?\)?")


def _older_finding(values: JsonObject) -> JsonObject:
    """Return what older versions recorded of a finding in its words only."""
    lost = str(values.get("remedy", "")).startswith(LOOK_THERE)
    return {
        "places": _places(values.get("where", ())),
        "look_first": lost,
        "may_be_loss": lost or MAY_BE_LOSS in str(values.get("seen", "")),
    }


def _places(where: Any) -> list[JsonObject]:
    """Return the places from the words of a finding, for events before version 5 of the tables."""
    hits = [hit for words in where if (hit := _PLACE.fullmatch(words))]
    return [
        {"station": int(hit[1]), "view_deg": None if hit[2] is None else int(hit[2])}
        for hit in hits
    ]
