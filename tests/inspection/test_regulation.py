"""The limits that follow from a rope's country, use, drum and sheaves, and what is not stated."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from inspection.assessment import assess
from inspection.folder import read_folder
from inspection.limits.standards import not_asked, usual_sets
from inspection.model.rope import Groove, Rope, Station, country_code
from tests.inspection.danger_logs import SOUND, THIN, log_of

DRUM = Groove("drum", 11.6, pitch_mm=24.0)
STATED = Rope(
    "R-1", 22.0, reference_mm=22.4, country="DE", duty="crane", grooves=(DRUM,), sheaves="steel"
)


@pytest.mark.parametrize(
    ("country", "duty", "service", "held", "not_held"),
    [
        ("DE", "crane", "in-service", "ISO 4309:2017", "29 CFR 1926.1413"),
        ("US", "crane", "in-service", "29 CFR 1926.1413", "30 CFR 56.19024"),
        ("US", "hoist", "in-service", "ASME B30.5", "29 CFR 1926.1413"),
        ("US", "mine", "in-service", "30 CFR 56.19024", "ISO 4309:2017"),
        ("DE", "lift", "in-service", "lift ropes in service", "ISO 4309:2017"),
        ("US", "crane", "new", "US handbook, new rope", "ISO 4309:2017"),
        ("DE", "crane", "new", "EN 12385-4", "US handbook, new rope"),
    ],
)
def test_limits_follow_from_country_and_use(
    country: str, duty: str, service: str, held: str, not_held: str
) -> None:
    rope = replace(STATED, country=country, duty=duty, service=service, baseline_mm=None)  # type: ignore[arg-type]
    if duty == "mine":
        rope = replace(rope, baseline_mm=22.4)
    found = assess(log_of(SOUND, rope=rope))
    applied = {one.verdict.limit.rule.rule_set for one in found.verdicts}
    assert held in applied
    assert not_held not in applied


def test_what_was_not_asked_is_a_line_each() -> None:
    asked = " ".join(not_asked(Rope("R-1", 22.0)))
    for words in ("country", "used for", "layers", "sheaves"):
        assert words in asked
    assert not_asked(STATED) == ()
    assert "outside the United States" in not_asked(replace(STATED, duty="mine"))[0]
    assert assess(log_of(SOUND, rope=Rope("R-1", 22.0))).not_asked == not_asked(Rope("R-1", 22.0))


@pytest.mark.parametrize(
    "rope",
    [
        replace(STATED, sheaves="plastic"),
        replace(STATED, grooves=(replace(DRUM, layers=3),)),
    ],
)
def test_a_table_that_does_not_hold_convicts_and_never_acquits(rope: Rope) -> None:
    # ISO 4309's table of uniform decrease holds for single-layer drums and steel sheaves
    sound = assess(log_of(SOUND, rope=rope))
    assert not [one for one in sound.verdicts if one.verdict.limit.rule.plain_winding]
    assert sound.judged_against_nothing
    assert any("the table does not apply" in note for note in sound.notes)
    worn = assess(log_of(THIN, rope=replace(rope, reference_mm=23.2)))
    outside = [one for one in worn.verdicts if one.verdict.outcome == "outside"]
    assert {one.station for one in outside} == {5}
    assert all("does not apply here" in one.words for one in outside)


def test_the_table_does_not_hold_at_a_crossover() -> None:
    log = log_of(SOUND, rope=STATED)
    stations = tuple(
        replace(one, note="cross-over, layer 2") if one.number == 4 else one
        for one in log.inspection.stations
    )
    found = assess(replace(log, inspection=replace(log.inspection, stations=stations)))
    within = {
        one.station for one in found.verdicts if one.verdict.limit.rule.what == "uniform decrease"
    }
    assert within == set(range(1, 9)) - {4}
    assert any("crosses over (station 4)" in note for note in found.notes)
    marked = {one.station for one in found.severities if one.out_of_scope}
    assert marked == {4}


def test_a_crossover_is_known_by_the_stations_note() -> None:
    assert Station(1, 0.0, "Crossover, layer 2").at_crossover
    assert Station(1, 0.0, "rope crosses over here").at_crossover
    assert not Station(1, 0.0, "head sheave").at_crossover


def test_a_country_is_two_letters() -> None:
    assert country_code(" us ") == "US"
    with pytest.raises(ValueError, match="'Germany' is not a two-letter code"):
        country_code("Germany")


def test_only_the_rope_s_own_country_brings_its_limits() -> None:
    assert "29 CFR 1926.1413" not in usual_sets(STATED)
    assert "29 CFR 1926.1413" in usual_sets(replace(STATED, country="US"))


def _folder(path: Path, rope: object) -> Path:
    path.mkdir(exist_ok=True)
    (path / "rope.json").write_text(json.dumps(rope), encoding="utf-8")
    (path / "readings.csv").write_text(
        "on,station,view_deg,typed,gauge,person\n2026-11-03,1,0,22.4,C-1,A. Berg\n",
        encoding="utf-8",
    )
    return path


def test_rope_json_takes_lengths_as_everything_else_does(tmp_path: Path) -> None:
    rope = {
        "identity": "R-1", "nominal_mm": "7/8 in", "reference_mm": "22,44 mm", "country": "us",
        "duty": "crane", "sheaves": "steel",
        "grooves": [{"name": "drum", "radius_mm": "0.46 in", "pitch_mm": 24.0, "layers": 1}],
    }  # fmt: skip
    read = read_folder(_folder(tmp_path / "rope", rope)).log.rope
    assert read.nominal_mm == pytest.approx(22.225)
    assert read.reference_mm == pytest.approx(22.44)
    assert read.country == "US"
    assert read.grooves[0].radius_mm == pytest.approx(11.684)
    assert read.drum_layers == 1


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("nominal_mm", "thick", "'nominal_mm' is 'thick'"),
        ("country", "Germany", "two-letter code"),
        ("sheaves", "wood", "not stated, steel, plastic"),
        ("grooves", [{"name": "drum"}], "radius_mm"),
        ("grooves", [{"name": "drum", "radius_mm": "wide"}], "'radius_mm' is 'wide'"),
    ],
)
def test_rope_json_says_what_is_wrong(tmp_path: Path, field: str, value: object, said: str) -> None:
    folder = _folder(tmp_path / "rope", {"identity": "R-1", "nominal_mm": 22.0, field: value})
    with pytest.raises(ValueError, match=said):
        read_folder(folder)
