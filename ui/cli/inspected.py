"""What `check` and `report` read: a folder, which is measured, or a record; and their limits."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

if TYPE_CHECKING:
    from inspection.folder import Folder
    from inspection.limits.rules import Rule
    from inspection.record.record import Record
    from ui.services.assess_record import AppliedLimits
    from vision.pipeline import Settings
    from vision.results import Result

    Measure: TypeAlias = Callable[[list[Path], Settings], list[Result]]


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

    with named_record(where) as record:
        return recorded(record, named_or_latest(record, inspection))


def named_record(where: str) -> Record:
    """Return the record that a command names, opened.

    Raises
    ------
    ValueError
        If there is none, or it is damaged.
    """
    from inspection.record.record import open_record
    from ui.environment import store_of

    if "://" not in where and not Path(where).exists():
        raise ValueError(
            f"there is no folder or record {where}; check the path, or create a record with "
            "`ropephoto record init`."
        )
    record = open_record(where, photographs=store_of(where), create=False)
    try:
        record.refuse_damage()
    except ValueError:
        record.close()
        raise
    return record


def refusal(wrong: ValueError) -> click.ClickException:
    """Return the command's error for a sentence: status 1 for a damaged record, 2 for misuse."""
    from inspection.record.errors import DamagedError

    if isinstance(wrong, DamagedError):
        return click.ClickException(str(wrong))
    return click.UsageError(str(wrong))


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
