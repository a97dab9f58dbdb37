"""Ropes, what they run on, and their inspections: plain facts, no judgement."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Literal

Core = Literal["fibre", "steel"]
Build = Literal["single-layer", "parallel-closed", "rotation-resistant"]
Service = Literal["new", "in-service"]
# What the rope is used for; "general" means not stated, as in older records.
Duty = Literal["general", "crane", "hoist", "lift", "mine"]
Sheaves = Literal["not stated", "steel", "plastic"]
Tension = Literal[
    "none", "up to 5 % of breaking force", "up to 10 % of breaking force", "in service, unknown"
]
Units = Literal["mm", "inch"]


@dataclass(frozen=True, slots=True)
class Groove:
    """A drum's or a sheave's groove.

    Parameters
    ----------
    name : str
        Which one, e.g. "drum", "jib head sheave".
    radius_mm : float
        Groove radius, mm.
    pitch_mm : float or None
        Distance between neighbouring grooves of a drum, mm; None on a sheave.
    layers : int
        Rope layers on a drum; 1 otherwise.
    rope_min_mm, rope_max_mm : float or None
        The drum maker's own limits for the rope's measured diameter, mm.
    """

    name: str
    radius_mm: float
    pitch_mm: float | None = None
    layers: int = 1
    rope_min_mm: float | None = None
    rope_max_mm: float | None = None

    @property
    def is_drum(self) -> bool:
        """Whether it belongs to a drum: only drums have a pitch or several layers."""
        return self.pitch_mm is not None or self.layers > 1


@dataclass(frozen=True, slots=True)
class Rope:
    """A wire rope, as described by its certificate and history.

    Parameters
    ----------
    identity : str
        What the site calls it; unique in a record.
    nominal_mm : float
        Nominal diameter, mm.
    outer_strands : int
        Strands in the outer layer.
    core : {"fibre", "steel"}
        Kind of core.
    build : {"single-layer", "parallel-closed", "rotation-resistant"}
        Kind of rope, as classified in the discard tables.
    fibre_centred_strands : bool
        True if the strands have fibre centres.
    duty : {"general", "crane", "hoist", "lift", "mine"}
        What it is used for, which decides the standards that apply; "general" if not stated.
    service : {"new", "in-service"}
        Whether it has been run in.
    reference_mm : float or None
        Reference diameter (measured directly after running in), mm.
    reference_on : date or None
        When the reference was taken.
    reference_how : str
        How it was obtained, in words.
    units : {"mm", "inch"}
        Units for display; stored values are mm.
    grooves : tuple of Groove
        Drum and sheaves.
    site : str
        Where the rope works.
    u_reference_mm : float or None
        Standard uncertainty of the reference (or baseline) diameter, mm; None if not known.
    reference_tension : str or None
        State of tension at the reference (or baseline) measurement; None if not recorded.
    baseline_mm : float or None
        Baseline diameter of a mine hoist's rope (30 CFR 56.19022), mm; not the reference.
    lay_mm : float or None
        Lay length of the rope from its certificate, mm.
    country : str
        Whose regulations apply: two letters of ISO 3166-1, e.g. "US"; empty if not stated.
    sheaves : {"not stated", "steel", "plastic"}
        What the sheaves' grooves are made of.
    """

    identity: str
    nominal_mm: float
    outer_strands: int = 6
    core: Core = "steel"
    build: Build = "single-layer"
    fibre_centred_strands: bool = False
    duty: Duty = "general"
    service: Service = "in-service"
    reference_mm: float | None = None
    reference_on: date | None = None
    reference_how: str = ""
    units: Units = "mm"
    grooves: tuple[Groove, ...] = ()
    site: str = ""
    u_reference_mm: float | None = None
    reference_tension: Tension | None = None
    baseline_mm: float | None = None
    lay_mm: float | None = None
    country: str = ""
    sheaves: Sheaves = "not stated"

    @property
    def drum_layers(self) -> int | None:
        """Largest number of layers on any drum; None if no drum is described."""
        drums = [groove.layers for groove in self.grooves if groove.is_drum]
        return max(drums, default=None)


@dataclass(frozen=True, slots=True)
class Station:
    """A place along the rope where its diameter is measured.

    Parameters
    ----------
    number : int
        Station number, from 1, as printed on its card.
    position_m : float
        Distance along the rope from its stated origin, m.
    note : str
        What is there, e.g. "crossover, layer 2", "unworn, dead turns". It decides whether limits
        that exclude crossovers apply, and whether wear is expected there.
    """

    number: int
    position_m: float
    note: str = ""

    @property
    def at_crossover(self) -> bool:
        """Whether its note says that the rope crosses over there: "crossover", "cross-over"."""
        return bool(re.search(r"cross(es)?[ -]?over", self.note.casefold()))

    @property
    def never_runs(self) -> bool:
        """Whether its note says that the rope never runs there, and so can't wear: "unworn"."""
        return bool(re.search(r"\bunworn\b", self.note.casefold()))


@dataclass(frozen=True, slots=True)
class Inspection:
    """One inspection of one rope.

    Parameters
    ----------
    identity : str
        Unique in a record, e.g. "2026-11-crane-3".
    rope : str
        `Rope.identity`.
    on : date
        Its date.
    place : str
        Where it was held.
    inspector, reviewer, supervisor : str
        People by role; empty if nobody has the role.
    tension : str
        State of tension while measuring.
    stations : tuple of Station
        The places measured.
    remarks : str
        The inspector's own remarks.
    next_due : date or None
        When the rope is to be inspected again; None if not stated.
    """

    identity: str
    rope: str
    on: date
    place: str = ""
    inspector: str = ""
    reviewer: str = ""
    supervisor: str = ""
    tension: Tension = "none"
    stations: tuple[Station, ...] = ()
    remarks: str = ""
    next_due: date | None = None


def country_code(text: str) -> str:
    """Return a country's two-letter code as stored, empty for none.

    Raises
    ------
    ValueError
        If the text is not a two-letter code.

    References
    ----------
    ISO 3166-1 alpha-2.

    Examples
    --------
    >>> country_code(" us ")
    'US'
    """
    code = text.strip().upper()
    if code and not re.fullmatch("[A-Z]{2}", code):
        raise ValueError(
            f"the country {text!r} is not a two-letter code (ISO 3166-1): write e.g. DE, FR or US."
        )
    return code
