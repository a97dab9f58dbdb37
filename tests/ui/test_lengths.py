"""A rope in inches is shown in inches everywhere; 1 in is 25.4 mm exactly (ISO 80000-3)."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.model.rope import Station
from tests.ui.report_cases import hard_case
from ui.charts.checks import differences_chart
from ui.charts.rope import along_rope_chart, roundness_chart
from ui.charts.sources import along_rope, differences, roundness
from ui.lengths import along, in_units
from ui.presenters.review.station import edge_shapes
from ui.presenters.rope_form import typed_length
from ui.presenters.sheet.entry import distance_m
from ui.report.report import html_report
from ui.report.writers.drawings import svg_of
from vision.results import Estimate

HUNDREDTHS = st.integers(5, 99_999)  # of a millimetre


def inches(hundredths: int) -> Decimal:
    return Decimal(hundredths) / 100 / Decimal("25.4")


@given(HUNDREDTHS, HUNDREDTHS, st.sampled_from(["±", "to"]))
def test_every_figure_before_one_unit_is_converted(first: int, second: int, between: str) -> None:
    words = in_units(f"It is {first / 100:.2f} {between} {second / 100:.2f} mm (1.2 %).", "inch")
    found = re.fullmatch(rf"It is (\S+) {between} (\S+) in \(1\.2 %\)\.", words)
    assert found is not None, words
    for shown, typed in zip(found.groups(), (first, second), strict=True):
        assert abs(Decimal(shown) - inches(typed)) <= Decimal("0.0005")


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        ("station 3, 22.11 mm", "station 3, 0.870 in"),  # the station is no length
        ("-0.91 mm, U (k = 2) 0.11 mm", "-0.036 in, U (k = 2) 0.004 in"),
        ("33.5 px/mm, 4 mm²", "33.5 px/mm, 4 mm²"),  # neither is a length
        ("2.54 mm-wide", "0.100 in-wide"),
    ],
)
def test_what_is_no_length_stays(words: str, shown: str) -> None:
    assert in_units(words, "inch") == shown
    assert in_units(words, "mm") == words


@given(st.integers(1, 3_000_000))
def test_a_length_in_a_field_reads_back_the_same(tenths_of_a_micrometre: int) -> None:
    from inspection.model.length_text import parse_length

    value_mm = tenths_of_a_micrometre / 10_000
    assert parse_length(typed_length(value_mm, "inch")) == value_mm
    whole = float(
        (Decimal(tenths_of_a_micrometre) / 1000 * Decimal("25.4")).quantize(
            Decimal("1e-9"), ROUND_HALF_UP
        )
    )
    assert typed_length(whole, "inch").endswith(" in")


def test_a_report_of_a_rope_in_inches_has_no_millimetres() -> None:
    case = hard_case("settled")
    assert case.assessment.log.rope.units == "inch"
    page = re.sub(r"<style>.*?</style>", "", html_report(case), flags=re.S)
    words = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    left = [found[0] for found in re.finditer(r".{30}(?<!px/)\bmm\b.{10}", words)]
    typed = {reading.typed for reading in case.assessment.log.readings}
    assert [one for one in left if not any(text in one for text in typed)] == []
    assert len(re.findall(r"\bin\b", words)) > 40


def test_places_along_a_rope_in_inches_are_in_feet() -> None:
    """A foot is 0.3048 m exactly (NIST Special Publication 811, 2008, appendix B.8)."""
    for typed in ("187", "0.5", "1034,25"):
        at = distance_m(typed, "inch")
        assert at == pytest.approx(float(typed.replace(",", ".")) * 0.3048, abs=1e-12)
        assert along(at, "inch") == typed.replace(",", ".")  # as it was typed, not rounded again
    assert distance_m("57 m", "inch") == 57.0
    with pytest.raises(ValueError, match="'far' is not a distance in feet"):
        distance_m("far", "inch")
    judged = hard_case("settled").assessment
    log = replace(
        judged.log,
        inspection=replace(judged.log.inspection, stations=(Station(1, 30.48), Station(2, 60.96))),
    )
    sections = tuple(
        replace(one, position_m=30.48 * one.station) for one in judged.photograph_sections
    )
    case = replace(judged, log=log, photograph_sections=sections, gauge_sections=())
    told = json.dumps(along_rope_chart(along_rope(case), "inch").to_dict())
    assert "Position along the rope (ft)" in told
    assert [float(one) for one in re.findall(r'"place": ([\d.]+)', told)][:2] == pytest.approx(
        [100.0, 200.0]
    )


def test_charts_and_their_figures_are_in_inches() -> None:
    judged = hard_case("settled").assessment
    plots = [along_rope(judged), differences(judged)]
    plots.append(roundness(judged.photograph_sections[0], "photographs"))
    for plot in plots:
        words = " ".join(re.findall(r">([^<>]+)<", svg_of(plot, "inch")))
        assert not re.search(r"\bmm\b", words), words
        assert re.search(r"\bin\b", words)
    for make, plot in ((along_rope_chart, plots[0]), (differences_chart, plots[1])):
        told = json.dumps(make(plot, "inch").to_dict())
        assert "(mm)" not in told
        assert '".2f"' not in told  # hundredths of an inch would say too little
    first = judged.photograph_sections[0]
    told = json.dumps(along_rope_chart(plots[0], "inch").to_dict())
    drawn = [float(value) for value in re.findall(r'"mean": ([\d.]+)', told)]
    assert any(value == pytest.approx(first.mean_mm / 25.4) for value in drawn)
    title = roundness_chart(plots[2], "inch").title
    assert f"{first.mean_mm / 25.4:.3f} in" in " ".join(title.subtitle)


def test_a_magnified_edge_has_a_scale_in_hundredths_of_an_inch() -> None:
    from ui.presenters.photographs.edge_views import EDGE_PX_PER_MM, edge_places

    result = next(
        one
        for one in hard_case("settled").assessment.log.results
        if isinstance(one, Estimate) and one.marks is not None
    )
    assert result.marks is not None
    place = edge_places(result, result.marks)[0]
    logged = result.diameter_mm + 2 * 2.54  # each jaw a tenth of an inch farther out
    shapes = edge_shapes(result, result.marks, place, 0, logged, "inch")
    labels = {shape.look: shape.label for shape in shapes}
    assert labels["logged"] == "logged 0.100 in outside"
    assert labels["scale"] == "0.05 in"
    ruler = next(shape for shape in shapes if shape.look == "scale").points
    high = max(y for _, y in ruler) - min(y for _, y in ruler)
    assert high / EDGE_PX_PER_MM == pytest.approx(0.05 * 25.4)
