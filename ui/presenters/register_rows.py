"""The rope register as rows: contents, order and search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from inspection.measurement.doubt import DOUBT_MARK
from inspection.record.overview.examinations import RegisteredRope
from ui.lengths import diameter_words, short_length, signed_length
from ui.text import as_minus

Order = Literal["urgency", "name", "severity", "next due", "last inspected"]
ORDERS: tuple[Order, ...] = get_args(Order)
NOT_EXAMINED = "not examined yet"
NOTHING = "nothing measured"


@dataclass(frozen=True, slots=True)
class RegisterRow:
    """One row of the register, as text.

    Parameters
    ----------
    rope : str
        Name of the rope.
    nominal, diameter, trend : str
        In the rope's own units; the diameter is the worst station's with U.
    decrease_pct : float or None
        From the reference diameter, % of nominal.
    severity : str
        Of that decrease; before it, that section may be lost anywhere on the rope.
    station : int or None
        The worst station.
    on, next_due : date or None
        Dates of the latest and the next inspection.
    overdue : bool
        Whether the due date has passed.
    open_findings : int
        Number of entries to check.
    state : str
        State of the latest inspection.
    inspection : str
        The latest inspection; empty if there is none.
    """

    rope: str
    nominal: str
    diameter: str
    station: int | None
    decrease_pct: float | None
    severity: str
    trend: str
    on: date | None
    next_due: date | None
    overdue: bool
    open_findings: int
    state: str
    inspection: str


def register_row(rope: RegisteredRope, today: date) -> RegisterRow:
    """Return a rope as a row of the register."""
    found = rope.figures
    diameter, severity, trend = "", "", ""
    if found is not None:
        diameter = diameter_words(found.diameter_mm, found.u_mm, rope.units)
        diameter += " (one direction)" if found.directions < 2 else ""
        if found.severity_pct is not None:
            severity = f"{found.band}, {found.severity_pct} %"
        if found.rate_mm_per_year is not None:
            per_year = signed_length(found.rate_mm_per_year, rope.units)
            doubt = "" if found.loses else ", not significant"
            trend = f"{per_year} per year{doubt}"
    elif rope.last:
        diameter = NOTHING if rope.examined else NOT_EXAMINED
    if rope.may_have_lost:
        severity = f"possible loss; {severity}" if severity else "possible loss"
    if found is not None and found.doubted:
        severity = f"{severity}{DOUBT_MARK}" if severity else "doubted"
    return RegisterRow(
        rope=rope.identity,
        nominal=short_length(rope.nominal_mm, rope.units),
        diameter=diameter,
        station=None if found is None else found.station,
        decrease_pct=None if found is None else found.decrease_pct,
        severity=severity,
        trend=as_minus(trend),
        on=rope.on,
        next_due=rope.next_due,
        overdue=rope.next_due is not None and rope.next_due < today,
        open_findings=rope.open_findings,
        state=rope.state or "",
        inspection=rope.last,
    )


def find_ropes(ropes: Sequence[RegisteredRope], words: str) -> list[RegisteredRope]:
    """Return the ropes whose name, site or latest inspection contains every word.

    Examples
    --------
    >>> ropes = [RegisteredRope("crane 2, left", "quay 4", 22.0, "mm")]
    >>> [one.identity for one in find_ropes(ropes, "QUAY left")]
    ['crane 2, left']
    """
    wanted = words.casefold().split()
    return [
        one
        for one in ropes
        if all(word in f"{one.identity} {one.site} {one.last}".casefold() for word in wanted)
    ]


def in_order(ropes: Sequence[RegisteredRope], order: Order, today: date) -> list[RegisteredRope]:
    """Return ropes in the requested order."""
    if order == "name":
        return sorted(ropes, key=lambda one: one.identity.casefold())
    if order == "severity":
        return sorted(ropes, key=_severity, reverse=True)
    if order == "next due":
        return sorted(ropes, key=lambda one: one.next_due or date.max)
    if order == "last inspected":
        return sorted(ropes, key=lambda one: one.on or date.min, reverse=True)
    return sorted(ropes, key=lambda one: _urgency(one, today), reverse=True)


def _severity(rope: RegisteredRope) -> tuple[float, float]:
    found = rope.figures
    if found is None:
        return -1.0, -100.0
    decrease = -100.0 if found.decrease_pct is None else found.decrease_pct
    return float(-1 if found.severity_pct is None else found.severity_pct), decrease


def _urgency(rope: RegisteredRope, today: date) -> tuple[object, ...]:
    """Return the sort key: discard, possible loss, entries to check, overdue, not examined.

    A possible loss counts without a reference diameter too, where no decrease can be given.
    """
    overdue = rope.next_due is not None and rope.next_due < today
    discard = rope.figures is not None and rope.figures.band == "discard"
    not_examined = bool(rope.last) and not rope.examined
    last = rope.on or date.min
    to_check = (rope.may_have_lost, rope.open_findings > 0)
    return discard, *to_check, overdue, not_examined, _severity(rope), last
