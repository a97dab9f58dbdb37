"""The camera's pose, focal length and the card's shape in one fit, with their covariance.

All parameters that affect the corners (`vision.camera.Camera`) are fitted together with prior
knowledge (Bayesian least squares; JCGM 102:2011, and Triggs et al., Bundle Adjustment, 2000,
section 4). Parameters that the corners do not determine are held by the prior; the covariance
shows how much the corners contributed.

With the wide prior of an unknown camera, the same fit finds the focal length as far as the tilt
allows (Zhang 2000). A page stretched one way is fitted within its uncertainty, so that the stretch
is not mistaken for a tilt or a bend. Two rows of corners do not show a bow of the card across the
rope. It is read from the phase of the band's stripes, which give the position of the paper right
up to the rope. They enter the fit as points whose position is known only at right angles to the
stripes (`vision.rope.paper`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache, partial

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import (
    FITTED,
    Camera,
    Lens,
    bent_with_derivatives_mm,
    camera_of,
    rotation,
)
from vision.findings import RefusedError, finding, limit_of
from vision.least_squares import Covariance, covariance_of, fit, fit_with_scatter
from vision.results import Finding
from vision.target.detect import MIN_CORNERS, FoundCard
from vision.target.layout import Card
from vision.target.stated_lens import WIDE, Settled, cropped_lens, settled

Array = NDArray[np.float64]

CORNER_FLOOR_PX = 0.03  # least standard deviation assumed for a corner
FEW_STEPS = 30  # enough to choose between starts; a wrong one takes many more
AS_CLOSE = 4.0  # ratio of initial residuals up to which a start may be the right one
ROUGH_PX = 0.1  # initial estimate of the corners' scatter
# Weight of the evidence for one hypothesis about a picture against another: corners share some
# errors, and where little is known the approximation is rough (chosen, no source).
EVIDENCE = 0.5
HELD = 1e-4  # relative uncertainty of a focal length that a fit holds fixed
LEAST_STATED = 1e-4  # share of a variance that is too small to show in any term
PULLED = 0.5  # deviation from the stated focal length, over its u, that calls for an investigation
U_BEND_MM = 0.5  # a card that was held flat with care
U_BOW_MM = 10.0  # the same across the rope, the way straps and hands bend it most
PLACE, KNOWN = FITTED[:6], FITTED[6:]  # the pose has no prior, the other parameters have one
# Offset of the stripes from the squares beside them, mm: half a dot at 600 dots per inch, the
# coarsest resolution of laser printers on sale (from memory); both are rounded to dots separately.
APART_MM = 0.021
SCALES = ("scale_along", "scale_across")  # of the print, less 1: fitted together with the camera
COLUMN = {name: at for at, name in enumerate(FITTED + SCALES)}
AT = slice(COLUMN["x_mm"], COLUMN["z_mm"] + 1)
CENTRE = slice(COLUMN["centre_x_px"], COLUMN["centre_y_px"] + 1)


@dataclass(frozen=True, slots=True, eq=False)
class StripePoints:
    """Points on the stripes, located by the stripes' phase in the photograph.

    Parameters
    ----------
    drawn_mm : ndarray of shape (N, 2)
        Points as drawn on the card, mm; undetermined along the stripes.
    seen_px : ndarray of shape (N, 2)
        Their positions in the photograph, px.
    square_px : ndarray of shape (N, 2)
        Unit vector at right angles to the stripes in the photograph.
    """

    drawn_mm: Array
    seen_px: Array
    square_px: Array


@dataclass(frozen=True, slots=True, eq=False)
class OtherHypothesis:
    """Camera and card on the less likely hypothesis: cropped where the other is whole, or reverse.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    weight : float
        Probability of this hypothesis, up to a half.
    """

    camera: Camera
    weight: float


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Camera and card as fitted to the corners.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    covariance : Covariance
        Covariance of the fitted parameters, without the contribution of the print scale.
    scale_shift : ndarray of shape (fitted, 2)
        Change of these parameters per unit of print scale along (0) and across (1).
    u_scale : ndarray of shape (2,)
        Standard uncertainty of the print scale along and across, 1.
    lens : Lens
        Prior knowledge of the camera.
    rms_px : float
        Root mean square of the corners' residuals, px, with outliers weighted down.
    sigma_px : float
        Scatter of the corners by which outliers were identified, px.
    corners : int
        Number of corners used.
    points : int
        Number of points in the fit: corners and points on stripes.
    log_prior : float
        ln of the prior probability of the fitted parameters (Laplace's approximation).
    scales : ndarray of shape (2,)
        Fitted scale of the print along and across, less that of `Card`, 1.
    joint : Covariance
        Covariance of all fitted parameters, including these two.
    findings : tuple of Finding
        Warnings.
    other : OtherHypothesis or None
        The alternative hypothesis about the picture.
    """

    camera: Camera
    covariance: Covariance
    scale_shift: Array
    u_scale: Array
    lens: Lens
    rms_px: float
    sigma_px: float
    corners: int
    points: int
    log_prior: float
    scales: Array
    joint: Covariance
    findings: tuple[Finding, ...] = ()
    other: OtherHypothesis | None = None

    @property
    def focal_px(self) -> float:
        """Focal length, px."""
        return self.camera.focal_px

    @property
    def u_focal_px(self) -> float:
        """Standard uncertainty of the focal length, px."""
        return self.focal_px * self.whole_covariance.u("log_focal")

    @property
    def whole_covariance(self) -> Covariance:
        """Covariance of the fitted parameters, including the print scale's contribution."""
        by_scale = self.scale_shift * self.u_scale
        return Covariance(FITTED, self.covariance.matrix + by_scale @ by_scale.T)


