"""The ellipse of the caliper widths, compared with general-purpose tools that know no widths.

Widths come from the extent of a finely drawn ellipse (geometry, not our formula), least squares
from scipy's curve_fit, the ellipse through the tangent points from OpenCV's direct fit (Fitzgibbon
1999). How often the intervals hold the truth is counted on simulated views.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from scipy.optimize import curve_fit

from inspection.measurement.ellipse import Ellipse, fit_ellipse
from inspection.measurement.section import make_section
from inspection.measurement.view import DirectionalDiameter
from vision.uncertainty import Term, combined_u_mm, covariance_mm2

SCALE = Term("print scale", 0.004, "1", 22.0, "B", "print:A-1:y")


def _width_mm(a_mm: float, b_mm: float, psi_deg: float, phi_deg: float) -> float:
    """Caliper width of a finely drawn ellipse: the extent of its points along phi, no formula."""
    t = np.linspace(0, 2 * np.pi, 200_001)
    psi, phi = math.radians(psi_deg), math.radians(phi_deg)
    x, y = a_mm / 2 * np.cos(t), b_mm / 2 * np.sin(t)
    reach = (x * math.cos(psi) - y * math.sin(psi)) * math.cos(phi)
    reach += (x * math.sin(psi) + y * math.cos(psi)) * math.sin(phi)
    return float(np.ptp(reach))


def _view(
    mm: float, deg: int, u_edge_mm: float = 0.05, shared: Term = SCALE
) -> DirectionalDiameter:
    return DirectionalDiameter(
        mm, (shared, Term("edges", u_edge_mm, "mm", 1.0, "A", f"edge:{deg}")), deg
    )


def _fit(views: list[DirectionalDiameter]) -> Ellipse:
    found = fit_ellipse(views)
    assert found is not None
    return found


@pytest.mark.parametrize("psi_deg", [0.0, 17.0, 90.0, 163.0])
@pytest.mark.parametrize("degrees", [(0, 60, 120), (0, 45, 90, 135), (10, 40, 100, 210)])
def test_exact_widths_give_the_ellipse_that_was_drawn(
    psi_deg: float, degrees: tuple[int, ...]
) -> None:
    found = _fit([_view(_width_mm(22.6, 21.8, psi_deg, deg), deg) for deg in degrees])
    assert found.largest_mm == pytest.approx(22.6, abs=1e-6)
    assert found.smallest_mm == pytest.approx(21.8, abs=1e-6)
    assert (found.largest_deg - psi_deg + 90) % 180 - 90 == pytest.approx(0, abs=1e-3)
    assert found.chi2 == pytest.approx(0, abs=1e-6)
    assert found.width_mm(33.0) == pytest.approx(_width_mm(22.6, 21.8, psi_deg, 33.0), abs=1e-6)


def test_the_tangent_points_lie_on_the_ellipse_that_opencv_finds() -> None:
    found = _fit([_view(22.1, 0), _view(22.5, 60), _view(21.9, 120)])
    a, b, psi = found.largest_mm / 2, found.smallest_mm / 2, math.radians(found.largest_deg)
    phi = np.radians(np.arange(0, 360, 7))
    h = np.array([found.width_mm(math.degrees(p)) / 2 for p in phi])
    slope = np.gradient(
        np.array(
            [found.width_mm(math.degrees(p + d)) / 2 for p in phi for d in (-1e-4, 0, 1e-4)]
        ).reshape(-1, 3),
        1e-4,
        axis=1,
    )[:, 1]
    # envelope of the tangents x cos phi + y sin phi = h(phi): their points of contact
    points = np.column_stack(
        [h * np.cos(phi) - slope * np.sin(phi), h * np.sin(phi) + slope * np.cos(phi)]
    )
    _, (first, second), turn_deg = cv2.fitEllipseDirect(points.astype(np.float32))
    turn = math.radians(turn_deg if first >= second else turn_deg + 90)
    assert max(first, second) / 2 == pytest.approx(a, rel=1e-6)
    assert min(first, second) / 2 == pytest.approx(b, rel=1e-6)
    assert math.cos(2 * (turn - psi)) == pytest.approx(1.0, abs=1e-6)


def test_figures_and_uncertainties_are_those_of_a_general_least_squares_program() -> None:
    degrees = (0, 35, 80, 120, 150)
    rng = np.random.default_rng(2)
    views = [
        _view(_width_mm(22.9, 21.6, 50, d) + rng.normal(0, 0.05), d, 0.04 + 0.01 * i)
        for i, d in enumerate(degrees)
    ]
    cov = np.array([[covariance_mm2(a.budget, b.budget) for b in views] for a in views])

    def widths(deg: np.ndarray, a: float, b: float, psi: float) -> np.ndarray:
        turn = np.radians(deg) - psi
        return np.hypot(a * np.cos(turn), b * np.sin(turn))

    best, covariance = curve_fit(
        widths,
        np.array(degrees, float),
        [v.diameter_mm for v in views],
        p0=(23, 21.5, 0.9),
        sigma=cov,
        absolute_sigma=True,
        xtol=1e-12,
        ftol=1e-12,
    )
    found = _fit(views)
    u = np.sqrt(np.diag(covariance))
    # the same minimum, reached in another way
    assert [found.largest_mm, found.smallest_mm] == pytest.approx(list(best[:2]), abs=1e-5)
    assert [found.u_largest_mm, found.u_smallest_mm] == pytest.approx(list(u[:2]), rel=1e-3)
    assert found.largest_deg == pytest.approx(math.degrees(best[2]) % 180, abs=0.1)
    assert found.u_largest_deg == pytest.approx(math.degrees(u[2]), rel=0.05)
    difference = math.sqrt(covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1])
    assert combined_u_mm(found.budget) == pytest.approx(difference, rel=0.01)
    assert found.p_value is not None
    off = np.array([v.diameter_mm for v in views]) - widths(np.array(degrees, float), *best)
    assert found.chi2 == pytest.approx(float(off @ np.linalg.solve(cov, off)), rel=0.01)


@pytest.mark.parametrize("oval_mm", [0.0, 0.1, 0.6])
@pytest.mark.parametrize("degrees", [(0, 60, 120), (0, 30, 90)])
def test_the_intervals_hold_the_truth_as_often_as_they_say(
    oval_mm: float, degrees: tuple[int, ...]
) -> None:
    # binomial: of 200 with 95 % each, 180 to 199 hold it in 99.9 of 100 cases
    rng, held = np.random.default_rng(7), np.zeros(4)
    a, b = 22 + oval_mm / 2, 22 - oval_mm / 2
    for _ in range(200):
        psi, scale = rng.uniform(0, 180), 1 + rng.normal(0, 0.004)
        turns = [math.radians(deg - psi) for deg in degrees]
        true = [math.hypot(a * math.cos(turn), b * math.sin(turn)) for turn in turns]
        found = _fit(
            [_view(w * scale + rng.normal(0, 0.05), d) for w, d in zip(true, degrees, strict=True)]
        )
        held += [
            found.ovality_low_mm <= oval_mm <= found.ovality_high_mm,
            abs(found.largest_mm - a) <= 2 * found.u_largest_mm,
            abs(found.smallest_mm - b) <= 2 * found.u_smallest_mm,
            oval_mm > 0 or found.round_possible,
        ]
    assert held.min() >= 180


def test_a_round_rope_reads_oval_by_noise_and_the_words_say_that_it_may_be_round() -> None:
    found = _fit([_view(22.00, 0), _view(22.06, 60), _view(21.97, 120)])
    assert found.ovality_mm > 0.08
    assert found.round_possible
    assert "may be round" in found.words
    assert "no direction can be called the largest" in found.words
    assert found.u_largest_deg == pytest.approx(52.0, abs=0.1)  # uniform over 180: 180 / sqrt(12)


def test_three_directions_leave_nothing_over_and_four_are_tested() -> None:
    three = _fit([_view(22.0, 0), _view(22.6, 60), _view(21.9, 120)])
    assert three.p_value is None
    assert "no redundancy" in three.words
    odd = [_view(22.0, 0), _view(22.0, 45), _view(22.0, 90), _view(23.0, 135)]
    four = _fit(odd)
    assert four.p_value is not None
    assert four.p_value < 0.001
    assert "does not fit" in four.words


@pytest.mark.parametrize("degrees", [(0, 90), (0, 180, 90), (0, 4, 90), (10, 190, 100, 280)])
def test_directions_that_say_the_same_make_no_ellipse(degrees: tuple[int, ...]) -> None:
    assert fit_ellipse([_view(22.0, deg) for deg in degrees]) is None


def test_a_section_of_three_directions_has_its_ellipse() -> None:
    section = make_section([_view(22.0, 0), _view(22.6, 60), _view(21.9, 120)], station=1)
    assert section.ellipse is not None
    assert section.ellipse.largest_mm > 22.6
    assert make_section([_view(22.0, 0), _view(22.6, 90)], station=1).ellipse is None


def test_0_and_180_degrees_are_one_direction_and_are_averaged() -> None:
    section = make_section([_view(22.0, 0), _view(22.2, 180), _view(22.6, 90)], station=1)
    assert [view.diameter_mm for view in section.views] == pytest.approx([22.1, 22.6])
    with pytest.raises(ValueError, match="two directions"):
        make_section([_view(22.0, 0), _view(22.2, 180)], station=1)
