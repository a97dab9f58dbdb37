"""A folder of photographs and trusted readings: measured, compared, and prepared for sending."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from inspection.comparison.gauge_study import GaugeStudy, StudiedPhoto, TrustedReading, study_of
from inspection.exchange.trusted_table import read_trusted, trusted_csv
from vision.photo.anonymous import anonymous
from vision.photo.containers import SUFFIXES, PhotoError
from vision.pipeline import Settings
from vision.results import Finding, Refusal, Result
from vision.target.print_scale import PrintCheck, check_to_dict, load_print_checks

TABLE = "trusted.csv"
CHECKS = "print_checks.json"
FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # the earliest date of a ZIP file, used for "no date"
Measure = Callable[[Path, Settings], tuple[Result, ...]]
LETTER = """\
Photographs of ropes and bars beside a printed card, with trusted readings.

I took these photographs and readings myself, or am allowed to pass them on. The names, places and
times stored in the files were removed, files and ropes were renamed, and I have looked at every
picture: no person, sign, number plate or place can be recognised in them.

Whoever receives this may keep it, measure it, publish the results and pass it on, without asking
me and without naming me (CC0 1.0, creativecommons.org/publicdomain/zero/1.0).

How the readings were taken (please fill in: gauge, its calibration, jaws, who read and how often,
the rope's load, how it was cleaned):

"""


@dataclass(frozen=True, slots=True)
class StudyFolder:
    """A folder of photographs with their trusted readings.

    Parameters
    ----------
    place : Path
        The folder.
    readings : tuple of TrustedReading
        Rows of its table; each one's photograph is in the folder.
    checks : dict of str to PrintCheck
        Card sets whose print was checked.
    without_reading : tuple of str
        Photographs that the table does not name; they are left out and listed.
    """

    place: Path
    readings: tuple[TrustedReading, ...]
    checks: dict[str, PrintCheck]
    without_reading: tuple[str, ...]


def photographs_in(folder: Path) -> tuple[str, ...]:
    """Return the names of a folder's photographs, in order."""
    try:
        inside = [one for one in folder.iterdir() if one.suffix.lower() in SUFFIXES]
    except OSError as failed:
        raise ValueError(
            f"the folder {folder} can't be read ({failed.strerror or failed})."
        ) from failed
    return tuple(sorted(one.name for one in inside))


def read_study_folder(folder: Path) -> StudyFolder:
    """Read the table and the print checks of a folder.

    Parameters
    ----------
    folder : Path
        Holds photographs, ``trusted.csv``, and ``print_checks.json`` if a print was checked.

    Raises
    ------
    ValueError
        If something is missing or wrong; the message says what to do.
    """
    names = photographs_in(folder)
    if not (folder / TABLE).is_file():
        raise ValueError(f"{folder} holds no {TABLE}; --template writes one to fill in.")
    readings = read_trusted(folder / TABLE)
    absent = [one.photo for one in readings if one.photo not in names]
    if absent:
        raise ValueError(f"{TABLE} names {absent[0]}, which is not a photograph in {folder}.")
    checks = load_print_checks(folder / CHECKS)
    unknown = sorted({one.card_set for one in readings} - {"", *checks})
    if unknown:
        raise ValueError(
            f"{TABLE} names the card set '{unknown[0]}', which {CHECKS} does not hold (it holds: "
            f"{', '.join(sorted(checks)) or 'none'}); enter its bars with `ropephoto print-check`."
        )
    named = {one.photo for one in readings}
    return StudyFolder(folder, readings, checks, tuple(one for one in names if one not in named))


def template(folder: Path) -> bytes:
    """Return a table with a row for each photograph of the folder, its readings empty.

    Raises
    ------
    ValueError
        If the folder holds no photographs.
    """
    names = photographs_in(folder)
    if not names:
        raise ValueError(f"the folder {folder} holds no photographs.")
    head = trusted_csv(()).decode()
    return (head + "".join(f"{name},,,,,,,\n" for name in names)).encode()


def studied(folder: StudyFolder, settings: Settings, measure: Measure) -> GaugeStudy:
    """Measure a folder's photographs and compare each with its reading.

    Parameters
    ----------
    folder : StudyFolder
        From `read_study_folder`.
    settings : Settings
        How to measure; each photograph with the print check of its card set.
    measure : callable
        Measures one file; raises `PhotoError` if it is not a photograph.

    Returns
    -------
    GaugeStudy
        The comparison. A photograph that shows several cards counts as refused, because it is not
        known which of them the reading belongs to.
    """
    photos = []
    for reading in folder.readings:
        with_check = replace(settings, print_check=folder.checks.get(reading.card_set))
        photos.append(
            StudiedPhoto(reading, _one(folder.place / reading.photo, with_check, measure))
        )
    return study_of(photos)


def _one(path: Path, settings: Settings, measure: Measure) -> Result:
    try:
        results = measure(path, settings)
    except PhotoError as unreadable:
        return Refusal(
            (Finding("unreadable", str(unreadable), "", "refuse"),), photo_name=path.name
        )
    if len(results) == 1:
        return results[0]
    seen = Finding(
        "several-cards",
        f"The photograph shows {len(results)} cards.",
        "Send one photograph for each reading.",
        "refuse",
    )
    return Refusal((seen,), photo_name=path.name)


def to_send(folder: StudyFolder) -> bytes:
    """Return the folder as a ZIP file without names, place and time.

    Photographs and ropes are renamed. Of each photograph only pixels, camera and focal length stay;
    of the print checks, which hold no names, only those of card sets that the table names.

    Raises
    ------
    ValueError
        If a photograph can't be read.
    """
    ropes = _renamed("rope", (one.rope for one in folder.readings))
    gauges = _renamed("gauge", (one.gauge for one in folder.readings))
    sets = _renamed("cards", (one.card_set for one in folder.readings if one.card_set))
    made = io.BytesIO()
    readings = []
    with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as out:
        for number, reading in enumerate(folder.readings, start=1):
            try:
                data, suffix = anonymous((folder.place / reading.photo).read_bytes())
            except (PhotoError, OSError) as wrong:
                raise ValueError(f"{reading.photo} {wrong}; remove it from {TABLE}.") from wrong
            name = f"photo-{number:03d}{suffix}"
            _put(out, name, data)
            renamed = replace(
                reading,
                photo=name,
                rope=ropes[reading.rope],
                gauge=gauges[reading.gauge],
                card_set=sets.get(reading.card_set, ""),
            )
            readings.append(renamed)
        _put(out, TABLE, trusted_csv(readings))
        if sets:
            checks = {
                new: check_to_dict(replace(folder.checks[old], checked_on=None))
                for old, new in sets.items()
            }
            _put(out, CHECKS, json.dumps(checks, indent=1).encode())
        _put(out, "LETTER.txt", LETTER.encode())
    return made.getvalue()


def _put(out: zipfile.ZipFile, name: str, data: bytes) -> None:
    """Add a file without its date."""
    out.writestr(zipfile.ZipInfo(name, FIRST_DAY), data)


def _renamed(word: str, names: Iterable[str]) -> dict[str, str]:
    return {name: f"{word} {i}" for i, name in enumerate(dict.fromkeys(names), start=1)}
