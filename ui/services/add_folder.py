"""Add a folder of one rope's inspection to a record as a whole; a second time adds nothing."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from inspection.folder import Folder
from inspection.model.readings import Reading
from inspection.model.rope import Inspection
from inspection.model.serialization import from_dict
from inspection.record.errors import RecordError
from inspection.record.record import Record
from inspection.record.views import Manner
from ui.services.measuring_queue import PhotoFile, store_photographs
from ui.services.print_sets import choose_check
from vision.photo.containers import SUFFIXES, PhotoError, kind_of
from vision.target.print_scale import check_from_dict, check_to_dict, load_print_checks


@dataclass(frozen=True, slots=True)
class Added:
    """What a folder added to a record.

    Parameters
    ----------
    counts : dict of str to int
        How many of each kind were added.
    notes : tuple of str
        What was assumed, or left unchanged in the record.
    """

    counts: dict[str, int]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Import:
    """A folder being added: the open transaction, who adds it and why, counts and notes."""

    batch: Record
    by: str
    why: str
    counts: Counter[str]
    notes: list[str]


def read_photographs(folder: Path) -> tuple[tuple[PhotoFile, ...], tuple[str, ...]]:
    """Return a folder's photographs, and why the other files were left out."""
    files, left_out = [], []
    for path in sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES):
        try:
            file = PhotoFile(path.name, path.read_bytes())
            kind_of(file.data)
        except (OSError, PhotoError) as error:
            words = str(error).rstrip(".")
            it = "it " if isinstance(error, PhotoError) else ""
            left_out.append(f"{path.name} was left out: {it}{words}.")
        else:
            files.append(file)
    return tuple(files), tuple(left_out)


def print_set_of(record: Record, folder: Path, print_set: str | None) -> str:
    """Return the card set on a folder's photographs; empty if no print was checked.

    Raises
    ------
    ValueError
        If it is not clear which card set they show.
    """
    checks = load_print_checks(folder / "print_checks.json")
    checks |= {
        name: check_from_dict(name, values) for name, values in record.print_checks().items()
    }
    chosen = choose_check(checks, print_set, "the record")
    return "" if chosen is None else chosen.name


def add_folder(
    record: Record,
    folder: Path,
    read: Folder,
    photographs: tuple[PhotoFile, ...],
    *,
    print_set: str | None,
    by: str,
) -> Added:
    """Add a folder's rope, gauges, print checks, inspections, readings and photographs.

    Everything is saved, or nothing; the photographs then wait to be measured. What the record
    already holds stays unchanged: a folder never changes an entry, and a reading corrected since
    does not come back.

    Parameters
    ----------
    record : Record
        The record to add to.
    folder : Path
        The folder with the print checks.
    read : Folder
        Its tables, from `inspection.folder.read_folder`.
    photographs : tuple of PhotoFile
        Its photographs.
    print_set : str or None
        Card set that they show; None for the only one.
    by : str
        Who adds it.

    Raises
    ------
    ValueError
        If an inspection of the same name belongs to another rope, or a file can't be read.
    """
    log = read.log
    manner = Manner(print_set_of(record, folder, print_set) if photographs else "")
    why = f"from the folder {folder.resolve().name}"
    checks = load_print_checks(folder / "print_checks.json")
    counts: Counter[str] = Counter()
    notes = list(read.notes)
    with record.transaction() as batch:
        adding = _Import(batch, by, why, counts, notes)
        ropes = {rope.identity: rope for rope in batch.ropes()}
        if log.rope.identity not in ropes:
            batch.add_rope(log.rope, by=by, why=why)
            counts["ropes"] += 1
        elif ropes[log.rope.identity] != log.rope:
            notes.append(_differs("rope", log.rope.identity))
        gauges = {gauge.identity: gauge for gauge in batch.gauges()}
        for gauge in log.gauges.values():
            if gauge.identity not in gauges:
                batch.add_gauge(gauge, by=by, why=why)
                counts["gauges"] += 1
            elif gauges[gauge.identity] != gauge:
                notes.append(_differs("gauge", gauge.identity))
        known = batch.print_checks()
        for name, check in checks.items():
            if name not in known:
                batch.add_print_check(name, check_to_dict(check), by=by, why=why)
                counts["print checks"] += 1
            elif known[name] != check_to_dict(check):
                notes.append(_differs("print check", name))
        earlier = [(visit.inspection, visit.readings) for visit in log.earlier]
        for inspection, readings in (*earlier, (log.inspection, log.readings)):
            _add_inspection(adding, inspection, readings)
        stored = store_photographs(batch, log.inspection.identity, photographs, manner, by=by)
        counts["photographs"] += len(stored.added)
        notes += stored.rejected
    return Added({name: count for name, count in counts.items() if count}, tuple(notes))


def _add_inspection(adding: _Import, inspection: Inspection, readings: Sequence[Reading]) -> None:
    batch, by, why = adding.batch, adding.by, adding.why
    identity = inspection.identity
    try:
        existing = batch.inspection(identity)
    except RecordError:
        batch.add_inspection(inspection, by=by, why=why)
        adding.counts["inspections"] += 1
    else:
        rope = existing.inspection.rope
        if rope != inspection.rope:
            raise ValueError(
                f"inspection '{identity}' of the record is of rope '{rope}', and the folder's of "
                f"rope '{inspection.rope}': rename one of them."
            )
        if existing.inspection != inspection:
            adding.notes.append(_differs("inspection", identity))
    ever = Counter(
        from_dict(Reading, values)
        for event in batch.events(about="inspection", subject=identity)
        if event.kind == "readings added"
        for values in json.loads(event.new or "[]")
    )
    new = list((Counter(readings) - ever).elements())
    if new:
        batch.add_readings(identity, new, by=by, why=why)
        adding.counts["readings"] += len(new)


def _differs(what: str, name: str) -> str:
    return (
        f"The record describes the {what} '{name}' differently; the record's version was kept. If "
        "the folder is right, change it in the record and give the reason."
    )
