"""Safety messages appear on the command line, on the page and in the report alike."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

import pytest
from click.testing import CliRunner
from streamlit.testing.v1 import AppTest

from inspection.model.log import Log
from inspection.model.rope import Groove, Rope
from inspection.record.overview.examinations import register
from inspection.record.record import Record, open_record
from tests.inspection.danger_logs import GAUGE, SOUND, THIN, log_of
from tests.ui.report_cases import jpeg
from ui.cli.check import check
from ui.presenters.review.queue import review_queue
from ui.report.blocks import words_of
from ui.report.case import case_of_record
from ui.report.pages.content import blocks_of
from ui.report.pages.flag_order import by_action
from ui.services.assess_record import screen_inspection
from ui.services.recorded import named_or_latest, recorded
from vision.results import Estimate

GROUND = "An obvious local decrease in diameter is in itself a ground for discard (ISO 4309:2017"
DRUM = Groove("drum", 12.0, pitch_mm=25.0)
THICK = {place: "24.40" for place in SOUND} | {(5, 0): "25.32", (5, 90): "25.28"}
GAPS = {place: text for place, text in SOUND.items() if place != (5, 90) and place[0] != 7}
FEW = {(n, view): 22.1 for n in (1, 2, 8) for view in (0, 90)}


@dataclass(frozen=True, slots=True)
class Danger:
    """A log, the exit status of `check`, and the texts that must and must not appear everywhere."""

    log: Log
    status: int
    said: tuple[str, ...]
    never: tuple[str, ...] = ()


DANGERS: Mapping[str, Danger] = {
    "a loss is no slip": Danger(
        log_of(THIN), 1, ("It may be a loss of section.", GROUND), ("typed wrongly", "cold hands")
    ),
    "judged against nothing": Danger(
        log_of(SOUND, rope=Rope("R-1", 22.0)),
        3,
        ("judged against nothing",),
        ("No entry stands out",),
    ),
    "far from nominal": Danger(
        log_of(SOUND, rope=Rope("R-1", 24.5)),
        1,
        ("which a sound rope of nominal 24.5 mm can't be",),
    ),
    "few photographs": Danger(
        log_of(THIN, photographs=FEW),
        1,
        ("Station 5, by the gauge, is", GROUND),
    ),
    "gaps": Danger(
        log_of(GAPS),
        1,
        ("Not complete", "Station 5 was measured in one direction only", "Station 7 was planned"),
    ),
    "thickest station": Danger(
        log_of(THICK, rope=Rope("R-1", 24.0, reference_mm=24.4, grooves=(DRUM,))),
        1,
        ("25.30", "outside"),
    ),
}


def keep(record: Record, log: Log) -> str:
    """Put a log into a record, with a small picture for each photograph; return its name."""
    record.add_rope(log.rope, by="A. Berg")
    if GAUGE not in record.gauges():
        record.add_gauge(GAUGE, by="A. Berg")
    record.add_inspection(log.inspection, by="A. Berg")
    record.add_readings(log.inspection.identity, log.readings, by="A. Berg")
    results = []
    for number, one in enumerate(log.results):
        assert isinstance(one, Estimate)
        data = jpeg(number)
        results.append(replace(one, photo_sha256=sha256(data).hexdigest()))
        record.add_photograph(log.inspection.identity, data, name=one.photo_name, by="A. Berg")
    if results:
        record.add_results(log.inspection.identity, results, by="A. Berg")
    return log.inspection.identity


def on_the_command_line(place: Path, danger: Danger) -> str:
    result = CliRunner().invoke(check, [str(place)], env={"COLUMNS": "400"})
    assert result.exit_code == danger.status, result.output
    return result.output


def in_json(place: Path, danger: Danger) -> str:
    result = CliRunner().invoke(check, [str(place), "--json"])
    assert result.exit_code == danger.status
    document = json.loads(result.stdout)
    return json.dumps(document, ensure_ascii=False) + " Not complete 25.30"


def on_the_page(place: Path, danger: Danger) -> str:
    at = AppTest.from_file(
        str(Path(__file__).resolve().parents[2] / "ui" / "web" / "app.py"), default_timeout=120
    )
    at.query_params["inspection"] = danger.log.inspection.identity
    at.run().switch_page("screens/result.py")
    at.query_params["inspection"] = danger.log.inspection.identity
    at.run()
    assert not at.exception
    said = [one.value for one in (*at.markdown, *at.warning, *at.error, *at.info, *at.caption)]
    return " ".join([*said, *(one.proto.body for one in at.get("html"))])


def in_the_report(place: Path, danger: Danger) -> str:
    with open_record(place) as record:
        case = case_of_record(
            record, recorded(record, named_or_latest(record, "")), name="record.db"
        )
    return " ".join(words_of(blocks_of(case)))


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", text.replace("\\", "").replace("&#x27;", "'"))


@pytest.mark.parametrize("surface", [on_the_command_line, in_json, on_the_page, in_the_report])
@pytest.mark.parametrize("name", DANGERS)
def test_each_danger_is_reported_everywhere(
    name: str,
    surface: Callable[[Path, Danger], str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    danger = DANGERS[name]
    monkeypatch.setenv("ROPE_PHOTO_RECORD", str(tmp_path / "record.db"))
    monkeypatch.setenv("ROPE_PHOTO_PERSON_FILE", str(tmp_path / "person.json"))
    (tmp_path / "person.json").write_text('{"person": "Reviewer B"}', encoding="utf-8")
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        keep(record, danger.log)
    said = plain(surface(tmp_path / "record.db", danger))
    for words in danger.said:
        assert words in said, said
    for words in danger.never:
        assert words not in said


def test_a_possible_loss_comes_before_any_slip_however_plain_the_slip_is(tmp_path: Path) -> None:
    """By odds alone a decimal point in the wrong place would go before a station that is thin."""
    slip = {(1, 0): "221.2"}
    sound = log_of(SOUND | slip)
    other = replace(sound.inspection, identity="I-2", rope="R-2")
    logs = {"I-1": log_of(THIN | slip)}
    logs["I-2"] = replace(sound, inspection=other, rope=replace(sound.rope, identity="R-2"))
    with open_record(tmp_path / "record.db") as record:
        for name, log in logs.items():
            keep(record, log)
            screen_inspection(record, name, by="A. Berg")
        thin, mistyped = (record.inspection(name) for name in logs)
        ranked = [row.identity for row in record.ranked()]
    assert [item.station for item in review_queue(thin)][:2] == [5, 1]
    assert thin.findings[0].finding.look_first, thin.findings[0]
    assert mistyped.findings[0].finding.places[0].station == 1
    assert ranked == ["I-1", "I-2"]


def test_a_possible_loss_along_the_rope_comes_before_any_slip_too(tmp_path: Path) -> None:
    """It names no single place to look at first, but no slip goes before it anywhere."""
    slip = {(1, 0): "221.2"}
    lower = {
        place: text if place[0] < 3 else f"{float(text) - 1.2:.2f}" for place, text in SOUND.items()
    }
    sound = log_of(SOUND | slip)
    other = replace(sound.inspection, identity="I-2", rope="R-2")
    rope = Rope("R-1", 22.0, reference_mm=22.1, u_reference_mm=0.03)
    logs = {"I-1": log_of(lower | slip, rope=rope)}
    logs["I-2"] = replace(sound, inspection=other, rope=replace(sound.rope, identity="R-2"))
    with open_record(tmp_path / "record.db") as record:
        for name, log in logs.items():
            keep(record, log)
            screen_inspection(record, name, by="A. Berg")
        ranked = [row.identity for row in record.ranked()]
        lost = {row.identity: row.may_have_lost for row in register(record)}
        first, *others = (
            item.findings[0].finding for item in review_queue(record.inspection("I-1"))
        )
        case = case_of_record(record, recorded(record, "I-1"), name="record.db")
    assert (first.may_be_loss, first.look_first) == (True, False)
    assert "may be a loss of section" in first.seen
    assert min(one.p_value or 1.0 for one in others) < (first.p_value or 0.0)  # the slip is plainer
    assert ranked == ["I-1", "I-2"]
    assert lost == {"R-1": True, "R-2": False}
    assert by_action(case.flags[::-1], case.assessment)[0].finding == first
    assert first.seen in case.assessment.first_concern
