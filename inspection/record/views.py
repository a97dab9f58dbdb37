"""The contents of a record as they are returned: entries with their place, reviews, summaries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from inspection.model.closing import Closing
from inspection.model.condition import Condition
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope
from vision.results import Finding, Result

# State of an inspection, and what a reviewer can decide about it; "open" withdraws a decision.
InspectionState = Literal["draft", "submitted", "sent back", "reviewed", "closed"]
ReviewState = Literal["open", "accepted", "sent back", "overruled"]
ReviewStep = Literal["submitted", "open", "accepted", "sent back", "overruled", "closed"]
StationState = Literal["accepted", "sent back", "overruled"]
Asks = Literal["", "reading", "photograph"]


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """A reading with its place in the record.

    Parameters
    ----------
    inspection : str
        The inspection.
    number : int
        Its number within the inspection, from 1; it stays the same through corrections.
    reading : Reading
        The current reading.
    withdrawn : bool
        True if it was withdrawn; kept, but not to be used.
    corrected_by : str
        Who corrected or withdrew it last; empty if nobody did.
    event : int
        The event that gave its current value.
    """

    inspection: str
    number: int
    reading: Reading
    withdrawn: bool
    corrected_by: str
    event: int


@dataclass(frozen=True, slots=True)
class LoggedFinding:
    """A finding about the inspection's entries, and how it was settled.

    Parameters
    ----------
    key : str
        Short name, used to settle it.
    finding : Finding
        The finding itself.
    current : bool
        False if the last screening no longer found it.
    settled_by, settled_at, settled_how : str
        Who settled it, when (UTC), and how, in words; empty while it is open.
    settled_value : float or None
        The finding's figure when it was settled, in its unit.
    """

    key: str
    finding: Finding
    current: bool
    settled_by: str
    settled_at: str
    settled_how: str
    settled_value: float | None = None


@dataclass(frozen=True, slots=True)
class Review:
    """One step of an inspection from draft to closed: submitted, decided, closed.

    Parameters
    ----------
    state : {"submitted", "open", "accepted", "sent back", "overruled", "closed"}
        The step; "open" withdraws a decision.
    who, at, why : str
        The person, the time (UTC), the reason; for a submission, a remark.
    closing : Closing or None
        The competent person's decision, if it was closed.
    """

    state: ReviewStep
    who: str
    at: str
    why: str
    closing: Closing | None = None


@dataclass(frozen=True, slots=True)
class LoggedCondition:
    """What was last recorded about a criterion at a station.

    Parameters
    ----------
    condition : Condition
        What was seen.
    who, at : str
        Who recorded it, and when (UTC).
    """

    condition: Condition
    who: str
    at: str


@dataclass(frozen=True, slots=True)
class StationReview:
    """One decision about one station.

    Parameters
    ----------
    station : int
        The station.
    state : {"accepted", "sent back", "overruled"}
        The decision.
    back : bool
        Whether it asks the inspector for something: sent back, or an acceptance overruled.
    stands : bool
        False once there is a newer decision, or a reading or a result of the station changed.
    who, at, why : str
        The person, the time (UTC), the reason.
    asks : {"", "reading", "photograph"}
        What is requested again; empty if only the reason says it.
    view_deg : int or None
        In which direction; None for both.
    """

    station: int
    state: StationState
    back: bool
    stands: bool
    who: str
    at: str
    why: str
    asks: Asks = ""
    view_deg: int | None = None


@dataclass(frozen=True, slots=True)
class AskedAgain:
    """What a reviewer requests again at a station.

    Parameters
    ----------
    station : int
        The station.
    what : {"reading", "photograph"}
        What is requested.
    view_deg : int or None
        In which direction; None for both.
    """

    station: int
    what: Asks
    view_deg: int | None = None


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph that belongs to an inspection.

    Parameters
    ----------
    sha256, name : str
        Hash of its bytes, under which it is stored, and its original name.
    bytes : int
        Its size.
    preview : str
        Hash of its small JPEG, under which that is stored; empty if none was made.
    width_px, height_px : int
        Its size in pixels; 0 if no preview was made.
    """

    sha256: str
    name: str
    bytes: int
    preview: str = ""
    width_px: int = 0
    height_px: int = 0


