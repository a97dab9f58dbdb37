"""A reference diameter's details stay with the rope: table, folder, record, limits."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from inspection.assessment import assess
from inspection.exchange.export_tables import export_ropes
from inspection.exchange.parse import read_ropes
from inspection.folder import read_folder
from inspection.limits.grooves import groove_fit
from inspection.limits.rules import Limit, NotApplicable
from inspection.limits.standards import limits_for
from inspection.model.log import Earlier, Log
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.record.record import open_record

HOIST = Rope(
    "hoist rope",
    40.0,
    reference_mm=41.2,
    u_reference_mm=0.02,
    reference_tension="none",
    baseline_mm=40.8,
)
GAUGE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)


def test_a_mine_ropes_baseline_gives_its_limit() -> None:
    # 30 CFR 56.19024(g): more than 6 % below the baseline diameter; 0.94 x 40.8 = 38.352
    (limit,) = limits_for(HOIST, rule_sets=["30 CFR 56.19024"])
    assert isinstance(limit, Limit)
    assert limit.low_mm == pytest.approx(38.352)
    assert limit.u_base_mm == 0.02
    (without,) = limits_for(replace(HOIST, baseline_mm=None), rule_sets=["30 CFR 56.19024"])
    assert isinstance(without, NotApplicable)
    assert "needs a baseline diameter" in without.reason


def test_a_reference_under_another_tension_cannot_be_compared() -> None:
    limits = limits_for(HOIST, tension="in service, unknown", rule_sets=["ISO 4309:2017"])
    reasons = [one.reason for one in limits if isinstance(one, NotApplicable)]
    assert any("can't be compared" in reason for reason in reasons)


def test_all_fields_come_back_from_record_and_table(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(HOIST, by="A. Berg")
        assert record.rope("hoist rope") == HOIST
        for name in ("ropes.csv", "ropes.xlsx"):
            export_ropes(record, tmp_path / name)
            assert read_ropes(tmp_path / name).rows == (HOIST,)
        with pytest.raises(ValueError, match="baseline diameter"):
            record.add_rope(replace(HOIST, identity="R", baseline_mm=-1.0), by="A. Berg")
        with pytest.raises(ValueError, match="uncertainty"):
            record.add_rope(replace(HOIST, identity="R", u_reference_mm=-1.0), by="A. Berg")


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("baseline_mm", "thick", "is not a length"),
        ("reference_tension", "tight", "must be one of none"),
    ],
)
def test_a_folder_with_a_field_that_cannot_be_is_told(
    tmp_path: Path, field: str, value: str, words: str
) -> None:
    rope = {"identity": "R", "nominal_mm": 40.0, field: value}
    (tmp_path / "rope.json").write_text(json.dumps(rope))
    with pytest.raises(ValueError, match=words):
        read_folder(tmp_path)


def _reading(station: int, view_deg: int, value_mm: float) -> Reading:
    return Reading(f"{value_mm:.2f}", value_mm, station, view_deg, "C-1", "A. Berg")


def _log(rope: Rope) -> Log:
    """Return four yearly inspections that lose 0.2 mm a year at every station."""
    stations = tuple(Station(number, 10.0 * number) for number in (1, 2, 3))

    def visit(year: int) -> tuple[Inspection, tuple[Reading, ...]]:
        mean = 41.2 - 0.2 * (year - 2022)
        readings = tuple(
            _reading(one.number, view, round(mean + 0.01 * one.number, 2))
            for one in stations
            for view in (0, 90)
        )
        return Inspection(f"y{year}", rope.identity, date(year, 6, 1), stations=stations), readings

    *before, (now, readings) = [visit(year) for year in (2022, 2023, 2024, 2025)]
    earlier = tuple(Earlier(one, took) for one, took in before)
    return Log(rope, now, readings, {"C-1": GAUGE}, (), earlier)


def test_a_judgement_holds_history_severity_and_grooves() -> None:
    drum = Groove("drum", 21.4, 44.0, layers=3, rope_min_mm=40.0, rope_max_mm=41.5)
    judgement = assess(_log(replace(HOIST, grooves=(drum,))))
    assert [one.station for one in judgement.station_histories] == [1, 2, 3]
    first = judgement.station_histories[0]
    assert first.line is not None
    assert first.line.rate_mm_per_year == pytest.approx(-0.2, abs=0.001)
    assert first.limit is not None
    assert first.limit.limit_mm == pytest.approx(38.352)  # 30 CFR 56.19024: 94 % of 40.8 mm
    assert "does not clear the rope" in first.limit.words
    # (41.2 - 40.61) / 40 = 1.475 %, counted from the reference
    assert judgement.severities[0].severity.decrease_pct == pytest.approx(1.475)
    own = [one for one in judgement.verdicts if one.verdict.limit.rule.source == "the drum's maker"]
    assert [one.verdict.outcome for one in own] == ["within"] * 3  # every station is held to it
    # ISO 16625: 5 % to 10 %; 2 x 21.4 / 40 = 1.07
    assert judgement.groove_fits == (groove_fit(HOIST, drum),)
    assert "7.0 % wider" in judgement.groove_fits[0].words


def test_several_layers_without_the_makers_limits_are_named() -> None:
    drum = Groove("drum", 21.4, 44.0, layers=3)
    judgement = assess(_log(replace(HOIST, grooves=(drum,))))
    assert any("with 3 layers they matter" in one.reason for one in judgement.not_applicable)
