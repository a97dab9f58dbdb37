"""Shared by several commands: options, typed places, opening a record, rejected rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ui.environment import PERSON

if TYPE_CHECKING:
    from inspection.exchange.parse import Rejected
    from inspection.record.record import Record
    from vision.target.print_scale import PrintCheck

MOST_STATIONS = 999  # a card has room for three digits
SHOWN_ROWS = 20
DECISIONS = ("guard-band", "guard-band-2u", "simple")

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
csv_option = click.option("--csv", "as_csv", is_flag=True, help="Print CSV.")
inspection_option = click.option(
    "--inspection", default="", metavar="NAME", help="Inspection; default: the latest."
)
print_set_option = click.option(
    "--print-set", metavar="NAME", help="Card set whose print was checked."
)
print_checks_option = click.option(
    "--print-checks",
    type=click.Path(dir_okay=False, path_type=Path),
    default="print_checks.json",
    show_default=True,
    help="File with the print checks.",
)
cameras_option = click.option(
    "--cameras",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="File of calibrated cameras. Default: the one in your user's data folder.",
)
decision_option = click.option(
    "--decision",
    type=click.Choice(DECISIONS),
    default="guard-band",
    show_default=True,
    help="Decision rule at a limit: guard band by ISO 14253-1:2017, its older guard band of "
    "U = 2 u, or simple acceptance without one.",
)
limits_option = click.option(
    "--limits", multiple=True, metavar="SET", help="Set of limits to apply; repeat for several."
)
own_limits_option = click.option(
    "--own-limits",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="JSON file with limits of your own.",
)
place_option = click.option(
    "--photographs",
    metavar="FOLDER|URL",
    help="Where the photographs are kept. Default: the folder beside the file.",
)
by_option = click.option(
    "--by",
    required=True,
    envvar=PERSON,
    metavar="NAME",
    help="Your name, recorded with every change. Or set ROPE_PHOTO_PERSON.",
)


def refuse_two_forms(as_json: bool, as_csv: bool) -> None:
    """Refuse --json and --csv at once."""
    if as_json and as_csv:
        raise click.UsageError("take one of --json and --csv, not both.")


def print_check_of(print_set: str | None, print_checks: Path) -> PrintCheck | None:
    """Return the print check of a card set; None if no set is named.

    Raises
    ------
    ValueError
        If the file has no such set, or is damaged.
    """
    from vision.target.print_scale import load_print_checks

    if print_set is None:
        return None
    checks = load_print_checks(print_checks)
    if print_set not in checks:
        known = ", ".join(sorted(checks)) or "none"
        raise ValueError(
            f"{print_checks} holds no card set called {print_set!r} (it holds: {known}); "
            "enter its bars with `ropephoto print-check`, or name another file with --print-checks."
        )
    return checks[print_set]


def parse_place(text: str, *, wants: str, got: str) -> tuple[int, int]:
    """Return station and view in degrees.

    Parameters
    ----------
    text : str
        Station and view, e.g. ``"3/90"``.
    wants, got : str
        What the option expects, in words, and what was typed, for the error message.

    Raises
    ------
    click.UsageError
        If the text is not a station and a view.
    """
    station, _, view = text.partition("/")
    if not all(part.isascii() and part.isdecimal() for part in (station, view)):
        raise click.UsageError(f"--say takes {wants}; got {got!r}.")
    if len(station) > 9 or not 1 <= int(station) <= MOST_STATIONS:
        raise click.UsageError(f"--say: stations are numbered 1 to {MOST_STATIONS}; got {got!r}.")
    if len(view) > 9 or int(view) > 359:
        raise click.UsageError(f"--say: a view is 0 to 359 degrees; got {got!r}.")
    return int(station), int(view)


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
    """Yield the open record; a failure becomes a one-sentence error."""
    from inspection.record.record import open_record
    from ui.environment import store_of

    store = photographs or store_of(where)
    with click_errors(), open_record(where, photographs=store, create=create) as record:
        yield record


def print_rejected(rejected: tuple[Rejected, ...]) -> None:
    """Print the first rejected rows, each with its line and reason."""
    for row in rejected[:SHOWN_ROWS]:
        click.echo(f"line {row.line}: {row.reason}", err=True)
    if len(rejected) > SHOWN_ROWS:
        click.echo(f"... and {len(rejected) - SHOWN_ROWS} more rows.", err=True)
