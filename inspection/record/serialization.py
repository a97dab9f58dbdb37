"""The trade's types as plain values for JSON, and back.

An event keeps what it says for ever, so reading back is forgiving in one direction only: a
field that an older event lacks takes its default.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable
from dataclasses import asdict, fields
from datetime import date, datetime
from typing import Any, TypeVar

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from vision.results import Estimate, Finding, Marks, Refusal, Result
from vision.uncertainty import Term

JsonObject = dict[str, Any]
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


def same_person(one: str, other: str) -> bool:
    """Say whether two names are one person's: capitals, spaces and letter forms don't matter.

    Examples
    --------
    >>> same_person("A. Berg", "a.  berg")
    True
    """
    words = [unicodedata.normalize("NFKC", name).casefold().split() for name in (one, other)]
    return words[0] == words[1]


def to_dict(thing: Any) -> JsonObject:
    """Return a frozen dataclass as plain values; dates and times in ISO 8601.

    Examples
    --------
    >>> plain(Station(2, 41.5))
    {'number': 2, 'position_m': 41.5, 'note': ''}
    """
    made: JsonObject = _dated(asdict(thing))
    if isinstance(thing, Estimate):
        made["answer"] = "estimate"
    elif isinstance(thing, Refusal):
        made["answer"] = "refusal"
    return made


def _dated(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _dated(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_dated(item) for item in value]
    if isinstance(value, date):  # a datetime is a date too
        return value.isoformat()
    return value


def _build(kind: type[_T], values: JsonObject, **convert: Callable[[Any], Any]) -> _T:
    known = {item.name for item in fields(kind)}  # type: ignore[arg-type]
    given = {key: _tupled(value) for key, value in values.items() if key in known}
    for key, function in convert.items():
        if given.get(key) is not None:
            given[key] = function(values[key])
    return kind(**given)


def _tupled(value: Any) -> Any:
    return tuple(_tupled(item) for item in value) if isinstance(value, list) else value


def _each(function: Callable[[JsonObject], _T]) -> Callable[[list[JsonObject]], tuple[_T, ...]]:
    return lambda values: tuple(function(value) for value in values)


def rope_from_dict(values: JsonObject) -> Rope:
    """Return the rope that `plain` took apart."""
    grooves = _each(lambda value: _build(Groove, value))
    return _build(Rope, values, reference_on=date.fromisoformat, grooves=grooves)


def gauge_from_dict(values: JsonObject) -> Gauge:
    """Return the gauge that `plain` took apart."""
    return _build(Gauge, values, calibration_due=date.fromisoformat)


def inspection_from_dict(values: JsonObject) -> Inspection:
    """Return the inspection that `plain` took apart."""
    stations = _each(lambda value: _build(Station, value))
    return _build(Inspection, values, on=date.fromisoformat, stations=stations)


def reading_from_dict(values: JsonObject) -> Reading:
    """Return the reading that `plain` took apart."""
    return _build(Reading, values, at=datetime.fromisoformat)


def finding_from_dict(values: JsonObject) -> Finding:
    """Return the finding that `plain` took apart."""
    return _build(Finding, values)


def result_from_dict(values: JsonObject) -> Result:
    """Return the estimate or the refusal that `plain` took apart."""
    findings = _each(finding_from_dict)
    if values.get("answer") == "refusal":
        return _build(Refusal, values, findings=findings, taken_at=datetime.fromisoformat)
    return _build(
        Estimate,
        values,
        findings=findings,
        budget=_each(lambda value: _build(Term, value)),
        pitch_budget=_each(lambda value: _build(Term, value)),
        taken_at=datetime.fromisoformat,
        marks=lambda value: _build(Marks, value),
    )


def checked_name(text: str, what: str) -> str:
    """Return `text` if it can name something in a record, else say why not.

    Raises
    ------
    ValueError
        If it is empty, longer than 200 characters, padded with spaces, or holds a control
        character.

    Examples
    --------
    >>> checked_name("crane 3", "rope")
    'crane 3'
    """
    if not text or text != text.strip():
        raise ValueError(f"the {what} needs a name without spaces around it; got {text!r}.")
    if len(text) > 200:
        raise ValueError(f"the name of the {what} has {len(text)} characters; 200 is the most.")
    if any(ord(letter) < 32 or ord(letter) == 127 for letter in text):
        raise ValueError(f"the name of the {what} holds a control character: {text!r}.")
    checked_text(text)
    return text


_NOT_KEPT = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


def checked_text(value: Any) -> None:
    """Raise ValueError if a text anywhere in `value` can't be kept by every database.

    Control characters other than new line and tab, and lone surrogates, can't.
    """
    if isinstance(value, str):
        wrong = _NOT_KEPT.search(value)
        if wrong is not None:
            what = "is not valid Unicode" if wrong[0] >= "\ud800" else "holds a control character"
            raise ValueError(f"a text to be recorded {what}: {value[:60]!r}.")
    elif isinstance(value, dict):
        for key, item in value.items():
            checked_text(key)
            checked_text(item)
    elif isinstance(value, list | tuple):
        for item in value:
            checked_text(item)
