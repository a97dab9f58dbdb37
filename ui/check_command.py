"""`ropephoto check`: gauge readings held against photographs, entries ranked, limits judged."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

if TYPE_CHECKING:
    from inspection.folder import Folder
    from inspection.verdict import DecisionRule
    from vision.estimate import Result
    from vision.pipeline import Settings

    Measure: TypeAlias = Callable[[list[Path], Settings], list[Result]]

DECISIONS = ("guard-band", "guard-band-2u", "simple")


@click.command()
@click.argument("where", metavar="FOLDER|RECORD")
@click.option("--inspection", default="", metavar="NAME", help="Which one; default: the latest.")
@click.option(
    "--level",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    default=0.05,
    show_default=True,
    help="Chance that a log in which nothing is wrong raises any finding at all.",
)
@click.option(
    "--walking-speed",
    type=click.FloatRange(0, min_open=True),
    default=2.0,
    show_default=True,
    metavar="M/S",
    help="Fastest walk between stations, m/s.",
)
@click.option(
    "--decision",
    type=click.Choice(DECISIONS),
    default="guard-band",
    show_default=True,
    help="How uncertainty counts at a limit: ISO 14253-1:2017, its older rule of U = 2 u, or "
    "not at all.",
)
@click.option("--limits", multiple=True, metavar="SET", help="Sets of limits; repeat for several.")
@click.option("--print-set", metavar="NAME", help="Card set whose print was checked.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV.")
@click.pass_context
def check(
    context: click.Context,
    where: str,
    inspection: str,
    level: float,
    walking_speed: float,
    decision: str,
    limits: tuple[str, ...],
    print_set: str | None,
    as_json: bool,
    as_csv: bool,
) -> None:
    """Hold gauge readings against photographs, and say which entry deserves the first look.

    FOLDER holds photographs, readings.csv (inspection, station, view_deg, typed, gauge,
    gauge_kind, resolution_mm, permissible_error_mm, calibration_due, person, logged_at),
    rope.json, and where there are any stations.csv (number, position_m, note),
    inspection.json and print_checks.json. RECORD is a record file or its URL; what its
    photographs gave is taken from it.

    Exit status: 0 all agrees, 1 something deserves a look or was refused, 2 misuse.

    \b
    Example:
      ropephoto check crane-3/
    """
    from inspection.case import judge_log
    from inspection.limit_tables import USUAL_SETS
    from inspection.timing import Pace
    from ui.check_tables import print_check_csv, print_check_json, print_check_table

    if as_json and as_csv:
        raise click.UsageError("take one of --json and --csv, not both.")
    folder = Path(where)
    try:
        if folder.is_dir():
            read = _measured(
                folder, inspection, print_set, context.obj or _measure(as_json, as_csv)
            )
        else:
            read = _recorded(where, inspection)
        judgement = judge_log(
            read.log,
            level=level,
            pace=Pace(walking_m_s=walking_speed),
            decision=_decision(decision),
            rule_sets=limits or USUAL_SETS,
        )
    except ValueError as wrong:
        raise click.UsageError(str(wrong)) from wrong
    if as_json:
        print_check_json(judgement, read)
    elif as_csv:
        print_check_csv(judgement, read)
    else:
        print_check_table(judgement, read)
    context.exit(1 if judgement.deserves_a_look or read.rejected else 0)


def _measure(as_json: bool, as_csv: bool) -> Measure:
    from ui.measuring import measure_files

    return lambda paths, settings: measure_files(paths, settings, quiet=as_json or as_csv)


def _measured(folder: Path, inspection: str, print_set: str | None, measure: Measure) -> Folder:
    """Return a folder's log with what its photographs give."""
    from dataclasses import replace

    from inspection.folder import read_folder
    from ui.measuring import SUFFIXES
    from vision.pipeline import Settings
    from vision.printcheck import load_print_checks

    read = read_folder(folder, inspection=inspection)
    checks = load_print_checks(folder / "print_checks.json")
    if print_set is None and len(checks) > 1:
        raise ValueError(
            f"print_checks.json holds {len(checks)} card sets; say which with --print-set: "
            f"{', '.join(sorted(checks))}."
        )
    if print_set is not None and print_set not in checks:
        raise ValueError(
            f"print_checks.json holds no card set '{print_set}'; it holds "
            f"{', '.join(sorted(checks)) or 'none'}."
        )
    chosen = checks[print_set] if print_set else next(iter(checks.values()), None)
    photographs = sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES)
    results = measure(photographs, Settings(print_check=chosen)) if photographs else []
    notes = read.notes if photographs else (*read.notes, "The folder holds no photographs.")
    return replace(read, log=replace(read.log, results=tuple(results)), notes=notes)


def _recorded(where: str, inspection: str) -> Folder:
    """Return an inspection's log from a record."""
    from inspection.folder import Folder
    from inspection.log import Earlier, Log
    from inspection.record import open_record

    if "://" not in where and not Path(where).exists():
        raise ValueError(f"there is no folder and no record {where}.")
    with open_record(where, create=False) as record:
        known = sorted(record.ranked(), key=lambda one: (one.on, one.identity))
        if not known:
            raise ValueError(f"the record {where} holds no inspection.")
        names = [one.identity for one in known]
        wanted = inspection or names[-1]
        if wanted not in names:
            raise ValueError(f"the record has no inspection '{wanted}'; see `ropephoto record`.")
        this = record.inspection(wanted)
        before = [
            record.inspection(one.identity)
            for one in known[: names.index(wanted)]
            if one.rope == this.rope.identity
        ]
    gauges = {gauge.identity: gauge for one in (*before, this) for gauge in one.gauges}
    earlier = tuple(Earlier(one.inspection, one.readings) for one in before)
    log = Log(this.rope, this.inspection, this.readings, gauges, this.results, earlier)
    missing = len(this.photographs) and not this.results
    notes = ("The record's photographs were not measured yet.",) if missing else ()
    return Folder(log, (), notes)


def _decision(name: str) -> DecisionRule:
    from inspection.verdict import GUARD_2013, GUARD_2017, SIMPLE

    return {"guard-band": GUARD_2017, "guard-band-2u": GUARD_2013, "simple": SIMPLE}[name]
