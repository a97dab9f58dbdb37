"""Photographs from which no diameter can be read: each must be refused."""

from __future__ import annotations

from dataclasses import replace

from rope_shot import Shot

from vision.target.layout import LAYOUTS

KINDS = (
    "no rope",
    "spoilt",
    "two ropes",
    "card torn in half",
    "rope wider than the band",
    "no card",
    "old card without stripes",
)


def hopeless_shots(base: Shot, number: int) -> list[Shot]:
    """Return the photographs of hopeless scene `number`; some are developed several times."""
    kind = KINDS[number % len(KINDS)]
    base = replace(base, answerable=False, pair="", extra="", shape=replace(base.shape, thin=0.0))
    file = f"hopeless-{number:02d}"
    if kind == "spoilt":
        sensor = base.sensor
        spoilt = {
            "mirrored": replace(sensor, mirrored=True),
            "out of focus": replace(sensor, aperture_mm=3.0, focus_mm=0.3 * base.distance_mm),
            "far too small": replace(
                sensor, megapixels=12.0 * (24.0 * base.distance_mm / _focal_px(base)) ** 2
            ),
            "moved": replace(sensor, motion_px=45.0, motion_deg=base.azimuth_deg),
        }
        return [
            replace(base, file=f"{file}-{name.replace(' ', '-')}.jpg", sensor=own, note=name)
            for name, own in spoilt.items()
        ]
    changed = {
        "no rope": replace(base, rope_shown=False),
        "no card": replace(base, card_shown=False),
        "old card without stripes": replace(base, old_card=True),
        "two ropes": replace(base, extra="second rope"),
        "card torn in half": replace(base, card_rows=(0.5, 1.0) if number % 2 else (0.0, 0.5)),
        "rope wider than the band": _on_a_narrow_card(base),
    }[kind]
    return [replace(changed, file=f"{file}-{kind.replace(' ', '-')}.jpg", note=kind)]


def _focal_px(shot: Shot) -> float:
    """Return the focal length over the rope's diameter: px of rope at 1 mm, roughly."""
    return shot.f35_true / 43.27 * 5000.0 * shot.shape.diameter_mm


def _on_a_narrow_card(shot: Shot) -> Shot:
    """Return the shot with a card that is too narrow, from far enough to show all of it."""
    d = shot.shape.diameter_mm
    narrow = [layout for layout in LAYOUTS if layout.band_mm < 1.02 * d]
    if not narrow:  # no card is that narrow: use a thicker rope
        d = 1.05 * min(layout.band_mm for layout in LAYOUTS)
        shot = replace(shot, shape=replace(shot.shape, diameter_mm=d, lay_mm=6.5 * d))
        narrow = [layout for layout in LAYOUTS if layout.band_mm < 1.02 * d]
    layout = max(narrow, key=lambda layout: layout.band_mm)
    distance = max(shot.distance_mm, 1.25 * layout.width_mm)
    return replace(
        shot,
        layout=layout.name,
        distance_mm=distance,
        d_nominal_mm=d,
        along_read_mm=round(layout.along_bar_mm * shot.scale_x, 2),  # this card's own bars
        across_read_mm=round(layout.across_bar_mm * shot.scale_y, 2),
    )