def solve_pose(
    found: FoundCard,
    card: Card,
    lens: Lens,
    stripes: StripePoints | None = None,
    start: Camera | None = None,
) -> Pose:
    """Fit camera and card to the corners, and to the stripes between them.

    Parameters
    ----------
    found : FoundCard
        Corners of one card.
    card : Card
        The same card with the scale of its print.
    lens : Lens
        Prior knowledge of the camera.
    stripes : StripePoints, optional
        Points on the stripes; without them the card's bow is taken as zero.
    start : Camera, optional
        Camera and card from the corners alone.

    Raises
    ------
    RefusedError
        If there are too few corners, or corners on one side only.
    """
    upper = int((found.corners_mm[:, 1] > 0).sum())
    count = len(found.corners_mm)
    if count < MIN_CORNERS or min(upper, count - upper) < 2:
        raise RefusedError(finding("too-few-markers", float(count), limit=MIN_CORNERS))
    doubted = bool(lens.rivals or lens.cropped)
    if start is None or not doubted:
        pose = _fit(found, card, lens, stripes, start)
        start = pose.camera
        doubted &= abs(start.log_focal - np.log(lens.focal_px)) > PULLED * lens.u_log_focal
    if doubted:
        pose = _believed(found, card, lens, stripes, start)
    return replace(pose, findings=_focal_findings(pose, lens))


def _believed(
    found: FoundCard, card: Card, lens: Lens, stripes: StripePoints | None, start: Camera
) -> Pose:
    """Return the pose by the most likely hypothesis about the picture, with the other in it."""
    free = _fit(found, card, replace(lens, u_log_focal=WIDE), stripes, start)
    own_log, u_own = _own_log_focal(free, lens)
    known = settled(lens, own_log, u_own)
    # Start at the nearer pose: a fit that starts too far along the valley does not converge. All
    # three fits use one scatter to identify outliers, or their misfits could not be compared.
    sigma = free.sigma_px
    near = min(start, free.camera, key=lambda at: abs(at.log_focal - np.log(known.focal_px)))
    fixed = replace(lens, focal_px=known.focal_px, u_log_focal=HELD, u_centre_px=known.u_centre_px)
    pose, crop = _released(_fit(found, card, fixed, stripes, near, sigma), known), lens.cropped
    if crop is None:
        return pose
    other = _fit(found, card, cropped_lens(lens, crop), stripes, free.camera, sigma)
    # the free fit's evidence, with the actual prior of the focal length instead of `WIDE`
    u = np.hypot(WIDE, u_own)
    by_wide = -0.5 * ((own_log - np.log(lens.focal_px)) / u) ** 2 - np.log(u * np.sqrt(2 * np.pi))
    pose = replace(pose, log_prior=free.log_prior + known.log_evidence - float(by_wide))
    rms = max(pose.rms_px, other.rms_px, CORNER_FLOOR_PX)
    logs = [
        np.log(weight) + EVIDENCE * (one.log_prior - 0.5 * one.points * (one.rms_px / rms) ** 2)
        for weight, one in ((1 - crop.weight, pose), (crop.weight, other))
    ]
    share = 1 / (1 + float(np.exp(np.clip(logs[0] - logs[1], -50, 50))))  # probability of a crop
    if share > 0.5:
        pose, other, share = other, pose, 1 - share
    return replace(pose, other=OtherHypothesis(other.camera, share))


