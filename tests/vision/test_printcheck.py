"""The print check: true scale, honest uncertainty, and a file that loses nothing."""

from __future__ import annotations

import json
import math
import os
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest

from vision.target.layout import layout_named
from vision.target.print_scale import (
    PrintCheck,
    checked_card,
    load_print_checks,
    save_print_check,
    unchecked_card,
)

A5 = layout_named("A5 middle")  # bars of 180 and 110 mm
DEMO = PrintCheck("demo-set", A5, 180.7, 109.6, 0.02, date(2026, 9, 14))


def test_a_checked_card_has_the_scale_that_was_read() -> None:
    card = checked_card(DEMO)
    assert card.scale_x == pytest.approx(180.7 / 180)
    assert card.scale_y == pytest.approx(109.6 / 110)
    assert card.print_set == "demo-set"
    assert card.layout is A5
    # root sum of squares (JCGM 100:2008, 5.1.2) of instrument, ends and moisture
    assert card.u_scale_x == pytest.approx(
        math.sqrt((0.02 / 180) ** 2 + (0.03 / 180) ** 2 + 0.0003**2)
    )
    assert card.u_scale_y == pytest.approx(
        math.sqrt((0.02 / 110) ** 2 + (0.03 / 110) ** 2 + 0.0003**2)
    )


def test_a_poorer_instrument_gives_a_less_certain_scale() -> None:
    rule = checked_card(PrintCheck("by rule", A5, 180.7, 109.6, 0.25))
    assert rule.u_scale_x > 3 * checked_card(DEMO).u_scale_x


def test_an_unchecked_card_is_known_to_1_percent_and_belongs_to_no_set() -> None:
    card = unchecked_card(A5)
    assert (card.scale_x, card.scale_y, card.u_scale_x, card.u_scale_y) == (1, 1, 0.01, 0.01)
    assert card.print_set == ""


