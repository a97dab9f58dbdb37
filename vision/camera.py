"""Camera and card as one value, and the mapping of points and rays between card and photograph.

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

# The fitted parameters, in the order of vectors and covariances.
FITTED = (
    "rotation_x", "rotation_y", "rotation_z", "x_mm", "y_mm", "z_mm",
    "log_focal", "k1", "centre_x_px", "centre_y_px", "curl_mm", "twist_mm", "bow_mm",
)  # fmt: skip
UNKNOWN_FOCAL_RATIO = 0.85  # over the long side: between wide (0.7) and portrait (1.4) lenses
U_LOG_UNKNOWN_FOCAL = 0.30
U_K1 = 0.01  # distortion left after a phone's own correction (common practice, no source)
U_CENTRE_SHARE = 0.01  # principal point off the middle, over the long side (as above)


@dataclass(frozen=True, slots=True)
class Rival:
    """An alternative hypothesis about a stated focal length: cropped, zoomed, or simply wrong.

    Parameters
    ----------
    least, most : float
        Range of the true focal length over the stated one; the logarithm of the ratio has a
        rectangular distribution.
    weight : float
        Prior probability, 0 to 1.
    u_centre_px : float
        Standard uncertainty of the principal point about the picture's middle on this hypothesis,
        px, before a zoom; 0 if it is no larger than otherwise.
    """

    least: float
    most: float
    weight: float
    u_centre_px: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """Prior knowledge of the camera.

    Parameters
    ----------
    focal_px : float
        Focal length, px.
    u_log_focal : float
        Its relative standard uncertainty.
    k1, u_k1 : float
        Radial distortion and its standard uncertainty, 1.
    centre_px : tuple of float
        Principal point (x, y), px.
    u_centre_px : float
        Its standard uncertainty in x and in y, px.
    known : bool
        False where the focal length is unknown and a wide guess is used.
    k2, p1, p2 : float
        Higher distortion terms of a calibrated lens: radial and tangential, 1.
    rivals : tuple of Rival
        Alternative hypotheses about the focal length; empty where it is taken as stated.
    cropped : Rival or None
        The hypothesis that the picture was cropped, from anywhere within the original.
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
    """Return the prior knowledge of a camera: from a stated focal length, or a wide guess.

    Parameters
    ----------
    width, height : int
        Size of the upright photograph, px.
    focal_px, u_focal_px : float or None
        Focal length and its standard uncertainty, px; None where unknown.
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
        ln(focal length / px), fitted instead because its uncertainty is relative.
    k1 : float
        Radial distortion, x' = x (1 + k1 r^2), 1.
    centre_x_px, centre_y_px : float
        Principal point, px.
    curl_mm, twist_mm, bow_mm : float
        Shape of the card: height of its ends, and of one corner, over its middle, and of its
        middle line over the sides along the rope, mm.
    k2, p1, p2 : float
        Higher distortion terms of a calibrated lens, radial and tangential, 1. They are known
        from the calibration and never fitted: their uncertainty is included in that of k1, which
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
        """Whether the lens has distortion terms other than `k1`."""
        return bool(self.k2 or self.p1 or self.p2)

    def values(self, names: Sequence[str] = FITTED) -> Array:
        """Return the named parameters as a vector (n,)."""
        return np.array([getattr(self, name) for name in names])

    def with_values(self, values: Array, names: Sequence[str] = FITTED) -> Camera:
        """Return the camera with the named parameters replaced by `values` (n,)."""
        if names == FITTED:  # ten times as fast as `replace`
            return Camera(*(*values.tolist(), self.k2, self.p1, self.p2))
        return replace(self, **dict(zip(names, values.tolist(), strict=True)))


def camera_of(lens: Lens, rotation_vector: Array, translation_mm: Array) -> Camera:
    """Return a camera with a lens and a flat card, from a pose.

    Parameters
    ----------
    lens : Lens
        Prior knowledge of the camera.
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
    """Return the derivatives of a function with respect to camera parameters (n,).

    Parameters
    ----------
    function : callable
        A scalar function of a camera.
    camera : Camera
        Where to evaluate the derivatives.
    names : sequence of str, optional
        The parameters.
    steps : ndarray of shape (n,), optional
        Step to each side for the central difference; by default a ten-thousandth, or a millionth
        of the parameter where that is more.
    """
    values = camera.values(names)
    if steps is None:
        steps = 1e-4 * np.maximum(1.0, np.abs(values) * 0.01)
    return derivatives(lambda v: function(camera.with_values(v, names)), values, steps)


