"""Lengths as pages, report and command line write them: in the rope's own units, mm or inch.

Code that has the figures formats them here from millimetres. Sentences that `inspection` and
`vision` wrote in millimetres go through `in_units` once, where they are shown.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from inspection.model.length_text import MM_PER_INCH, length_text
from inspection.model.rope import Units

PER_INCH = float(MM_PER_INCH)
K = 2.0  # coverage factor: u is stored, U is shown and typed
M_PER_FOOT = 0.3048  # exactly, by the international yard of 1959


def unit_of(units: Units) -> Literal["mm", "in"]:
    """Return the symbol of a rope's units: "mm" or "in"."""
    return "in" if units == "inch" else "mm"


def length_in(value_mm: float, units: Units) -> float:
    """Return a length in a rope's own units."""
    return value_mm / PER_INCH if units == "inch" else value_mm


def figure(value_mm: float, units: Units, *, decimals: int = 2, signed: bool = False) -> str:
    """Return a length in a rope's own units, without the unit.

    Parameters
    ----------
    value_mm : float
        The length.
    units : {"mm", "inch"}
        The rope's units.
    decimals : int, optional
        Decimals of a millimetre; inches get one more.
    signed : bool, optional
        Whether a plus sign is written too.

    Examples
    --------
    >>> figure(22.352, "mm"), figure(22.352, "inch"), figure(-0.001, "mm", signed=True)
    ('22.35', '0.880', '+0.00')
    """
    places = decimals + (units == "inch")
    return f"{length_in(value_mm, units):{'+' if signed else ''}z.{places}f}"


def tabled(value_mm: float, units: Units, *, signed: bool = False) -> str:
    """Return a figure for a table that others calculate with: one more decimal in inches.

    Examples
    --------
    >>> tabled(0.06, "mm"), tabled(0.06, "inch")
    ('0.06', '0.0024')
    """
    return figure(value_mm, units, decimals=2 + (units == "inch"), signed=signed)


def signed_length(value_mm: float, units: Units, *, decimals: int = 2) -> str:
    """Return a difference with its sign and unit, e.g. ``"-0.91 mm"``."""
    return f"{figure(value_mm, units, decimals=decimals, signed=True)} {unit_of(units)}"


def rate_words(mm_per_year: float, units: Units) -> str:
    """Return a rate of loss with its sign, without its unit.

    Examples
    --------
    >>> rate_words(-0.254, "mm"), rate_words(-0.254, "inch")
    ('-0.254', '-0.0100')
    """
    return figure(mm_per_year, units, decimals=3, signed=True)


def short_length(value_mm: float, units: Units) -> str:
    """Return a length with its unit and no trailing zeros, as a nominal diameter is written.

    Examples
    --------
    >>> short_length(22.0, "mm"), short_length(22.225, "inch"), short_length(0.01, "inch")
    ('22 mm', '0.875 in', '0.0004 in')
    """
    if units == "inch":
        value = length_in(value_mm, units)
        digits = f"{value:.4f}".rstrip("0").rstrip(".") if value >= 1e-3 else f"{value:.1g}"
        return f"{digits} in"
    return f"{value_mm:g} mm"


def along_unit(units: Units) -> Literal["m", "ft"]:
    """Return the unit of distances along a rope: "m", or "ft" for a rope in inches."""
    return "ft" if units == "inch" else "m"


def along_in(position_m: float, units: Units) -> float:
    """Return a distance along a rope in that unit."""
    return position_m / M_PER_FOOT if units == "inch" else position_m


def along(position_m: float, units: Units) -> str:
    """Return a distance along a rope, without the unit and without trailing zeros.

    Examples
    --------
    >>> along(31.5, "mm"), along(0.3048 * 103, "inch"), along(31.5, "inch")
    ('31.5', '103', '103.346')
    """
    return f"{along_in(position_m, units):.6g}"


def card_place(at_mm: float, units: Units) -> str:
    """Return a place along the card from its middle, e.g. ``"+10 mm"``."""
    if units == "inch":
        return f"{length_in(at_mm, units):+z.2f} in"
    return f"{at_mm:+g} mm"


def diameter_words(value_mm: float, u_mm: float, units: Units = "mm") -> str:
    """Return a diameter with its expanded uncertainty (k = 2), from its standard uncertainty.

    Examples
    --------
    >>> diameter_words(21.33, 0.035), diameter_words(22.225, 0.0381, "inch")
    ('21.33 ± 0.07 mm', '0.875 ± 0.003 in')
    """
    return f"{with_u(value_mm, u_mm, units)} {unit_of(units)}"


def with_u(value_mm: float, u_mm: float, units: Units, *, signed: bool = False) -> str:
    """Return the same without the unit, for a column whose heading has it."""
    return f"{figure(value_mm, units, signed=signed)} ± {figure(K * u_mm, units)}"


def heads_in_units(heads: Sequence[str], units: Units) -> list[str]:
    """Return column headings with the rope's unit in place of mm.

    Examples
    --------
    >>> heads_in_units(["mean ± U mm", "Scale (px/mm)"], "inch")
    ['mean ± U in', 'Scale (px/mm)']
    """
    return [re.sub(r"(?<!/)\bmm\b", unit_of(units), head) for head in heads]


_NUMBER = r"[-+\u2212]?\d+(?:\.\d+)?"
# Numbers that share one unit: "21.33 mm", "21.33 ± 0.07 mm", "-0.75 to +0.48 mm"
_MILLIMETRES = re.compile(rf"(?<![\w.])({_NUMBER}(?: (?:±|to) {_NUMBER})*) mm(?![\w²³/])")
_ONE = re.compile(_NUMBER)
FINE_MM = 0.05  # below two thousandths of an inch three decimals are too few


def in_units(words: str, units: Units) -> str:
    """Return a sentence with its millimetres converted to a rope's own units.

    Examples
    --------
    >>> in_units("Station 3 is 0.85 mm (3.8 %) thinner: 21.33 ± 0.07 mm.", "inch")
    'Station 3 is 0.033 in (3.8 %) thinner: 0.840 ± 0.003 in.'
    >>> in_units("-0.75 to +0.48 mm", "inch"), in_units("21.33 mm", "mm")
    ('-0.030 to +0.019 in', '21.33 mm')
    """
    if units != "inch":
        return words
    return _MILLIMETRES.sub(lambda found: f"{_ONE.sub(_inches, found[1])} in", words)


def _inches(found: re.Match[str]) -> str:
    typed = found[0].replace("\u2212", "-")
    sign = "+" if typed.startswith("+") else ""
    value_mm, decimals = float(typed), len(typed.partition(".")[2]) + 1
    if found.string == found[0] and abs(value_mm) < FINE_MM:
        decimals = max(decimals, 4)  # a resolution or a tolerance would round to zero
    return f"{value_mm / PER_INCH:{sign}z.{max(3, decimals)}f}"


__all__ = [
    "card_place",
    "diameter_words",
    "figure",
    "heads_in_units",
    "in_units",
    "length_in",
    "length_text",
    "rate_words",
    "short_length",
    "signed_length",
    "tabled",
    "unit_of",
    "with_u",
]
