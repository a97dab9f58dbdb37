"""Reasons that lie in how rope and band look together, as rows for `vision.findings`.

Each row: severity, limit, unit, what was seen, what to do.
"""

from __future__ import annotations

from vision.archive_reasons import Row

BAND_ROWS: dict[str, Row] = {
    "band-too-narrow": (
        "refuse",
        1.15,
        "1",
        "The card's band is only {value:.2f} times as wide as the rope "
        "looks; {limit:.2f} times is the least.",
        "Print the card for a thicker rope, or centre the rope on the band.",
    ),
    "band-not-blue": (
        "refuse",
        None,
        "",
        "The card's band has a colour, but it is not blue: the picture's colours were changed, or "
        "the card was printed in other ones.",
        "Send the original file from the camera, and print the card in its own colours.",
    ),
    "white-band": (
        "refuse",
        25.0,
        "%",
        "On the white band the rope is {value:.0f} % as light as the band; above {limit:.0f} % a "
        "shadow beside it passes for rope.",
        "Use the white band for dark greased ropes only; take the blue band, or the black one.",
    ),
    "edges-soft": (
        "refuse",
        60.0,
        "%",
        "On a band without colour the rope's edge is soft: right behind it only {value:.0f} % of "
        "the rope's own lightness is reached; {limit:.0f} % is the least.",
        "Use a card with the blue band: bright wires mirror a black or white one.",
    ),
    "flanks-mirror": (
        "refuse",
        22.0,
        "%",
        "The band is mirrored in the rope's flank: right behind its edge only {value:.0f} % of the "
        "rope's own colour is reached; {limit:.0f} % is the least.",
        "Give light from the sides instead of from behind the camera or the rope, or dull the rope "
        "with chalk; measure with the gauge where you can.",
    ),
    "smooth-on-black": (
        "refuse",
        None,
        "",
        "What lies on the black band shows no strand crowns: a smooth, bright bar mirrors the band "
        "in a flank as wide as itself, and looks thinner than it is.",
        "Use a card with the blue band.",
    ),
    "two-ropes": (
        "refuse",
        25.0,
        "%",
        "Something as long as the rope lies beside it on the band, along {value:.0f} % of it; "
        "{limit:.0f} % is the most: a second rope, a strap or a hose.",
        "Show one rope alone on the card's band.",
    ),
}
