"""`ropephoto record add` and `record measure`: add photographs to a record and measure them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from inspection.model.log import counted
from ui.cli.options import (
    by_option,
    open_record_or_fail,
    place_option,
    print_rejected,
    print_set_option,
)

if TYPE_CHECKING:
    from inspection.record.record import Record


@click.command()
@click.argument("where", metavar="RECORD")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@by_option
@click.option("--inspection", default="", help="Inspection to add. Default: the folder's latest.")
@print_set_option
@click.option(
    "--unmeasured",
    is_flag=True,
    help="Don't measure now; the pages, `check` or `record measure` measure the photographs later.",
)
@click.option("--keep-good", is_flag=True, help="Add the valid rows even if others are rejected.")
@place_option
@click.pass_context
def add(
    context: click.Context,
    where: str,
    folder: Path,
    by: str,
    inspection: str,
    print_set: str | None,
    unmeasured: bool,
    keep_good: bool,
    photographs: str | None,
) -> None:
    """Add a whole FOLDER to RECORD.

    That is its rope, stations, readings, print checks and photographs. FOLDER is as in `ropephoto
    check`. Everything is added, or nothing; then the photographs are measured. If that is
    interrupted, `record measure` resumes it. What RECORD already holds stays unchanged, so a
    second run adds nothing. Ends with status 1 if rows or files were left out.

    \b
    Example:
      ropephoto record add crane-3.db crane-3/ --by "A. Berg"
    """
    from inspection.folder import read_folder
    from ui.services.add_folder import add_folder, read_photographs

    with open_record_or_fail(where, photographs) as opened:
        read = read_folder(folder, inspection=inspection)
        print_rejected(read.rejected)
        if read.rejected and not keep_good:
            raise click.ClickException(
                "nothing was added; correct the rows listed above, or use --keep-good."
            )
        files, left_out = read_photographs(folder)
        done = add_folder(opened, folder, read, files, print_set=print_set, by=by)
        for note in (*done.notes, *left_out):
            click.echo(f"Note: {note}", err=True)
        added = ", ".join(
            counted(count, name.removesuffix("s"), name) for name, count in done.counts.items()
        )
        click.echo(f"Added: {added or 'nothing'}.")
        if not unmeasured:
            _measure_and_report(opened, read.log.inspection.identity, by)
        click.echo(f"Fingerprint: {opened.fingerprint()}")
    if read.rejected or left_out:
        context.exit(1)


def _measure_and_report(opened: Record, identity: str, by: str) -> None:
    """Measure an inspection's waiting photographs, screen it, and print a summary."""
    from inspection.record.waiting import waiting_count
    from ui.services.measuring_queue import ask_screening, work_off
    from vision.results import Refusal

    waited = waiting_count(opened, identity).photographs
    ask_screening(opened, identity, by=by)
    work_off(opened, identity, lambda left: _print_waiting(left, waited))
    there = opened.inspection(identity)
    refused = sum(isinstance(result, Refusal) for result in there.results)
    click.echo(
        f"Measured: {counted(waited, 'photograph', 'photographs')}. The inspection has "
        f"{counted(len(there.results), 'result', 'results')}, "
        f"{counted(refused, 'refusal', 'refusals')} among them, and "
        f"{counted(there.open_findings, 'finding', 'findings')} to be settled."
    )


def _print_waiting(left: int, of: int) -> None:
    """Print how many photographs are still waiting, at every tenth of a large number."""
    if of >= 20 and left and left % (of // 10) == 0:
        click.echo(f"{left} of {of} photographs are still waiting.", err=True)


@click.command()
@click.argument("where", metavar="RECORD")
@by_option
@click.option("--inspection", default="", metavar="NAME", help="Inspection; default: the latest.")
@click.option("--again", is_flag=True, help="Measure all its photographs again; needs --why.")
@click.option("--print-set", metavar="NAME", help="With --again: print check to apply.")
@click.option(
    "--hold",
    type=click.Choice(("touching", "level", "stand-off")),
    help="With --again: how the card was held. Default: as recorded.",
)
@click.option(
    "--offset",
    "offset_mm",
    type=float,
    default=0.0,
    help="With --hold: gap or height, mm, as in `ropephoto measure`.",
)
@click.option("--why", default="", help="Reason, recorded with the new results.")
@place_option
def measure(
    where: str,
    by: str,
    inspection: str,
    again: bool,
    print_set: str | None,
    hold: str | None,
    offset_mm: float,
    why: str,
    photographs: str | None,
) -> None:
    """Measure waiting photographs, or all of an inspection --again.

    Use --again to apply a print check, a phone's calibration or a hold entered after the
    photographs: they are measured again from their stored bytes, and the new results replace
    the old ones, which stay in the record's history. Edges moved by a person and figures without
    the card stay unchanged.

    \b
    Example:
      ropephoto record measure crane-3.db --by "A. Berg"
      ropephoto record measure crane-3.db --again --print-set spring --why "bars measured" --by B
    """
    from dataclasses import replace

    from inspection.record.views import Manner
    from ui.services.measuring_queue import manner_of, measure_again
    from ui.services.print_sets import can_be_measured_again
    from ui.services.recorded import named_or_latest

    if not again and (print_set is not None or hold is not None or offset_mm):
        raise click.UsageError("--print-set, --hold and --offset go with --again.")
    if offset_mm and hold in (None, "level"):
        raise click.UsageError("--offset goes with --hold touching or --hold stand-off.")
    with open_record_or_fail(where, photographs) as opened:
        identity = named_or_latest(opened, inspection)
        there = opened.inspection(identity)
        gave = {result.photo_sha256 for result in there.results}
        asked: dict[Manner, list[str]] = {}
        for sha256 in can_be_measured_again(there):
            if again or (sha256 not in gave and sha256 not in there.waiting):
                manner = manner_of(there, sha256)
                if print_set is not None:
                    manner = replace(manner, print_set=print_set)
                if hold is not None:
                    manner = replace(manner, hold=hold, offset_mm=offset_mm)
                asked.setdefault(manner, []).append(sha256)
        with opened.transaction() as batch:  # all are queued, or none
            for manner, hashes in asked.items():
                reason = why if again else "not measured before"
                measure_again(batch, identity, hashes, manner, by=by, why=reason)
        _measure_and_report(opened, identity, by)
        click.echo(f"Fingerprint: {opened.fingerprint()}")
