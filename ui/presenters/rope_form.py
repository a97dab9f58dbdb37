"""A rope as typed into the form: parsed, and summarised in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import get_args

from inspection.limits.grooves import groove_fit
from inspection.limits.standards import Unstated, unstated
from inspection.model.length_text import LengthUnit, parse_length
from inspection.model.rope import (
    Build,
    Core,
    Duty,
    Groove,
    Rope,
    Service,
    Sheaves,
    Tension,
    Units,
    country_code,
)
from ui.lengths import K, length_in, length_text, short_length

USES: dict[Duty, str] = {
    "general": "not stated",
    "crane": "crane rope",
    "hoist": "hoist rope",
    "lift": "lift rope",
    "mine": "mine hoist rope",
}
NOT_WRITTEN = "not recorded"


@dataclass(frozen=True, slots=True)
class RopeForm:
    """The contents of the form's fields, not parsed yet."""

    identity: str
    nominal: str
    units: Units
    outer_strands: int
    core: Core
    build: Build
    fibre: bool
    duty: Duty
    service: Service
    site: str
    reference: str
    u_reference: str
    reference_on: date | None
    reference_how: str
    reference_tension: str
    baseline: str
    grooves: list[list[str]]
    lay: str = ""
    country: str = ""
    sheaves: Sheaves = "not stated"


def rope_of(typed: RopeForm) -> Rope:
    """Return the rope that was typed.

    Raises
    ------
    ValueError
        If a length can't be parsed, or a groove has no name or radius.
    """
    unit: LengthUnit = "in" if typed.units == "inch" else "mm"

    def maybe(text: str, what: str) -> float | None:
        return read_length(text, what, unit) if text.strip() else None

    u = maybe(typed.u_reference, "uncertainty of the reference")
    tension = next((arg for arg in get_args(Tension) if arg == typed.reference_tension), None)
    rope = Rope(
        " ".join(typed.identity.split()),
        read_length(typed.nominal, "nominal diameter", unit),
        typed.outer_strands,
        typed.core,
        typed.build,
        typed.fibre,
        typed.duty,
        typed.service,
        maybe(typed.reference, "reference diameter"),
        typed.reference_on,
        typed.reference_how.strip(),
        typed.units,
        parse_grooves(typed.grooves, unit),
        typed.site.strip(),
        None if u is None else u / K,
        tension,
        maybe(typed.baseline, "baseline diameter"),
        maybe(typed.lay, "lay length"),
        country_code(typed.country),
        typed.sheaves,
    )
    if not rope.identity:
        raise ValueError("the rope has no name: enter the name used on site.")
    for groove in rope.grooves:
        groove_fit(rope, groove)  # raises ValueError for impossible dimensions
    return rope


def read_length(text: str, what: str, unit: LengthUnit) -> float:
    """Return a typed length, mm.

    Raises
    ------
    ValueError
        If it is not a length; the message begins with the name of the field.
    """
    try:
        return parse_length(text, unit=unit)
    except ValueError as wrong:
        raise ValueError(f"{what}: {wrong}") from wrong


def parse_grooves(rows: Iterable[list[str]], unit: LengthUnit) -> tuple[Groove, ...]:
    """Return the grooves in the rows of a table; empty rows are skipped.

    Raises
    ------
    ValueError
        If a figure can't be parsed, or a row has no name or radius.
    """
    found = []
    for name, radius, pitch, layers, least, most in rows:
        if not any((name, radius, pitch, least, most)):
            continue
        if not (name and radius):
            raise ValueError(
                f"the row '{name or radius or pitch}' under drum and sheaves needs a name and a "
                "groove radius: fill them in, or clear the row."
            )
        if layers and not (layers.isdigit() and int(layers) > 0):
            raise ValueError(
                f"layers on {name}: '{layers}' is not a number of layers; type 1 or more."
            )
        found.append(
            Groove(
                name,
                read_length(radius, f"groove radius of {name}", unit),
                read_length(pitch, f"pitch of {name}", unit) if pitch else None,
                int(layers) if layers else 1,
                read_length(least, f"minimum rope for {name}", unit) if least else None,
                read_length(most, f"maximum rope for {name}", unit) if most else None,
            )
        )
    return tuple(found)


def groove_rows(grooves: Iterable[Groove], units: Units = "mm") -> list[list[str]]:
    """Return grooves as rows of the table, with units.

    Examples
    --------
    >>> groove_rows([Groove("drum", 11.7, 25.0)])
    [['drum', '11.7 mm', '25 mm', '1', '', '']]
    """
    return [
        [
            groove.name,
            typed_length(groove.radius_mm, units),
            typed_length(groove.pitch_mm, units),
            str(groove.layers),
            typed_length(groove.rope_min_mm, units),
            typed_length(groove.rope_max_mm, units),
        ]
        for groove in grooves
    ]


def rope_facts(rope: Rope) -> list[tuple[str, str]]:
    """Return what is known about a rope, as names and values."""
    units = rope.units
    reference = "not known: limits counted from it can't be applied"
    if rope.reference_mm is not None:
        reference = f"{length_text(rope.reference_mm, units=units)}{_reference_details(rope)}"
    facts = [
        ("Nominal", short_length(rope.nominal_mm, units)),
        ("Reference", reference),
        ("Construction", f"{rope.outer_strands} outer strands, {rope.core} core, {rope.build}"),
        ("Use", f"{USES[rope.duty]}, {rope.service.replace('-', ' ')}"),
    ]
    if rope.baseline_mm is not None:
        facts.append(("Baseline", length_text(rope.baseline_mm, units=units)))
    if rope.lay_mm is not None:
        facts.append(("Lay length from certificate", short_length(rope.lay_mm, units)))
    runs = [
        f"{groove.name} (groove radius {short_length(groove.radius_mm, units)}"
        + (")" if groove.pitch_mm is None else f", pitch {short_length(groove.pitch_mm, units)})")
        for groove in rope.grooves
    ]
    if runs:
        facts.append(("Runs in", ", ".join(runs)))
    return facts


_UNSTATED: dict[Unstated, str] = {
    "country": "country",
    "use": "use (crane, hoist, lift, mine)",
    "drum layers": "layers on the drum",
    "sheaves": "material of the sheaves",
}


def not_stated(rope: Rope) -> list[str]:
    """Return the unstated properties on which the applicable limits depend, in a few words each."""
    return [_UNSTATED[name] for name in unstated(rope)]


def _reference_details(rope: Rope) -> str:
    """Return date, uncertainty and tension of a reference diameter, as far as recorded."""
    u, tension = rope.u_reference_mm, rope.reference_tension
    parts = [
        "" if rope.reference_on is None else f"of {rope.reference_on:%Y-%m-%d}",
        "U not known" if u is None else f"U {length_text(K * u, units=rope.units)}",
        "" if tension is None else f"tension {tension}",
    ]
    return f" {', '.join(part for part in parts if part)}"


MOST_DIGITS = 15


def typed_length(value_mm: float | None, units: Units = "mm") -> str:
    """Return a length as shown in a field, such that parsing it gives the same; empty for None.

    Examples
    --------
    >>> typed_length(22.225), typed_length(22.225, "inch"), typed_length(None)
    ('22.225 mm', '0.875 in', '')
    """
    if value_mm is None:
        return ""
    for digits in range(4, MOST_DIGITS + 1 if units == "inch" else 0):
        text = f"{length_in(value_mm, units):.{digits}g} in"
        if "e" not in text and parse_length(text) == value_mm:
            return text
    return f"{value_mm:.10g} mm"
