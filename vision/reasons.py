"""What a reason is, and those for photographs without the card; the others stand in `findings`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason: its limit, and the words with `{value}` and `{limit}` in them."""

    severity: Literal["refuse", "warn"]
    limit: float | None
    unit: str
    seen: str
    remedy: str


WITHOUT_CARD: dict[str, Reason] = {
    "archive": Reason(
        "warn",
        None,
        "%",
        "Measured without the card, by a rule or a known length in the picture: its scale alone "
        "is known to {value:.2f} % (k = 2).",
        "Such a figure is less sure than one with the card: photograph with the card where you "
        "still can.",
    ),
    "points-too-near": Reason(
        "refuse",
        40.0,
        "px",
        "The two points of the known length lie {value:.0f} px apart; {limit:.0f} px is the least.",
        "Mark two points farther apart, or use the photograph in its full size.",
    ),
    "across-too-short": Reason(
        "refuse",
        40.0,
        "px",
        "The line across the object is {value:.0f} px long; {limit:.0f} px is the least.",
        "Draw it from plain ground on one side to plain ground on the other, or use the "
        "photograph in its full size.",
    ),
    "no-graduations": Reason(
        "refuse",
        None,
        "1",
        "No evenly spaced marks were found along the line between the two points.",
        "Mark both points on one row of graduations; or give the two points and their length "
        "without looking for graduations.",
    ),
    "too-few-graduations": Reason(
        "refuse",
        8.0,
        "marks",
        "The rule shows no row of {limit:.0f} marks or more that run on over 1 mm across the "
        "marked line without large gaps; the longest line of evenly spaced marks has {value:.0f}.",
        "Show more of the rule, sharply, and mark both points on one row of graduations; or give "
        "the two points and their length without looking for graduations.",
    ),
    "length-contradicts": Reason(
        "refuse",
        None,
        "mm",
        "The length given is {limit:.2f} mm, but by the marks of the rule the two points lie "
        "{value:.2f} mm apart.",
        "Read the rule again at both points: its figures may be cm, mm or inch.",
    ),
    "object-short": Reason(
        "refuse",
        12.0,
        "px",
        "The object's edges can be followed over {value:.0f} px; {limit:.0f} px is the least.",
        "Choose a place where both edges run on, or go nearer.",
    ),
    "object-unclear": Reason(
        "refuse",
        4.0,
        "1",
        "The object stands out from what lies beside it by {value:.1f} times the noise; "
        "{limit:.0f} times is the least.",
        "Begin and end the line on plain ground close beside the object, its middle on the "
        "object; or mark two points on each edge yourself.",
    ),
    "object-soft": Reason(
        "refuse",
        65.0,
        "%",
        "Right behind the edge that was found {value:.0f} % of the object's own look is reached; "
        "below {limit:.0f} % it may be a shadow's rim.",
        "Draw the line where no shadow lies along the edge, or mark two points on each edge "
        "yourself.",
    ),
    "object-rough": Reason(
        "refuse",
        2.0,
        "%",
        "An edge swings by {value:.1f} % of the diameter without regular crests; {limit:.0f} % is "
        "the most for a smooth object.",
        "Choose another place along the object, or mark two points on each edge yourself.",
    ),
    "object-not-found": Reason(
        "refuse",
        None,
        "1",
        "No two edges that run on side by side were found along the line.",
        "Draw the line square across the object, from plain ground to plain ground; or mark two "
        "points on each edge yourself.",
    ),
    "on-stripes": Reason(
        "refuse",
        None,
        "1",
        "The line ends on a striped card, whose stripes pass for edges here.",
        "Measure the photograph by its card, or mark two points on each edge yourself.",
    ),
    "height-unsaid": Reason(
        "warn",
        None,
        "mm",
        "How high the object lies over the rule's face was not said; its middle was taken level "
        "with it, give or take {value:.1f} mm.",
        "Say whether it lay beside the rule, on it, or level with it: U becomes smaller.",
    ),
    "face-tilted": Reason(
        "refuse",
        50.0,
        "deg",
        "The camera was tilted {value:.0f} degrees against the rule; {limit:.0f} degrees is the "
        "most.",
        "Take a photograph that looks squarely at the rule and the object.",
    ),
    "archive-unsure": Reason(
        "refuse",
        20.0,
        "%",
        "The figure would have an expanded uncertainty of {value:.0f} % (k = 2); {limit:.0f} % is "
        "the most.",
        "Mark a longer length, closer to the object.",
    ),
}
