"""From a photograph to diameters, in one call.

>>> from vision.pipeline import measure_photo          # doctest: +SKIP
>>> for result in measure_photo("rope.jpg"):           # doctest: +SKIP
...     print(result)
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from vision.calibration.library import CalibratedCamera, lens_for
from vision.camera import Lens
from vision.findings import RefusedError
from vision.photo.photo import Photo, open_photo
from vision.results import Refusal, Result
from vision.rope.constants import JAW_DIAMETERS
from vision.rope.measure import look_for_rope, measure_station
from vision.rope.tangent_cylinder import TOUCHING, Hold
from vision.target.detect import FoundCard, find_cards
from vision.target.layout import Card
from vision.target.locate import locate_card
from vision.target.print_scale import PrintCheck, card_as_printed


class _Identity(TypedDict):
    photo_name: str
    photo_sha256: str
    look_hash: str
    taken_at: datetime | None
    camera: str


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings for measuring photographs.

    Parameters
    ----------
    at_mm : tuple of float
        Stations: places along the card, mm from its middle.
    hold : Hold
        How the card was held to the rope, and how far from it.
    jaw_diameters : float
        Length of the virtual jaws over the rope's diameter.
    print_check : PrintCheck or None
        Readings of the printed bars; None for an unchecked print.
    cameras : mapping of str to CalibratedCamera
        Calibrated cameras by key, see `vision.calibration.library`.
    """

    at_mm: tuple[float, ...] = (0.0,)
    hold: Hold = TOUCHING
    jaw_diameters: float = JAW_DIAMETERS
    print_check: PrintCheck | None = None
    cameras: Mapping[str, CalibratedCamera] = field(default_factory=dict)


def measure_photo(
    source: Photo | str | os.PathLike[str] | bytes, settings: Settings | None = None
) -> tuple[Result, ...]:
    """Return the rope's diameter at each station of each card, or the reasons why not.

    Parameters
    ----------
    source : Photo, path or bytes
        The photograph.
    settings : Settings, optional
        How to measure it.

    Returns
    -------
    tuple of Estimate or Refusal
        At least one; one for each card in view and each station requested.

    Raises
    ------
    PhotoError
        If the file can't be opened as a photograph.
    """
    settings = settings or Settings()
    photo = source if isinstance(source, Photo) else open_photo(source)
    grey = np.zeros(photo.pixels.shape[:2], np.uint8)
    lens = lens_for(photo, settings.cameras)
    try:
        cards = find_cards(photo.pixels, lens, grey)
    except RefusedError as refused:
        return (_refusal(photo, refused, None, 0.0),)
    return tuple(
        result for found in cards for result in _measure_card(photo, grey, found, lens, settings)
    )


def _measure_card(
    photo: Photo, grey: NDArray[np.uint8], found: FoundCard, lens: Lens, settings: Settings
) -> list[Result]:
    card = card_as_printed(found, settings.print_check)
    try:
        rope = look_for_rope(photo, grey, locate_card(grey, found, card, lens))
    except RefusedError as refused:
        return [_refusal(photo, refused, card, at_mm) for at_mm in settings.at_mm]
    results: list[Result] = []
    for at_mm in settings.at_mm:
        try:
            estimate = measure_station(
                rope, at_mm=at_mm, hold=settings.hold, jaw_diameters=settings.jaw_diameters
            )
            results.append(replace(estimate, **_identity(photo)))
        except RefusedError as refused:
            results.append(_refusal(photo, refused, card, at_mm))
    return results


def _identity(photo: Photo) -> _Identity:
    return {
        "photo_name": photo.name,
        "photo_sha256": photo.sha256,
        "look_hash": photo.look_hash,
        "taken_at": photo.taken_at,
        "camera": photo.camera,
    }


def _refusal(photo: Photo, refused: RefusedError, card: Card | None, at_mm: float) -> Refusal:
    return Refusal(
        findings=refused.findings,
        station=card.station if card else None,
        view_deg=card.view_deg if card else None,
        at_mm=at_mm,
        **_identity(photo),
    )
