"""What the commands of `ropephoto record` share: options, opening, and telling bad rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from inspection.record import Record
    from inspection.tables_in import Rejected

SHOWN_ROWS = 20

place_option = click.option(
    "--photographs",
    metavar="FOLDER|URL",
    help="Where the photographs are kept. Default: the folder beside the file.",
)
by_option = click.option(
    "--by", required=True, envvar="ROPEPHOTO_PERSON", metavar="NAME",
    help="Your name; every change carries one. Or set ROPEPHOTO_PERSON.",
)  # fmt: skip


def what_option(*choices: str) -> Callable[[Any], Any]:
    """Return the option that says what a table holds."""
    return click.option(
        "--what", type=click.Choice(choices), default=choices[0], show_default=True,
        help="What the table holds.",
    )  # fmt: skip


@contextmanager
def plainly() -> Iterator[None]:
    """Say what a ValueError says, without a traceback."""
    try:
        yield
    except ValueError as error:
        raise click.ClickException(str(error)) from error


@contextmanager
def opened_record(where: str, photographs: str | None, *, create: bool = False) -> Iterator[Record]:
    """Yield the open record; what goes wrong is one sentence."""
    from inspection.record import open_record

    with plainly(), open_record(where, photographs=photographs, create=create) as record:
        yield record


def tell_rejected(rejected: tuple[Rejected, ...]) -> None:
    """Tell the first rejected rows, each with its line and reason."""
    for row in rejected[:SHOWN_ROWS]:
        click.echo(f"line {row.line}: {row.reason}", err=True)
    if len(rejected) > SHOWN_ROWS:
        click.echo(f"... and {len(rejected) - SHOWN_ROWS} rows more.", err=True)
