"""Read an inspection from a record for `ropephoto check` and reports, and save its findings."""

from __future__ import annotations

from inspection.assessment import Assessment
from inspection.folder import Folder
from inspection.model.log import counted
from inspection.record.record import Record
from ui.services.assess_record import log_of, save_findings

SHOWN = 5  # inspections listed when the one named is not there


def named_or_latest(record: Record, inspection: str) -> str:
    """Return the named inspection, or the latest if none is named.

    Raises
    ------
    ValueError
        If there is no such inspection.
    """
    known = sorted(record.ranked(), key=lambda summary: (summary.on, summary.identity))
    if not known:
        raise ValueError(f"the record {record.access.where} holds no inspection.")
    wanted = inspection or known[-1].identity
    if wanted not in {one.identity for one in known}:
        named = ", ".join(f"'{one.identity}'" for one in reversed(known[-SHOWN:]))
        more = f" and {len(known) - SHOWN} earlier ones" if len(known) > SHOWN else ""
        raise ValueError(f"the record has no inspection '{wanted}'; it has {named}{more}.")
    return wanted


def recorded(record: Record, identity: str) -> Folder:
    """Return an inspection's log with a note on photographs not yet measured."""
    opened = record.inspection(identity)
    gave = {result.photo_sha256 for result in opened.results}
    open_ones = sum(one.sha256 not in gave for one in opened.photographs)
    notes = () if not open_ones else (
        f"{open_ones} of the record's photographs have not been measured yet; measure them with "
        "`ropephoto record measure`.",
    )  # fmt: skip
    return Folder(log_of(record, identity), (), notes)


def save_assessed(record: Record, assessment: Assessment, revision: int, *, by: str) -> str:
    """Save the findings of an assessment in the record; return a sentence on what was saved.

    Raises
    ------
    ValueError
        If somebody changed the inspection since `revision` was read.
    """
    identity = assessment.log.inspection.identity
    with record.transaction() as batch:
        if batch.inspection(identity).revision != revision:
            raise ValueError(
                f"inspection '{identity}' was changed while it was checked; check it again."
            )
        found, changed = save_findings(batch, assessment, by=by)
    findings = (
        counted(len(found), "finding", "findings") if changed else "the same findings as before"
    )
    return f"Saved in the record: {findings}."
