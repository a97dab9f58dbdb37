"""From a record to what `ropephoto check` needs, measuring what was not measured, and back."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeAlias

from inspection.assessment import Assessment
from inspection.folder import Folder
from inspection.record.errors import RecordError
from inspection.record.record import Record
from inspection.record.views import OpenInspection, Photograph
from ui.services.assess_record import log_of, save_findings
from ui.services.cameras import known_cameras
from vision.pipeline import Settings
from vision.results import Result
from vision.target.print_scale import PrintCheck, check_from_dict

Measure: TypeAlias = Callable[[list[Path], Settings], list[Result]]


@dataclass(frozen=True, slots=True)
class Gathered:
    """An inspection of a record with what its photographs give.

    Parameters
    ----------
    read : Folder
        Its log, and notes.
    fresh : tuple of Estimate or Refusal
        Results that the record does not hold yet; they are in the log, too.
    revision : int
        The inspection's revision that was read.
    """

    read: Folder
    fresh: tuple[Result, ...]
    revision: int


def gather(
    record: Record, inspection: str, *, measure: Measure | None = None, print_set: str | None = None
) -> Gathered:
    """Return an inspection's log from a record.

    Parameters
    ----------
    record : Record
        Where from.
    inspection : str
        Which one; the latest where empty.
    measure : callable, optional
        Measures photographs that have no result yet; without it they are only counted.
    print_set : str, optional
        Card set whose print was checked.

    Raises
    ------
    ValueError
        If there is no such inspection, or the card set is not clear.
    """
    known = sorted(record.ranked(), key=lambda summary: (summary.on, summary.identity))
    if not known:
        raise ValueError(f"the record {record.access.where} holds no inspection.")
    wanted = inspection or known[-1].identity
    if wanted not in {one.identity for one in known}:
        raise ValueError(f"the record has no inspection '{wanted}'; see `ropephoto record`.")
    this, log = record.inspection(wanted), log_of(record, wanted)
    unmeasured = _unmeasured(this)
    if not unmeasured:
        return Gathered(Folder(log, (), ()), (), this.revision)
    if measure is None:
        note = f"{len(unmeasured)} of the record's photographs were not measured yet."
        return Gathered(Folder(log, (), (note,)), (), this.revision)
    checks = {name: check_from_dict(name, values) for name, values in record.print_checks().items()}
    chosen = choose_check(checks, print_set, "the record")
    settings = Settings(print_check=chosen, cameras=known_cameras())
    fresh, notes = _measured(record, unmeasured, measure, settings)
    log = replace(log, results=(*log.results, *fresh))
    return Gathered(Folder(log, (), notes), fresh, this.revision)


def _unmeasured(this: OpenInspection) -> list[Photograph]:
    measured = {result.photo_sha256 for result in this.results}
    return [photograph for photograph in this.photographs if photograph.sha256 not in measured]


def _measured(
    record: Record, unmeasured: Sequence[Photograph], measure: Measure, settings: Settings
) -> tuple[tuple[Result, ...], tuple[str, ...]]:
    """Measure photographs of the record's store as files of a passing folder."""
    notes = []
    with tempfile.TemporaryDirectory(prefix="photographs-") as place:
        stored: dict[str, Photograph] = {}
        for number, one in enumerate(unmeasured):
            try:
                data = record.photographs.get(one.sha256)
            except RecordError as error:
                notes.append(f"{one.name} could not be measured: {error}")
                continue
            # the name as it came may hold a path, be too long for a file, or another one's too
            name = f"{number:04d}-{Path(one.name).name[-60:]}"
            (Path(place) / name).write_bytes(data)
            stored[name] = one
        found = measure([Path(place) / name for name in stored], settings) if stored else []
    results = [
        replace(one, photo_name=photograph.name, photo_sha256=photograph.sha256)
        for one in found
        for photograph in [stored[one.photo_name]]
    ]
    return tuple(results), tuple(notes)


def choose_check(
    checks: dict[str, PrintCheck], print_set: str | None, holder: str
) -> PrintCheck | None:
    """Return the print check to measure by: the one named, or the only one; None if none is.

    Raises
    ------
    ValueError
        If there are several and none was named, or the named one is not there.
    """
    if print_set is None and len(checks) > 1:
        raise ValueError(
            f"{holder} holds {len(checks)} card sets; say which with --print-set: "
            f"{', '.join(sorted(checks))}."
        )
    if print_set is not None and print_set not in checks:
        raise ValueError(
            f"{holder} holds no card set '{print_set}'; it holds "
            f"{', '.join(sorted(checks)) or 'none'}."
        )
    return checks[print_set] if print_set else next(iter(checks.values()), None)


def save(record: Record, gathered: Gathered, assessment: Assessment, *, by: str) -> str:
    """Save new results and findings in the record, together; say what was saved.

    Raises
    ------
    StaleError
        If somebody changed the inspection since it was read; nothing is kept then.
    """
    identity = assessment.log.inspection.identity
    with record.transaction() as batch:
        if gathered.fresh:
            batch.add_results(
                identity, gathered.fresh, by=by, why="measured by check", revision=gathered.revision
            )
        elif batch.inspection(identity).revision != gathered.revision:
            raise ValueError(
                f"inspection '{identity}' was changed while it was checked; check it again."
            )
        found, kept = save_findings(batch, assessment, by=by)
    findings = f"{len(found)} findings" if kept else "the same findings as before"
    results = f"{len(gathered.fresh)} new results, " if gathered.fresh else ""
    return f"Saved in the record: {results}{findings}."
