"""The sample inspection, added to a record as if somebody had entered it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from inspection.folder import read_folder
from inspection.record.record import Record
from inspection.record.views import Manner
from ui.services.measuring_queue import PhotoFile, store_photographs, work_off
from vision.target.print_scale import check_to_dict, load_print_checks

Progress = Callable[[float, str], object]


def sample_folder() -> Path | None:
    """Return the folder of the sample photographs; None if it is not there."""
    for place in (Path(__file__).resolve().parents[2], Path.cwd()):
        if (place / "sample_images" / "truth.csv").exists():
            return place / "sample_images"
    return None


def load_sample(
    record: Record, folder: Path, *, by: str, report: Progress = lambda _, __: None
) -> str:
    """Add the sample inspection to a record; return the inspection's identity.

    What is already there is kept, so a second try continues where the first one stopped.

    Parameters
    ----------
    record : Record
        The record to add to.
    folder : Path
        The sample folder.
    by : str
        Who adds it.
    report : callable, optional
        Called with the share done (0 to 1) and the current step.

    Raises
    ------
    ValueError
        If the folder is not the sample folder, or the record can't be written.
    """
    log = read_folder(folder).log
    identity = log.inspection.identity
    checks = load_print_checks(folder / "print_checks.json")
    card_set, check = next(iter(checks.items()))
    report(0.0, "rope, stations and readings")
    with record.transaction() as writing:
        if log.rope.identity not in {rope.identity for rope in writing.ropes()}:
            writing.add_rope(log.rope, by=by)
        known = {gauge.identity for gauge in writing.gauges()}
        for gauge in log.gauges.values():
            if gauge.identity not in known:
                writing.add_gauge(gauge, by=by)
        if card_set not in writing.print_checks():
            writing.add_print_check(card_set, check_to_dict(check), by=by)
        if identity not in {summary.identity for summary in writing.ranked()}:
            writing.add_inspection(log.inspection, by=by)
            writing.add_readings(identity, log.readings, by=by)
    # without the smooth bar, which is not part of the rope: it is there to test the method
    photographs = sorted(path for path in folder.glob("*.jpg") if not path.name.startswith("bar"))
    files = [PhotoFile(path.name, path.read_bytes()) for path in photographs]
    store_photographs(record, identity, files, Manner(card_set), by=by)
    work_off(
        record,
        identity,
        lambda left: report(1.0 - (left + 0.5) / (len(files) + 1), f"{left} photographs waiting"),
    )
    report(1.0, "done")
    return identity
