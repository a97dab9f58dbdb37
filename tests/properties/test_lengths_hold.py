"""Any typed text gives a length or one sentence, and units convert there and back."""

from __future__ import annotations

import math
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from inspection.model.length_text import length_text, parse_length, typed_resolution_mm

HUNDREDTHS = st.integers(min_value=1, max_value=99_999)  # 0.01 mm to 999.99 mm


@given(HUNDREDTHS, st.sampled_from([".", ","]), st.sampled_from(["", " mm", "mm", "\u00a0mm"]))
def test_a_number_with_two_places_is_read_back(hundredths: int, mark: str, unit: str) -> None:
    text = f"{hundredths // 100}{mark}{hundredths % 100:02d}{unit}"
    assert parse_length(text) == float(Decimal(hundredths) / 100)
    assert typed_resolution_mm(text) == 0.01


@given(HUNDREDTHS)
def test_mm_shown_in_inch_and_read_again_come_back_within_the_last_digit(hundredths: int) -> None:
    value_mm = hundredths / 100
    shown = length_text(value_mm, units="inch", decimals=4)
    if float(shown.split()[0]) > 0:
        assert abs(parse_length(shown) - value_mm) <= 0.00005 * 25.4 + 1e-9
    assert parse_length(length_text(value_mm)) == value_mm


@given(st.integers(0, 20), st.sampled_from([2, 4, 8, 16, 32, 64, 128]), st.data())
def test_an_inch_fraction_is_its_exact_value(whole: int, below: int, data: st.DataObject) -> None:
    above = data.draw(st.integers(1, below - 1))
    text = f"{whole} {above}/{below}" if whole else f"{above}/{below}"
    expected = (whole * below + above) / below * 25.4
    for written in (text, text + " in", text + '"', text.replace(" ", "-")):
        assert math.isclose(parse_length(written), expected, rel_tol=1e-12)


@given(st.text(max_size=60))
def test_any_text_at_all_is_a_diameter_or_gets_one_sentence(text: str) -> None:
    try:
        value = parse_length(text)
    except ValueError as told:
        said = str(told)
        assert said.endswith(".")
        assert "\n" not in said
    else:
        assert 0 < value < math.inf
        assert typed_resolution_mm(text) > 0


@given(st.text(alphabet="0123456789.,/ -'\"mincØ=", max_size=14))
def test_texts_that_look_like_lengths_are_never_read_as_something_else(text: str) -> None:
    try:
        value = parse_length(text)
    except ValueError:
        return
    digits = [sign for sign in text if sign.isdigit()]
    assert digits
    # never larger than all its digits in a row, as inch or as cm
    assert value <= int("".join(digits)) * 25.4 * (1 + 1e-12)
