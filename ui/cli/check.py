"""`ropephoto check`: compare readings with photographs, rank suspect entries, check limits."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

from ui.cli.options import (
    csv_option,
    decision_option,
    inspection_option,
    json_option,
    limits_option,
    own_limits_option,
    print_set_option,
)
from ui.environment import PERSON

if TYPE_CHECKING:
    from inspection.assessment import Assessment
    from inspection.folder import Folder
    from inspection.limits.rules import Rule
    from inspection.record.record import Record
    from ui.services.assess_record import AppliedLimits
    from vision.pipeline import Settings
    from vision.results import Result

    Measure: TypeAlias = Callable[[list[Path], Settings], list[Result]]

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

    Exit status: 0 everything agrees, 1 something must be checked or was refused, 2 misuse,
    3 nothing stands out, but no limit on the rope's diameter applies: it was not assessed
    against any.

    \b
    Example:
      ropephoto check crane-3/
      ropephoto check crane-3.db --save --by "A. Berg"
    """
    from inspection.assessment import assess
    from inspection.screening.timing import Pace
    from ui.cli.output.check import print_check_table
    from ui.cli.output.check_files import print_check_csv, print_check_json
    from ui.services.measuring_queue import work_off
    from ui.services.recorded import named_or_latest, recorded, save_assessed

    if as_json and as_csv:
        raise click.UsageError("take one of --json and --csv, not both.")
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
            with _record(where) as record:
                identity = named_or_latest(record, inspection)
                if record.inspection(identity).waiting:
                    work_off(record, identity)
                revision = record.inspection(identity).revision
                read = recorded(record, identity)
                assessment = judge(read)
                if save and by:
                    saved = save_assessed(record, assessment, revision, by=by)
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
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


def usual_measure(as_json: bool, as_csv: bool) -> Measure:
    """Return the function that measures files, without progress if the output is for a program."""
    from ui.cli.progress import BatchRun, measure_files

    return lambda paths, settings: measure_files(
        paths, settings, run=BatchRun(quiet=as_json or as_csv)
    )


def measured_folder(
    folder: Path, inspection: str, print_set: str | None, measure: Measure
) -> Folder:
    """Return a folder's log with the results of its photographs."""
    from dataclasses import replace

    from inspection.folder import read_folder
    from ui.services.cameras import known_cameras
    from ui.services.print_sets import choose_check
    from vision.photo.containers import SUFFIXES
    from vision.pipeline import Settings
    from vision.target.print_scale import load_print_checks

    read = read_folder(folder, inspection=inspection)
    checks = load_print_checks(folder / "print_checks.json")
    chosen = choose_check(checks, print_set, "print_checks.json")
    photographs = sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES)
    settings = Settings(print_check=chosen, cameras=known_cameras())
    results = measure(photographs, settings) if photographs else []
    notes = read.notes if photographs else (*read.notes, "The folder holds no photographs.")
    return replace(read, log=replace(read.log, results=tuple(results)), notes=notes)


def log_in_record(where: str, inspection: str) -> Folder:
    """Return an inspection's log as a record holds it."""
    from ui.services.recorded import named_or_latest, recorded

    with _record(where) as record:
        return recorded(record, named_or_latest(record, inspection))


def _record(where: str) -> Record:
    from inspection.record.record import open_record

    if "://" not in where and not Path(where).exists():
        raise ValueError(f"there is no folder or record {where}.")
    return open_record(where, create=False)


def applied_limits(
    decision: str, rule_sets: tuple[str, ...], own_limits: Path | None
) -> AppliedLimits:
    """Return what the options say about limits.

    Raises
    ------
    ValueError
        If the file with your own limits can't be read.
    """
    from inspection.limits.conformity import GUARD_2013, GUARD_2017, SIMPLE
    from inspection.limits.user_rules import rules_from_json
    from ui.services.assess_record import AppliedLimits

    rule = {"guard-band": GUARD_2017, "guard-band-2u": GUARD_2013, "simple": SIMPLE}[decision]
    own: tuple[Rule, ...] = ()
    if own_limits is not None:
        try:
            own = rules_from_json(own_limits.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError) as error:
            raise ValueError(f"{own_limits} can't be read as text: {error}.") from error
    return AppliedLimits(rule, rule_sets or None, own)
