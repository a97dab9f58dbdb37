"""Annexes H.1 and H.2 of the GUM (JCGM 100:2008) through our budget terms.

Inputs and results of H.1 and H.2: read in the documentation of an open GUM library. GTC is run
beside it as an independent reference. Our budgets hold mm; here the same sums run in nm and ohm.
"""

from __future__ import annotations

import math

import GTC  # type: ignore[import-untyped]
import numpy as np
import pytest
from scipy.stats import t

from vision.uncertainty import Term, combined_u_mm, shares

LENGTH_NM = 50_000_623.0
H1 = (
    # quantity, u, sensitivity (nm per unit), degrees of freedom
    ("standard", 25.0, 1.0, 18.0),
    ("mean of readings", 5.8, 1.0, 24.0),
    ("comparator, random", 3.9, 1.0, 5.0),
    ("comparator, systematic", 6.7, 1.0, 8.0),
    ("difference of expansion coefficients", 1e-6 / math.sqrt(3), -LENGTH_NM * -0.1, 50.0),
    ("difference of temperatures", 0.05 / math.sqrt(3), -LENGTH_NM * 11.5e-6, 2.0),
)


def _h1_terms() -> list[Term]:
    return [Term(name, u, "1", sensitivity, "B", f"h1:{name}") for name, u, sensitivity, _ in H1]


def test_h1_components_are_the_printed_ones() -> None:
    # 25, 5.8, 3.9, 6.7, 2.887 (2.9) and 16.599 (16.6) nm
    assert [round(term.u_mm, 1) for term in _h1_terms()] == [25.0, 5.8, 3.9, 6.7, 2.9, 16.6]


def test_h1_combined_uncertainty_is_32_nm() -> None:
    u = combined_u_mm(_h1_terms())
    assert round(u) == 32
    assert round(u, 2) == 31.66
    assert sum(share for _, share in shares(_h1_terms())) == pytest.approx(1.0)
    assert shares(Term(name, 0.0, "1", 1.0, "B", name) for name, *_ in H1)[0][1] == 0.0


def test_h1_effective_degrees_of_freedom_and_expanded_uncertainty() -> None:
    # Welch-Satterthwaite, GUM G.4.1; 93 nm is 32 x 2.92, unrounded it is 92.5 nm
    u = combined_u_mm(_h1_terms())
    dof = u**4 / sum(
        term.u_mm**4 / degrees for term, (*_, degrees) in zip(_h1_terms(), H1, strict=True)
    )
    assert math.floor(dof) == 16
    expanded = float(t.ppf(0.995, math.floor(dof))) * u
    assert 92.4 < expanded < 93.5


def test_h1_agrees_with_an_independent_gum_library() -> None:
    length = GTC.ureal(LENGTH_NM, 25.0, 18)
    difference = GTC.ureal(215.0, 5.8, 24) + GTC.ureal(0.0, 3.9, 5) + GTC.ureal(0.0, 6.7, 8)
    d_alpha = GTC.ureal(0.0, 1e-6 / math.sqrt(3), 50)
    d_theta = GTC.ureal(0.0, 0.05 / math.sqrt(3), 2)
    alpha = GTC.ureal(11.5e-6, 2e-6 / math.sqrt(3))
    theta = GTC.ureal(-0.1, 0.2) + GTC.ureal(0.0, 0.5 / math.sqrt(2))
    result = length + difference - length * (d_alpha * theta + alpha * d_theta)
    assert round(GTC.value(result)) == 50_000_838
    assert combined_u_mm(_h1_terms()) == pytest.approx(GTC.uncertainty(result), rel=1e-6)


V, CURRENT, PHI = 4.999, 19.661e-3, 1.04446
U_H2 = np.array([0.0032, 0.0095e-3, 0.00075])


def _h2_u(sensitivities: list[float], correlation: np.ndarray) -> float:
    """Combine three correlated inputs by terms that share three independent sources."""
    factor = np.linalg.cholesky(correlation)
    terms = [
        Term(
            f"input {i}",
            float(U_H2[i]),
            "1",
            sensitivities[i] * float(factor[i, j]),
            "A",
            f"h2:source {j}",
        )
        for i in range(3)
        for j in range(3)
    ]
    return combined_u_mm(terms)


def _correlation(vi: float, vp: float, ip: float) -> np.ndarray:
    return np.array([[1.0, vi, vp], [vi, 1.0, ip], [vp, ip, 1.0]])


def _gtc_h2(correlation: np.ndarray) -> tuple[float, float, float]:
    inputs = GTC.multiple_ureal([V, CURRENT, PHI], U_H2.tolist(), 5)
    for i in range(3):
        for j in range(i + 1, 3):
            GTC.set_correlation(float(correlation[i, j]), inputs[i], inputs[j])
    v, current, phi = inputs
    return tuple(
        float(GTC.uncertainty(part))
        for part in (v * GTC.cos(phi) / current, v * GTC.sin(phi) / current, v / current)
    )  # type: ignore[return-value]


def test_h2_correlated_inputs_give_the_printed_uncertainties() -> None:
    # R 127.732 u 0.071 (read); X u 0.295, Z u 0.236 (from memory, confidence 0.9); the printed
    # two-digit correlations give 0.0700, the three-digit ones 0.0707 and so the printed 0.071
    correlation = _correlation(-0.355, 0.858, -0.645)
    cos, sin = math.cos(PHI), math.sin(PHI)
    resistance = [cos / CURRENT, -V * cos / CURRENT**2, -V * sin / CURRENT]
    reactance = [sin / CURRENT, -V * sin / CURRENT**2, V * cos / CURRENT]
    impedance = [1 / CURRENT, -V / CURRENT**2, 0.0]
    assert round(V * cos / CURRENT, 3) == 127.732
    ours = [_h2_u(part, correlation) for part in (resistance, reactance, impedance)]
    assert round(ours[0], 3) == 0.071
    assert ours[1] == pytest.approx(0.295, abs=0.002)  # three-digit inputs, three-digit result
    assert ours[2] == pytest.approx(0.236, abs=0.002)
    assert ours == pytest.approx(_gtc_h2(correlation), rel=1e-6)


def test_h2_without_the_correlations_would_be_nearly_three_times_as_large() -> None:
    cos, sin = math.cos(PHI), math.sin(PHI)
    resistance = [cos / CURRENT, -V * cos / CURRENT**2, -V * sin / CURRENT]
    # computed apart: 0.194 if the correlations are ignored, 0.0700 with two-digit ones
    assert round(_h2_u(resistance, np.eye(3)), 3) == 0.194
    assert round(_h2_u(resistance, _correlation(-0.36, 0.86, -0.65)), 4) == 0.07
