"""`ropephoto record`: create, fill, verify and back up a record of inspections."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from inspection.model.log import counted
from ui.cli.options import (
    by_option,
    click_errors,
    open_record_or_fail,
    place_option,
    print_rejected,
    what_option,
)
from ui.cli.record_add import add, measure
from ui.cli.record_states import close, observe, state, submit

if TYPE_CHECKING:
    from inspection.exchange.import_rows import Imported
    from inspection.record.record import Record

SHOWN_FAULTS = 20


@click.group()
def record() -> None:
    """Create, fill, verify and back up a record of inspections.

    RECORD is the path of a file, or the URL of a PostgreSQL database like
    postgresql://user@host/name. Nothing in a record is overwritten or deleted: every change
    is added with its time, person and reason.
    """


@record.command()
@click.argument("where", metavar="RECORD")
@place_option
def init(where: str, photographs: str | None) -> None:
    """Create an empty RECORD; an existing one is left as it is.

    \b
    Example:
      ropephoto record init crane-3.db
    """
    with open_record_or_fail(where, photographs, create=True) as opened:
        events = int(opened.fingerprint().split("-")[0])
        state = (
            f"already exists and holds {counted(events, 'event', 'events')}"
            if events
            else "is ready"
        )
        store = opened.photographs.where or "name their store with --photographs"
        click.echo(f"The record {opened.access.where} {state}. Photographs: {store}")


@record.command(name="import")
@click.argument("where", metavar="RECORD")
@click.argument("table", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@by_option
@what_option("readings", "ropes")
@click.option("--why", default="", help="Reason. Default: imported from that file.")
@click.option("--rope", default="", help="Rope of new inspections, if not in the table.")
@click.option("--inspection", default="", help="Inspection, if not in the table.")
@click.option("--person", default="", help="Who took the readings, if not in the table.")
@click.option("--gauge", default="", help="Gauge, if not in the table.")
@click.option(
    "--keep-good", is_flag=True, help="Import the valid rows even if others are rejected."
)
@click.option(
    "--column",
    "column",
    multiple=True,
    metavar="HEADING=MEANING",
    help="What a heading means: a column of the template, a direction such as 90, or nothing.",
)
@click.option("--columns", default="", metavar="NAME", help="Use the mapping saved as NAME.")
@click.option("--keep-columns", default="", metavar="NAME", help="Save this mapping as NAME.")
@click.option(
    "--dates",
    type=click.Choice(("day-first", "month-first")),
    help="Whether 03/04/2026 is 3 April or 4 March.",
)
@click.option("--day", default="", help="Date of new inspections, if not in the table.")
@click.option("--show-columns", is_flag=True, help="Show what each heading means; import nothing.")
@place_option
def import_(
    where: str,
    table: Path,
    by: str,
    what: str,
    why: str,
    rope: str,
    inspection: str,
    person: str,
    gauge: str,
    keep_good: bool,
    column: tuple[str, ...],
    columns: str,
    keep_columns: str,
    dates: str | None,
    day: str,
    show_columns: bool,
    photographs: str | None,
) -> None:
    """Add the readings or ropes of a CSV or XLSX file to RECORD.

    Headings can be in English, German, French, Spanish, Italian or Portuguese; a row can hold
    both directions in two columns (0°, 90°) or in one cell (22.2 / 22.1), and there can be lines
    above the headings. The meaning taken for each heading is listed; correct it with --column.
    Every rejected row is listed with its line and reason; nothing is then imported unless you
    add --keep-good. An exported .json is restored into an empty record, with all its events.
    Ends with status 1 if rows were rejected.

    \b
    Example:
      ropephoto record import crane-3.db ropes.csv --what ropes --by "A. Berg"
      ropephoto record import crane-3.db readings.xlsx --rope "hoist 1" --by "A. Berg"
      ropephoto record import crane-3.db sheet.csv --column "Ø=90" --keep-columns yard --by B
    """
    from inspection.exchange.days import read_moment
    from inspection.exchange.export_json import restore_json
    from inspection.exchange.import_rows import (
        RejectedError,
        import_readings,
        import_ropes,
        rows_rejected,
    )
    from inspection.exchange.parse import read_readings, read_ropes
    from ui.services.column_names import keep_columns as save_columns
    from ui.services.column_names import kept_columns, named_column

    with open_record_or_fail(where, photographs) as opened:
        if table.suffix.lower() == ".json":
            click.echo(f"Restored. Fingerprint: {restore_json(opened, table)}")
            _tell_missing_photographs(opened)
            return
        named = {
            **(kept_columns(columns) if columns else {}),
            **dict(named_column(one) for one in column),
        }
        first = None if dates is None else dates == "day-first"
        try:
            if what == "ropes":
                ropes = read_ropes(table, named=named, day_first=first)
                _print_mapping(ropes.mapping)
                if show_columns:
                    return
                done = import_ropes(opened, ropes, by=by, why=why, keep_good=keep_good)
            else:
                rows = read_readings(
                    table,
                    inspection=inspection,
                    person=person,
                    gauge=gauge,
                    named=named,
                    day_first=first,
                )
                if day:
                    rows = replace(rows, day=read_moment(day, day_first=first).date())
                _print_mapping(rows.mapping)
                if show_columns:
                    return
                done = import_readings(opened, rows, by=by, why=why, rope=rope, keep_good=keep_good)
        except RejectedError as error:
            print_rejected(error.rejected)
            raise click.ClickException(
                f"{table.name}: {rows_rejected(len(error.rejected))} and nothing was imported; "
                "correct the rows listed above, or use --keep-good."
            ) from error
        _report(done, opened)
    if keep_columns:
        save_columns(keep_columns, named)
    if done.rejected:
        print_rejected(done.rejected)
        click.get_current_context().exit(1)


def _print_progress(done: int, total: int) -> None:
    """Print the progress of a long check, at every tenth of a large record."""
    step = max(total // 10 // 500 * 500, 500)
    if total > 5 * step and done % step == 0:
        click.echo(f"{done:,} of {total:,} events checked.", err=True)


def _print_mapping(mapping: tuple[tuple[str, str], ...]) -> None:
    """Print the meanings taken for headings, where the two differ."""
    taken = [f"{heading!r} is {meaning}" for heading, meaning in mapping if heading != meaning]
    if taken:
        click.echo(f"Columns: {'; '.join(taken)}.", err=True)


def _report(done: Imported, opened: Record) -> None:
    for note in done.notes:
        click.echo(f"Note: {note}", err=True)
    added = [
        counted(count, name.removesuffix("s"), name)
        for name in ("ropes", "inspections", "gauges", "readings")
        if (count := getattr(done, name))
    ]
    click.echo(f"Added: {', '.join(added) or 'nothing'}. Fingerprint: {opened.fingerprint()}")


def _tell_missing_photographs(opened: Record) -> None:
    """Say which photographs are missing from the store: a JSON export holds none."""
    from inspection.record.storage.not_restored import (
        known_missing,
        missing_note,
        photograph_hashes,
    )

    with opened.access.reading() as connection:
        listed = known_missing(connection)
        missing = [sha256 for sha256 in photograph_hashes(connection) if sha256 in listed]
    if missing:
        click.echo(missing_note(missing))


@record.command()
@click.argument("where", metavar="RECORD")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@what_option("readings", "ropes", "list")
@click.option("--inspection", help="Readings of one inspection only.")
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
@place_option
def export(
    where: str,
    out: Path,
    what: str,
    inspection: str | None,
    force: bool,
    photographs: str | None,
) -> None:
    """Write tables as .csv or .xlsx, or everything as .json.

    The tables are the readings, the ropes or the list of inspections. The JSON follows the schema
    that comes with the program (`ropephoto record schema`) and holds every event; it can be
    imported into an empty record.

    \b
    Example:
      ropephoto record export crane-3.db readings.xlsx
      ropephoto record export crane-3.db everything.json
    """
    from inspection.exchange.export_json import export_json
    from inspection.exchange.export_tables import export_readings, export_ropes, export_summary

    if out.exists() and not force:
        raise click.ClickException(f"{out} already exists; use --force to overwrite it.")
    with open_record_or_fail(where, photographs) as opened:
        if out.suffix.lower() == ".json":
            click.echo(f"{out}: all events. Fingerprint: {export_json(opened, out)}")
            return
        if what == "ropes":
            count = export_ropes(opened, out)
        elif what == "list":
            count = export_summary(opened, out)
        else:
            count = export_readings(opened, out, inspection=inspection)
        click.echo(f"{out}: {counted(count, 'row', 'rows')}. Fingerprint: {opened.fingerprint()}")


@record.command()
@click.argument("where", metavar="RECORD")
@click.option("--noted", metavar="FINGERPRINT", help="A fingerprint noted earlier.")
@click.option("--skip-photographs", is_flag=True, help="Don't read the photographs.")
@click.option(
    "--work",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for intermediate results: an interrupted run resumes, and the next one is quick.",
)
@place_option
def verify(
    where: str,
    noted: str | None,
    skip_photographs: bool,
    work: Path | None,
    photographs: str | None,
) -> None:
    """Check RECORD for changes made outside this program.

    This checks the chain of events, that the current state follows from it, the guards that keep
    events from being changed, and the photographs. The record can be on a read-only medium.
    Anybody who can write the file can also make a whole new chain: only a fingerprint noted
    elsewhere shows that. Ends with status 1 if anything is wrong.

    \b
    Example:
      ropephoto record verify crane-3.db --noted 1042-0f3a...
    """
    with open_record_or_fail(where, photographs) as opened:
        found = opened.verify(
            noted=noted, photographs=not skip_photographs, work=work, progress=_print_progress
        )
    for note in found.notes:
        click.echo(f"Note: {note}", err=True)
    photographs_only = all(fault.startswith("photograph ") for fault in found.faults)
    for fault in found.faults[:SHOWN_FAULTS]:
        click.echo(fault, err=True)
    if len(found.faults) > SHOWN_FAULTS:
        click.echo(f"... and {len(found.faults) - SHOWN_FAULTS} more faults.", err=True)
    events = counted(found.events, "event", "events")
    pictures = (
        ""
        if found.photographs is None
        else f", {counted(found.photographs, 'photograph', 'photographs')}"
    ) + (f" ({found.absent} more known to be missing)" if found.absent else "")
    if not found.sound:
        do = (
            "the entries are sound; restore the photographs"
            if photographs_only
            else "keep this file as it is, and compare it with the last backup"
        )
        raise click.ClickException(
            f"{counted(len(found.faults), 'fault', 'faults')} among {events}{pictures}: {do}."
        )
    click.echo(f"Sound: {events}{pictures}. Fingerprint: {found.fingerprint}")
    if noted is None:
        click.echo("Note the fingerprint elsewhere: it can show later that nothing was rewritten.")


@record.command()
@click.argument("where", metavar="RECORD")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--skip-photographs", is_flag=True, help="Copy the record only.")
@place_option
def backup(where: str, folder: Path, skip_photographs: bool, photographs: str | None) -> None:
    """Copy RECORD and its photographs, and verify the copy.

    The copy goes into FOLDER; the record can be in use meanwhile.

    \b
    Example:
      ropephoto record backup crane-3.db /media/safe/2026-11-25
    """
    with open_record_or_fail(where, photographs) as opened:
        made = opened.backup(folder, photographs=not skip_photographs)
    click.echo(
        f"{made.path}: verified, {counted(made.photographs, 'photograph', 'photographs')}"
        f"{f' ({made.absent} more known to be missing)' if made.absent else ''}. "
        f"Fingerprint: {made.fingerprint}"
    )
    for missing in made.missing:
        click.echo(missing, err=True)
    if made.missing:
        raise click.ClickException(
            f"{counted(len(made.missing), 'photograph', 'photographs')} could not be copied."
        )


@record.command()
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@what_option("readings", "ropes")
def template(out: Path, what: str) -> None:
    """Write an empty table to fill in, as .csv or .xlsx.

    It has the headings and an example.

    \b
    Example:
      ropephoto record template readings.xlsx
    """
    from inspection.exchange.export_tables import write_template

    if out.exists():
        raise click.ClickException(f"{out} already exists; choose another name.")
    with click_errors():
        write_template(out, "ropes" if what == "ropes" else "readings")
    click.echo(f"{out}: fill it in, then import it with `ropephoto record import`.")


@record.command()
def schema() -> None:
    """Print the JSON Schema of an exported record.

    \b
    Example:
      ropephoto record schema > record-schema.json
    """
    import json

    from inspection.exchange.export_json import schema as published

    click.echo(json.dumps(published(), indent=1))


record.add_command(add)
record.add_command(measure)
for step in (state, submit, observe, close):
    record.add_command(step)
