"""Lengths as people type them: decimal comma or point, mm, cm or inch, inch fractions.

There is one conversion on input and one on output. Everything is exact decimal arithmetic until
the last step, so 0.88 in is exactly 22.352 mm.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

MM_PER_INCH = Decimal("25.4")  # exact since 1959 (ISO 80000-3)
LONGEST_MM = 100_000  # 100 m: tapes are shorter, and a typing slip is often longer
LONGEST_TEXT = 40  # a length never needs more characters; keeps strange files out of the parser

LengthUnit = Literal["mm", "cm", "in"]
DecimalMark = Literal[".", ","]

_MM_PER = {"mm": Decimal(1), "cm": Decimal(10), "in": MM_PER_INCH}
_UNIT_WORDS: dict[str, LengthUnit] = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm",
    "millimeters": "mm", "cm": "cm", "centimetre": "cm", "centimetres": "cm",
    "centimeter": "cm", "centimeters": "cm", "in": "in", "in.": "in", "inch": "in",
    "inches": "in", '"': "in", "''": "in",
}  # fmt: skip
_PLAIN = {
    "\u2044": "/", "\u2215": "/",  # fraction slash, division slash
    "\u2212": "-", "\u2010": "-", "\u2011": "-", "\u2013": "-", "\u2014": "-",
    "\u2033": '"', "\u201c": '"', "\u201d": '"', "\u2032": "'", "\u2019": "'",
    "\u066b": ",", "\t": " ",
}  # fmt: skip
_SHAPES = ("<wide>", "<narrow>", "<square>", "<noBreak>")  # the same sign in another width
_SIGN_OF_DIAMETER = re.compile(r"^(?:[Øø⌀∅φΦ]|dia\.?|d)\s*[=:]?\s*", re.IGNORECASE)
_DECIMAL = re.compile(r"^(\d+)(?:([.,])(\d+))?$")
_NO_LEAD = re.compile(r"^([.,])(\d+)$")
_FRACTION = re.compile(r"^(?:(\d+)(?:\s+|\s*-\s*))?(\d+)\s*/\s*(\d+)$")
_SPLIT = re.compile(r"^(.*\d)(\D*)$")  # the number ends with its last digit


@dataclass(frozen=True, slots=True)
class _Typed:
    """A typed length in its parts."""

    value_mm: Decimal
    step_mm: Decimal


def parse_length(
    text: str, *, unit: LengthUnit = "mm", decimal: DecimalMark | None = None
) -> float:
    """Return the length that a typed text means, mm.

    Parameters
    ----------
    text : str
        What was typed, e.g. ``"22,4"``, ``"Ø 22.4 mm"``, ``"0.88 in"``, ``"1-3/8 in"``.
    unit : {"mm", "cm", "in"}, optional
        Unit of a text that names none. A fraction without a unit is always inch: no gauge
        shows fractions of a millimetre.
    decimal : {".", ","} or None, optional
        The decimal mark, if known. Without it ``"22,400"`` is refused, because it can mean 22.4
        or 22400.

    Returns
    -------
    value_mm : float
        The length, mm; more than 0 and less than 100 m.

    Raises
    ------
    ValueError
        One sentence: what is wrong with the text, and how to write it.

    Examples
    --------
    >>> parse_length("22,4"), parse_length("Ø 22.4 mm"), parse_length("0.88 in")
    (22.4, 22.4, 22.352)
    >>> parse_length('7/8"'), parse_length("1 3/8"), parse_length("1-3/8 in")
    (22.225, 34.925, 34.925)
    """
    typed = _take_apart(text, unit, decimal)
    value = float(typed.value_mm)
    if value <= 0:
        raise ValueError(f"{_shown(text)} is not a diameter: it must be more than 0.")
    if value >= LONGEST_MM:
        raise ValueError(
            f"{_shown(text)} is too long: it would be {value / 1000:.4g} m, but the longest length "
            f"allowed is {LONGEST_MM // 1000} m; correct it."
        )
    return value


def typed_resolution_mm(text: str) -> float:
    """Return the value of one unit in the last typed digit, mm.

    For an inch fraction it is one over the denominator. People reduce fractions (1/2 on a scale of
    1/64), so there it says only that the gauge resolves *at least* this.

    Raises
    ------
    ValueError
        As `parse_length`.

    Examples
    --------
    >>> typed_resolution_mm("22,40"), typed_resolution_mm("22"), typed_resolution_mm("0.880 in")
    (0.01, 1.0, 0.0254)
    """
    return float(_take_apart(text, "mm", None).step_mm)


def length_text(
    value_mm: float, *, units: Literal["mm", "inch"] = "mm", decimals: int | None = None
) -> str:
    """Return a stored length for display, with its unit; 2 decimals of a mm, 3 of an inch.

    Examples
    --------
    >>> length_text(22.352), length_text(22.352, units="inch")
    ('22.35 mm', '0.880 in')
    """
    if units == "mm":
        return f"{value_mm:.{2 if decimals is None else decimals}f} mm"
    return f"{value_mm / float(MM_PER_INCH):.{3 if decimals is None else decimals}f} in"


def _take_apart(text: str, unit: LengthUnit, decimal: DecimalMark | None) -> _Typed:
    if len(text) > LONGEST_TEXT:
        raise ValueError(
            f"{_shown(text)} is too long for a length: use at most {LONGEST_TEXT} characters."
        )
    plain = _SIGN_OF_DIAMETER.sub("", _plain(text))
    if not plain:
        raise ValueError("The length is empty: write it as 22.4, 22,4 mm, 0.88 in or 1 3/8 in.")
    parts = _SPLIT.match(plain)
    if parts is None:
        raise ValueError(_not_a_length(text))
    number, word = parts[1].strip(), parts[2].strip().lower()
    if not re.fullmatch(r"[-+]?[\d.,/' -]+", number) or word in (".", ","):
        raise ValueError(_not_a_length(text))
    if word and word not in _UNIT_WORDS:
        raise ValueError(f"{_shown(text)} has no known unit: write mm, cm or in after the number.")
    if number.startswith("-"):
        raise ValueError(f"{_shown(text)} is negative: a diameter is more than 0.")
    number = number.removeprefix("+")
    if "/" in number:
        return _fraction(text, number, _UNIT_WORDS.get(word, "in"))
    return _decimal(text, number, _UNIT_WORDS.get(word, unit), decimal)


def _decimal(text: str, number: str, unit: LengthUnit, decimal: DecimalMark | None) -> _Typed:
    match = _DECIMAL.match(number)
    if match is None:
        bare = _NO_LEAD.match(number)
        if bare is None:
            if re.fullmatch(r"\d{1,3}(?:[ .,']\d+)+", number):
                raise ValueError(
                    f"{_shown(text)} is ambiguous: leave out separators between thousands and "
                    "use one decimal point or comma."
                )
            raise ValueError(_not_a_length(text))
        whole, mark, places = "0", bare[1], bare[2]
    else:
        whole, mark, places = match[1], match[2] or "", match[3] or ""
    if mark and decimal is not None and mark != decimal:
        raise ValueError(
            f"{_shown(text)} has '{mark}', but the decimal mark is '{decimal}': write it "
            f"with '{decimal}'."
        )
    # "0,875" can't be thousands; "22.400" is the usual way to write caliper and inch readings
    if mark == "," and decimal is None and len(places) == 3 and 0 < int(whole) < 1000:
        raise ValueError(
            f"{_shown(text)} is ambiguous: the comma can be a decimal comma or a thousands "
            f"separator; write {whole}.{places} or {whole}{places}."
        )
    scale = _MM_PER[unit]
    value = Decimal(f"{whole}.{places or '0'}")
    return _Typed(value * scale, Decimal(1).scaleb(-len(places)) * scale)


def _fraction(text: str, number: str, unit: LengthUnit) -> _Typed:
    match = _FRACTION.match(number)
    if match is None:
        raise ValueError(_not_a_length(text))
    if unit != "in":
        raise ValueError(f"{_shown(text)} is a fraction of a {unit}: write it with decimals.")
    whole, above, below = int(match[1] or 0), int(match[2]), int(match[3])
    if below not in (2, 4, 8, 16, 32, 64, 128):
        raise ValueError(
            f"{_shown(text)} is not an inch fraction: the denominator must be 2, 4, 8, 16, 32, "
            "64 or 128."
        )
    if above >= below:
        raise ValueError(
            f"{_shown(text)} is ambiguous: write whole inches and a fraction below 1, as in 1 3/8."
        )
    part = Fraction(whole) + Fraction(above, below)
    step = MM_PER_INCH / below
    return _Typed(Decimal(part.numerator) / part.denominator * MM_PER_INCH, step)


def _plain(text: str) -> str:
    """Return the text in plain digits and signs; superscripts and the like are left unchanged."""
    signs = []
    for sign in text:
        shape = unicodedata.decomposition(sign).split(" ")[0]
        if shape == "<fraction>":  # one and a half typed as 1½ must not become 11/2
            signs.append(" " + unicodedata.normalize("NFKC", sign).replace("\u2044", "/"))
        elif unicodedata.category(sign) == "Nd":
            signs.append(str(unicodedata.digit(sign)))
        elif unicodedata.category(sign) == "Zs":
            signs.append(" ")
        elif shape in _SHAPES:
            signs.append(unicodedata.normalize("NFKC", sign))
        else:
            signs.append(_PLAIN.get(sign, sign))
    return "".join(signs).strip()


def _not_a_length(text: str) -> str:
    return f"{_shown(text)} is not a length: write it as 22.4, 22,4 mm, 0.88 in or 1 3/8 in."


def _shown(text: str) -> str:
    """Return the text for a message: in quotes, truncated, with control characters visible."""
    cut = text if len(text) <= LONGEST_TEXT else text[:LONGEST_TEXT] + "..."
    return repr(cut)