@dataclass(frozen=True, slots=True)
class Preview:
    """A small JPEG of a photograph, and the photograph's own size.

    Parameters
    ----------
    jpeg : bytes
        The JPEG.
    width_px, height_px : int
        Size of the original photograph.
    """

    jpeg: bytes
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class Manner:
    """How a photograph is to be measured.

    Parameters
    ----------
    print_set : str
        Card set whose print check applies; empty if the print counts as unchecked.
    hold : {"touching", "level", "stand-off"}
        How the card was held to the rope.
    offset_mm : float
        The measured offset of that, mm, see `vision.rope.tangent_cylinder.Hold`.
    """

    print_set: str = ""
    hold: str = "touching"
    offset_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Request:
    """The last request to measure a photograph.

    Parameters
    ----------
    sha256 : str
        The photograph.
    manner : Manner
        How it is to be measured.
    event : int
        The event of the request.
    waiting : bool
        Whether it is still waiting.
    camera_key, calibration : str
        Camera, size and lens that took it, and the calibration of these that its figures are based
        on; empty if it was not measured yet, or they were not calibrated.
    """

    sha256: str
    manner: Manner
    event: int
    waiting: bool
    camera_key: str = ""
    calibration: str = ""


@dataclass(frozen=True, slots=True)
class OpenInspection:
    """One inspection with everything that belongs to it.

    Parameters
    ----------
    inspection, rope : Inspection, Rope
        What was inspected, when and by whom.
    revision : int
        Number of the last event about it; pass it when saving.
    state : {"draft", "submitted", "sent back", "reviewed", "closed"}
        Its state.
    rank, open_findings : float, int
        How much it deserves a look, and how many findings are unsettled.
    logged : tuple of LoggedReading
        All readings, including withdrawn ones.
    gauges : tuple of Gauge
        The gauges that the readings were taken with.
    results : tuple of Estimate or Refusal
        Results of the photographs, by number.
    findings, reviews, photographs, station_reviews, conditions : tuple
        What else belongs to it; the reviews are all steps from draft to closed.
    requests : tuple of Request
        Which photographs were to be measured, how, and which are still waiting.
    """

    inspection: Inspection
    rope: Rope
    revision: int
    state: InspectionState
    rank: float
    open_findings: int
    logged: tuple[LoggedReading, ...]
    gauges: tuple[Gauge, ...]
    results: tuple[Result, ...]
    findings: tuple[LoggedFinding, ...]
    reviews: tuple[Review, ...]
    photographs: tuple[Photograph, ...]
    station_reviews: tuple[StationReview, ...] = ()
    conditions: tuple[LoggedCondition, ...] = ()
    requests: tuple[Request, ...] = ()

    @property
    def waiting(self) -> frozenset[str]:
        """The hashes of the photographs that wait to be measured."""
        return frozenset(one.sha256 for one in self.requests if one.waiting)

    @property
    def closing(self) -> Closing | None:
        """The competent person's decision, while the inspection is closed."""
        return self.reviews[-1].closing if self.state == "closed" else None

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that were not withdrawn."""
        return tuple(item.reading for item in self.logged if not item.withdrawn)


@dataclass(frozen=True, slots=True)
class Summary:
    """One line of the list of inspections.

    Parameters
    ----------
    identity, rope, place, inspector : str
        Which inspection.
    on : date
        Its date.
    state : {"draft", "submitted", "sent back", "reviewed", "closed"}
        Its state.
    readings, results, open_findings : int
        How many there are.
    rank : float
        How much it deserves a look; the list is sorted by it, largest first.
    headline : str
        The first unsettled finding, in words.
    changed_at : str
        Time of the last change, UTC.
    """

    identity: str
    rope: str
    place: str
    inspector: str
    on: date
    state: InspectionState
    readings: int
    results: int
    open_findings: int
    rank: float
    headline: str
    changed_at: str
