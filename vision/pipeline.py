"""From a photograph to diameters, in one call.

>>> from vision.pipeline import measure_photo          # doctest: +SKIP
>>> for result in measure_photo("rope.jpg"):           # doctest: +SKIP
...     print(result)
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TypedDict

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.calibration.library import CalibratedCamera, lens_for
from vision.camera import Camera, Lens, camera_centre_mm, lens_of
from vision.findings import RefusedError, finding, limit_of, refuse_above, refuse_below
from vision.photo.photo import Photo, open_photo
from vision.results import Estimate, Finding, Refusal, Result
from vision.rope.axis import find_axis
from vision.rope.budget import list_terms
from vision.rope.jaws import JAW_DIAMETERS, Jaws, diameter_mm, fit_jaws, jaw_lines
from vision.rope.lay import lay_of
from vision.rope.marks import marks_of, spot_of
from vision.rope.outline import Outline, band_limits_mm, trace_edges
from vision.rope.tangent_cylinder import TOUCHING, Hold
from vision.target.blur import Blur, read_blur
from vision.target.detect import FoundCard, find_cards
from vision.target.layout import Card
from vision.target.pose import Pose, solve_pose
from vision.target.print_scale import PrintCheck, checked_card, refuse_stretched, unchecked_card
from vision.uncertainty import Influence, combined_u_mm

Array = NDArray[np.float64]


class _Identity(TypedDict):
    photo_name: str
    photo_sha256: str
    look_hash: str
    taken_at: datetime | None
    camera: str


@dataclass(frozen=True, slots=True)
class Settings:
    """How photographs are to be measured.

    Parameters
    ----------
    at_mm : tuple of float
        Stations: places along the card, mm from its middle.
    hold : Hold
        How the card was held to the rope, and how far from it.
    jaw_diameters : float
        Length of the virtual jaws over the rope's diameter.
    print_check : PrintCheck or None
        What was read on the printed bars; None for an unchecked print.
    cameras : mapping of str to CalibratedCamera
        Calibrated cameras by their key, see `vision.calibration.library`.
    """

    at_mm: tuple[float, ...] = (0.0,)
    hold: Hold = TOUCHING
    jaw_diameters: float = JAW_DIAMETERS
    print_check: PrintCheck | None = None
    cameras: Mapping[str, CalibratedCamera] = field(default_factory=dict)


def measure_photo(
    source: Photo | str | os.PathLike[str] | bytes, settings: Settings | None = None
) -> tuple[Result, ...]:
    """Return the rope's diameter at each station of each card, or the reasons why not.

    Parameters
    ----------
    source : Photo, path or bytes
        The photograph.
    settings : Settings, optional
        How to measure it.

    Returns
    -------
    results : tuple of Estimate or Refusal
        At least one; one for each card in view and each station asked for.

    Raises
    ------
    PhotoError
        If the file can't be opened as a photograph.
    """
    settings = settings or Settings()
    photo = source if isinstance(source, Photo) else open_photo(source)
    grey = np.asarray(cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    calibrated = lens_for(photo, settings.cameras)
    height, width = grey.shape
    lens = calibrated or lens_of(width, height, photo.focal_px, photo.u_focal_px)
    try:
        cards = find_cards(grey, calibrated)
    except RefusedError as refused:
        return (_refusal(photo, refused, None, 0.0),)
    return tuple(
        result for found in cards for result in _measure_card(photo, grey, found, lens, settings)
    )


def _measure_card(
    photo: Photo, grey: NDArray[np.uint8], found: FoundCard, lens: Lens, settings: Settings
) -> list[Result]:
    card = _card(found, settings)
    try:
        blur = read_blur(photo.pixels, grey, found)
        refuse_above("too-blurred", blur.light_px)
        pose = solve_pose(found, card, lens)
        refuse_above("too-tilted", _tilt_deg(pose.camera, np.zeros(3)))
        refuse_stretched(found, card, pose)  # a phone is held square sooner than a card is measured
        axis = find_axis(photo.pixels, pose.camera, card)
    except RefusedError as refused:
        return [_refusal(photo, refused, card, at) for at in settings.at_mm]
    results: list[Result] = []
    for at_mm in settings.at_mm:
        outline: Outline | None = None
        try:
            outline = trace_edges(
                photo.pixels,
                pose.camera,
                card,
                axis,
                at_mm=at_mm,
                height_mm=None if settings.hold.touching else settings.hold.axis_height_mm,
                blur=blur,
            )
            _check_outline(outline, pose.camera, card)
            grain = photo.coarseness * blur.light_px
            jaws = fit_jaws(outline, jaw_diameters=settings.jaw_diameters, grain_px=grain)
            results.append(_estimate(photo, card, pose, outline, jaws, settings, at_mm, blur))
        except RefusedError as refused:
            if outline is not None:
                refused = _pointing(refused, pose.camera, outline, card)
            results.append(_refusal(photo, refused, card, at_mm))
    return results


def _card(found: FoundCard, settings: Settings) -> Card:
    check = settings.print_check
    card = unchecked_card(found.layout) if check is None else checked_card(check)
    if card.layout != found.layout:  # a check of other cards says nothing about this one
        card = unchecked_card(found.layout)
    return card.numbered(found.number)


def _tilt_deg(camera: Camera, station_mm: Array) -> float:
    """Return the angle between the line of sight at a station and the card's normal, deg."""
    sight = camera_centre_mm(camera) - station_mm
    return float(np.degrees(np.arccos(np.clip(sight[2] / np.linalg.norm(sight), -1, 1))))


