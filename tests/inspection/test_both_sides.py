"""Two views at right angles give each other the rope's height: compared with plane geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from inspection.measurement.section import make_section
from inspection.measurement.view import DirectionalDiameter, seen_from_both_sides
from vision.rope.tangent_cylinder import Hold, HoldKind, cylinder_mm
from vision.uncertainty import Term


def seen(width_mm: float, thick_mm: float, eye_mm: float, view_deg: int) -> DirectionalDiameter:
    """Return the diameter that a photograph from straight above gives for an oval rope on the card.

    Two lines of sight touch the circle that is as wide as the rope, its middle half the thickness
    above the card; the photograph takes the rope for as thick as it is wide.
    """
    up = width_mm / 2 / (eye_mm - thick_mm / 2)  # the sine of half the angle it is seen at
    left, right = (np.array([0.0, side * math.sqrt(1 - up**2), up]) for side in (1, -1))

    def taken(lifted_mm: float) -> float:
        eye = np.array([0.0, 0.0, eye_mm - lifted_mm])
        return cylinder_mm(left, right, eye, hold=Hold(HoldKind.TOUCHING)).diameter_mm

    budget = (
        Term("height", 0.1, "mm", taken(0.5) - taken(-0.5), "B", f"height:{view_deg}"),
        Term("print", 0.001, "1", width_mm, "B", "print:spring:y"),
        Term("edges", 0.02, "mm", 1.0, "A", f"edge:{view_deg}"),
    )
    return DirectionalDiameter(taken(0.0), budget, view_deg)


@pytest.mark.parametrize(("wide", "thick"), [(42.0, 40.0), (39.0, 41.0), (8.2, 8.0), (60.0, 60.0)])
def test_an_oval_rope_keeps_its_ovality(wide: float, thick: float) -> None:
    flat, upright = seen(wide, thick, 280.0, 0), seen(thick, wide, 360.0, 90)
    alone_mm = flat.diameter_mm - upright.diameter_mm - (wide - thick)
    one, across = seen_from_both_sides(flat, upright)
    # what is left is of second order: the change of s along a millimetre of height
    assert one.diameter_mm == pytest.approx(wide, abs=3e-3)
    assert across.diameter_mm == pytest.approx(thick, abs=3e-3)
    if wide != thick:  # each by itself makes it rounder
        assert alone_mm * (wide - thick) < 0
        assert abs(alone_mm) > 0.02 * abs(wide - thick)


def test_a_section_takes_both_views_so() -> None:
    section = make_section([seen(42.0, 40.0, 280.0, 0), seen(40.0, 42.0, 360.0, 90)], station=1)
    assert section.difference_mm == pytest.approx(2.0, abs=4e-3)
    assert section.mean_mm == pytest.approx(41.0, abs=3e-3)


def test_the_budget_follows_what_each_photograph_may_be_off() -> None:
    flat, upright = seen(42.0, 40.0, 280.0, 0), seen(40.0, 42.0, 360.0, 90)
    moved = replace(upright, diameter_mm=upright.diameter_mm + 0.1)
    for at in (0, 1):
        by = (
            seen_from_both_sides(flat, moved)[at].diameter_mm
            - seen_from_both_sides(flat, upright)[at].diameter_mm
        ) / 0.1
        terms = seen_from_both_sides(flat, upright)[at].budget
        (edge,) = [term for term in terms if term.source == "edge:90"]
        assert edge.sensitivity == pytest.approx(by)


def test_views_that_rest_on_no_height_stay_as_they_are() -> None:
    edge = Term("edges", 0.02, "mm", 1.0, "A", "gauge:caliper")
    one, across = (DirectionalDiameter(d, (edge,), view) for d, view in ((42.0, 0), (40.0, 90)))
    assert seen_from_both_sides(one, across) == (one, across)
