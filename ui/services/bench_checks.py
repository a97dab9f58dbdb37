"""Bench checks, kept beside the calibrated cameras: one for each phone and card set."""

from __future__ import annotations

from dataclasses import asdict, fields
from datetime import date
from pathlib import Path
from typing import Any

from inspection.measurement.bench_check import BenchCheck
from ui.services.cameras import cameras_file
from vision.json_files import read_json, update_json
from vision.results import Estimate, Result

NAME = "bench_checks.json"


def bench_checks_file() -> Path:
    """Return the file of bench checks, beside that of the calibrated cameras."""
    return cameras_file().with_name(NAME)


def known_bench_checks() -> tuple[BenchCheck, ...]:
    """Return the bench checks of this machine; none if there is no file.

    Raises
    ------
    ValueError
        If the file is damaged.
    """
    place = bench_checks_file()
    return tuple(_from_dict(entry, place) for entry in read_json(place).values())


def keep_bench_check(check: BenchCheck) -> Path:
    """Save a check, replacing an earlier one of that phone and card set; return the file.

    Raises
    ------
    ValueError
        If the file is damaged (it is then left unchanged) or cannot be written.
    """
    place = bench_checks_file()
    key = f"{check.camera}; {check.print_set}"
    entry = {**asdict(check), "on": check.on.isoformat()}
    update_json(place, "the bench check", lambda kept: {**kept, key: entry})
    return place


def bench_check_for(
    results: tuple[Result, ...] | list[Result], known: tuple[BenchCheck, ...]
) -> tuple[BenchCheck, ...]:
    """Return the checks of the phones and card sets that took these photographs."""
    used = {(one.camera, one.print_set) for one in results if isinstance(one, Estimate)}
    return tuple(check for check in known if (check.camera, check.print_set) in used)


def _from_dict(entry: Any, file: Path) -> BenchCheck:
    try:
        kept = {**entry, "on": date.fromisoformat(entry["on"])}
        for one in fields(BenchCheck):
            if one.type in ("float", "int", "str"):
                kept[one.name] = {"float": float, "int": int, "str": str}[one.type](kept[one.name])
        check = BenchCheck(**kept)
        if not check.u_mean_error_mm > 0 or check.photographs < 2:
            raise ValueError
        return check
    except (KeyError, TypeError, ValueError, OverflowError):
        raise ValueError(
            f"{file.name} holds an entry that is no bench check; repair the file or move it away."
        ) from None
