"""Transcription errors that a log could have suffered, as it would read without them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from inspection.model.length_text import MM_PER_INCH, DecimalMark, parse_length
from inspection.model.log import Log, best_estimates, readings_at, right_angle_pairs
from inspection.model.readings import Reading, gauge_u_mm

NEAR_PCT = 4.0  # without a photograph, a change is tried that lands within this of the others
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True)
class TranscriptionError:
    """One change of a log.

    Parameters
    ----------
    code : str
        Name of the slip.
    words : str
        What would have happened, for "with ... all agrees".
    readings : mapping of entry to Reading
        The entries as they would read.
    innocent : str
        How it comes about.
    """

    code: str
    words: str
    readings: tuple[tuple[int, Reading], ...]
    innocent: str

    @property
    def entries(self) -> tuple[int, ...]:
        """The entries that change, numbered from 0."""
        return tuple(entry for entry, _ in self.readings)

    def applied(self, log: Log) -> Log:
        """Return the log as it would read."""
        changed = list(log.readings)
        for entry, reading in self.readings:
            changed[entry] = reading
        return replace(log, readings=tuple(changed))


def retyped(typed: str) -> Iterator[tuple[str, str, str]]:
    """Return code, words and text of every single slip that ends in the text typed.

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
    # behind the point some digit always fits, so that a wrong one there explains nothing
    for index in places[:whole]:
        for digit in "0123456789":
            if digit != number[index]:
                other = number[:index] + digit + number[index + 1 :]
                yield "digit-mistyped", "one digit typed wrongly", before + other + after


def transcription_errors(log: Log, touched: set[int]) -> Iterator[TranscriptionError]:
    """Return the errors of the touched entries (and theirs) worth trying, plainest first."""
    for entry in sorted(touched):
        yield from _own_changes(log, entry, codes=("digits-swapped", "decimal-moved"))
        yield from _unit_changes(log, entry)
    for first, second in right_angle_pairs(log.readings):
        if {first, second} & touched:
            yield _exchange(
                log,
                [(first, second)],
                "directions-exchanged",
                "its two directions exchanged",
                "The two figures of a station are easily written in the wrong columns.",
            )
    yield from _neighbour_changes(log, touched)
    for entry in sorted(touched):
        yield from _own_changes(log, entry, codes=("digit-mistyped",))


def _own_changes(log: Log, entry: int, *, codes: tuple[str, ...]) -> Iterator[TranscriptionError]:
    reading = log.readings[entry]
    aim, reach = _known_mm(log, entry)
    if reading.value_mm == log.rope.nominal_mm:
        return  # the nominal typed in needs no slip to explain it
    for code, words, text in retyped(reading.typed):
        if code not in codes:
            continue
        value = _value_mm(reading, text)
        if abs(value - aim) <= reach:
            yield TranscriptionError(
                code,
                f"{words} ({text} in place of {reading.typed})",
                ((entry, replace(reading, typed=text, value_mm=value)),),
                "Such slips happen to everyone who types figures with cold hands.",
            )


def _value_mm(reading: Reading, text: str) -> float:
    """Return what the text would mean in the unit and with the decimal mark of the reading."""
    mark: DecimalMark = "," if "," in reading.typed + text else "."
    try:
        typed_mm = parse_length(reading.typed, decimal=mark)
        return reading.value_mm * parse_length(text, decimal=mark) / typed_mm
    except ValueError:
        return 0.0


def _unit_changes(log: Log, entry: int) -> Iterator[TranscriptionError]:
    reading = log.readings[entry]
    aim, reach = _known_mm(log, entry)
    inch = float(MM_PER_INCH)
    for factor, words in ((inch, "read in inches"), (1.0 / inch, "read in millimetres")):
        value = reading.value_mm * factor
        if abs(value - aim) <= reach:
            yield TranscriptionError(
                "inch-for-mm",
                f"{reading.typed} {words} ({value:.2f} mm)",
                ((entry, replace(reading, value_mm=value)),),
                "The gauge may have been switched to the other unit.",
            )


def _neighbour_changes(log: Log, touched: set[int]) -> Iterator[TranscriptionError]:
    placed: dict[int, dict[int, int]] = {}
    for entries in readings_at(log.readings).values():
        first = log.readings[entries[0]]
        placed.setdefault(first.station, {})[first.view_deg] = entries[0]
    places = log.positions_m()
    order = sorted(placed, key=lambda number: (places.get(number, 0.0), number))
    for here, there in pairwise(order):
        views = sorted(placed[here].keys() & placed[there].keys())
        pairs = [(placed[here][view], placed[there][view]) for view in views]
        if {entry for pair in pairs for entry in pair} & touched:
            yield _exchange(
                log,
                pairs,
                "stations-exchanged",
                f"stations {here} and {there} exchanged",
                "Two lines of a sheet are easily exchanged, or the stations were walked in the "
                "other order.",
            )


def _exchange(
    log: Log, pairs: list[tuple[int, int]], code: str, words: str, innocent: str
) -> TranscriptionError:
    changed = []
    for one, two in pairs:
        first, second = log.readings[one], log.readings[two]
        changed += [
            (one, replace(second, station=first.station, view_deg=first.view_deg)),
            (two, replace(first, station=second.station, view_deg=second.view_deg)),
        ]
    return TranscriptionError(code, words, tuple(changed), innocent)


def _known_mm(log: Log, entry: int) -> tuple[float, float]:
    """Return what else is known of this entry's diameter, and how near a change must come, mm."""
    reading = log.readings[entry]
    estimate = best_estimates(log.results).get(reading.place)
    gauge = log.gauges.get(reading.gauge)
    if estimate is not None and gauge is not None:
        u_gauge = gauge_u_mm(
            gauge, diameter_mm=estimate.diameter_mm, outer_strands=log.rope.outer_strands
        )
        return estimate.diameter_mm, 3.0 * math.hypot(estimate.u_mm, u_gauge)
    others = [item.value_mm for place, item in enumerate(log.readings) if place != entry]
    aim = median(others) if len(others) >= 3 else log.rope.nominal_mm
    return aim, aim * NEAR_PCT / 100.0