def _released(held: Pose, known: Settled) -> Pose:
    """Return a pose fitted with a fixed focal length, with the actual uncertainty of that added.

    The other parameters vary with the focal length as their covariance in the fit says.
    """
    matrices = []
    for covariance in (held.covariance, held.joint):
        at = covariance.names.index("log_focal")
        per_log_focal = covariance.matrix[:, at] / covariance.matrix[at, at]
        more = known.u_log_focal**2 - covariance.matrix[at, at]
        matrix = covariance.matrix + more * np.outer(per_log_focal, per_log_focal)
        matrices.append(Covariance(covariance.names, matrix))
    # the prior uncertainty that gives the prior its share (`Settled.stated`) of the variance
    u_prior = known.u_log_focal / np.sqrt(max(known.stated, LEAST_STATED))
    lens = replace(held.lens, u_log_focal=float(u_prior), rivals=(), cropped=None)
    return replace(held, covariance=matrices[0], joint=matrices[1], lens=lens)


def _own_log_focal(free: Pose, lens: Lens) -> tuple[float, float]:
    """Return ln(focal length / px) as the card alone shows it, and its standard uncertainty.

    `free` was fitted with a prior uncertainty of `WIDE`, which is removed here.
    """
    variance = free.whole_covariance.u("log_focal") ** 2
    information = max(1 / variance - 1 / WIDE**2, 1e-6)
    stated = np.log(lens.focal_px)
    own = (free.camera.log_focal / variance - stated / WIDE**2) / information
    return float(own), float(1 / np.sqrt(information))


def _focal_findings(pose: Pose, lens: Lens) -> tuple[Finding, ...]:
    """Return the warnings about the focal length, compared with the stated one."""
    apart = 0.0
    if pose.other is not None:
        apart = np.sqrt(pose.other.weight) * (pose.other.camera.log_focal - pose.camera.log_focal)
    u = 100 * float(np.hypot(pose.u_focal_px / pose.focal_px, apart))
    if not lens.known:
        return (finding("focal-unknown", u),)
    percent = 100 * abs(pose.focal_px / lens.focal_px - 1)
    if u > limit_of("focal-doubtful") and pose.other is not None:
        return (finding("focal-doubtful", u),)
    if percent > limit_of("focal-disagrees"):
        return (finding("focal-disagrees", percent),)
    if u > max(limit_of("focal-unseen"), 100 * lens.u_log_focal):
        return (finding("focal-unseen" if lens.cropped is None else "focal-doubtful", u),)
    return ()


