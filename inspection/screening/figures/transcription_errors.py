"""Slips of the pen: what a reading may really have been, judging by the text that was typed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from inspection.model.length_text import MM_PER_INCH, DecimalMark, parse_length
from inspection.model.readings import Reading

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


def retyped(typed: str) -> Iterator[tuple[str, str, str]]:
    """Yield code, words and intended text of every single slip that gives the text typed.

    Examples
    --------
    >>> [text for code, _, text in retyped("34.78") if code == "digits-swapped"]
    ['43.78', '37.48', '34.87']
    >>> [text for code, _, text in retyped("3.478") if code == "decimal-moved"]
    ['34.78', '347.8']
    """
    match = _NUMBER.search(typed)
    if match is None or "/" in typed:
        return
    number = match[0]
    before, after = typed[: match.start()], typed[match.end() :]
    places = [index for index, sign in enumerate(number) if sign.isdigit()]
    for one, two in pairwise(places):
        if number[one] != number[two]:
            swapped = list(number)
            swapped[one], swapped[two] = swapped[two], swapped[one]
            yield (
                "digits-swapped",
                "two neighbouring digits swapped",
                before + "".join(swapped) + after,
            )
    mark = "," if "," in number else "."
    digits = number.replace(mark, "")
    whole = len(number.split(mark)[0])
    for shift in (1, -1, 2, -2):
        point = whole + shift
        if 0 < point <= len(digits):
            moved = digits[:point] + (mark + digits[point:] if digits[point:] else "")
        elif point > len(digits):
            moved = digits + "0" * (point - len(digits))
        else:
            continue
        yield "decimal-moved", "the decimal point moved", before + moved + after
    # after the point some digit always fits, so a wrong one there explains nothing
    for index in places[:whole]:
        for digit in "0123456789":
            if digit != number[index]:
                other = number[:index] + digit + number[index + 1 :]
                code = "digit-mistyped"
                # a scale read one whole mark off, or the key next to the right one
                if index == whole - 1 and abs(int(digit) - int(number[index])) == 1:
                    code = "digit-one-off"
                yield code, "one digit typed wrongly", before + other + after


def readings_meant(reading: Reading) -> Iterator[tuple[str, str, float]]:
    """Yield code, words and value (mm) of everything that a single slip turns into this text.

    Examples
    --------
    >>> reading = Reading("30.57", 30.57, 4, 0, "C-1", "A. Berg")
    >>> [words for code, words, value in readings_meant(reading) if value == 35.07]
    ['two neighbouring digits swapped (35.07 in place of 30.57)']
    """
    for code, words, text in retyped(reading.typed):
        value = value_meant_mm(reading, text)
        if value > 0:
            yield code, f"{words} ({text} in place of {reading.typed})", value
    inch = float(MM_PER_INCH)
    for factor, words in ((inch, "read in inches"), (1.0 / inch, "read in millimetres")):
        value = reading.value_mm * factor
        yield "inch-for-mm", f"{reading.typed} {words} ({value:.2f} mm)", value


def value_meant_mm(reading: Reading, text: str) -> float:
    """Return what the text would mean in the unit and with the decimal mark of the reading."""
    mark: DecimalMark = "," if "," in reading.typed + text else "."
    try:
        typed_mm = parse_length(reading.typed, decimal=mark)
        return reading.value_mm * parse_length(text, decimal=mark) / typed_mm
    except ValueError:
        return 0.0


def is_borne_out(entered_mm: float, slip: tuple[str, str, float], others: list[float]) -> bool:
    """Return whether another reading of the station supports a figure as entered.

    A slip happens once: two directions that agree with each other are not slips. A misplaced
    decimal point or a wrong unit can occur twice, and no rope shrinks to a tenth of its size.
    """
    code, _, meant_mm = slip
    return code not in ("decimal-moved", "inch-for-mm") and any(
        abs(other - entered_mm) < abs(other - meant_mm) for other in others
    )
