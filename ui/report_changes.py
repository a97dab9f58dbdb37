"""What was changed in an inspection after it was entered: readings and figures of photographs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from inspection.log import place_words
from inspection.record import Event
from inspection.record_plain import Plain

READING_KINDS = ("reading corrected", "reading withdrawn")
FIGURE_KINDS = ("result replaced", "result withdrawn")


@dataclass(frozen=True, slots=True)
class Change:
    """One change to one entry.

    Parameters
    ----------
    entry : str
        Which one: the number of a reading, or the name of a photograph.
    place : str
        Where it belongs, or belonged.
    what : str
        What was done, e.g. "corrected".
    before, after : str
        What it said, as typed or in mm; `after` is empty where it was withdrawn.
    who, at, why : str
        The person, the time (UTC), the reason.
    event : int
        Number of the event in the record.
    """

    entry: str
    place: str
    what: str
    before: str
    after: str
    who: str
    at: str
    why: str
    event: int


def changed_readings(events: Iterable[Event]) -> tuple[Change, ...]:
    """Return every correction and withdrawal of a reading, oldest first."""
    return tuple(
        Change(
            str(event.old_value["number"]), _place(event.old_value),
            event.kind.removeprefix("reading "), str(event.old_value["typed"]),
            str(event.new_value["typed"]) if event.kind == "reading corrected" else "",
            event.who, event.at, event.why, event.sequence,
        )
        for event in events
        if event.kind in READING_KINDS
    )  # fmt: skip


def changed_figures(events: Iterable[Event]) -> tuple[Change, ...]:
    """Return every figure of a photograph that gave way to another or was withdrawn."""
    stood: dict[int, Plain] = {}
    made = []
    for event in events:
        if event.kind == "results added":
            given = [(one["number"], one) for one in event.new_value]
            what = "measured anew"
        elif event.kind in FIGURE_KINDS:
            given = [(event.old_value["number"], event.new_value)]
            what = event.kind.removeprefix("result ")
        else:
            continue
        for number, new in given:
            old = stood.get(number)
            if new is not None:
                stood[number] = new
            if old is not None and (new is None or _said(old) != _said(new)):
                after = "" if new is None else _figure(new)
                if new is not None and _place(new) != _place(old):
                    after += f" at {_place(new)}"
                made.append(Change(
                    str(old.get("photo_name", "")), _place(old), what, _figure(old), after,
                    event.who, event.at, event.why, event.sequence,
                ))  # fmt: skip
    return tuple(made)


def _said(values: Plain) -> tuple[str, str]:
    return _figure(values), _place(values)


def _figure(values: Plain) -> str:
    found = values.get("diameter_mm")
    return "no diameter" if found is None else f"{found:.2f} mm"


def _place(values: Plain) -> str:
    if values.get("station") is None:
        return "no card number"
    words = place_words(values["station"], values.get("view_deg") or 0)
    at_mm = values.get("at_mm") or 0.0
    return f"{words}, at {at_mm:g} mm" if at_mm else words
