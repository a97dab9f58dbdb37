"""`ropephoto check`: compare readings with photographs, rank suspect entries, check limits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ui.cli.inspected import applied_limits, measured_folder, named_record, refusal, usual_measure
from ui.cli.options import (
    csv_option,
    decision_option,
    inspection_option,
    json_option,
    limits_option,
    own_limits_option,
    print_set_option,
    refuse_two_forms,
)
from ui.environment import PERSON

if TYPE_CHECKING:
    from inspection.assessment import Assessment
    from inspection.folder import Folder

NOT_ASSESSED = 3  # exit status where no limit applies


@click.command()
@click.argument("where", metavar="FOLDER|RECORD")
@inspection_option
@click.option(
    "--level",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    default=0.05,
    show_default=True,
    help="Probability that a log with nothing wrong in it raises any finding at all.",
)
@click.option(
    "--walking-speed",
    type=click.FloatRange(0, min_open=True),
    default=2.0,
    show_default=True,
    metavar="M/S",
    help="Fastest walking speed between stations, m/s.",
)
@decision_option
@limits_option
@own_limits_option
@print_set_option
@click.option("--save", is_flag=True, help="Save the findings in RECORD.")
@click.option(
    "--by",
    envvar=PERSON,
    metavar="NAME",
    help="Your name, for --save. Or set ROPE_PHOTO_PERSON.",
)
@json_option
@csv_option
@click.pass_context
def check(
    context: click.Context,
    where: str,
    inspection: str,
    level: float,
    walking_speed: float,
    decision: str,
    limits: tuple[str, ...],
    own_limits: Path | None,
    print_set: str | None,
    save: bool,
    by: str | None,
    as_json: bool,
    as_csv: bool,
) -> None:
    """Compare readings with photographs; say what to check first.

    FOLDER holds photographs, readings.csv (inspection, station, view_deg, typed, gauge,
    gauge_kind, resolution_mm, permissible_error_mm, calibration_due, person, logged_at),
    rope.json and, where present, stations.csv (number, position_m, note), inspection.json and
    print_checks.json. RECORD is a record file or its URL: its stored results are used, and
    photographs not yet measured are measured first. With --save the ranked findings are saved
    in it.

    Exit status: 0 everything agrees, 1 something must be checked or was refused, or RECORD is
    damaged, 2 misuse, 3 nothing stands out, but no limit on the rope's diameter applies: it was
    not assessed against any.

    \b
    Example:
      ropephoto check crane-3/
      ropephoto check crane-3.db --save --by "A. Berg"
    """
    from inspection.assessment import assess
    from inspection.screening.checks.timing import Pace
    from ui.cli.output.check import print_check_table
    from ui.cli.output.check_files import print_check_csv, print_check_json
    from ui.services.measuring_queue import work_off
    from ui.services.recorded import named_or_latest, recorded, save_assessed

    refuse_two_forms(as_json, as_csv)
    folder = Path(where)
    if save and folder.is_dir():
        raise click.UsageError(
            f"--save needs a record, and {where} is a folder; add it to a record with "
            "`ropephoto record add`."
        )
    if save and not by:
        raise click.UsageError("--save needs your name: add --by NAME.")
    saved = ""
    try:
        applied = applied_limits(decision, limits, own_limits)

        def judge(read: Folder) -> Assessment:
            return assess(
                read.log,
                level=level,
                pace=Pace(walking_m_s=walking_speed),
                decision=applied.decision,
                rule_sets=applied.rule_sets,
                own=applied.own,
            )

        if folder.is_dir():
            measure = context.obj or usual_measure(as_json, as_csv)
            read = measured_folder(folder, inspection, print_set, measure)
            assessment = judge(read)
        else:
            if print_set is not None:
                raise ValueError(
                    "--print-set is for a folder; a record states which print check was used, and "
                    "`ropephoto record measure --again` applies another."
                )
            with named_record(where) as record:
                identity = named_or_latest(record, inspection)
                if record.inspection(identity).waiting:
                    work_off(record, identity)
                revision = record.inspection(identity).revision
                read = recorded(record, identity)
                assessment = judge(read)
                if save and by:
                    saved = save_assessed(record, assessment, revision, by=by)
    except ValueError as wrong:
        raise refusal(wrong) from wrong
    if as_json:
        print_check_json(assessment, read)
    elif as_csv:
        print_check_csv(assessment, read)
    else:
        print_check_table(assessment, read)
    if saved:
        click.echo(saved, err=True)
    if assessment.needs_review or read.rejected:
        context.exit(1)
    context.exit(NOT_ASSESSED if assessment.judged_against_nothing else 0)
