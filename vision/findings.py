"""The single catalogue of reasons for refusing a photograph or adding a warning to its result.

Pages, command line, report and documentation all print from here, so a reason is worded the
same everywhere. `finding` fills in the observed value.
"""

from __future__ import annotations

from vision.reasons import WITHOUT_CARD, Reason
from vision.results import Finding, PointPx

WITH_CARD: dict[str, Reason] = {
    # the card
    "no-card": Reason(
        "refuse",
        None,
        "1",
        "No printed card was found in the photograph.",
        "Fix the card under the rope, with both of its chequered strips in view and in focus.",
    ),
    "other-markers": Reason(
        "refuse",
        None,
        "1",
        "The photograph shows {value:.0f} markers of another kind, but no printed card.",
        "Print the card with `ropephoto card` or on the page Cards, and fix it under the rope.",
    ),
    "mirrored": Reason(
        "refuse",
        None,
        "1",
        "The photograph is a mirror image: the card reads backwards.",
        "Turn off the mirroring of the front camera, or use the main camera.",
    ),
    "too-few-markers": Reason(
        "refuse",
        8,
        "corners",
        "{value:.0f} corners of the card can be seen; at least {limit:.0f} are needed, 2 or more "
        "of them on each side of the rope.",
        "Show more of both chequered strips, in focus and free of hands, straps and glare.",
    ),
    "card-bent": Reason(
        "refuse",
        0.35,
        "mm",
        "The card is bent along the rope: its ends are {value:.2f} mm above or below its middle; "
        "the limit is {limit:.2f} mm.",
        "Press the card flat, or glue it to a stiff plate.",
    ),
    "card-slightly-bent": Reason(
        "warn",
        0.15,
        "mm",
        "The card is not quite flat along the rope: its ends are {value:.2f} mm above or below "
        "its middle.",
        "Put a stiff plate behind the card to reduce the uncertainty.",
    ),
    "number-unread": Reason(
        "warn",
        None,
        "1",
        "The card's number could not be read.",
        "Enter the station and view, or uncover the chequered strips.",
    ),
    "print-unchecked": Reason(
        "warn",
        1.0,
        "%",
        "The print was not checked, so its scale is taken as known to {value:.1f} % only.",
        "Measure the two bars on the card and enter what you read.",
    ),
    "print-stretched": Reason(
        "refuse",
        1.5,
        "%",
        "The card looks {value:.1f} % longer one way than the other; the limit is {limit:.1f} %.",
        "Measure the two bars on the card, enter what you read, and press the card flat.",
    ),
    # the camera
    "focal-unknown": Reason(
        "warn",
        None,
        "%",
        "The photograph does not state its focal length, which is known to {value:.0f} % only.",
        "Send the original file from the camera, or calibrate this phone.",
    ),
    "focal-disagrees": Reason(
        "warn",
        12.0,
        "%",
        "The focal length recorded by the camera and the one found from the card differ by "
        "{value:.0f} %; more than {limit:.0f} % is not plausible.",
        "Send the original file, not a cropped or resized copy.",
    ),
    "focal-doubtful": Reason(
        "warn",
        6.0,
        "%",
        "The picture may have been cropped, resized or zoomed after the camera recorded its focal "
        "length, which is known to {value:.0f} % only. U allows for it.",
        "Send the camera's original file, and photograph without zoom.",
    ),
    "focal-unseen": Reason(
        "warn",
        6.0,
        "%",
        "The card is seen too squarely to show whether the phone zoomed: the focal length is known "
        "to {value:.0f} % only. U allows for it.",
        "Tilt the phone by 10 to 20 degrees relative to the card, or calibrate it.",
    ),
    "over-sharpened": Reason(
        "warn",
        6.0,
        "%",
        "The picture was sharpened by software: at the card's printed edges it overshoots by "
        "{value:.0f} %; up to {limit:.0f} % is usual. U allows for it.",
        "Use the camera's standard settings, and send the original file.",
    ),
    "blurred-unevenly": Reason(
        "warn",
        1.5,
        "1",
        "One part of the card is blurred {value:.1f} times as much as another; up to {limit:.1f} "
        "times is usual. The figure uses the blur beside the rope.",
        "Turn off portrait mode, hold the phone square above the card, and tap the rope to focus.",
    ),
    "too-tilted": Reason(
        "refuse",
        40.0,
        "deg",
        "The phone was tilted {value:.0f} degrees relative to the card; "
        "the limit is {limit:.0f} degrees.",
        "Hold the phone square above the card.",
    ),
    "too-far": Reason(
        "refuse",
        40.0,
        "px",
        "The rope is only {value:.0f} px wide; at least {limit:.0f} px is needed.",
        "Move closer, or use the camera's full resolution.",
    ),
    "too-blurred": Reason(
        "refuse",
        6.0,
        "px",
        "The photograph is blurred by {value:.1f} px; the limit is {limit:.0f} px.",
        "Hold the phone still, tap the rope to focus, and add light.",
    ),
    "overexposed": Reason(
        "warn",
        25.0,
        "%",
        "{value:.0f} % of the rope's outline is burnt out; U allows for it.",
        "Turn off the flash, shade the rope, or expose for the bright side.",
    ),
    # the rope
    "rope-not-found": Reason(
        "refuse",
        None,
        "1",
        "No rope was found on the card's band.",
        "Lay the rope along the band, between the two chequered strips.",
    ),
    "one-edge-only": Reason(
        "refuse",
        45.0,
        "%",
        "On one side the rope's outline can be followed over only {value:.0f} % "
        "of the jaw; at least {limit:.0f} % is needed.",
        "Keep hands, straps and loose wires off the outline and off the band beside it.",
    ),
    "rope-not-straight": Reason(
        "refuse",
        1.0,
        "%",
        "The rope bends by {value:.1f} % of its diameter within the jaw; the limit is "
        "{limit:.1f} %.",
        "Measure where the rope runs straight, clear of drums and sheaves.",
    ),
    "no-straight-rope": Reason(
        "refuse",
        30.0,
        "%",
        "What lies on the band is not a straight rope: over {value:.0f} % of the measured length "
        "both edges are out of line; the limit is {limit:.0f} %.",
        "Measure where the rope runs straight and free, clear of knots, hooks, splices, sheaves "
        "and winches, and keep hands off the band. A kink, a birdcage or any other deformation "
        "of the rope itself is damage: have the rope examined there.",
    ),
    "rope-askew": Reason(
        "refuse",
        20.0,
        "deg",
        "The rope lies at {value:.0f} degrees to the card's band; the limit is "
        "{limit:.0f} degrees.",
        "Align the card with the rope.",
    ),
    "off-the-card": Reason(
        "refuse",
        None,
        "mm",
        "At {value:.0f} mm there is not enough rope on the card for the jaws.",
        "Choose a place nearer the middle of the card.",
    ),
    "crowns-unclear": Reason(
        "warn",
        None,
        "1",
        "The rope's outline varies without a regular pattern of crowns; the jaws bear on its "
        "highest points.",
        "Measure clear of tape, seizings, rope ends, kinks and lumps of grease, in even light.",
    ),
    "too-few-crowns": Reason(
        "refuse",
        None,
        "crowns",
        "A jaw has no crown to bear on.",
        "Show a longer piece of rope, or choose longer jaws.",
    ),
    "stray-crown": Reason(
        "warn",
        None,
        "places",
        "The outline rises far above the strand crowns at {value:.0f} place(s) within the jaws, "
        "which were left out of the figure.",
        "Look there for a broken wire or a lump of grease; clean the rope and look again.",
    ),
    "edges-unsure": Reason(
        "refuse",
        1.5,
        "%",
        "The outline is too uncertain: the edges alone give the diameter a standard uncertainty "
        "of {value:.1f} %; the limit is {limit:.1f} %.",
        "Move closer, light the rope more evenly, and wipe it.",
    ),
    # rope and band together
    "band-too-narrow": Reason(
        "refuse",
        1.15,
        "1",
        "In the picture the card's band is only {value:.2f} times as wide as the rope; "
        "at least {limit:.2f} times is needed.",
        "Print the card for a thicker rope, or centre the rope on the band.",
    ),
    "band-covered": Reason(
        "refuse",
        None,
        "1",
        "The card's band is covered from edge to edge, though the card is sharp enough to show its "
        "stripes.",
        "Leave bare band on both sides of the rope: print the card for a thicker rope if this one "
        "covers it; measure clear of coils, drums and hands; keep glare off the band.",
    ),
    "plain-card": Reason(
        "refuse",
        None,
        "1",
        "The card's band has no stripes: it is a card of the older, plain kind.",
        "Print the striped card of the same paper and size; its stripes show where the rope ends.",
    ),
    "stripes-faint": Reason(
        "refuse",
        25.0,
        "%",
        "The contrast of the stripes on the band is only {value:.0f} %; at least {limit:.0f} % is "
        "needed.",
        "Hold the phone still, tap the rope to focus, keep glare off the card, and print it in "
        "full black on plain white paper.",
    ),
    "hard-shadow": Reason(
        "refuse",
        5.0,
        "px",
        "A black shadow lies along one edge of the rope, {value:.1f} px wide; up to "
        "{limit:.1f} px can be allowed for.",
        "Turn off the flash, and light the rope from more than one side.",
    ),
    "burnt-out": Reason(
        "refuse",
        3.5,
        "1",
        "The paper beside the rope is burnt out: judging by its printed black, it was {value:.1f} "
        "times as bright as the picture can record; the limit is {limit:.1f} times.",
        "Tap the card to expose for the paper, and turn off the flash.",
    ),
    "card-bowed": Reason(
        "refuse",
        8.0,
        "mm",
        "The card is bowed across the rope: its middle is {value:.1f} mm above or below its sides; "
        "up to {limit:.0f} mm can be allowed for.",
        "Press the card flat, or glue it to a stiff plate.",
    ),
    "card-creased": Reason(
        "refuse",
        0.1,
        "mm",
        "The card is creased or wavy: its print is {value:.2f} mm away from a smooth sheet; "
        "the limit is {limit:.1f} mm.",
        "Press the card flat, or glue a new one to a stiff plate.",
    ),
    "card-slightly-bowed": Reason(
        "warn",
        0.5,
        "mm",
        "The card is bowed across the rope: its middle is {value:.1f} mm above or below its sides. "
        "The figure allows for it.",
        "Put a stiff plate behind the card to reduce the uncertainty.",
    ),
    "two-ropes": Reason(
        "refuse",
        25.0,
        "%",
        "Something lies beside the rope along {value:.0f} % of it, such as a second rope, a strap "
        "or a hose; the limit is {limit:.0f} %.",
        "Show a single rope on the card's band.",
    ),
}

