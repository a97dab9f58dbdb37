"""The camera's metadata: orientation, time, make and model, focal length.

All functions take a plain mapping from EXIF tag to value and never fail on a malformed one: a value
that can't be interpreted is treated as missing. Tag numbers: CIPA DC-008 (Exif 2.32).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from numbers import Real

Tags = Mapping[int, object]

MAKE, MODEL, ORIENTATION = 0x010F, 0x0110, 0x0112
DATETIME_ORIGINAL, OFFSET_TIME_ORIGINAL = 0x9003, 0x9011
FOCAL_LENGTH, FOCAL_LENGTH_35MM, DIGITAL_ZOOM = 0x920A, 0xA405, 0xA404
PIXEL_X, PIXEL_Y = 0xA002, 0xA003
PLANE_X_RESOLUTION, PLANE_UNIT = 0xA20E, 0xA210

FRAME_DIAGONAL_MM = 43.2666  # of the 35 mm frame, sqrt(36^2 + 24^2)
# One phone's stated equivalent gave 5 % to 10 % less than a fit to a calibration board
# (derived from published photographs); a standard uncertainty of 4 % covers that.
U_FOCAL = 0.04
LEAST_35MM, MOST_35MM = 12.0, 200.0  # ultra-wide to long lenses of phones, with a margin
# Equivalent over actual focal length: 1 for the 35 mm frame, 3.6 to 12 for phones. One phone
# scaled its equivalent with the picture's size and recorded 177 mm for a lens of 4 mm.
LEAST_CROP, MOST_CROP = 0.6, 15.0
MOST_SIDE_PX = 1_000_000  # a longer side is a corrupt entry
MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}


@dataclass(frozen=True, slots=True)
class FocalHint:
    """A focal length recorded by the camera and its standard uncertainty, px of the picture."""

    focal_px: float
    u_focal_px: float


def orientation(tags: Tags) -> int:
    """Return the orientation of the stored picture, 1 to 8 (Exif tag 0x0112); 1 by default.

    Parameters
    ----------
    tags : mapping of int to object
        EXIF values by tag number.
    """
    value = _number(tags.get(ORIENTATION))
    return int(value) if value in (1, 2, 3, 4, 5, 6, 7, 8) else 1


def camera(tags: Tags) -> str:
    """Return the camera's make and model; empty if not recorded.

    Parameters
    ----------
    tags : mapping of int to object
        EXIF values by tag number.

    Examples
    --------
    >>> camera({MAKE: "Acme", MODEL: "Acme Pocket 3"}), camera({MODEL: "P9 "})
    ('Acme Pocket 3', 'P9')
    """
    make, model = _words(tags.get(MAKE)), _words(tags.get(MODEL))
    if model.lower().startswith(make.lower()):
        return model
    return f"{make} {model}".strip()


def lens(tags: Tags) -> str:
    """Return the camera's lens: its 35 mm equivalent and digital zoom.

    Parameters
    ----------
    tags : mapping of int to object
        EXIF values by tag number.

    Examples
    --------
    >>> lens({FOCAL_LENGTH_35MM: 26}), lens({FOCAL_LENGTH_35MM: 26, DIGITAL_ZOOM: 2.0}), lens({})
    ('26 mm', '26 mm, zoom 2', '')
    """
    parts = []
    if equivalent := _number(tags.get(FOCAL_LENGTH_35MM)):
        parts.append(f"{equivalent:g} mm")
    elif focal_mm := _number(tags.get(FOCAL_LENGTH)):
        parts.append(f"lens {focal_mm:.3g} mm")
    zoom = _number(tags.get(DIGITAL_ZOOM))
    if zoom and zoom > 1.0:
        parts.append(f"zoom {zoom:.3g}")
    return ", ".join(parts)


def taken_at(tags: Tags) -> datetime | None:
    """Return the capture time; with a time zone only where the camera recorded one.

    Parameters
    ----------
    tags : mapping of int to object
        EXIF values by tag number.

    Examples
    --------
    >>> taken_at({DATETIME_ORIGINAL: "2026:09:14 10:32:05", OFFSET_TIME_ORIGINAL: "+02:00"})
    ... # doctest: +ELLIPSIS
    datetime.datetime(2026, 9, 14, 10, 32, 5, tzinfo=datetime.timezone(datetime.timedelta(...
    """
    match = re.match(
        r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)", _words(tags.get(DATETIME_ORIGINAL))
    )
    if not match:
        return None
    try:
        when = datetime(*map(int, match.groups()))  # type: ignore[arg-type]
    except ValueError:
        return None
    zone = re.fullmatch(r"([+-])(\d\d):(\d\d)", _words(tags.get(OFFSET_TIME_ORIGINAL)))
    if zone:
        hours, minutes = int(zone[2]), int(zone[3])
        if hours < 24 and minutes < 60:
            east = timedelta(hours=hours, minutes=minutes)
            return when.replace(tzinfo=timezone(east if zone[1] == "+" else -east))
    return when


def focal_hint(tags: Tags, width: int, height: int) -> FocalHint | None:
    """Return a picture's focal length, px, from the camera's metadata.

    Parameters
    ----------
    tags : mapping of int to object
        EXIF values by tag number.
    width, height : int
        Size of the picture as it is, px, turned or not.

    Returns
    -------
    hint : FocalHint or None
        None where there is no plausible value: the picture was cropped (its shape differs from
        the one recorded), or no lens has such values.

    Notes
    -----
    From the 35 mm equivalent f35 and the diagonal: ``f = f35 / 43.2666 x sqrt(W^2 + H^2)``. From
    the focal length in mm and the sensor's pixels per unit: their product, times the ratio by
    which the picture was resized. Where both are recorded, their mid-point is used, and half their
    difference is included in the uncertainty. Some cameras include digital zoom in these values
    and others don't: the mid-point of both interpretations is used, and half their difference is
    added to the uncertainty. All this is done with logarithms.
    """
    resized = _resized(tags, width, height)
    if resized is None:
        return None
    equivalent = _number(tags.get(FOCAL_LENGTH_35MM))
    lens_mm = _number(tags.get(FOCAL_LENGTH))
    readings: list[float] = []
    diagonal_px = math.hypot(width, height)

    if equivalent and LEAST_35MM <= equivalent <= MOST_35MM:
        crop = equivalent / lens_mm if lens_mm else 1.0
        if LEAST_CROP <= crop <= MOST_CROP:
            focal_px = equivalent / FRAME_DIAGONAL_MM * diagonal_px
            readings.append(focal_px)
    per_mm = _plane_px_per_mm(tags)
    if lens_mm and per_mm:
        focal_px = lens_mm * per_mm * resized
        if LEAST_35MM <= focal_px / diagonal_px * FRAME_DIAGONAL_MM <= MOST_35MM:
            readings.append(focal_px)
    if not readings:
        return None

    logs = [math.log(focal_px) for focal_px in readings]
    middle, spread = (max(logs) + min(logs)) / 2, (max(logs) - min(logs)) / 2
    u = math.hypot(U_FOCAL, spread)
    zoom = _number(tags.get(DIGITAL_ZOOM))
    if zoom and 1.0 < zoom <= 30.0:  # 0 and 1: not used
        half = math.log(zoom) / 2
        middle, u = middle + half, math.hypot(u, half)
    focal_px = math.exp(middle)
    return FocalHint(focal_px, u * focal_px)


def taken_size(tags: Tags) -> tuple[int, int] | None:
    """Return the picture's width and height recorded by the camera, px; None if not recorded.

    Parameters
    ----------
    tags : mapping of int to object
        EXIF values by tag number.

    Examples
    --------
    >>> taken_size({PIXEL_X: 4000, PIXEL_Y: 3000}), taken_size({PIXEL_X: 4000})
    ((4000, 3000), None)
    """
    x, y = _number(tags.get(PIXEL_X)), _number(tags.get(PIXEL_Y))
    return (round(x), round(y)) if x and y and max(x, y) < MOST_SIDE_PX else None


def _resized(tags: Tags, width: int, height: int) -> float | None:
    """Return the ratio by which the picture was resized; None if it was cropped."""
    x, y = _number(tags.get(PIXEL_X)), _number(tags.get(PIXEL_Y))
    if not x or not y:
        return 1.0
    for a, b in ((width, height), (height, width)):
        if abs((a / b) / (x / y) - 1) <= 0.01:
            return math.sqrt((width * height) / (x * y))
    return None


def _plane_px_per_mm(tags: Tags) -> float | None:
    per_unit = _number(tags.get(PLANE_X_RESOLUTION))
    unit = _number(tags.get(PLANE_UNIT)) or 2  # inches by default
    return per_unit / MM_PER_UNIT[int(unit)] if per_unit and unit in MM_PER_UNIT else None


def _number(value: object) -> float | None:
    """Return a positive number from any of the forms that cameras use; None otherwise."""
    if isinstance(value, tuple) and len(value) == 1:
        value = value[0]
    try:
        if isinstance(value, tuple) and len(value) == 2:
            value = Fraction(*map(int, value))
        if not isinstance(value, Real) or isinstance(value, bool):
            return None
        number = float(value)
    except (ArithmeticError, TypeError, ValueError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _words(value: object) -> str:
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    if not isinstance(value, str):
        return ""
    return "".join(c for c in value.split("\0")[0] if c.isprintable()).strip()[:80]
