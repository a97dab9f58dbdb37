"""The small set that the tests carry: every kind of photograph at low resolution.

Few pixels keep the files small; the ropes are near enough to be about 95 px wide or more.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))

from placing import placed
from range_hopeless import hopeless_shots
from range_list import SEED, STRESSES, protocol_station
from rope_shot import Shot

ANSWERABLE = 22
SIZE_PX = (1760, 1320)
SMALL_STRESSES = ("", "bent card", "", "level", "", "print unchecked", "", "gap over 0.5 mm")


def small_scenes() -> list[list[Shot]]:
    """Return the small set: one list for each rendered scene."""
    scenes = []
    number = 2000
    while len(scenes) < ANSWERABLE:
        number += 1
        shot = protocol_station(number, name="small")[number % 2]
        if shot.d_nominal_mm < 12:  # at few pixels the card must be near: no thin ropes
            continue
        name = SMALL_STRESSES[len(scenes) % len(SMALL_STRESSES)]
        rng = np.random.default_rng([SEED, 9, number])
        if name:
            shot = STRESSES[name](shot, rng)
        try:
            shot = placed(_small(shot), rng, farthest_mm=600.0)
        except ValueError:  # the card is too large for so near a position
            continue
        shot = replace(shot, file=f"{len(scenes):02d}-{_tags(shot)}.jpg", note=name, pair="")
        scenes.append([shot])
    for kind in range(6):  # of a spoilt photograph only the first kind, mirrored
        shot = placed(_small(protocol_station(3001 + kind)[0]), np.random.default_rng([SEED, 9]))
        scenes.append(hopeless_shots(shot, kind)[:1])
    return scenes


def _tags(shot: Shot) -> str:
    return f"{shot.surface}-{shot.light}-{shot.d_nominal_mm:g}mm".replace(" ", "-")


def _small(shot: Shot) -> Shot:
    width, height = SIZE_PX
    upright = shot.size_px[0] < shot.size_px[1]
    return replace(
        shot,
        size_px=(height, width) if upright else (width, height),
        principal_offset_px=(
            shot.principal_offset_px[0] * 0.44,
            shot.principal_offset_px[1] * 0.44,
        ),
        sensor=replace(shot.sensor, quality=72),
    )
