"""Groove fit: ISO 16625 as trade pages quote it, compared with the table of DIN 15061-1."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from inspection.limits.conformity import SIMPLE, judge
from inspection.limits.grooves import groove_fit, groove_limits
from inspection.limits.rules import Limit
from inspection.model.rope import Groove, Rope

HERE = Path(__file__).parent


def _rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", _rows("din_15061_1.csv"), ids=lambda row: row["nominal_mm"])
def test_the_radii_of_din_15061_1_fit_iso_16625(row: dict[str, str]) -> None:
    # an independent table: two standards of different age that must agree from 4 mm on; its
    # 3 mm row (1.6, i.e. +6.7 %) fits as well
    rope = Rope("R", float(row["nominal_mm"]))
    assert groove_fit(rope, Groove("sheave", float(row["radius_mm"]))).outcome == "within"


@pytest.mark.parametrize(
    ("groove_mm", "outcome"),
    # 5 % to 10 % over a 20 mm rope: 21 mm to 22 mm
    [(20.998, "too tight"), (21.0, "within"), (21.002, "within"), (21.998, "within"),
     (22.0, "within"), (22.002, "too wide")],
)  # fmt: skip
def test_the_groove_is_judged_at_its_edges(groove_mm: float, outcome: str) -> None:
    assert groove_fit(Rope("R", 20.0), Groove("sheave", groove_mm / 2)).outcome == outcome


def test_the_groove_must_be_1_pct_wider_than_the_measured_rope() -> None:
    room = groove_limits(Rope("R", 20.0, service="new"), Groove("sheave", 10.605))[0]
    assert isinstance(room, Limit)
    assert judge(room, 21.0, 0.0, decision=SIMPLE).outcome == "within"  # 21.21 / 1.01
    assert judge(room, 21.001, 0.0, decision=SIMPLE).outcome == "outside"


def test_a_quarter_inch_rope_that_measures_0_265_in_crowds_on_a_pitch_of_0_250_in() -> None:
    # handbook text on drum grooves
    drum = Groove("drum", 3.4, pitch_mm=0.250 * 25.4)
    pitch = groove_limits(Rope("R", 0.25 * 25.4), drum)[1]
    assert isinstance(pitch, Limit)
    assert judge(pitch, 0.265 * 25.4, 0.0, decision=SIMPLE).outcome == "outside"
    assert judge(pitch, 0.249 * 25.4, 0.0, decision=SIMPLE).outcome == "within"


@pytest.mark.parametrize(
    ("pitch_mm", "fits"), [(20.64, False), (20.65, True), (21.8, True), (21.81, False)]
)
def test_the_pitch_lies_between_2_065_and_2_18_radii(pitch_mm: float, fits: bool) -> None:
    # trade page on sheave and drum dimensions
    assert groove_fit(Rope("R", 19.0), Groove("drum", 10.0, pitch_mm=pitch_mm)).pitch_fits is fits


@pytest.mark.parametrize(
    ("range_name", "least", "most"),
    # radius in rope diameters, two practice pages that differ
    [("practice, 0.53 to 0.55 d", 0.53, 0.55), ("practice, 0.54 to 0.57 d", 0.54, 0.57)],
)
def test_the_practice_ranges_hold_at_their_edges(
    range_name: str, least: float, most: float
) -> None:
    for radius, outcome in (
        (least - 1e-4, "too tight"),
        (least, "within"),
        (most, "within"),
        (most + 1e-4, "too wide"),
    ):
        fit = groove_fit(Rope("R", 30.0), Groove("sheave", 30.0 * radius), range_name=range_name)
        assert fit.outcome == outcome
