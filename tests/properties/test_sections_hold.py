"""For any views, order, scale and shared errors have the effect they must have."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from inspection.comparison.crosscheck import compare
from inspection.measurement.section import make_section
from inspection.measurement.view import DirectionalDiameter
from vision.uncertainty import Term

diameters = st.floats(5.0, 80.0)
parts = st.floats(1e-4, 1.0)


def _view(
    mm: float, view_deg: int, own: float, shared: float, factor: float = 1.0
) -> DirectionalDiameter:
    terms = (
        Term("scale", shared * factor, "mm", 1.0, "B", "print:A:y"),
        Term("edges", own * factor, "mm", 1.0, "A", f"edge:{view_deg}"),
    )
    return DirectionalDiameter(mm * factor, terms, view_deg)


@given(diameters, diameters, parts, parts, parts)
def test_a_shared_error_never_shows_in_the_ovality_and_always_in_the_mean(
    one: float, two: float, own_1: float, own_2: float, shared: float
) -> None:
    section = make_section([_view(one, 0, own_1, shared), _view(two, 90, own_2, shared)], station=1)
    assert math.isclose(section.u_ovality_mm, math.hypot(own_1, own_2), rel_tol=1e-6)
    assert math.isclose(section.u_mean_mm, math.hypot(shared, own_1 / 2, own_2 / 2), rel_tol=1e-9)
    assert min(one, two) <= section.mean_mm <= max(one, two)
    assert section.ovality_mm == abs(section.difference_mm)


@given(diameters, diameters, parts, parts, parts)
def test_turning_the_rope_by_90_degrees_changes_the_sign_of_the_difference_only(
    one: float, two: float, own_1: float, own_2: float, shared: float
) -> None:
    first = make_section([_view(one, 0, own_1, shared), _view(two, 90, own_2, shared)], station=1)
    turned = make_section([_view(two, 0, own_2, shared), _view(one, 90, own_1, shared)], station=1)
    assert first.difference_mm == -turned.difference_mm
    assert first.ovality_mm == turned.ovality_mm
    assert math.isclose(first.mean_mm, turned.mean_mm)
    assert math.isclose(first.u_ovality_mm, turned.u_ovality_mm)


@given(diameters, diameters, parts, parts, parts, st.sampled_from([0.5, 2.0, 25.4]))
def test_scores_do_not_depend_on_the_unit(
    one: float, two: float, own_1: float, own_2: float, shared: float, factor: float
) -> None:
    plain = compare(
        _view(one, 0, own_1, shared), _view(two, 1, own_2, shared), station=1, matters_mm=0.4
    )
    scaled = compare(
        _view(one, 0, own_1, shared, factor),
        _view(two, 1, own_2, shared, factor),
        station=1,
        matters_mm=0.4 * factor,
    )
    assert math.isclose(plain.zeta, scaled.zeta, rel_tol=1e-6, abs_tol=1e-9)
    swapped = compare(
        _view(two, 0, own_2, shared), _view(one, 1, own_1, shared), station=1, matters_mm=0.4
    )
    assert math.isclose(plain.zeta, -swapped.zeta, rel_tol=1e-6, abs_tol=1e-9)
