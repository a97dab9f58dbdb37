"""The one catalogue of reasons why a photograph is refused or answered with a warning.

Page, command line, report and documentation all print from here, so a reason has the same
words everywhere. `finding` fills a reason with the value that was seen.
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
        "Fix the card under the rope, show both of its chequered strips, and hold them sharp.",
    ),
    "other-markers": Reason(
        "refuse",
        None,
        "1",
        "Other markers are seen, {value:.0f} of them, and not this card's.",
        "Print the card with `ropephoto card`, or on the page Cards, and fix it under the rope.",
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
        "Show more of both chequered strips, sharply, without hands, straps or glare on them.",
    ),
    "card-bent": Reason(
        "refuse",
        0.35,
        "mm",
        "The card is bent along the rope: its ends lie {value:.2f} mm off its middle; "
        "{limit:.2f} mm is allowed.",
        "Press the card flat, or glue it on a stiff plate.",
    ),
    "card-slightly-bent": Reason(
        "warn",
        0.15,
        "mm",
        "The card is not quite flat along the rope: its ends lie {value:.2f} mm off its middle.",
        "A stiff plate behind the card makes the figure surer.",
    ),
    "number-unread": Reason(
        "warn",
        None,
        "1",
        "The card's number could not be read.",
        "Say which station and view this is, or uncover the chequered strips.",
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
        "The card looks {value:.1f} % longer one way than the other; {limit:.1f} % is the most.",
        "Measure the two bars on the card and enter what you read; and press the card flat.",
    ),
    # the camera
    "focal-unknown": Reason(
        "warn",
        None,
        "%",
        "The photograph does not say its focal length; it was taken as known to {value:.0f} %.",
        "Send the original file from the camera, or calibrate this phone.",
    ),
    "focal-disagrees": Reason(
        "warn",
        12.0,
        "%",
        "The focal length that the camera wrote and the one that the card "
        "shows differ by {value:.0f} %; more than {limit:.0f} % is not believed.",
        "Send the original file, not a cropped or resized copy.",
    ),
    "focal-doubtful": Reason(
        "warn",
        6.0,
        "%",
        "The picture may have been cropped, resized or zoomed since the camera wrote its focal "
        "length, which is known to {value:.0f} % only. U allows for it.",
        "Send the camera's original file, and photograph without zoom.",
    ),
    "focal-unseen": Reason(
        "warn",
        6.0,
        "%",
        "The card is seen so squarely that it does not show whether the phone zoomed: the focal "
        "length is known to {value:.0f} % only. U allows for it.",
        "Tilt the phone by 10 to 20 degrees against the card, or calibrate it.",
    ),
    "over-sharpened": Reason(
        "warn",
        6.0,
        "%",
        "The picture was sharpened by software: at the card's own edges it shoots over by "
        "{value:.0f} %; up to {limit:.0f} % is usual. U allows for it.",
        "Take the photograph with the camera's plain settings, and send the original file.",
    ),
    "blurred-unevenly": Reason(
        "warn",
        1.5,
        "1",
        "One part of the card is blurred {value:.1f} times as much as another; up to {limit:.1f} "
        "times is usual. The figure goes by the blur beside the rope.",
        "Turn off the portrait mode, hold the phone square above the card, and tap on the rope to "
        "focus.",
    ),
    "too-tilted": Reason(
        "refuse",
        40.0,
        "deg",
        "The phone was tilted {value:.0f} degrees against the card; "
        "{limit:.0f} degrees is the most.",
        "Hold the phone square above the card.",
    ),
    "too-far": Reason(
        "refuse",
        40.0,
        "px",
        "The rope is only {value:.0f} px wide; {limit:.0f} px are needed.",
        "Go nearer, or use the full resolution of the camera.",
    ),
    "too-blurred": Reason(
        "refuse",
        6.0,
        "px",
        "The photograph is blurred over {value:.1f} px; {limit:.0f} px is the most.",
        "Hold still, tap on the rope to focus, and give more light.",
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
        "On one side the rope's outline can be followed over {value:.0f} % "
        "of the jaw only; {limit:.0f} % are needed.",
        "Keep hands, straps and loose wires off the outline and off the band beside it.",
    ),
    "rope-not-straight": Reason(
        "refuse",
        1.0,
        "%",
        "The rope bends by {value:.1f} % of its diameter within the jaw; {limit:.1f} % is allowed.",
        "Measure where the rope runs straight, off drum and sheave.",
    ),
    "no-straight-rope": Reason(
        "refuse",
        30.0,
        "%",
        "What lies on the band is no straight rope: over {value:.0f} % of the place both of its "
        "edges run elsewhere; {limit:.0f} % is the most.",
        "Measure where the rope runs straight and free, clear of knots, hooks, splices, sheaves "
        "and winches, and keep hands off the band. A kink, a birdcage or another change of shape "
        "in the rope itself is damage: have it examined there.",
    ),
    "rope-askew": Reason(
        "refuse",
        20.0,
        "deg",
        "The rope crosses the card at {value:.0f} degrees to its band; "
        "{limit:.0f} degrees is the most.",
        "Lay the card along the rope.",
    ),
    "off-the-card": Reason(
        "refuse",
        None,
        "mm",
        "The station at {value:.0f} mm does not lie on rope and card with room for the jaws.",
        "Choose a place nearer to the middle of the card.",
    ),
    "crowns-unclear": Reason(
        "warn",
        None,
        "1",
        "The rope's outline swings without a regular pattern of crowns; the jaws bear on what "
        "stands highest.",
        "Measure clear of tape, seizings, rope ends, kinks and lumps of grease, in even light.",
    ),
    "too-few-crowns": Reason(
        "refuse",
        1.0,
        "crowns",
        "One jaw bears on {value:.0f} crowns; {limit:.0f} is the least.",
        "Show a longer piece of rope, or choose longer jaws.",
    ),
    "stray-crown": Reason(
        "warn",
        None,
        "places",
        "The outline stands out far above the strand crowns at {value:.0f} place(s) within the "
        "jaws, which were left out of the figure.",
        "Look there for a broken wire or a lump of grease; clean the rope and look again.",
    ),
    "edges-unsure": Reason(
        "refuse",
        1.5,
        "%",
        "The outline is too unsure: the figure would be known to "
        "{value:.1f} % only; {limit:.1f} % is the most.",
        "Go nearer, give more even light, and wipe the rope.",
    ),
    # how rope and band look together
    "band-too-narrow": Reason(
        "refuse",
        1.15,
        "1",
        "The card's band is only {value:.2f} times as wide as the rope "
        "looks; {limit:.2f} times is the least.",
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
        "The stripes on the band stand out by {value:.0f} % of the light only; {limit:.0f} % is "
        "the least.",
        "Hold still, tap on the rope to focus, keep glare off the card, and print it in full "
        "black on plain white paper.",
    ),
    "hard-shadow": Reason(
        "refuse",
        5.0,
        "px",
        "A black shadow without light lies along one edge of the rope, {value:.1f} px wide; up to "
        "{limit:.1f} px can be allowed for.",
        "Turn off the flash, and give light from more than one side.",
    ),
    "burnt-out": Reason(
        "refuse",
        3.5,
        "1",
        "The paper beside the rope is burnt out: by its printed black it was exposed {value:.1f} "
        "times as bright as the picture can hold; {limit:.1f} times is the most.",
        "Expose for the paper: tap on the card; turn off the flash.",
    ),
    "card-bowed": Reason(
        "refuse",
        8.0,
        "mm",
        "The card is bowed about the rope's own direction: its middle lies {value:.1f} mm off its "
        "long sides; {limit:.0f} mm is the most that can be allowed for.",
        "Press the card flat, or glue it on a stiff plate.",
    ),
    "card-creased": Reason(
        "refuse",
        0.1,
        "mm",
        "The card does not lie as one smooth sheet: its print lies {value:.2f} mm off; "
        "{limit:.1f} mm is the most.",
        "Press the card flat, or glue a new one on a stiff plate.",
    ),
    "card-slightly-bowed": Reason(
        "warn",
        0.5,
        "mm",
        "The card is bowed about the rope's own direction: its middle lies {value:.1f} mm off its "
        "long sides. The figure allows for it.",
        "A stiff plate behind the card makes the figure surer.",
    ),
    "two-ropes": Reason(
        "refuse",
        25.0,
        "%",
        "Something as long as the rope lies beside it on the band, along {value:.0f} % of it; "
        "{limit:.0f} % is the most: a second rope, a strap or a hose.",
        "Show one rope alone on the card's band.",
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
    """Return the finding for a reason of the catalogue, its words filled in.

    Parameters
    ----------
    code : str
        Key of `REASONS`.
    value : float, optional
        What was seen, in the reason's unit.
    limit : float, optional
        The limit where it is not the catalogue's.
    spot_px : (x, y), optional
        Where to look on the photograph.

    Examples
    --------
    >>> finding("too-far", 31.0).seen
    'The rope is only 31 px wide; 40 px are needed.'
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
    """A step of the pipeline can't go on; the pipeline turns it into a `Refusal`."""

    def __init__(self, *findings: Finding) -> None:
        super().__init__("; ".join(item.seen for item in findings))
        self.findings = findings


def limit_of(code: str) -> float:
    """Return the catalogue's limit of a reason that has one.

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
    """Raise `RefusedError` where a value, in the reason's unit, is above the limit."""
    if value > limit_of(code):
        raise RefusedError(finding(code, value, spot_px=spot_px))


def refuse_below(code: str, value: float, *, spot_px: PointPx | None = None) -> None:
    """Raise `RefusedError` where a value is below the limit."""
    if value < limit_of(code):
        raise RefusedError(finding(code, value, spot_px=spot_px))
