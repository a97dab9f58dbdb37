"""Sensors of the test range: good phones, and phones with one fault of lens, sensor or software."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from rope_sensor import Sensor
from rope_shot import Shot

FAULTS = (
    "lens distortion",
    "depth of field",
    "motion blur",
    "noise",
    "over-sharpened",
    "JPEG 60 to 75",
    "5 to 8 MP",
    "24 to 48 MP",
)


def good_sensor(rng: np.random.Generator) -> Sensor:
    """Return a phone's sensor in fair light, with usual sharpening and JPEG quality."""
    return Sensor(
        paper_level=rng.uniform(0.68, 0.86),
        psf_px=rng.uniform(0.5, 0.9),
        full_well=float(rng.choice([1500, 4000, 9000])),
        sharpening=rng.uniform(0.2, 0.6),
        quality=int(rng.integers(80, 96)),
        balance=(1 + float(rng.normal(0, 0.025)), 1.0, 1 + float(rng.normal(0, 0.025))),
    )


def faulty(shot: Shot, fault: str, rng: np.random.Generator) -> Shot:
    """Return the shot as a phone with one of `FAULTS` takes it."""
    sensor = shot.sensor
    if fault == "lens distortion":
        k1 = float(rng.choice([-1, 1]) * rng.uniform(0.005, 0.03))
        sensor = replace(sensor, k1=k1)
    elif fault == "depth of field":
        # f/1.6 to f/2.2 of a lens of 4 to 7 mm; focused within a tenth of the card's distance
        focus = shot.distance_mm * float(rng.uniform(0.93, 1.1))
        sensor = replace(sensor, aperture_mm=rng.uniform(2.2, 3.6), focus_mm=focus)
    elif fault == "motion blur":
        sensor = replace(sensor, motion_px=rng.uniform(2, 8), motion_deg=rng.uniform(0, 180))
    elif fault == "noise":
        sensor = replace(sensor, full_well=rng.uniform(150, 700), read_noise=8.0)
    elif fault == "over-sharpened":
        share, radius = rng.uniform(0.9, 1.8), rng.uniform(1.0, 2.0)
        sensor = replace(sensor, sharpening=share, sharpening_px=radius)
    elif fault == "JPEG 60 to 75":
        sensor = replace(sensor, quality=int(rng.integers(60, 76)))
    elif fault == "5 to 8 MP":
        sensor = replace(sensor, megapixels=rng.uniform(5, 8))
    elif fault == "24 to 48 MP":
        sensor = replace(sensor, megapixels=float(rng.choice([24.0, 48.0])))
    else:
        raise ValueError(f"`fault` must be one of {', '.join(FAULTS)}; got {fault!r}.")
    note = f"{shot.note} + {fault}"
    return replace(shot, file=shot.file.replace(".jpg", "-b.jpg"), sensor=sensor, note=note)
