"""Result types: a rope's measurements from a photograph, with their uncertainty.

This module does not import NumPy or OpenCV, so that `inspection` can use results without these
heavy libraries. Every type is frozen, hashable and made of plain values: `dataclasses.asdict`
gives JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Literal

from vision.uncertainty import Term, combined_u_mm

Severity = Literal["refuse", "warn", "look"]
PointPx = tuple[float, float]
BY_HAND = "edge-by-hand"  # code of the finding that records who moved an edge, and why


ROPE_LOOK_FIELDS = (20, 96)  # around the rope's face and along it


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A station of a rope, or one viewing direction at it.

    Parameters
    ----------
    station : int
        Station number.
    view_deg : int or None
        Viewing direction, degrees; None for the whole station.

    Examples
    --------
    >>> Place(2, 90).words, Place(2).words
    ('station 2, 90 deg', 'station 2')
    """

    station: int
    view_deg: int | None = None

    @property
    def words(self) -> str:
        """The place as shown in every table and report."""
        direction = "" if self.view_deg is None else f", {self.view_deg} deg"
        return f"station {self.station}{direction}"

    @classmethod
    def of(cls, station: int | None, view_deg: int | None) -> Place | None:
        """Return the place that a card names; None where station or direction is not known."""
        return None if station is None or view_deg is None else cls(station, view_deg)


@dataclass(frozen=True, slots=True)
class Finding:
    """One observation about a photograph or a log of readings.

    Parameters
    ----------
    code : str
        Plain name of the reason, e.g. ``"too-tilted"``; stable, for files and tests.
    seen : str
        The observation, in one sentence with its value and unit.
    remedy : str
        What to do about it, in one sentence.
    severity : {"refuse", "warn", "look"}
        "refuse": no figure is given. "warn": a figure is given, with this beside it.
        "look": an entry of the log that deserves a second look.
    value, limit : float or None
        The value in `seen` and the limit it was compared with, both in `unit`.
    unit : str
        Unit of `value` and `limit`; "1" for a plain number.
    where : tuple of str
        The entries or places concerned, in words, e.g. ``("station 2, 90 deg",)``.
    spot_px : tuple of float or None
        Where to look on the photograph, (x, y) in px.
    p_value : float or None
        Probability of an observation at least this extreme if nothing is wrong (log entries).
    innocent : str
        An innocent explanation (log entries).
    places : tuple of Place
        The places concerned.
    about : tuple of str
        What distinguishes it from other findings with its code and places: a photograph's hash,
        a gauge, a source, a document. Identifiers, never sentences.
    check : str
        The check of the log that found it, e.g. ``"figures"``.
    look_first : bool
        Whether the rope itself has to be looked at there first: it may have lost section.
    may_be_loss : bool
        Whether the rope may have lost section, there or along its whole length.
    """

    code: str
    seen: str
    remedy: str
    severity: Severity
    value: float | None = None
    limit: float | None = None
    unit: str = "1"
    where: tuple[str, ...] = ()
    spot_px: PointPx | None = None
    p_value: float | None = None
    innocent: str = ""
    places: tuple[Place, ...] = ()
    about: tuple[str, ...] = ()
    check: str = ""
    look_first: bool = False
    may_be_loss: bool = False


class ScaleSource(StrEnum):
    """The source of a figure's scale."""

    CARD = "card"
    RULE = "rule"  # the graduations of a rule in the picture
    LENGTH = "length"  # two points and the length between them

    @classmethod
    def of_hold(cls, hold: str) -> ScaleSource:
        """Return the source given in an older result's `hold`, before it had its own field.

        Examples
        --------
        >>> ScaleSource.of_hold("touching").value, ScaleSource.of_hold("archive, two points").value
        ('card', 'length')
        """
        way, _, by = hold.partition(", ")
        if way != "archive":
            return cls.CARD
        return cls.LENGTH if by.startswith("two points") else cls.RULE