def _check_outline(outline: Outline, camera: Camera, card: Card) -> None:
    """Refuse an outline that is too small, burnt out, or runs off the card's band."""
    refuse_below("too-far", outline.rough_mm * outline.px_per_mm)
    for edge in (outline.left, outline.right):
        refuse_above("overexposed", 100 * edge.burnt)
        if not np.isfinite(edge.outward_mm).any():
            continue  # a side that was not found has no clearness; the jaws say that it is lost
        if edge.mirrors:
            refuse_below("flanks-mirror", 100 * edge.clearness)
        if outline.surface == "grey band":
            refuse_below("edges-soft", 100 * edge.clearness)
            refuse_above("white-band", 100 * edge.on_white)
    low, high = band_limits_mm(outline, camera, card)
    half = outline.rough_mm / 2
    refuse_below("band-too-narrow", float(min(high, -low) / half))


def _estimate(
    photo: Photo,
    card: Card,
    pose: Pose,
    outline: Outline,
    jaws: Jaws,
    settings: Settings,
    at_mm: float,
    blur: Blur,
) -> Estimate:
    camera, hold = pose.camera, settings.hold
    lines = jaw_lines(camera, outline, jaws)
    try:
        diameter = diameter_mm(camera, lines, hold)
    except ValueError as impossible:
        raise RefusedError(finding("rope-not-found")) from impossible
    budget = list_terms(
        pose,
        card,
        outline,
        jaws,
        lines,
        hold=hold,
        photo=photo.sha256,
        camera_id=photo.camera,
        blur=blur,
    )
    edges = combined_u_mm(term for term in budget if term.influence is Influence.EDGE)
    refuse_above("edges-unsure", 100 * edges / diameter)
    counted = [jaw.crowns for jaw in (jaws.left, jaws.right)]
    lay = lay_of(photo, pose, card, outline, jaws, lines, hold)
    return Estimate(
        diameter_mm=diameter,
        budget=budget,
        findings=_warnings(card, jaws, blur) + pose.findings,
        station=card.station,
        view_deg=card.view_deg,
        at_mm=at_mm,
        hold=hold.kind.value,
        jaw_mm=jaws.length_mm,
        crowns=sum(counted),
        crown_pitch_mm=lay.pitch_mm if lay else jaws.crown_pitch_mm,
        pitch_budget=lay.budget if lay else (),
        pitches=lay.crowns if lay else 0,
        strands=lay.strands if lay else None,
        hand=lay.hand if lay else "",
        spread_mm=max(jaws.left.spread_mm, jaws.right.spread_mm),
        px_per_mm=outline.px_per_mm,
        tilt_deg=_tilt_deg(camera, lines.station_mm),
        focal_px=pose.focal_px,
        u_focal_px=pose.u_focal_px,
        print_set=card.print_set,
        marks=marks_of(camera, card, outline, lines),
        **_identity(photo),
    )


def _warnings(card: Card, jaws: Jaws, blur: Blur) -> tuple[Finding, ...]:
    warnings = []
    if not card.print_set:
        warnings.append(finding("print-unchecked", 100 * max(card.u_scale_x, card.u_scale_y)))
    if card.number is None:
        warnings.append(finding("number-unread"))
    if 100 * blur.overshoot > limit_of("over-sharpened"):
        warnings.append(finding("over-sharpened", 100 * blur.overshoot))
    strays = jaws.left.strays + jaws.right.strays
    if strays:
        warnings.append(finding("stray-crown", float(strays)))
    return tuple(warnings)


def _identity(photo: Photo) -> _Identity:
    return {
        "photo_name": photo.name,
        "photo_sha256": photo.sha256,
        "look_hash": photo.look_hash,
        "taken_at": photo.taken_at,
        "camera": photo.camera,
    }


def _pointing(refused: RefusedError, camera: Camera, outline: Outline, card: Card) -> RefusedError:
    """Say where in the photograph each reason is to be seen."""
    return RefusedError(
        *(
            one
            if one.spot_px is not None
            else replace(one, spot_px=spot_of(one.code, camera, outline, card))
            for one in refused.findings
        )
    )


def _refusal(photo: Photo, refused: RefusedError, card: Card | None, at_mm: float) -> Refusal:
    return Refusal(
        findings=refused.findings,
        station=card.station if card else None,
        view_deg=card.view_deg if card else None,
        at_mm=at_mm,
        **_identity(photo),
    )