REASONS = WITH_CARD | WITHOUT_CARD


def finding(
    code: str,
    value: float | None = None,
    *,
    limit: float | None = None,
    spot_px: PointPx | None = None,
) -> Finding:
    """Return the finding for a reason of the catalogue, with its values filled in.

    Parameters
    ----------
    code : str
        Key of `REASONS`.
    value : float, optional
        The observed value, in the reason's unit.
    limit : float, optional
        The limit, where it differs from the catalogue's.
    spot_px : (x, y), optional
        Where to look on the photograph.

    Examples
    --------
    >>> finding("too-far", 31.0).seen
    'The rope is only 31 px wide; at least 40 px is needed.'
    """
    reason = REASONS[code]
    bound = reason.limit if limit is None else limit
    return Finding(
        code=code,
        seen=reason.seen.format(value=value, limit=bound),
        remedy=reason.remedy,
        severity=reason.severity,
        value=value,
        limit=bound,
        unit=reason.unit,
        spot_px=spot_px,
    )


class RefusedError(Exception):
    """A step of the pipeline can't continue; the pipeline turns this into a `Refusal`."""

    def __init__(self, *findings: Finding) -> None:
        super().__init__("; ".join(item.seen for item in findings))
        self.findings = findings


def limit_of(code: str) -> float:
    """Return the catalogue's limit for a reason that has one.

    Parameters
    ----------
    code : str
        Key of `REASONS`.
    """
    limit = REASONS[code].limit
    if limit is None:
        raise ValueError(f"the reason {code!r} has no limit.")
    return limit


def refuse_above(code: str, value: float, *, spot_px: PointPx | None = None) -> None:
    """Raise `RefusedError` if a value, in the reason's unit, is above the limit."""
    if value > limit_of(code):
        raise RefusedError(finding(code, value, spot_px=spot_px))


def refuse_below(code: str, value: float, *, spot_px: PointPx | None = None) -> None:
    """Raise `RefusedError` if a value, in the reason's unit, is below the limit."""
    if value < limit_of(code):
        raise RefusedError(finding(code, value, spot_px=spot_px))
