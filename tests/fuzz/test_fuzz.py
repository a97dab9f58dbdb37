"""A small share of the damaged files, in a monitored process; `python -m tests.fuzz` tries more."""

from __future__ import annotations

import json

import pytest

from tests.fuzz import table_inputs
from tests.fuzz.__main__ import tally
from tests.fuzz.watched import Outcome, watch

pytest.importorskip("resource", reason="limits of a process are set by POSIX calls")
SEED = 20261126  # another one than that of the large run, so that the two don't share inputs


@pytest.mark.fault(
    "arbitrary bytes as a photograph or table",
    "a picture or table, or a one-sentence error; within 5 s and 1 GB",
)
@pytest.mark.parametrize(
    ("what", "count"), [("photos", 460), ("tables", 210), ("descriptions", 720)]
)
def test_damaged_files_are_read_or_refused_in_a_sentence(what: str, count: int) -> None:
    tried = list(watch(what, count, seed=SEED))
    assert len(tried) == count
    assert not [one for one in tried if one.became == "FAULT"], tally(tried)
    assert {one.became for one in tried} == {"read", "sentence"}


def test_a_figure_that_its_text_does_not_say_would_be_noticed() -> None:
    # the independent reader that the others are compared with, on texts of README.md
    for text, mm in (("22,4", 22.4), ("22.4 mm", 22.4), ("7/8", 22.225), ("1 3/8", 34.925),
                     ("0.88 in", 22.352), ("2,24 cm", 22.4), (",41", 0.41),
                     ("1½ in", 38.1), ("٢٢٫٤", 22.4)):  # fmt: skip
        assert table_inputs._mm_of(text) == pytest.approx(mm, rel=1e-12)
    for text in ("", "abc", "22.4.5", "1e5", "nan", "22 23"):
        assert table_inputs._mm_of(text) is None


def test_an_outcome_survives_its_line() -> None:
    one = Outcome(3, "PNG", "sentence", 'is cut off: say "why".')
    line = json.dumps({"number": 3, "kind": "PNG", "became": "sentence", "words": one.words})
    assert Outcome(**json.loads(line)) == one
