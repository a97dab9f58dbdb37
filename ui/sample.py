"""The sample inspection, taken into a record as if somebody had entered it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date
from pathlib import Path

from inspection.folder import read_folder
from inspection.record import Record
from inspection.record_plain import Plain
from ui.known_cameras import known_cameras
from ui.record_log import look_over
from vision.card import layout_named
from vision.estimate import Result
from vision.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.printcheck import PrintCheck, load_print_checks

Told = Callable[[float, str], None]


def sample_folder() -> Path | None:
    """Return the folder of the sample photographs; None where it was not copied along."""
    for place in (Path(__file__).resolve().parent.parent, Path.cwd()):
        if (place / "sample_images" / "truth.csv").exists():
            return place / "sample_images"
    return None


def load_sample(record: Record, folder: Path, *, by: str, told: Told = lambda _, __: None) -> str:
    """Take the sample inspection into a record; return the inspection's identity.

    What is there already is kept, so a second try goes on where the first one stopped.

    Parameters
    ----------
    record : Record
        Where to.
    folder : Path
        The sample folder.
    by : str
        Who loads it.
    told : callable, optional
        Is given how far it is (0 to 1) and what is being done.

    Raises
    ------
    ValueError
        If the folder is not the sample folder, or the record can't be written.
    """
    log = read_folder(folder).log
    identity = log.inspection.identity
    checks = load_print_checks(folder / "print_checks.json")
    card_set, check = next(iter(checks.items()))
    told(0.0, "rope, stations and readings")
    with record.together() as writing:
        if log.rope.identity not in {rope.identity for rope in writing.ropes()}:
            writing.add_rope(log.rope, by=by)
        known = {gauge.identity for gauge in writing.gauges()}
        for gauge in log.gauges.values():
            if gauge.identity not in known:
                writing.add_gauge(gauge, by=by)
        if card_set not in writing.print_checks():
            writing.add_print_check(card_set, plain_check(check), by=by)
        if identity not in {one.identity for one in writing.ranked()}:
            writing.add_inspection(log.inspection, by=by)
            writing.add_readings(identity, log.readings, by=by)
    # the smooth bar is no part of this rope: it is there to try the method on
    photographs = sorted(path for path in folder.glob("*.jpg") if not path.name.startswith("bar"))
    measured = {result.photo_sha256 for result in record.inspection(identity).results}
    for done, path in enumerate(photographs):
        told((done + 0.5) / (len(photographs) + 1), f"measuring {path.name}")
        data = path.read_bytes()
        if hashlib.sha256(data).hexdigest() not in measured:
            measure_into(record, identity, data, name=path.name, check=check, by=by)
    told(len(photographs) / (len(photographs) + 1), "holding readings against photographs")
    look_over(record, identity, by=by)
    told(1.0, "done")
    return identity


def measure_into(
    record: Record, identity: str, data: bytes, *, name: str, check: PrintCheck | None, by: str
) -> tuple[Result, ...]:
    """Measure one photograph, keep it and what it gives in the record, and return what it gives.

    A file that can't be opened as a photograph does not enter the record.

    Raises
    ------
    PhotoError
        If the file is no photograph.
    """
    settings = Settings(print_check=check, cameras=known_cameras())
    results = measure_photo(open_photo(data, name=name), settings)
    record.store_photograph(identity, data)  # while the record is free for others
    with record.together() as writing:  # a photograph without results would pass for measured
        writing.add_photograph(identity, data, name=name, by=by)
        writing.add_results(identity, results, by=by)
    return results


def plain_check(check: PrintCheck) -> Plain:
    """Return a print check as the record keeps it."""
    return {
        "layout": check.layout.name,
        "along_mm": check.along_read_mm,
        "across_mm": check.across_read_mm,
        "u_mm": check.u_read_mm,
        "checked_on": None if check.checked_on is None else check.checked_on.isoformat(),
    }


def check_from(card_set: str, values: Plain) -> PrintCheck:
    """Return the print check that `plain_check` took apart."""
    on = values.get("checked_on")
    return PrintCheck(
        card_set,
        layout_named(values["layout"]),
        float(values["along_mm"]),
        float(values["across_mm"]),
        float(values["u_mm"]),
        None if on is None else date.fromisoformat(on),
    )