@dataclass(frozen=True, slots=True)
class Marks:
    """Geometry to draw on the photograph, all in px of the upright picture.

    Parameters
    ----------
    left_px, right_px : tuple of (x, y)
        Traced outline of each side, in order along the rope.
    crown_left_px, crown_right_px : pair of (x, y)
        The crown line of each side, limited to the jaw.
    station_px : (x, y)
        Middle of the rope at the station.
    card_px : tuple of (x, y)
        Outline of the printed card, corner by corner.
    """

    left_px: tuple[PointPx, ...]
    right_px: tuple[PointPx, ...]
    crown_left_px: tuple[PointPx, PointPx]
    crown_right_px: tuple[PointPx, PointPx]
    station_px: PointPx
    card_px: tuple[PointPx, ...]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A rope's diameter at one station in one viewing direction.

    The figure is the caliper width across the strand crowns, seen along the camera's line of
    sight. It covers the photographed place only.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.
    budget : tuple of Term
        The diameter's uncertainty budget.
    findings : tuple of Finding
        Warnings that accompany the figure ("warn" only).
    station : int or None
        Station number printed on the card; None where it could not be read.
    view_deg : int or None
        Viewing direction printed on the card, 0 or 90 degrees.
    at_mm : float
        Place along the card, mm from its middle.
    scale_source : ScaleSource
        The source of the scale.
    hold : str
        How the card was held: "touching", "level" or "stand-off"; in words if there was no card.
    jaw_mm : float
        Length of the virtual jaws along the rope, mm.
    crowns : int
        Strand crowns that bear on the jaws, both sides together; 0 on a smooth bar.
    crown_pitch_mm : float or None
        Distance between neighbouring crowns along the rope, mm; None on a smooth bar.
    pitch_budget : tuple of Term
        The pitch's uncertainty budget; empty where it is only roughly known.
    pitches : int
        Number of single pitches of the outline used; 0 where it comes from the strands' lines.
    strands, hand : int or None, str
        Outer strands, and "right" or "left" lay, where the photograph shows them.
    spread_mm : float
        Scatter (standard deviation) of the crowns about the jaws, mm.
    px_per_mm : float
        Scale of the photograph at the rope.
    tilt_deg : float
        Angle between the camera's line of sight at the station and the card's normal.
    focal_px, u_focal_px : float
        Focal length used, px, and its standard uncertainty.
    photo_name, photo_sha256, look_hash : str
        The photograph: its name, the hash of the file, the hash of its appearance (64 bit, hex).
    rope_look : str
        Hash of the appearance of the rope's face, one bit for each of `ROPE_LOOK_FIELDS` (hex);
        empty where too little of it is visible.
    taken_at : datetime or None
        Capture time recorded by the camera.
    camera : str
        Make and model recorded by the camera; empty if none.
    print_set : str
        Name of the checked card set, empty if the print was not checked.
    marks : Marks or None
        Geometry to draw on the photograph.
    """

    diameter_mm: float
    budget: tuple[Term, ...]
    findings: tuple[Finding, ...] = ()
    station: int | None = None
    view_deg: int | None = None
    at_mm: float = 0.0
    scale_source: ScaleSource = ScaleSource.CARD
    hold: str = "touching"
    jaw_mm: float = 0.0
    crowns: int = 0
    crown_pitch_mm: float | None = None
    pitch_budget: tuple[Term, ...] = ()
    pitches: int = 0
    strands: int | None = None
    hand: str = ""
    spread_mm: float = 0.0
    px_per_mm: float = 0.0
    tilt_deg: float = 0.0
    focal_px: float = 0.0
    u_focal_px: float = 0.0
    photo_name: str = ""
    photo_sha256: str = ""
    look_hash: str = ""
    rope_look: str = ""
    taken_at: datetime | None = None
    camera: str = ""
    print_set: str = ""
    marks: Marks | None = None

    @property
    def place(self) -> Place | None:
        """Station and direction; None where the card did not give both."""
        return Place.of(self.station, self.view_deg)

    @property
    def without_card(self) -> bool:
        """Whether the scale came from a rule or a known length, not from the card."""
        return self.scale_source is not ScaleSource.CARD

    @property
    def u_mm(self) -> float:
        """Combined standard uncertainty, mm."""
        return combined_u_mm(self.budget)

    @property
    def by_hand(self) -> bool:
        """Whether a person moved one of its edges."""
        return any(finding.code == BY_HAND for finding in self.findings)

    def expanded_mm(self, k: float = 2.0) -> float:
        """Return the expanded uncertainty ``k * u_mm``, mm; k = 2 covers about 95 %."""
        return k * self.u_mm

    @property
    def lay_mm(self) -> float | None:
        """Lay length, mm: strands times pitch; None where either is not known."""
        known = self.strands and self.crown_pitch_mm and self.pitch_budget
        return (self.strands or 0) * (self.crown_pitch_mm or 0.0) if known else None

    @property
    def u_lay_mm(self) -> float:
        """Standard uncertainty of the lay length, mm."""
        return (self.strands or 0) * combined_u_mm(self.pitch_budget)


@dataclass(frozen=True, slots=True)
class Refusal:
    """A photograph that gives no diameter, and why.

    Parameters
    ----------
    findings : tuple of Finding
        At least one of them "refuse".
    station, view_deg : int or None
        As printed on the card, where it could be read.
    at_mm : float
        Place along the card, mm from its middle.
    photo_name, photo_sha256, look_hash : str
        The photograph, as in `Estimate`.
    taken_at : datetime or None
        Capture time recorded by the camera.
    camera : str
        Make and model recorded by the camera; empty if none.
    """

    findings: tuple[Finding, ...]
    station: int | None = None
    view_deg: int | None = None
    at_mm: float = 0.0
    photo_name: str = ""
    photo_sha256: str = ""
    look_hash: str = ""
    taken_at: datetime | None = None
    camera: str = ""

    def __post_init__(self) -> None:  # noqa: D105 (the code is self-explanatory)
        if not any(finding.severity == "refuse" for finding in self.findings):
            raise ValueError("a refusal needs at least one finding of severity 'refuse'.")

    @property
    def place(self) -> Place | None:
        """Station and direction; None where the card did not give both."""
        return Place.of(self.station, self.view_deg)


Result = Estimate | Refusal
