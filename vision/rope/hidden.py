"""The reason why no rope can be measured: the band is covered, crowded, burnt out or faint."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import project_mm
from vision.findings import RefusedError, finding, limit_of
from vision.medians import median_of
from vision.results import Finding
from vision.rope.axis import crooked_share, longest_runs
from vision.rope.constants import HALF
from vision.rope.paper import PER_PERIOD, Band
from vision.target.corners import project
from vision.target.locate import LocatedCard
from vision.tones import BURNT, PRINTED_BLACK, Light

Mask = NDArray[np.bool_]

# Reasons about objects on the band, which are located by the loss of the stripes' contrast.
BY_CONTRAST = {"band-too-narrow", "no-straight-rope", "rope-not-found", "two-ropes"}
BURNT_SHARE = 0.2  # of the band: a larger burnt-out area is paper and not a highlight


def why_hidden(
    refused: RefusedError, band: Band | None, located: LocatedCard, grey: NDArray[np.uint8]
) -> RefusedError:
    """Return a refusal about the band, with the underlying reason shown by the paper.

    Parameters
    ----------
    refused : RefusedError
        As raised by a step that relies on the stripes' contrast.
    band : Band or None
        The demodulated band; None where it has no stripes.
    located : LocatedCard
        The card.
    grey : ndarray of shape (H, W), uint8
        Brightness of the upright photograph.
    """
    codes = {item.code for item in refused.findings}
    if band is None:
        return RefusedError(finding("band-covered")) if _too_faint(codes, located) else refused
    if not codes <= BY_CONTRAST:
        return refused
    over = _times_over(band, grey, located.blur.tones.table)
    if over > limit_of("burnt-out"):
        return RefusedError(finding("burnt-out", over))
    return RefusedError(_hides_the_band(band)) if codes == {"band-too-narrow"} else refused


def _too_faint(codes: set[str], located: LocatedCard) -> bool:
    """Return whether stripes are missing although print and blur should let them show."""
    camera, layout = located.pose.camera, located.card.layout
    angle = np.radians(layout.stripe_deg)
    period_mm = np.array([[np.sin(angle), np.cos(angle), 0.0]]) * layout.stripe_mm
    ends = project_mm(camera, np.concatenate([np.zeros((1, 3)), period_mm]))
    expected = 100 * located.blur.contrast(float(np.linalg.norm(ends[1] - ends[0])))
    return codes == {"stripes-faint"} and expected > limit_of("stripes-faint") / HALF


def _times_over(band: Band, grey: NDArray[np.uint8], table: Light) -> float:
    """Return the exposure of burnt-out paper over the brightest recordable light, or 0.

    Where white is burnt out, the exposure follows from the black beside it (`PRINTED_BLACK`).
    Paper is recognised by the remaining stripes, which are in phase.
    """
    every = PER_PERIOD // 2
    x, y = band.x_mm[::every], band.y_mm[::every]
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    seen = np.rint(project(band.to_photo, places)).astype(int)
    column, row = np.clip(seen, 0, np.array(grey.shape[::-1]) - 1).T
    values = grey[row, column].reshape(len(y), len(x))
    about = np.ones((3, 3), np.uint8)  # a period each way
    black, white = table[cv2.erode(values, about)], cv2.dilate(values, about)
    paper = np.abs(np.angle(band.stripes[::every, ::every])) < np.pi / 4
    over = black / PRINTED_BLACK
    burnt = paper & (white >= 255 * BURNT) & (over > limit_of("burnt-out"))
    return float(median_of(over[burnt])) if burnt.mean() > BURNT_SHARE else 0.0


def _hides_the_band(band: Band) -> Finding:
    """Return the reason for a band that is covered up to its edges.

    Between turns or ropes that lie side by side, paper with stripes in phase is visible; gaps
    between ropes are straight. Without such gaps or an edge, a rope can't be distinguished from
    other objects.
    """
    bare = (band.contrast > HALF * band.open_contrast) & band.inside
    bare &= np.abs(np.angle(band.stripes)) < np.pi / 4
    within = ~bare
    within[:PER_PERIOD] = within[-PER_PERIOD:] = False  # where windows extend beyond the stripes
    below = np.maximum.accumulate(within, axis=0)
    above = np.maximum.accumulate(within[::-1], axis=0)[::-1]
    gaps: Mask = np.asarray(bare & below & above, np.bool_)
    first, length = longest_runs(gaps)
    seen = band.inside.mean(axis=0) > 0.7
    if (length[seen] > PER_PERIOD / 2).mean() > HALF:
        crooked = 100 * crooked_share(gaps, first, length, seen)
        if crooked > limit_of("no-straight-rope"):
            return finding("no-straight-rope", crooked)
        return finding("two-ropes", 100.0)
    shown = np.asarray(bare[PER_PERIOD:-PER_PERIOD].any(axis=0), np.bool_)
    if shown[seen].mean() < HALF:
        return finding("band-covered")
    return finding("band-too-narrow", 1.0)
