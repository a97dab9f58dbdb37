"""`ropephoto record add`: a whole folder, into a record, by one command."""

from __future__ import annotations

from pathlib import Path

import click

from ui.record_options import by_option, opened_record, place_option, tell_rejected


@click.command()
@click.argument("where", metavar="RECORD")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@by_option
@click.option("--inspection", default="", help="The folder's last inspection. Default: its latest.")
@click.option("--print-set", metavar="NAME", help="Card set whose print was checked.")
@click.option("--unmeasured", is_flag=True, help="Measure nothing now; `check` does it later.")
@click.option("--keep-good", is_flag=True, help="Add the good rows although others are bad.")
@place_option
@click.pass_context
def add(
    context: click.Context, where: str, folder: Path, by: str, inspection: str,
    print_set: str | None, unmeasured: bool, keep_good: bool, photographs: str | None,
) -> None:  # fmt: skip
    """Put a whole FOLDER into RECORD: rope, stations, readings, print checks, photographs.

    FOLDER is as in `ropephoto check`. All is added together, or nothing; then the photographs
    are measured, and results and findings are kept. What RECORD holds already stays as it is,
    so a second time adds nothing. Ends with status 1 if rows or files were left out.

    \b
    Example:
      ropephoto record add crane-3.db crane-3/ --by "A. Berg"
    """
    from inspection.case import judge_log
    from inspection.folder import read_folder
    from ui.check_record import gather, save
    from ui.measuring import measure_files
    from ui.record_folder import add_folder

    with opened_record(where, photographs) as opened:
        read = read_folder(folder, inspection=inspection)
        tell_rejected(read.rejected)
        if read.rejected and not keep_good:
            raise click.ClickException(
                "nothing was added; correct the rows that are told above, or use --keep-good."
            )
        done = add_folder(opened, folder, read, by=by)
        for note in (*done.notes, *done.left_out):
            click.echo(f"Note: {note}", err=True)
        added = ", ".join(f"{count} {name}" for name, count in done.counts.items()) or "nothing"
        click.echo(f"Added: {added}.")
        if not unmeasured:
            identity = read.log.inspection.identity
            found = gather(
                opened, identity, measure=context.obj or measure_files, print_set=print_set
            )
            for note in found.read.notes:
                click.echo(f"Note: {note}", err=True)
            click.echo(save(opened, found, judge_log(found.read.log), by=by))
        click.echo(f"Fingerprint: {opened.fingerprint()}")
    if read.rejected or done.left_out:
        context.exit(1)
