"""The type of a reason, and the reasons for photographs without the card (others: `findings`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason: its limit, and its wording with placeholders `{value}` and `{limit}`."""

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
        "Measured without the card, by a rule or a known length in the picture: the scale alone "
        "is known to {value:.2f} % (k = 2).",
        "Such a figure is less certain than one with the card: photograph with the card wherever "
        "you still can.",
    ),
    "points-too-near": Reason(
        "refuse",
        40.0,
        "px",
        "The two points of the known length are {value:.0f} px apart; at least {limit:.0f} px is "
        "needed.",
        "Mark two points farther apart, or use the photograph at full size.",
    ),
    "across-too-short": Reason(
        "refuse",
        40.0,
        "px",
        "The line across the object is {value:.0f} px long; at least {limit:.0f} px is needed.",
        "Draw it from plain ground on one side to plain ground on the other, or use the "
        "photograph at full size.",
    ),
    "no-graduations": Reason(
        "refuse",
        None,
        "1",
        "No evenly spaced marks were found along the line between the two points.",
        "Mark both points on one row of graduations; or give the two points and the length "
        "between them without looking for graduations.",
    ),
    "too-few-graduations": Reason(
        "refuse",
        8.0,
        "marks",
        "The rule shows no row of {limit:.0f} or more marks, each more than 1 mm long, without "
        "large gaps; the longest line of evenly spaced marks has {value:.0f}.",
        "Show more of the rule, in focus, and mark both points on one row of graduations; or give "
        "the two points and the length between them without looking for graduations.",
    ),
    "length-contradicts": Reason(
        "refuse",
        None,
        "mm",
        "The length given is {limit:.2f} mm, but according to the rule's marks the two points are "
        "{value:.2f} mm apart.",
        "Read the rule again at both points: its figures may be cm, mm or inch.",
    ),
    "object-short": Reason(
        "refuse",
        12.0,
        "px",
        "The object's edges can be followed over {value:.0f} px; at least {limit:.0f} px is "
        "needed.",
        "Choose a place where both edges are visible for longer, or use a closer photograph.",
    ),
    "object-unclear": Reason(
        "refuse",
        4.0,
        "1",
        "The contrast between the object and the ground beside it is {value:.1f} times the noise; "
        "at least {limit:.0f} times is needed.",
        "Begin and end the line on plain ground close beside the object, with its middle on the "
        "object; or mark two points on each edge yourself.",
    ),
    "object-soft": Reason(
        "refuse",
        65.0,
        "%",
        "Just inside the edge that was found, the contrast with the ground reaches only "
        "{value:.0f} % of the object's own; below {limit:.0f} % the edge may be a shadow's.",
        "Draw the line where no shadow lies along the edge, or mark two points on each edge "
        "yourself.",
    ),
    "object-rough": Reason(
        "refuse",
        2.0,
        "%",
        "An edge varies by {value:.1f} % of the diameter without regular crests; the limit for a "
        "smooth object is {limit:.0f} %.",
        "Choose another place along the object, or mark two points on each edge yourself.",
    ),
    "object-not-found": Reason(
        "refuse",
        None,
        "1",
        "No pair of edges that continue side by side was found along the line.",
        "Draw the line square across the object, from plain ground to plain ground; or mark two "
        "points on each edge yourself.",
    ),
    "on-stripes": Reason(
        "refuse",
        None,
        "1",
        "The line ends on a striped card, whose stripes could be mistaken for edges.",
        "Measure the photograph by its card, or mark two points on each edge yourself.",
    ),
    "height-unsaid": Reason(
        "warn",
        None,
        "mm",
        "The height of the object over the rule's face was not stated; its middle was assumed "
        "level with the face, give or take {value:.1f} mm.",
        "State whether it lay beside the rule, on it, or level with it; this reduces U.",
    ),
    "face-tilted": Reason(
        "refuse",
        50.0,
        "deg",
        "The camera was tilted {value:.0f} degrees relative to the rule; the limit is "
        "{limit:.0f} degrees.",
        "Use a photograph taken squarely above the rule and the object.",
    ),
    "archive-unsure": Reason(
        "refuse",
        20.0,
        "%",
        "The figure would have an expanded uncertainty of {value:.0f} % (k = 2); the limit is "
        "{limit:.0f} %.",
        "Mark a longer length, closer to the object.",
    ),
}
