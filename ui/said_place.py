"""Where a photograph belongs, as it is typed on the command line: STATION/VIEW, e.g. 3/90."""

from __future__ import annotations

import click

MOST_STATIONS = 999  # a card has room for three digits


def said_place(text: str, *, wants: str, got: str) -> tuple[int, int]:
    """Return station and view in degrees.

    Parameters
    ----------
    text : str
        Station and view, e.g. ``"3/90"``.
    wants, got : str
        What the option wants in words, and all that was typed, for the sentence that refuses.

    Raises
    ------
    click.UsageError
        If it is no such place.
    """
    station, _, view = text.partition("/")
    if not all(part.isascii() and part.isdecimal() for part in (station, view)):
        raise click.UsageError(f"--say wants {wants}; got {got!r}.")
    if len(station) > 9 or not 1 <= int(station) <= MOST_STATIONS:
        raise click.UsageError(f"--say: stations are numbered 1 to {MOST_STATIONS}; got {got!r}.")
    if len(view) > 9 or int(view) > 359:
        raise click.UsageError(f"--say: a view lies from 0 to 359 degrees; got {got!r}.")
    return int(station), int(view)
