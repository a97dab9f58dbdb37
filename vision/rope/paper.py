"""The paper's position, read from the phase of the stripes over the whole open band.

The band is rectified with the pose from the chess corners, and demodulated with the pattern as
drawn (Takeda, Ina and Kobayashi 1982, in two dimensions): at every place a Gaussian window of less
than a period each way gives the mean light, and the amplitude and phase of the stripes. The
contrast, amplitude over mean, is the same in light and shade; where it is gone, something covers
the paper (`vision.rope.axis`). Where it is full, the phase gives the paper's distance from its
position by the pose, at right angles to the stripes. This shows a card bowed across the rope, a
bulge between two straps, and lens distortion. The points are then included in the pose's fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm, project_mm, rays, rotation
from vision.findings import RefusedError, finding, limit_of, refuse_above, refuse_below
from vision.medians import percentile_of
from vision.results import Finding
from vision.rope.constants import OPEN_CONTRAST, WINDOW_PERIODS
from vision.rope.edge.lock_in import paper_behind_mm
from vision.target.corners import project
from vision.target.layout import Card, stripe_phase
from vision.target.locate import LocatedCard
from vision.target.pose import Pose, StripePoints
from vision.target.print_scale import refuse_fitted_stretch
from vision.tones import LIGHT_OF, Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PER_PERIOD = 10  # samples per period, as needed for a Gaussian window
SMOOTH_MM = 0.02  # residual of a smooth sheet; a miscounted period gives 1 mm or more
# Bows to try where periods seem to be miscounted: between neighbouring ones the stripes move by
# less than half a period, even at a tilt of 40 degrees. Larger bows are refused.
BOWS_MM = (2.5, -2.5, 5.0, -5.0, 7.5, -7.5, 10.0, -10.0, 12.5, -12.5)


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """The band in the photograph, rectified and demodulated; row numbers increase upwards.

    Parameters
    ----------
    x_mm, y_mm : ndarray of shape (columns,) and (rows,)
        Places, as drawn on the card, mm.
    contrast : ndarray of shape (rows, columns)
        Amplitude of the stripes over the mean light, 1.
    stripes : ndarray of shape (rows, columns), complex
        The demodulated stripes; the angle is the phase relative to the pattern by the pose.
    inside : ndarray of shape (rows, columns), bool
        False outside the photograph.
    open_contrast : float
        Contrast where nothing covers the paper.
    to_photo : ndarray of shape (3, 3)
        Homography from drawn mm to px with which the band was rectified.
    """

    x_mm: Array
    y_mm: Array
    contrast: Light
    stripes: NDArray[np.complex64]
    inside: Mask
    open_contrast: float
    to_photo: Array


def read_band(grey: NDArray[np.uint8], camera: Camera, card: Card, table: Light = LIGHT_OF) -> Band:
    """Return the demodulated band.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        Brightness of the upright photograph.
    camera : Camera
        Camera and card.
    card : Card
        The card with the scale of its print.
    table : ndarray of shape (256,)
        Linear light for each value.

    Raises
    ------
    RefusedError
        If no stripes are visible: the picture is too blurred, or the card is a different one.

    References
    ----------
    .. [1] M. Takeda, H. Ina, S. Kobayashi, J. Opt. Soc. Am. 72 (1982) 156.
    """
    x0, y0, x1, y1 = card.layout.stripe_box_mm
    step = card.layout.stripe_mm / PER_PERIOD
    x, y = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    sides = np.meshgrid(np.linspace(x0, x1, 7), np.linspace(y0, y1, 7))
    lattice = np.stack(sides, axis=-1).reshape(-1, 2)
    seen = project_mm(camera, np.column_stack([card.true_mm(lattice), np.zeros(len(lattice))]))
    found, _ = cv2.findHomography(lattice.reshape(-1, 1, 2), seen.reshape(-1, 1, 2), 0)
    to_photo = np.asarray(found, float)
    to_drawn = np.array([[step, 0, x[0]], [0, step, y[0]], [0, 0, 1]])
    size, flags = (len(x), len(y)), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    cut = cv2.warpPerspective(grey, to_photo @ to_drawn, size, flags=flags)
    corners = project(to_photo, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    inside = np.ones(cut.shape, np.bool_)
    if not ((corners > 1) & (corners < np.array(grey.shape[::-1]) - 2)).all():
        whole = np.full_like(grey, 255)
        inside = cv2.warpPerspective(whole, to_photo @ to_drawn, size, flags=flags) == 255
    light = np.asarray(cv2.LUT(cut, table), np.float32)
    # the pattern's phase is linear in x and in y
    across, up = (
        np.exp(-1j * stripe_phase(card.layout, np.stack(place, axis=-1))).astype(np.complex64)
        for place in ((x, np.zeros_like(x)), (np.zeros_like(y), y))
    )
    carrier = 1j * up[:, None] * across
    sigma = WINDOW_PERIODS * PER_PERIOD

    def smooth(values: Light) -> Light:
        size = (2 * int(4 * sigma + 0.5) + 1,) * 2
        blurred = cv2.GaussianBlur(values, size, sigma, borderType=cv2.BORDER_REPLICATE)
        return np.asarray(blurred, np.float32)

    mean = smooth(light)
    even = smooth(mean)  # smoothed twice, to suppress the stripes
    # leakage of the mean light through the window
    leaked = np.exp(np.float32(-0.5 * (2 * np.pi * WINDOW_PERIODS) ** 2)) * mean
    stripes = np.empty_like(carrier)
    for part, wave in ((stripes.real, carrier.real), (stripes.imag, carrier.imag)):
        np.subtract(smooth(light * wave), leaked * wave, out=part)
    contrast = np.asarray(2 * np.abs(stripes) / (even + 1e-3), np.float32)
    open_contrast = percentile_of(contrast[inside], 90) if inside.any() else 0.0
    refuse_below("stripes-faint", 100 * open_contrast)
    return Band(x, y, contrast, stripes, inside, open_contrast, to_photo)


def lay_paper(located: LocatedCard, band: Band) -> LocatedCard:
    """Return the card with its pose fitted to the stripes as well.

    The phase is known up to whole periods. They are counted from the pose given by the corners.
    Where a bow moves the stripes by more than half a period, they are miscounted, and no smoothly
    bent sheet fits. Then other bows are tried, and the best fit is used.

    Parameters
    ----------
    located : LocatedCard
        The card, located by its corners.
    band : Band
        The demodulated band.

    Raises
    ------
    RefusedError
        If too little of the band is open, no smoothly bent sheet fits the stripes, or an unchecked
        print is significantly longer one way.
    """
    flat = located.pose.camera
    best = located.with_stripes(stripe_points(band, located.printed, flat))
    if misfit_mm(best) > SMOOTH_MM:
        for bow_mm in BOWS_MM:
            bowed = _bowed(flat, located, bow_mm)
            other = located.with_stripes(stripe_points(band, located.printed, bowed), bowed)
            best = min(best, other, key=misfit_mm)
            if misfit_mm(best) <= SMOOTH_MM:
                break
    refuse_above("card-creased", misfit_mm(best))
    refuse_fitted_stretch(best.card, best.pose)
    return best


def misfit_mm(located: LocatedCard) -> float:
    """Return the root mean square distance of corners and stripes from the fitted sheet, mm."""
    camera = located.pose.camera
    return located.pose.rms_px * camera.z_mm / camera.focal_px


def _bowed(flat: Camera, located: LocatedCard, bow_mm: float) -> Camera:
    """Return camera and card with a bow added and the corners about where they were."""
    y = located.found.corners_mm[:, 1] / located.card.layout.half_height_mm
    lift_mm = float(bow_mm * (1 - y * y).mean())  # as in `vision.camera.card_height_mm`
    x, y, z = flat.translation_mm - rotation(flat)[:, 2] * lift_mm
    return replace(flat, bow_mm=bow_mm, x_mm=float(x), y_mm=float(y), z_mm=float(z))


def drawn_at(camera: Camera, card: Card, seen_px: Array) -> Array:
    """Return the drawn places (N, 2), mm, at points (N, 2), px, of the photograph."""
    eye, sight = camera_centre_mm(camera), rays(camera, seen_px)
    return paper_behind_mm(camera, card, eye - sight * (eye[2] / sight[:, 2])[:, None])


def stripe_points(band: Band, card: Card, camera: Camera) -> StripePoints:
    """Return points on the open band, located by the phase of the stripes.

    Parameters
    ----------
    band : Band
        The demodulated band.
    card : Card
        The card with the scale of its print.
    camera : Camera
        Camera and card from which whole periods are counted.

    Raises
    ------
    RefusedError
        If too little of the band is open.
    """
    clear = (band.contrast > OPEN_CONTRAST * band.open_contrast) & band.inside
    size = 2 * int(WINDOW_PERIODS * 2 * PER_PERIOD) + 1  # extent of the windows
    clear = cv2.erode(
        clear.astype(np.uint8),
        np.ones((size, size), np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=[0.0],
    ).astype(np.bool_)
    every = int(6 * WINDOW_PERIODS * PER_PERIOD)  # three sigmas each: windows that don't overlap
    rows, columns = (np.arange(every // 2, n, every) for n in clear.shape)
    good = clear[np.ix_(rows, columns)]
    if good.sum() < 12:
        raise RefusedError(finding("band-too-narrow", 1.0))
    lattice = np.stack(np.meshgrid(band.x_mm[columns], band.y_mm[rows]), axis=-1)
    drawn = drawn_at(camera, card, project(band.to_photo, lattice.reshape(-1, 2)))
    expected = stripe_phase(card.layout, drawn.reshape(lattice.shape))
    expected -= stripe_phase(card.layout, lattice)
    phase = np.angle(band.stripes[np.ix_(rows, columns)]).astype(float)
    absolute = expected + _unwrapped(phase - expected, good)
    grid = lattice[good]
    angle = np.radians(card.layout.stripe_deg)
    normal = np.array([np.sin(angle), np.cos(angle)])
    along = np.array([np.cos(angle), -np.sin(angle)])
    drawn = grid + absolute[good][:, None] * card.layout.stripe_mm / (2 * np.pi) * normal

    seen = project(band.to_photo, grid)
    stripe = project(band.to_photo, grid + along) - seen
    square = np.column_stack([-stripe[:, 1], stripe[:, 0]])
    return StripePoints(drawn, seen, square / np.linalg.norm(square, axis=1)[:, None])


def _unwrapped(phase: Array, good: Mask) -> Array:
    """Return the phase (rows, columns) without jumps of a whole period.

    Along both sides next to the chess corners it is correct to half a period; from there inwards
    every place is unwrapped relative to the last good one in its column.
    """
    unwrapped = phase.copy()
    half = len(phase) // 2
    for rows in (range(half), range(len(phase) - 1, half - 1, -1)):
        last = np.zeros(phase.shape[1])
        for row in rows:
            unwrapped[row] -= 2 * np.pi * np.round((unwrapped[row] - last) / (2 * np.pi))
            last = np.where(good[row], unwrapped[row], last)
    return unwrapped


def flatness(pose: Pose, card: Card, direction: Array) -> tuple[Finding, ...]:
    """Return warnings about the card's bend.

    A bow across the rope is measured and allowed for, up to a limit. A bend along the rope lifts
    the rope off the card by an amount that the photograph does not show.

    Parameters
    ----------
    pose : Pose
        Camera and card, fitted to the stripes as well.
    card : Card
        The card.
    direction : ndarray of shape (2,)
        Unit vector along the rope, on the card.

    Raises
    ------
    RefusedError
        If it is bent too far.
    """
    half = card.layout.length_mm / 2, card.layout.half_height_mm
    names = ("curl_mm", "twist_mm", "bow_mm")
    shape = pose.camera.values(names)
    covariance = pose.whole_covariance.ordered(names)
    warnings = []
    for code, way in (
        ("card-bent", direction * half[0]),
        ("card-bowed", np.array([-direction[1], direction[0]]) * half[1]),
    ):
        x, y = way / half
        rise = np.array([x * x, x * y, -y * y])  # of the ends over the middle, in this direction
        bend, u = abs(float(rise @ shape)), float(np.sqrt(rise @ covariance @ rise))
        refuse_above(code, bend - 2 * u)
        slightly = f"{code.replace('card-', 'card-slightly-')}"
        if bend - 2 * u > limit_of(slightly):
            warnings.append(finding(slightly, bend))
    return tuple(warnings)
