"""Letters that run from right to left: lines as the Unicode bidirectional algorithm turns them.

The expected lines were worked out by hand from UAX #9's rules, which each case names; capitals
stand for Hebrew letters, as in the examples of that document.
"""

from __future__ import annotations

import pytest

from ui.report.bidi import in_print_order, joined

HEBREW = {chr(ord("A") + i): chr(0x5D0 + i) for i in range(26)}


def hebrew(text: str) -> str:
    """Return a text with Hebrew letters in place of capitals."""
    return "".join(HEBREW.get(sign, sign) for sign in text)


@pytest.mark.parametrize(
    ("read", "seen"),
    [
        ("by DAVID", "by DIVAD"),  # a run of right-to-left letters is turned (L2)
        ("DAVID COHEN", "NEHOC DIVAD"),  # the space between them turns along (N1)
        ("DAVID and COHEN", "DIVAD and NEHOC"),  # two runs keep their order in an English line
        ("read by DAVID.", "read by DIVAD."),  # a mark at the line's end is the line's (N2)
        ("DAVID 22.11", "22.11 DIVAD"),  # a number stays as it is, before the word (W4, I1)
        ("at 22.11 DAVID", "at 22.11 DIVAD"),  # one after Latin letters is Latin (W7)
        ("DAVID -3.5 %", "3.5- DIVAD %"),  # a sign before a number is no part of it (W6)
        ("DAVID (COHEN)", "(NEHOC) DIVAD"),  # brackets go with what is in them, and turn (N0, L4)
        ("read (DAVID)", "read (DIVAD)"),  # and with the line where it stands before (N0)
        ("DAVID (a) COHEN", "DIVAD (a) NEHOC"),
    ],
)
def test_a_line_is_turned_as_the_algorithm_says(read: str, seen: str) -> None:
    assert in_print_order(hebrew(read)) == hebrew(seen)


def test_a_point_stays_with_its_letter() -> None:
    # shin with its dot (U+05C1), then two letters: the dot is set after the letter it belongs to
    assert in_print_order("\u05e9\u05c1\u05d0\u05d1") == "\u05d1\u05d0\u05e9\u05c1"


def test_arabic_numbers_after_arabic_letters_keep_their_order() -> None:
    assert in_print_order("\u0639 22.11") == "22.11 \u0639"  # W2, W4


def test_a_letter_that_joins_only_backwards_parts_a_word() -> None:
    # dal never joins the next letter: initial beh, final dal; then beh stands alone
    assert joined("\u0628\u062f\u0628") == "\ufe91\ufeaa\ufe8f"


def test_a_vowel_sign_does_not_part_a_word() -> None:
    assert joined("\u0628\u064e\u0628") == "\ufe91\u064e\ufe90"  # initial and final beh


def test_a_non_joiner_parts_a_word() -> None:
    assert joined("\u0628\u200c\u0628") == "\ufe8f\u200c\ufe8f"


def test_other_words_are_left_alone() -> None:
    for text in ("A. Berg", "22.11 mm (station 3)", "山田太郎", "สมชาย"):
        assert joined(text) == in_print_order(text) == text