def _fit(
    found: FoundCard,
    card: Card,
    lens: Lens,
    stripes: StripePoints | None,
    start: Camera | None,
    sigma: float | None = None,
) -> Pose:
    drawn, seen = found.corners_mm, found.corners_px
    half = card.layout.length_mm / 2, card.layout.half_height_mm
    blank = camera_of(lens, np.zeros(3), np.zeros(3))
    prior = np.append(blank.values(KNOWN), np.zeros(len(SCALES)))
    u_scale = np.maximum([card.u_scale_x, card.u_scale_y], 1e-6)
    u_known = {
        "log_focal": lens.u_log_focal,
        "k1": lens.u_k1,
        "centre_x_px": lens.u_centre_px,
        "centre_y_px": lens.u_centre_px,
        "curl_mm": U_BEND_MM,
        "twist_mm": U_BEND_MM,
        "bow_mm": U_BOW_MM if stripes else 1e-6,
    }
    u_prior = np.append([u_known[name] for name in KNOWN], u_scale)
    scale = np.array([card.scale_x, card.scale_y])

    @lru_cache(maxsize=2)  # a step needs residuals, then derivatives, and may return to the last
    def offsets_at(packed: bytes, points: StripePoints | None) -> tuple[Array, Array]:
        """Return the distances from the observed positions, px, and the Jacobian."""
        full = np.frombuffer(packed)
        camera, scales = blank.with_values(full[: len(FITTED)]), full[len(FITTED) :]
        flat_mm = drawn if points is None else np.concatenate([drawn, points.drawn_mm])
        at, ahead = _corners(camera, scales, flat_mm * scale, half)
        off = at[: seen.size] - seen.ravel()
        if points is None:
            return off, ahead
        square = points.square_px
        across = ((at[seen.size :].reshape(-1, 2) - points.seen_px) * square).sum(axis=1)
        stripes_ahead = ahead[seen.size :].reshape(len(square), 2, -1)
        across_ahead = (stripes_ahead * square[:, :, None]).sum(axis=1)
        return np.concatenate([off, across]), np.concatenate([ahead[: seen.size], across_ahead])

    def offsets(full: Array, points: StripePoints | None) -> tuple[Array, Array]:
        return offsets_at(full.tobytes(), points)

    def white(values: Array, sigma: float) -> Array:
        return _whitened(values, seen.size, apart_px, sigma)

    def residuals(internal: Array, sigma: float, points: StripePoints | None) -> Array:
        full = _unfolded(internal)
        return np.concatenate(
            [white(offsets(full, points)[0], sigma), (full[len(PLACE) :] - prior) / u_prior]
        )

    def jacobian(internal: Array, sigma: float, points: StripePoints | None) -> Array:
        full = _unfolded(internal)
        return np.vstack([white(offsets(full, points)[1], sigma), known]) @ _valley(full)

    known = np.eye(len(COLUMN))[len(PLACE) :] / u_prior[:, None]
    apart_px = APART_MM * float(np.hypot(*seen.std(axis=0)) / np.hypot(*drawn.std(axis=0)))
    if start is None:
        solutions = [
            fit(
                partial(residuals, sigma=ROUGH_PX, points=None),
                _folded(one),
                partial(jacobian, sigma=ROUGH_PX, points=None),
                most_steps=FEW_STEPS,
            )
            for one in _starts(drawn * scale, seen, blank)
        ]
        rough = min(solutions, key=lambda one: float(one.residuals @ one.residuals)).values
    else:
        rough = _folded(np.append(start.values(), np.zeros(len(SCALES))))
    count = seen.size + (len(stripes.drawn_mm) if stripes else 0)
    if sigma is None:
        best, sigma = fit_with_scatter(
            partial(residuals, points=stripes),
            rough,
            partial(jacobian, points=stripes),
            robust=count,
            sigma=ROUGH_PX,
            floor=CORNER_FLOOR_PX,
        )
    else:
        best = fit(
            partial(residuals, sigma=sigma, points=stripes),
            rough,
            partial(jacobian, sigma=sigma, points=stripes),
            robust=count,
        )
    theta = _unfolded(best.values)
    dof = max(4, count - 8)  # degrees of freedom left by the fit (Type A evaluation)
    off = sigma * best.residuals[:count]
    rms = float(np.sqrt((best.weights[:count] * off**2).sum() / dof))
    camera = blank.with_values(theta[: len(FITTED)])
    by_point = white(offsets(theta, stripes)[1], max(rms, CORNER_FLOOR_PX))
    root = np.vstack([by_point * np.sqrt(best.weights[:count])[:, None], known])
    whole = covariance_of(root)
    # linearised: how the parameters follow the print's scale, and their covariance without it
    scale_shift = whole[: len(FITTED), len(FITTED) :] / u_scale**2
    rest = whole[: len(FITTED)] @ root[: -len(SCALES)].T
    cov = Covariance(FITTED, np.asarray(rest @ rest.T))
    by_prior = float(best.residuals[count:] @ best.residuals[count:])
    log_prior = -0.5 * by_prior + 0.5 * np.linalg.slogdet(whole)[1] - float(np.log(u_prior).sum())
    return Pose(
        camera,
        cov,
        np.asarray(scale_shift),
        u_scale,
        lens,
        rms,
        sigma,
        len(seen),
        points=count if stripes is None else len(seen) + len(stripes.drawn_mm),
        log_prior=float(log_prior),
        scales=theta[len(FITTED) :],
        joint=Covariance(FITTED + SCALES, whole),
    )


def _whitened(values: Array, corners: int, apart_px: float, sigma: float) -> Array:
    """Return residuals or their derivatives (N, ...), px, whitened: uncorrelated, of variance 1.

    All stripes may be offset from the squares together (`APART_MM`). So the values are multiplied
    by the inverse square root of their covariance, which weights down the stripes' common offset.
    """
    whitened, stripes = values / sigma, values[corners:] / sigma
    if len(stripes):
        weight = 1 / np.sqrt(1 + len(stripes) * (apart_px / sigma) ** 2)
        whitened[corners:] -= (1 - weight) * stripes.mean(axis=0)
    return whitened


