"""Camera and card as one value, and how points and rays go between card and photograph.

Frames: the card's (x along the rope, y across it, z towards the camera, mm) and the photograph's
(pixel (0, 0) is the centre of the top left pixel, x right, y down).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.least_squares import derivatives

Array = NDArray[np.float64]

# What is fitted, in the order of vectors and covariances.
FITTED = (
    "rotation_x", "rotation_y", "rotation_z", "x_mm", "y_mm", "z_mm",
    "log_focal", "k1", "centre_x_px", "centre_y_px", "curl_mm", "twist_mm", "bow_mm",
)  # fmt: skip
UNKNOWN_FOCAL_RATIO = 0.85  # over the long side: between wide (0.7) and portrait (1.4) lenses
U_LOG_UNKNOWN_FOCAL = 0.30
U_K1 = 0.01  # phones straighten their pictures; what is left (common practice, no source)
U_CENTRE_SHARE = 0.01  # principal point off the middle, over the long side (as above)


@dataclass(frozen=True, slots=True)
class Rival:
    """Another account of a picture than the stated one: cropped, zoomed, or plainly wrong.

    Parameters
    ----------
    least, most : float
        Between them lies its focal length over the stated one, each ratio as likely (of its
        logarithm).
    weight : float
        How likely it is beforehand, 0 to 1.
    u_centre_px : float
        How far off the picture's middle the principal point may then lie, px, before a zoom; 0 for
        no farther than it does otherwise.
    """

    least: float
    most: float
    weight: float
    u_centre_px: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """What is known of the camera before the photograph is looked at.

    Parameters
    ----------
    focal_px : float
        Focal length, px.
    u_log_focal : float
        Relative standard uncertainty of it.
    k1, u_k1 : float
        Radial distortion and its standard uncertainty, 1.
    centre_px : tuple of float
        Principal point (x, y), px.
    u_centre_px : float
        Its standard uncertainty in x and in y, px.
    known : bool
        False where nothing was known and a wide guess stands in.
    k2, p1, p2 : float
        Further distortion of a calibrated lens: radial and tangential, 1.
    rivals : tuple of Rival
        What else may be true of its focal length; none where it is believed as it is.
    cropped : Rival or None
        The same of a picture that may have been cropped, from anywhere within the whole one.
    """

    focal_px: float
    u_log_focal: float
    centre_px: tuple[float, float]
    u_centre_px: float
    k1: float = 0.0
    u_k1: float = U_K1
    known: bool = True
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    rivals: tuple[Rival, ...] = ()
    cropped: Rival | None = None


def lens_of(width: int, height: int, focal_px: float | None, u_focal_px: float | None) -> Lens:
    """Return what is known of a camera from a stated focal length, or the wide guess.

    Parameters
    ----------
    width, height : int
        Size of the upright photograph, px.
    focal_px, u_focal_px : float or None
        Focal length and standard uncertainty, px; None where unknown.
    """
    long_side = max(width, height)
    centre = ((width - 1) / 2, (height - 1) / 2)
    u_centre = U_CENTRE_SHARE * long_side
    if focal_px is None or u_focal_px is None:
        guess = UNKNOWN_FOCAL_RATIO * long_side
        return Lens(guess, U_LOG_UNKNOWN_FOCAL, centre, u_centre, known=False)
    return Lens(focal_px, u_focal_px / focal_px, centre, u_centre)


@dataclass(frozen=True, slots=True)
class Camera:
    """A camera and the card in front of it (pinhole with distortion, Brown 1971).

    Parameters
    ----------
    rotation_x, rotation_y, rotation_z : float
        Rotation vector of R_cam_card (card to camera), rad.
    x_mm, y_mm, z_mm : float
        Origin of the card's frame in the camera's, mm.
    log_focal : float
        ln(focal length / px): fitted in its place, because it is known by its ratio.
    k1 : float
        Radial distortion, x' = x (1 + k1 r^2), 1.
    centre_x_px, centre_y_px : float
        Principal point, px.
    curl_mm, twist_mm, bow_mm : float
        Shape of the card: height of its ends, and of one corner, over its middle, and of its
        middle line over its long sides, mm.
    k2, p1, p2 : float
        Further distortion of a calibrated lens, radial and tangential, 1. They are known
        beforehand and never fitted: what is uncertain about them is in k1's uncertainty, which
        moves the picture's points as much (`vision.calibration.library`).
    """

    rotation_x: float
    rotation_y: float
    rotation_z: float
    x_mm: float
    y_mm: float
    z_mm: float
    log_focal: float
    k1: float
    centre_x_px: float
    centre_y_px: float
    curl_mm: float = 0.0
    twist_mm: float = 0.0
    bow_mm: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0

    @property
    def focal_px(self) -> float:
        """Focal length, px."""
        return float(np.exp(self.log_focal))

    @property
    def principal_point_px(self) -> Array:
        """Principal point (2,), px."""
        return np.array([self.centre_x_px, self.centre_y_px])

    @property
    def rotation_vector(self) -> Array:
        """Rotation vector of R_cam_card (3,), rad."""
        return np.array([self.rotation_x, self.rotation_y, self.rotation_z])

    @property
    def translation_mm(self) -> Array:
        """Origin of the card's frame in the camera's (3,), mm."""
        return np.array([self.x_mm, self.y_mm, self.z_mm])

    @property
    def bends_further(self) -> bool:
        """Whether the lens has distortion beside `k1`."""
        return bool(self.k2 or self.p1 or self.p2)

    def values(self, names: Sequence[str] = FITTED) -> Array:
        """Return some of the numbers as a vector (n,)."""
        return np.array([getattr(self, name) for name in names])

    def with_values(self, values: Array, names: Sequence[str] = FITTED) -> Camera:
        """Return the camera with some of its numbers (n,) replaced."""
        if names == FITTED:  # ten times as fast
            return Camera(*(*values.tolist(), self.k2, self.p1, self.p2))
        return replace(self, **dict(zip(names, values.tolist(), strict=True)))


def camera_of(lens: Lens, rotation_vector: Array, translation_mm: Array) -> Camera:
    """Return a camera with a lens and a flat card, from a pose.

    Parameters
    ----------
    lens : Lens
        What is known of the camera.
    rotation_vector, translation_mm : ndarray of shape (3,)
        The card's pose in the camera's frame, rad and mm.
    """
    (turn_x, turn_y, turn_z), (x, y, z) = rotation_vector.tolist(), translation_mm.tolist()
    return Camera(
        rotation_x=turn_x,
        rotation_y=turn_y,
        rotation_z=turn_z,
        x_mm=x,
        y_mm=y,
        z_mm=z,
        log_focal=float(np.log(lens.focal_px)),
        k1=lens.k1,
        centre_x_px=lens.centre_px[0],
        centre_y_px=lens.centre_px[1],
        k2=lens.k2,
        p1=lens.p1,
        p2=lens.p2,
    )


def gradient(
    function: Callable[[Camera], float],
    camera: Camera,
    names: Sequence[str] = FITTED,
    steps: Array | None = None,
) -> Array:
    """Return the derivatives of a function by some of the camera's numbers (n,).

    Parameters
    ----------
    function : callable
        A figure of a camera.
    camera : Camera
        Where to derive.
    names : sequence of str, optional
        The numbers.
    steps : ndarray of shape (n,), optional
        How far to go to each side for the central difference; a ten-thousandth, or a millionth
        of the number where that is more, by default.
    """
    values = camera.values(names)
    if steps is None:
        steps = 1e-4 * np.maximum(1.0, np.abs(values) * 0.01)
    return derivatives(lambda v: function(camera.with_values(v, names)), values, steps)


def straightened(lens: Lens, points_px: Array) -> Array:
    """Return points (N, 2), px, where a lens without distortion would have put them.

    Parameters
    ----------
    lens : Lens
        The lens that took them.
    points_px : ndarray of shape (N, 2)
        Points of the photograph, px.
    """
    sight = rays(_lens_only(lens), points_px)
    return np.asarray(lens.focal_px * sight[:, :2] / sight[:, 2:] + np.array(lens.centre_px))


def bent(lens: Lens, points_px: Array) -> Array:
    """Return where a lens puts points (N, 2), px, of a picture without distortion.

    Parameters
    ----------
    lens : Lens
        The lens.
    points_px : ndarray of shape (N, 2)
        Points of the picture without distortion, px.
    """
    sight = (points_px - np.array(lens.centre_px)) / lens.focal_px
    return project_mm(_lens_only(lens), np.column_stack([sight, np.ones(len(sight))]))


def _lens_only(lens: Lens) -> Camera:
    return camera_of(lens, np.zeros(3), np.zeros(3))


def rotation(camera: Camera) -> Array:
    """Return R_cam_card (3, 3).

    Parameters
    ----------
    camera : Camera
        Camera and card.
    """
    return np.asarray(cv2.Rodrigues(camera.rotation_vector.reshape(3, 1))[0], float)


def camera_centre_mm(camera: Camera) -> Array:
    """Return the camera centre in the card's frame, mm (3,).

    Parameters
    ----------
    camera : Camera
        Camera and card.
    """
    return np.asarray(-rotation(camera).T @ camera.translation_mm)


def project_mm(camera: Camera, points_mm: Array) -> Array:
    """Return where points of the card's frame (N, 3), mm, fall in the photograph, px (N, 2).

    Parameters
    ----------
    camera : Camera
        Camera and card.
    points_mm : ndarray of shape (N, 3)
        Points in front of the camera, in the card's frame, mm.
    """
    x, y, z = (points_mm @ rotation(camera).T + camera.translation_mm).T
    return np.stack(pictured(camera, x / z, y / z), axis=1)


def pictured(camera: Camera, x: Array, y: Array) -> tuple[Array, Array]:
    """Return where sights (x, y, 1) of the camera's own frame fall, px; arrays of any one shape.

    Parameters
    ----------
    camera : Camera
        The camera.
    x, y : ndarray
        Sights as a picture of focal length 1 without distortion has them.
    """
    swell = camera.focal_px * (1 + camera.k1 * (x * x + y * y))
    at_x, at_y = swell * x + camera.centre_x_px, swell * y + camera.centre_y_px
    if camera.bends_further:
        further_x, further_y = _further(camera, x, y)
        at_x, at_y = at_x + camera.focal_px * further_x, at_y + camera.focal_px * further_y
    return at_x, at_y


def _further(camera: Camera, x: Array, y: Array) -> tuple[Array, Array]:
    """Return by how much k2, p1 and p2 move points of a picture of focal length 1."""
    p1, p2 = camera.p1, camera.p2
    r2 = x * x + y * y
    pull = camera.k2 * r2**2 + 2 * (p2 * x + p1 * y)  # turns as a vector does
    return pull * x + r2 * p2, pull * y + r2 * p1


def tilt_deg(camera: Camera, station_mm: Array) -> float:
    """Return the angle between the line of sight at a place and the card's normal, deg.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    station_mm : ndarray of shape (3,)
        The place, in the card's frame, mm.
    """
    sight = camera_centre_mm(camera) - station_mm
    return float(np.degrees(np.arccos(np.clip(sight[2] / np.linalg.norm(sight), -1, 1))))


def rays(camera: Camera, points_px: Array) -> Array:
    """Return unit directions (N, 3), in the card's frame, that end in points (N, 2), px.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    points_px : ndarray of shape (N, 2)
        Points of the photograph, px.
    """
    # one number after the other: numpy is slow along an axis of two
    bent_x = (points_px[:, 0] - camera.centre_x_px) / camera.focal_px
    bent_y = (points_px[:, 1] - camera.centre_y_px) / camera.focal_px
    x, y, aimed_x, aimed_y = bent_x, bent_y, bent_x, bent_y
    more = camera.bends_further
    for _ in range(12 if more else 4):  # k1 r^2 is a few percent: four steps leave under 1e-7
        if more:
            further_x, further_y = _further(camera, x, y)
            aimed_x, aimed_y = bent_x - further_x, bent_y - further_y
        shrunk = 1 + camera.k1 * (x * x + y * y)
        x, y = aimed_x / shrunk, aimed_y / shrunk
    sight = rotation(camera).T @ np.array([x, y, np.ones(len(x))])
    return np.asarray((sight / np.sqrt((sight * sight).sum(axis=0))).T)


def bent_mm(camera: Camera, flat_mm: Array, half_length_mm: float, half_height_mm: float) -> Array:
    """Return points of the flat card (N, 2), mm, on the card as it is bent (N, 3).

    A sheet does not stretch: on a parabola z = a t^2 the arc to a point is longer than t by
    2/3 a^2 t^3, to second order in the slope, and the points draw nearer by as much.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    flat_mm : ndarray of shape (N, 2)
        Points of the flat card, mm.
    half_length_mm, half_height_mm : float
        Where the card's ends and its upper rim lie, mm.
    """
    x, y = flat_mm[:, 0] / half_length_mm, flat_mm[:, 1] / half_height_mm
    curl, twist, bow = camera.curl_mm, camera.twist_mm, camera.bow_mm
    rise = curl * x * x + twist * x * y - bow * y * y
    third = rise / 3
    bent = np.empty((len(x), 3))
    bent[:, 0] = flat_mm[:, 0] - third * (2 * curl * x + twist * y) / half_length_mm
    bent[:, 1] = flat_mm[:, 1] - third * (twist * x - 2 * bow * y) / half_height_mm
    bent[:, 2] = rise + bow
    return bent


def bent_with_derivatives_mm(
    camera: Camera, flat_mm: Array, half_length_mm: float, half_height_mm: float
) -> tuple[Array, Array]:
    """Return what `bent_mm` does, and its derivatives by curl, twist and bow (3, N, 3)."""
    half = np.array([half_length_mm, half_height_mm])
    x, y = (flat_mm / half).T
    rises = np.array([x * x, x * y, -y * y])  # over the middle, by curl, twist and bow
    slopes = np.zeros((3, len(x), 2))
    slopes[0, :, 0], slopes[1, :, 0] = 2 * x, y
    slopes[1, :, 1], slopes[2, :, 1] = x, -2 * y
    slopes /= half
    shape = np.array([camera.curl_mm, camera.twist_mm, camera.bow_mm])
    rise, slope = shape @ rises, (shape @ slopes.reshape(3, -1)).reshape(-1, 2)
    bent, ahead = np.empty((len(x), 3)), np.empty((3, len(x), 3))
    bent[:, :2] = flat_mm - rise[:, None] * slope / 3
    bent[:, 2] = rise + camera.bow_mm
    ahead[..., :2] = -(rises[..., None] * slope + rise[:, None] * slopes) / 3
    ahead[..., 2] = rises
    ahead[2, :, 2] += 1
    return bent, ahead


def card_height_mm(
    camera: Camera, points_mm: Array, half_length_mm: float, half_height_mm: float
) -> Array:
    """Return how high the card lies over its plane (N,) at points (N, 2), mm."""
    x, y = points_mm[:, 0] / half_length_mm, points_mm[:, 1] / half_height_mm
    return np.asarray(
        camera.curl_mm * x * x + camera.twist_mm * x * y + camera.bow_mm * (1 - y * y)
    )
