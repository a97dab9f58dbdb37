"""Days and times as sheets write them: ISO, 15.09.2026, 15/09/2026; refused where ambiguous."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime

_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?")
_DAY_WITHIN = re.compile(r"(?<![\d.])(?:\d{4}-\d{2}-\d{2}|\d{1,2}([./-])\d{1,2}\1\d{4})(?!\d)")
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
           "October", "November", "December")  # fmt: skip


def read_moment(text: str, *, day_first: bool | None = None) -> datetime:
    """Return the date and time that a text means.

    Parameters
    ----------
    text : str
        ISO 8601, or day, month and year with points, slashes or hyphens, with or without a time.
    day_first : bool or None, optional
        Whether 03/04/2026 is the third of April; None if not known.

    Raises
    ------
    ValueError
        If it is not a date, or could be either of two.

    Examples
    --------
    >>> read_moment("15.09.2026 09:14"), read_moment("09/15/2026").day
    (datetime.datetime(2026, 9, 15, 9, 14), 15)
    >>> read_moment("03/04/2026")
    Traceback (most recent call last):
    ValueError: '03/04/2026' may be 3 April or 4 March 2026: say which comes first, day or month.
    """
    text = text.strip()
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        pass
    found = _DAY.fullmatch(text)
    if found is None:
        raise ValueError(
            f"{text!r} is not a day or time in a known format; write 2026-11-02 or "
            "2026-11-02T09:14."
        )
    one, two, year = int(found[1]), int(found[3]), int(found[4])
    first = True if found[2] == "." else _order(one, two)
    if first is None:
        first = day_first
    if first is None:
        raise ValueError(
            f"{text!r} may be {one} {_MONTHS[two - 1]} or {two} {_MONTHS[one - 1]} {year}: say "
            "which comes first, day or month."
        )
    day, month = (one, two) if first else (two, one)
    try:
        return datetime(
            year, month, day, int(found[5] or 0), int(found[6] or 0), int(found[7] or 0)
        )
    except ValueError:
        raise ValueError(f"{text!r} is not a day of the calendar.") from None


def day_among(texts: Iterable[str], *, day_first: bool | None = None) -> date | None:
    """Return the one day found anywhere in some texts, as in a title; None if there is none.

    Raises
    ------
    ValueError
        If a day is ambiguous, or several are found.

    Examples
    --------
    >>> day_among(["Crane 2, hoist rope, 15.09.2026", "caliper C-07"])
    datetime.date(2026, 9, 15)
    >>> day_among(["held 2026-09-15, gauge due 2027-01-31"])
    Traceback (most recent call last):
    ValueError: there are two days: 2026-09-15 and 2027-01-31.
    """
    found = {
        read_moment(day[0], day_first=day_first).date()
        for text in texts
        for day in _DAY_WITHIN.finditer(text)
    }
    if len(found) > 1:
        one, two, *more = sorted(found)
        count = "two" if not more else str(len(found))
        raise ValueError(f"there are {count} days: {one} and {two}{', ...' if more else ''}.")
    return found.pop() if found else None


def days_come_first(texts: Iterable[str]) -> bool | None:
    """Return whether the days of one table put the day first; None where unclear.

    Examples
    --------
    >>> days_come_first(["03/04/2026", "15/09/2026"]), days_come_first(["03/04/2026"])
    (True, None)
    """
    seen = set()
    for text in texts:
        found = _DAY.fullmatch(text.strip())
        if found is not None and found[2] != "." and found[1] != found[3]:
            seen.add(_order(int(found[1]), int(found[3])))
    seen.discard(None)
    return seen.pop() if len(seen) == 1 else None


def _order(one: int, two: int) -> bool | None:
    """Return whether the first of two numbers must be the day; None if either can be."""
    if one > 12 >= two:
        return True
    if two > 12 >= one:
        return False
    if one == two:
        return True
    return None if max(one, two) <= 12 else True
