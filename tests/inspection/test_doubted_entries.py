"""Entries in doubt: which are named, and the sentence about them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from inspection.assessment import assess
from inspection.measurement.doubt import DoubtedEntry, doubt_words
from tests.inspection.danger_logs import SOUND, THIN, log_of
from ui.lengths import in_units
from vision.results import Place

PHOTOS = {(n, view): 22.1 for n in (4, 5, 6) for view in (0, 90)}


def test_a_mistyped_reading_is_named_as_it_was_typed() -> None:
    found = assess(log_of(SOUND | {(5, 0): "12.14"}))
    assert found.doubts == (DoubtedEntry(Place(5, 0), "gauge", "12.14 mm"),)
    assert found.doubted == {5}
    assert found.mark(5) == found.entry_mark(Place(5, 0), "gauge") == " (doubted)"
    assert found.mark(4) == found.entry_mark(Place(5, 90), "gauge") == ""


def test_a_figure_of_a_photograph_does_not_rest_on_the_reading_beside_it() -> None:
    found = assess(log_of(SOUND | {(5, 0): "23.14"}, photographs=PHOTOS))
    by_photo, by_gauge = (
        next(one for one in found.verdicts if one.station == 5 and one.source == source)
        for source in ("photographs", "gauge")
    )
    assert by_photo.words.endswith(
        "A gauge reading disagrees with its photograph and has to be checked: 23.14 mm at "
        "station 5, 0°."
    )
    assert by_gauge.words.endswith(
        "It rests on an entry that has to be checked: 23.14 mm at station 5, 0°."
    )
    # the photograph that the reading contradicts is marked, too
    assert found.entry_mark(Place(5, 0), "photographs") == " (doubted)"
    assert found.entry_mark(Place(5, 90), "photographs") == ""


def test_both_directions_that_may_be_a_loss_are_named() -> None:
    found = assess(log_of(THIN))
    assert [one.words for one in found.doubts_at(5)] == [
        "21.11 mm at station 5, 0°",
        "21.07 mm at station 5, 90°",
    ]


def test_a_photograph_of_no_known_station_is_named_with_its_figure() -> None:
    log = log_of(SOUND, photographs={**PHOTOS, (9, 0): 15.98})
    found = assess(log)
    assert found.doubts_at(9) == (DoubtedEntry(Place(9, 0), "photographs", "15.98 mm"),)


def test_where_an_entry_is_missing_the_sentence_says_so() -> None:
    found = assess(log_of({place: text for place, text in SOUND.items() if place != (5, 90)}))
    assert doubt_words(found.doubts_at(5), "gauge") == "An entry is missing: station 5."


def test_a_reading_typed_in_inches_is_named_in_millimetres_and_shown_in_inches() -> None:
    log = log_of(SOUND)
    odd = replace(log.readings[8], typed="0.9114 in", value_mm=23.15)
    found = assess(replace(log, readings=(*log.readings[:8], odd, *log.readings[9:])))
    words = doubt_words(found.doubts_at(5), "gauge")
    assert "23.15 mm at station 5, 0°" in words
    assert "0.911 in at station 5, 0°" in in_units(words, "inch")


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (0, ""),
        (1, "It rests on an entry that has to be checked: 22.00 mm at station 1, 0°."),
        (
            4,
            "It rests on entries that have to be checked: 22.00 mm at station 1, 0°; 22.00 mm at "
            "station 2, 0°; and 2 more.",
        ),
    ],
)
def test_at_most_two_entries_are_named_and_the_others_counted(count: int, words: str) -> None:
    doubts = [DoubtedEntry(Place(n, 0), "gauge", "22.00 mm") for n in range(1, count + 1)]
    assert doubt_words(doubts, "gauge") == words


def test_a_photograph_to_be_checked_is_named_beside_a_figure_by_gauge() -> None:
    doubts = [DoubtedEntry(Place(6, 0), "photographs", "15.98 mm")]
    assert doubt_words(doubts, "gauge") == (
        "The figure of a photograph there has to be checked: 15.98 mm at station 6, 0°."
    )