def _starts(flat_mm: Array, seen: Array, blank: Camera) -> list[Array]:
    """Return initial poses: one, or both that a distant plane allows (Collins and Bartoli 2014).

    The second is included only where it is nearly as good.
    """
    K = _matrix(blank)
    rest = np.append(blank.values(KNOWN), np.zeros(len(SCALES)))
    points = np.column_stack([flat_mm, np.zeros(len(flat_mm))]).reshape(-1, 1, 3)
    _, turns, shifts, off = cv2.solvePnPGeneric(
        points, seen.reshape(-1, 1, 2), K, np.zeros((4, 1)), flags=cv2.SOLVEPNP_IPPE
    )
    every = np.column_stack([np.reshape(turns, (-1, 3)), np.reshape(shifts, (-1, 3))])
    good = np.isfinite(every).all(axis=1) & (every[:, COLUMN["z_mm"]] > 0)
    if good.any():
        far = np.ravel(off)[good]
        return [np.append(one, rest) for one in every[good][far <= AS_CLOSE * far.min()]]
    # a scan seen exactly from the front has only one pose, and the closed form divides by zero
    _, turn, shift = cv2.solvePnP(points, seen.reshape(-1, 1, 2), K, np.zeros((4, 1)))
    return [np.concatenate([np.asarray(turn).ravel(), np.asarray(shift).ravel(), rest])]


def _matrix(camera: Camera) -> Array:
    """Return the camera matrix K (3, 3), px."""
    f = camera.focal_px
    return np.array([[f, 0, camera.centre_x_px], [0, f, camera.centre_y_px], [0, 0, 1]])


def _corners(
    camera: Camera, scales: Array, flat_mm: Array, half: tuple[float, float]
) -> tuple[Array, Array]:
    """Return corners of the bent card in the photograph (2 N,), px, and their Jacobian.

    Its columns are those of `COLUMN`. The effect of a bend is derived from OpenCV's derivatives
    with respect to translation.
    """
    flat_mm = flat_mm * (1 + scales)
    points, ahead = bent_with_derivatives_mm(camera, flat_mm, *half)
    lens = np.array([camera.k1, camera.k2, camera.p1, camera.p2, 0])
    turn, shift = camera.rotation_vector.reshape(3, 1), camera.translation_mm.reshape(3, 1)
    seen, J = cv2.projectPoints(points.reshape(-1, 1, 3), turn, shift, _matrix(camera), lens)
    # shifting a point is equivalent to shifting the frame by R times as much
    per_mm = (J[:, 3:6] @ rotation(camera)).reshape(-1, 2, 3)
    by_bend = (per_mm @ np.moveaxis(ahead, 0, 2)).reshape(-1, len(ahead))
    by_scale = (per_mm[..., :2] * flat_mm[:, None]).reshape(-1, 2)
    focal = camera.focal_px * (J[:, 6] + J[:, 7])
    # OpenCV's columns: the pose, two focal lengths, the principal point and the distortion
    columns = [J[:, :6], focal[:, None], J[:, 10:11], J[:, 8:10], by_bend, by_scale]
    return np.asarray(seen, float).ravel(), np.concatenate(columns, axis=1)


def _unfolded(internal: Array) -> Array:
    """Return the parameters of `COLUMN` (15,) from the internal ones.

    A longer focal length at a greater distance looks much the same, and so does a card farther to
    the side with the principal point moved the other way. The picture position of the card's
    middle, px, and ln(z / focal length) replace x, y and z because they follow both valleys.
    """
    full = internal.copy()
    at_x, at_y, log_mm_per_px = internal[AT]
    mm_per_px = float(np.exp(log_mm_per_px))
    x, y = (np.array([at_x, at_y]) - internal[CENTRE]) * mm_per_px
    full[AT] = x, y, mm_per_px * float(np.exp(internal[COLUMN["log_focal"]]))
    return full


def _folded(full: Array) -> Array:
    """Return the internal parameters of the fit (15,) from those of `COLUMN`."""
    focal_px = float(np.exp(full[COLUMN["log_focal"]]))
    x, y, z = full[AT]
    internal = full.copy()
    internal[AT] = *(full[CENTRE] + np.array([x, y]) * focal_px / z), np.log(z / focal_px)
    return internal


def _valley(full: Array) -> Array:
    """Return the derivative of `_unfolded`, (15, 15)."""
    (x, y, z), turned = full[AT], np.eye(len(full))
    mm_per_px = z * float(np.exp(-full[COLUMN["log_focal"]]))
    turned[AT, AT] = [[mm_per_px, 0, x], [0, mm_per_px, y], [0, 0, z]]
    turned[AT, CENTRE] = [[-mm_per_px, 0], [0, -mm_per_px], [0, 0]]
    turned[AT, COLUMN["log_focal"]] = 0, 0, z
    return turned