def straightened(lens: Lens, points_px: Array) -> Array:
    """Return points (N, 2), px, where a lens without distortion would have imaged them.

    Parameters
    ----------
    lens : Lens
        The lens that took the photograph.
    points_px : ndarray of shape (N, 2)
        Points of the photograph, px.
    """
    sight = rays(_lens_only(lens), points_px)
    return np.asarray(lens.focal_px * sight[:, :2] / sight[:, 2:] + np.array(lens.centre_px))


def bent(lens: Lens, points_px: Array) -> Array:
    """Return where a lens images points (N, 2), px, of a picture without distortion.

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
    """Return the picture (N, 2), px, of points of the card's frame (N, 3), mm.

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
    """Return the picture, px, of lines of sight (x, y, 1) of the camera's frame, of any shape.

    Parameters
    ----------
    camera : Camera
        The camera.
    x, y : ndarray
        Coordinates in a picture of focal length 1 without distortion.
    """
    radial = camera.focal_px * (1 + camera.k1 * (x * x + y * y))
    at_x, at_y = radial * x + camera.centre_x_px, radial * y + camera.centre_y_px
    if camera.bends_further:
        further_x, further_y = _further(camera, x, y)
        at_x, at_y = at_x + camera.focal_px * further_x, at_y + camera.focal_px * further_y
    return at_x, at_y


def _further(camera: Camera, x: Array, y: Array) -> tuple[Array, Array]:
    """Return the displacement by k2, p1 and p2 in a picture of focal length 1."""
    p1, p2 = camera.p1, camera.p2
    r2 = x * x + y * y
    radial = camera.k2 * r2**2 + 2 * (p2 * x + p1 * y)  # (p2, p1) rotates as a vector
    return radial * x + r2 * p2, radial * y + r2 * p1


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
    """Return the unit directions (N, 3), in the card's frame, of the sights to points (N, 2), px.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    points_px : ndarray of shape (N, 2)
        Points of the photograph, px.
    """
    # x and y separately: numpy is slow along an axis of length two
    bent_x = (points_px[:, 0] - camera.centre_x_px) / camera.focal_px
    bent_y = (points_px[:, 1] - camera.centre_y_px) / camera.focal_px
    x, y, aimed_x, aimed_y = bent_x, bent_y, bent_x, bent_y
    further = camera.bends_further
    for _ in range(12 if further else 4):  # k1 r^2 is a few percent: four steps leave under 1e-7
        if further:
            further_x, further_y = _further(camera, x, y)
            aimed_x, aimed_y = bent_x - further_x, bent_y - further_y
        radial = 1 + camera.k1 * (x * x + y * y)
        x, y = aimed_x / radial, aimed_y / radial
    sight = rotation(camera).T @ np.array([x, y, np.ones(len(x))])
    return np.asarray((sight / np.sqrt((sight * sight).sum(axis=0))).T)


def bent_mm(camera: Camera, flat_mm: Array, half_length_mm: float, half_height_mm: float) -> Array:
    """Return points of the flat card (N, 2), mm, on the bent card (N, 3).

    A sheet does not stretch. On a parabola z = a t^2 the arc to a point is longer than t by
    2/3 a^2 t^3, to second order in the slope, so the point moves inwards by as much.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    flat_mm : ndarray of shape (N, 2)
        Points of the flat card, mm.
    half_length_mm, half_height_mm : float
        Distances from the middle of the card to its ends and to its upper edge, mm.
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
    """Return the points of `bent_mm` and their derivatives by curl, twist and bow (3, N, 3)."""
    half = np.array([half_length_mm, half_height_mm])
    x, y = (flat_mm / half).T
    rises = np.array([x * x, x * y, -y * y])  # height over the middle by curl, twist and bow
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
    """Return the card's height over its plane (N,) at points (N, 2), mm."""
    x, y = points_mm[:, 0] / half_length_mm, points_mm[:, 1] / half_height_mm
    return np.asarray(
        camera.curl_mm * x * x + camera.twist_mm * x * y + camera.bow_mm * (1 - y * y)
    )