@pytest.mark.parametrize(
    ("along", "across", "words"),
    [
        (168.9, 110, "bar along is drawn 180 mm long but 168.9 mm was read.*reprint at 100 %"),
        (180, 117, "bar across .* reprint at 100 %"),
        (7.09, 4.33, "looks like inches"),
        (18.07, 10.96, "looks like centimetres"),
        (109.6, 180.7, "swap the two readings"),
        (math.nan, 110, "more than 6% off"),
        (180, math.inf, "more than 6% off"),
        (0, 110, "more than 6% off"),
        (-180, 110, "more than 6% off"),
    ],
)
def test_a_reading_far_off_is_refused_with_its_likely_cause(
    along: float, across: float, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        PrintCheck("x", A5, along, across, 0.02)


@pytest.mark.parametrize("share", [0.941, 1.0, 1.059])
def test_a_reading_within_6_percent_is_taken(share: float) -> None:
    card = checked_card(PrintCheck("x", A5, 180 * share, 110, 0.02))
    assert card.scale_x == pytest.approx(share)


@pytest.mark.parametrize("u_mm", [0.0, -0.02, math.nan, math.inf, 1.5])
def test_an_instrument_without_a_sensible_uncertainty_is_refused(u_mm: float) -> None:
    with pytest.raises(ValueError, match="more than 0 and at most 1 mm"):
        PrintCheck("x", A5, 180, 110, u_mm)


def test_a_set_without_a_name_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a name"):
        PrintCheck(" ", A5, 180, 110, 0.02)


def test_checks_come_back_as_they_were_saved(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "prints.json"
    assert load_print_checks(path) == {}
    other = PrintCheck("Kran 2 — süd", layout_named("A4 thick"), 181, 251, 0.05)
    save_print_check(path, DEMO)
    save_print_check(path, other)
    assert load_print_checks(path) == {"demo-set": DEMO, "Kran 2 — süd": other}


def test_the_file_is_the_plain_json_that_people_can_read(tmp_path: Path) -> None:
    path = tmp_path / "prints.json"
    save_print_check(path, DEMO)
    assert json.loads(path.read_text("utf-8")) == {
        "demo-set": {
            "layout": "A5 middle",
            "along_mm": 180.7,
            "across_mm": 109.6,
            "u_mm": 0.02,
            "checked_on": "2026-09-14",
        }
    }


def test_a_new_check_of_a_set_keeps_the_earlier_ones_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "prints.json"
    second = PrintCheck("demo-set", A5, 180.9, 109.7, 0.02, date(2026, 10, 2))
    third = PrintCheck("demo-set", A5, 180.8, 109.7, 0.02, date(2026, 11, 1))
    for check in (DEMO, second, third, third):
        save_print_check(path, check)
    assert load_print_checks(path)["demo-set"] == third
    earlier = json.loads(path.read_text("utf-8"))["demo-set"]["earlier"]
    assert [entry["along_mm"] for entry in earlier] == [180.7, 180.9]


def test_one_name_cannot_stand_for_two_layouts(tmp_path: Path) -> None:
    path = tmp_path / "prints.json"
    save_print_check(path, DEMO)
    with pytest.raises(
        ValueError, match=r"of layout A5 middle, not A4 thick; give .* another name"
    ):
        save_print_check(path, PrintCheck("demo-set", layout_named("A4 thick"), 180, 250, 0.02))
    assert load_print_checks(path) == {"demo-set": DEMO}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b'{"demo-set": {"layout": "A5 middle", "along',
        b"\xff\xfe\x00",
        b"[1, 2]",
        b'{"a": 3}',
        b'{"a": {"layout": 5}}',
        b'{"a": {"layout": "A5 middle", "along_mm": "180", "across_mm": 110, "u_mm": 0.02}}',
        b'{"a": {"layout": "A5 middle", "along_mm": true, "across_mm": 110, "u_mm": 0.02}}',
        b'{"a": {"layout": "A9 huge", "along_mm": 180, "across_mm": 110, "u_mm": 0.02}}',
        b'{"a": {"layout": "A5 middle", "along_mm": NaN, "across_mm": 110, "u_mm": 0.02}}',
        b'{"a": {"layout": "A5 middle", "along_mm": 1%b, "across_mm": 110, "u_mm": 0.02}}'
        % (b"0" * 400),
        b'{"a": {"layout": "A5 middle", "along_mm": 180, "across_mm": 110, "u_mm": 0.02, '
        b'"checked_on": 5}}',
        b'{"a": {"layout": "A5 middle", "along_mm": 180, "across_mm": 110, "u_mm": 0.02, '
        b'"checked_on": "yesterday"}}',
        b'{"a": {"layout": "A5 middle"}, "a": {"layout": "A5 thin"}}',
        b"[" * 100_000,
    ],
)
def test_a_damaged_file_is_refused_and_never_overwritten(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "prints.json"
    path.write_bytes(content)
    with pytest.raises(ValueError, match=r"prints\.json"):
        load_print_checks(path)
    with pytest.raises(ValueError, match=r"prints\.json"):
        save_print_check(path, DEMO)
    assert path.read_bytes() == content


def test_a_crash_while_writing_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "prints.json"
    save_print_check(path, DEMO)

    def power_cut(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", power_cut)
    with pytest.raises(ValueError, match=r"cannot be saved in .*prints\.json: No space left"):
        save_print_check(path, PrintCheck("b", A5, 180, 110, 0.02))
    assert load_print_checks(path) == {"demo-set": DEMO}
    assert {item.name for item in tmp_path.iterdir()} == {"prints.json", "prints.json.lock"}


def test_a_folder_in_the_files_place_is_refused_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="cannot be read"):
        save_print_check(tmp_path, DEMO)


def test_people_who_save_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "prints.json"
    checks = [PrintCheck(f"set {i}", A5, 180 + i / 100, 110, 0.02) for i in range(24)]
    with ThreadPoolExecutor(8) as people:
        list(people.map(lambda check: save_print_check(path, check), checks))
    assert load_print_checks(path) == {check.name: check for check in checks}
