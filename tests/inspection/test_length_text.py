"""Lengths as people type them; the values are checked by hand or are exact by definition."""

from __future__ import annotations

import pytest

from inspection.model.length_text import length_text, parse_length, typed_resolution_mm


@pytest.mark.parametrize(
    ("text", "value_mm"),
    [
        ("22,4", 22.4),
        ("22.4", 22.4),
        ("22.4 mm", 22.4),
        ("22.4mm", 22.4),
        ("22.4\u00a0mm", 22.4),  # no-break space
        ("\u202f22,4\u2009mm ", 22.4),  # narrow and thin spaces
        ("２２．４", 22.4),  # full-width digits
        ("22.4㎜", 22.4),
        ("Ø 22.4", 22.4),
        ("⌀22,40 mm", 22.4),
        ("d = 22.4", 22.4),
        ("2.24 cm", 22.4),
        ("+22.4", 22.4),
        ("22.400", 22.4),  # a micrometer's third place, not thousands
        ("0,875 in", 22.225),
        (".875 in", 22.225),
        ("0.88 in", 22.352),
        ('0.88"', 22.352),
        ("0.88 inches", 22.352),
        ('7/8"', 22.225),  # 1 in = 25.4 mm exactly
        ("1 3/8", 34.925),
        ("1-3/8 in", 34.925),
        ("1 – 3/8″", 34.925),  # en dash, double prime
        ("1⅜ in", 34.925),  # one sign for the fraction: not 13/8
        ("5/16", 7.9375),
    ],
)
def test_a_length_is_read_as_it_was_meant(text: str, value_mm: float) -> None:
    assert parse_length(text) == value_mm


def test_the_unit_of_the_column_holds_where_the_text_names_none() -> None:
    assert parse_length("0.88", unit="in") == 22.352
    assert parse_length("22.4 mm", unit="in") == 22.4
    assert parse_length("2.24", unit="cm") == 22.4


@pytest.mark.fault(
    "a length of 100 m or more in a table",
    "`'999999' is too long: it would be 1000 m, but the longest length allowed is 100 m; ...`",
)
@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("0", "more than 0"),
        ("0,00 mm", "more than 0"),
        ("9" * 24, "too long: it would be"),
        ("100000", "longest length allowed is 100 m"),
        ("-22.4", "negative"),
        ("\u221222.4", "negative"),  # a true minus sign
        ("nan", "is not a length"),
        ("inf", "is not a length"),
        ("1e3", "is not a length"),
        ("0x16", "is not a length"),
        ("22²", "no known unit"),
        ("22.", "is not a length"),
        ("22..4", "is not a length"),
        ("about 22", "is not a length"),
        ("=1+1", "is not a length"),
        ("1,234", "ambiguous"),
        ("22,400 mm", "ambiguous"),
        ("1,234.5", "ambiguous"),
        ("1.234,5", "ambiguous"),
        ("1 234", "ambiguous"),
        ("1'234", "ambiguous"),
        ("22.4 furlong", "no known unit"),
        ("22.4 mm mm", "no known unit"),
        ("22.4 m", "no known unit"),
        ("7/8 mm", "fraction of a mm"),
        ("11/8", "is ambiguous"),
        ("1 9/8", "is ambiguous"),
        ("7/9", "denominator"),
        ("1/0", "denominator"),
        ("3/8/2", "is not a length"),
        ("9" * 60, "too long"),
        ("22.4\n23.5", "is not a length"),
    ],
)
def test_a_text_that_is_no_length_gets_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence) as told:
        parse_length(text)
    assert "\n" not in str(told.value)


def test_a_stated_decimal_mark_settles_what_was_ambiguous() -> None:
    assert parse_length("22,400", decimal=",") == 22.4
    with pytest.raises(ValueError, match="decimal mark"):
        parse_length("22,400", decimal=".")
    with pytest.raises(ValueError, match="decimal mark"):
        parse_length("22.4", decimal=",")
    with pytest.raises(ValueError, match="decimal mark"):
        parse_length(".875 in", decimal=",")
    assert parse_length(",875 in", decimal=",") == 22.225


@pytest.mark.parametrize(
    ("text", "step_mm"),
    [
        ("22,40", 0.01),
        ("22.4 mm", 0.1),
        ("22", 1.0),
        ("22.355", 0.001),
        ("0.88 in", 0.254),
        ("0.880 in", 0.0254),
        ('7/8"', 3.175),
        ("1 13/64", 0.396875),
    ],
)
def test_the_resolution_is_that_of_the_last_digit_typed(text: str, step_mm: float) -> None:
    assert typed_resolution_mm(text) == step_mm


def test_a_stored_length_is_shown_in_the_users_unit() -> None:
    assert length_text(34.925) == "34.92 mm"  # round half to even, as Python does
    assert length_text(34.925, units="inch") == "1.375 in"
    assert length_text(34.925, decimals=3) == "34.925 mm"
