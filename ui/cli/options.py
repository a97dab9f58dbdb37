"""Where a photograph belongs, as it is typed on the command line: STATION/VIEW, e.g. 3/90.

What the commands of `ropephoto record` share: options, opening, and telling bad rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

MOST_STATIONS = 999  # a card has room for three digits


def parse_place(text: str, *, wants: str, got: str) -> tuple[int, int]:
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


if TYPE_CHECKING:
    from inspection.exchange.parse import Rejected
    from inspection.record.record import Record

SHOWN_ROWS = 20

place_option = click.option(
    "--photographs",
    metavar="FOLDER|URL",
    help="Where the photographs are kept. Default: the folder beside the file.",
)
by_option = click.option(
    "--by",
    required=True,
    envvar="ROPEPHOTO_PERSON",
    metavar="NAME",
    help="Your name; every change carries one. Or set ROPEPHOTO_PERSON.",
)


def what_option(*choices: str) -> Callable[[Any], Any]:
    """Return the option that says what a table holds."""
    return click.option(
        "--what",
        type=click.Choice(choices),
        default=choices[0],
        show_default=True,
        help="What the table holds.",
    )


@contextmanager
def click_errors() -> Iterator[None]:
    """Turn a ValueError into the command's error message, without a traceback."""
    try:
        yield
    except ValueError as error:
        raise click.ClickException(str(error)) from error


@contextmanager
def open_record_or_fail(
    where: str, photographs: str | None, *, create: bool = False
) -> Iterator[Record]:
    """Yield the open record; what goes wrong is one sentence."""
    from inspection.record.record import open_record

    with click_errors(), open_record(where, photographs=photographs, create=create) as record:
        yield record


def print_rejected(rejected: tuple[Rejected, ...]) -> None:
    """Print the first rejected rows, each with its line and reason."""
    for row in rejected[:SHOWN_ROWS]:
        click.echo(f"line {row.line}: {row.reason}", err=True)
    if len(rejected) > SHOWN_ROWS:
        click.echo(f"... and {len(rejected) - SHOWN_ROWS} rows more.", err=True)
