"""Stated uncertainty without the card, compared with observed scatter.

Cameras, heights, clicks and marks are drawn as the budget assumes them; the truth is the cylinder
itself, seen by the pinhole of `tests/vision/rules.py`. The mean square of error over stated
uncertainty must be within what chance allows; halving or doubling u multiplies it by 4 or by a
quarter, which must be outside.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.stats import chi2

import vision.scale_rule.scale
from tests.photo_arrays import photo_from_array
from tests.vision.rules import Array, Shot, silhouettes
from vision.camera import U_CENTRE_SHARE
from vision.results import Estimate
from vision.scale_rule.graduation_lengths import Pattern
from vision.scale_rule.graduations import GraduatedRule, Run, Unrolled
from vision.scale_rule.measure import measure_with_scale
from vision.scale_rule.plane import U_TILT
from vision.scale_rule.scale import Placement, ScaleRequest

SIZE = (3000, 2000)
BLANK = np.full((SIZE[1], SIZE[0], 3), 128, np.uint8)
FOCAL_PX, U_FOCAL = 2400.0, 0.04
PHOTO = photo_from_array(BLANK, focal_px=FOCAL_PX, u_focal_px=U_FOCAL * FOCAL_PX)


def camera_drawn(rng: np.random.Generator) -> Shot:
    a, b = rng.normal(0, U_TILT, 2)
    spin = rng.uniform(-0.3, 0.3)
    c, s = np.cos(spin), np.sin(spin)
    tilt = np.asarray(cv2.Rodrigues(np.array([[a], [b], [0.0]]))[0], float)
    turn = tilt @ np.array([[c, -s, 0], [-s, -c, 0], [0, 0, -1.0]])
    focal = FOCAL_PX * float(np.exp(rng.normal(0, U_FOCAL)))
    shift = np.array([0, 0, rng.uniform(350, 600)]) - turn @ np.array([50.0, 15.0, 0])
    return Shot(turn, shift, focal, SIZE)


def marks_drawn(camera: Shot, rng: np.random.Generator, one: Array, other: Array) -> GraduatedRule:
    """Runs as they are found on a rule with mm above and 1/16 inch below, 0.25 px of scatter."""
    along = (other - one) / np.linalg.norm(other - one)
    across = np.array([-along[1], along[0]])
    unrolled = Unrolled(np.zeros((3, 3), np.float32), one, along, across, 1.0)
    runs = []
    for name, spacing, count, begin in (("mm", 1.0, 120, -1.0), ("1/16 in", 1.5875, 75, -21.0)):
        fault = rng.normal(0, 0.2, count)  # px; of a mark, the same in all its bands
        for k in range(6):
            x = np.arange(count) * spacing - 10
            seen = camera.project(np.column_stack([x, np.full(count, begin - 0.5 * k), 0 * x]))
            there = seen - one
            row = float(np.median(there @ across))
            # a band is a line of the photograph, so each mark is taken where it crosses that line
            low = camera.project(np.column_stack([x, np.full(count, begin - 0.5 * k - 1), 0 * x]))
            step = low - seen
            part = (row - there @ across) / (step @ across)
            columns = (there + part[:, None] * step) @ along + fault + rng.normal(0, 0.15, count)
            runs.append(Run(name, columns, row))
    return GraduatedRule(unrolled, tuple(runs), True)


def squares(count: int, *, graduations: bool, patch: pytest.MonkeyPatch) -> Array:
    rng = np.random.default_rng(20261126)
    # lengths of marks say which they are, not where: there is no picture to read them from
    patch.setattr(vision.scale_rule.scale, "pattern_of", lambda *_, **__: Pattern(0.0, 0.0, ()))
    found = []
    for _ in range(count):
        camera = camera_drawn(rng)
        diameter, thick = rng.uniform(12, 40), rng.normal(1.0, 0.5)
        way = np.array([np.cos(spin := rng.uniform(-0.4, 0.4)), np.sin(spin), 0.0])
        axis = np.array([50.0, 15 + diameter, diameter / 2 - thick])
        moved = rng.normal(0, U_CENTRE_SHARE * SIZE[0], 2)  # the principal point
        length = 100.0 * (1 + rng.normal(0, 0.0005 if graduations else 0.002))
        ends = camera.project(np.array([[0.0, -1, 0], [length, -1, 0]])) + moved
        edges = silhouettes(camera, axis, way, diameter, 1.2 * diameter) + moved
        rule = marks_drawn(camera, rng, ends[0] - moved, ends[1] - moved)
        shifted = replace(rule.unrolled, begin_px=rule.unrolled.begin_px + moved)
        drawn = replace(rule, unrolled=shifted)
        patch.setattr(vision.scale_rule.scale, "read_rule", lambda *_, drawn=drawn: drawn)
        clicked = [tuple(p + rng.normal(0, 1.5, 2)) for p in (*ends, *edges)]
        asked = ScaleRequest(
            (clicked[0], clicked[1]), 100.0, graduations=graduations,
            edges_px=tuple(clicked[2:]), placement=Placement.BESIDE,  # type: ignore[arg-type]
        )  # fmt: skip
        result = measure_with_scale(PHOTO, asked).result
        assert isinstance(result, Estimate), result.findings
        found.append(((result.diameter_mm - diameter) / result.u_mm) ** 2)
    return np.array(found)


@pytest.mark.parametrize(("graduations", "count"), [(False, 60), (True, 24)])
def test_error_over_u_scatters_as_it_must_and_half_or_double_u_would_not(
    graduations: bool, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    mean = float(squares(count, graduations=graduations, patch=monkeypatch).mean())
    low, high = chi2.ppf([0.005, 0.995], count) / count
    assert low < mean < high
    assert 4 * mean > high  # u halved
    assert mean / 4 < low  # u doubled
