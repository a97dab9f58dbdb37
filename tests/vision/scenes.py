"""Photographs of a bar on a card, ready to be measured, and what comes of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import numpy as np
from studio import DARK_GREASE, Bar, Colour, Patch, Shot, photograph

from tests.photo_arrays import photo_from_array
from vision.photo.photo import Photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Finding, Result
from vision.rope.tangent_cylinder import Hold
from vision.target.layout import layout_named
from vision.target.print_scale import PrintCheck

A5, A6 = layout_named("A5 middle"), layout_named("A6 middle")
CHECK = PrintCheck("test-set", A5, 180.0, 110.0, 0.02)
# A bar truly touches the card here: nobody has to expect a gap.
CHECKED = Settings(print_check=CHECK, hold=Hold(u_offset_mm=0.15))
VIEW: dict[str, Any] = {
    "size": (1800, 1250),
    "focal_px": 2500.0,
    "distance_mm": 290.0,
    "tilt_deg": 4.0,
    "roll_deg": 2.0,
}
BAR = Bar(24, 12, turn_deg=1.5, colour=DARK_GREASE)
Case = tuple[Photo, Settings]


def taken(shot: Shot, *, focal_off: float | None = 1.0, settings: Settings = CHECKED) -> Case:
    focal_px = None if focal_off is None else focal_off * shot.focal_px
    return photo_from_array(shot.pixels, "made.png", focal_px=focal_px), settings


def shot_of(**changes: Any) -> Shot:
    return photograph(A5, 6, **{**VIEW, "bar": BAR, **changes}) if changes else _plain()


@cache
def _plain() -> Shot:
    """The one that most tests begin with, drawn once; nobody may write to it."""
    shot = photograph(A5, 6, **VIEW, bar=BAR)
    shot.pixels.flags.writeable = False
    return shot


def measured(case: Case) -> tuple[Result, ...]:
    return measure_photo(*case)


def findings_of(results: tuple[Result, ...]) -> Iterator[Finding]:
    for result in results:
        yield from result.findings


def one_estimate(shot: Shot, settings: Settings = CHECKED) -> Estimate:
    (result,) = measured(taken(shot, settings=settings))
    assert isinstance(result, Estimate), [item.seen for item in result.findings]
    return result


@cache
def plain_estimate() -> Estimate:
    """What most tests hold theirs against: the figure of the plain shot."""
    return one_estimate(shot_of())


def strip(
    half_mm: Callable[[float], float], colour: Colour, middle_mm: Callable[[float], float]
) -> Patch:
    """Paint a flat rope: `half_mm` and `middle_mm` are its half width and axis along the card."""
    xs = np.linspace(-100, 100, 401)
    upper = [(float(x), middle_mm(x) + half_mm(x)) for x in xs]
    lower = [(float(x), middle_mm(x) - half_mm(x)) for x in xs[::-1]]
    return Patch((*upper, *lower), colour)
