"""The settings that a person would have given for a rendered photograph."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.calibration.library import U_REFOCUS, U_SHIFT_SHARE, CalibratedCamera, camera_key
from vision.camera import U_K1
from vision.photo.photo import Photo
from vision.pipeline import Settings
from vision.rope.tangent_cylinder import Hold, HoldKind
from vision.target.layout import layout_named
from vision.target.print_scale import PrintCheck

U_BARS_MM = 0.02  # standard uncertainty of the bars' readings in the truth
# Standard uncertainties after a good calibration: of the focal length (relative), and of the
# principal point as a share of the long side (3 px of 4,000). Eight or more photographs of the
# board give this or better.
U_FOCAL, U_CENTRE_SHARE = 0.003, 0.00075
PHONES_SEED = 8117


def settings_of(truth: dict[str, str]) -> Settings:
    """Return the settings for a photograph from its row of truth: print check and hold."""
    check = None
    if truth.get("print_checked", "yes") != "no":
        check = PrintCheck(
            truth.get("pair") or truth["file"],  # both cards of a station are from one print
            layout_named(truth["layout"]),
            float(truth["along_read_mm"]),
            float(truth["across_read_mm"]),
            U_BARS_MM,
            None,
        )
    kind = HoldKind(truth.get("hold") or "touching")
    offset = float(truth["offset_read_mm"]) if kind is HoldKind.STAND_OFF else 0.0
    return Settings(print_check=check, hold=Hold(kind, offset))


def with_phone_calibrated(settings: Settings, truth: dict[str, str], photo: Photo) -> Settings:
    """Return the settings with the photograph's camera as well known as after a good calibration.

    The true camera gets two random errors: what the calibration leaves uncertain, the same for both
    views of a station, and what the tool allows for refocusing and stabilisation since then, drawn
    for each photograph. Distortion stays unknown. A file that names no camera gets no calibration.
    """
    key = camera_key(photo)
    if not key:
        return settings
    height, width = photo.pixels.shape[:2]
    long_px = max(width, height)
    off = np.zeros(3)
    for named, us in (
        (truth.get("pair") or truth["file"], (U_FOCAL, U_CENTRE_SHARE, U_CENTRE_SHARE)),
        (truth["file"], (U_REFOCUS, U_SHIFT_SHARE, U_SHIFT_SHARE)),
    ):
        off += np.random.default_rng([PHONES_SEED, *named.encode()]).normal(0, us)
    u = (U_FOCAL, *[U_CENTRE_SHARE * long_px] * 2, U_K1, *[1e-6] * 3)
    camera = CalibratedCamera(
        key=key,
        size=(height, width) if photo.orientation >= 5 else (width, height),
        focal_px=float(truth["focal_px_true"]) * float(np.exp(off[0])),
        centre_px=(
            float(truth["principal_x_px"]) + float(off[1]) * long_px,
            float(truth["principal_y_px"]) + float(off[2]) * long_px,
        ),
        k1=0.0,
        k2=0.0,
        p1=0.0,
        p2=0.0,
        covariance=tuple(tuple(row) for row in np.diag(np.square(u)).tolist()),
        photographs=0,
        rms_px=0.0,
        coverage=0.0,
    )
    return replace(settings, cameras={key: camera})
