"""The print's scale: from caliper readings of the card's two bars, and from the photograph.

Printers stretch paper by different amounts along and across. The two bars of a card are measured
once; their true lengths give the card's scale along each axis. Checks are stored by the name of
the card set in one small JSON file::

    {"demo-set": {"layout": "A5 middle", "along_mm": 180.7, "across_mm": 109.6,
                  "u_mm": 0.02, "checked_on": "2026-09-14"}}

A single photograph shows only whether its card's print is longer one way than the other.

A print that is off by the same factor both ways can't be detected: card, rope and distance shrink
together. A print stretched one way can. It looks tilted, but a tilt brings one end of the card
closer to the camera and enlarges it, and a stretch does not. The fit of the pose
(`vision.target.pose`) includes the print's two scales, with a prior, and thus takes up the
stretch; this module reads it back.

A card that is bent across the rope looks shorter across, and is refused as well.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm, gradient, rays
from vision.findings import RefusedError, finding, limit_of
from vision.json_files import read_json, update_json
from vision.medians import median_of
from vision.target.detect import FoundCard
from vision.target.layout import Card, Layout, layout_named
from vision.target.pose import SCALES, Pose

UNCHECKED_U = 0.01  # +-1 % on laser prints, different in x and y (a user's report of 1990)
FURTHEST_OFF = 0.06  # "fit to page" shrinks by 3 to 6 % (from memory, confidence 0.6)
# Setting a caliper to two printed ends by eye (common practice, no source).
U_ENDS_MM = 0.03
# Paper grows and shrinks with moisture after the check: 0.01 % to 0.02 % per 1 % of relative
# humidity across the grain, less along it (from memory, confidence 0.6); 0.03 % allows for a
# change of a few per cent between check and photograph.
U_MOISTURE = 0.0003


@dataclass(frozen=True, slots=True)
class PrintCheck:
    """The readings of the two bars of one card set.

    Parameters
    ----------
    name : str
        Name of the card set.
    layout : Layout
        Layout of the printed card.
    along_read_mm, across_read_mm : float
        Lengths of the two bars as read, mm.
    u_read_mm : float
        Standard uncertainty of one reading due to the instrument, mm. A caliper with limits of
        error of 0.03 mm gives 0.03 / sqrt(3), about 0.02 mm.
    checked_on : date or None
        Date of the check.

    Raises
    ------
    ValueError
        If a reading is more than 6 % off the drawn length, or a value makes no sense.
    """

    name: str
    layout: Layout
    along_read_mm: float
    across_read_mm: float
    u_read_mm: float
    checked_on: date | None = None

    def __post_init__(self) -> None:
        """Refuse readings that no sound print can give."""
        if not self.name.strip():
            raise ValueError("the card set needs a name; got an empty one.")
        if not (math.isfinite(self.u_read_mm) and 0 < self.u_read_mm <= 1):
            raise ValueError(
                "the standard uncertainty of a reading must be more than 0 and at most 1 mm; "
                f"got {self.u_read_mm:g} mm."
            )
        along, across = self.layout.along_bar_mm, self.layout.across_bar_mm
        _refuse_far_off("along", self.along_read_mm, along, across)
        _refuse_far_off("across", self.across_read_mm, across, along)


def _refuse_far_off(which: str, read_mm: float, drawn_mm: float, other_mm: float) -> None:
    def near(value: float, target: float) -> bool:
        return math.isfinite(value) and abs(value / target - 1) <= FURTHEST_OFF

    if near(read_mm, drawn_mm):
        return
    if near(read_mm * 25.4, drawn_mm):
        cause = "it looks like inches; enter it in mm"
    elif near(read_mm * 10, drawn_mm):
        cause = "it looks like centimetres; enter it in mm"
    elif near(read_mm, other_mm):
        cause = "it looks like the other bar's length; swap the two readings"
    else:
        cause = "it looks like a slip, or like a page printed to fit; reprint at 100 %"
    raise ValueError(
        f"the bar {which} is drawn {drawn_mm:g} mm long but {read_mm:g} mm was read, more than "
        f"{FURTHEST_OFF:.0%} off: {cause}."
    )


def checked_card(check: PrintCheck) -> Card:
    """Return the card of a checked set, with its true scale along each axis.

    The standard uncertainty of each scale includes the instrument (`PrintCheck.u_read_mm`),
    setting it to the bar's two ends by eye (0.03 mm), and the effect of moisture on the paper
    between check and photograph (0.03 %). It does not include a card that is not flat, or a print
    whose scale varies within the page.

    Parameters
    ----------
    check : PrintCheck
        The readings of the printed bars.

    Examples
    --------
    >>> from vision.target.layout import layout_named
    >>> card = checked_card(PrintCheck("demo-set", layout_named("A5 middle"), 180.7, 109.6, 0.02))
    >>> round(card.scale_x, 5), round(card.u_scale_x, 5), card.print_set
    (1.00389, 0.00036, 'demo-set')
    """
    layout = check.layout
    u_bar_mm = math.hypot(check.u_read_mm, U_ENDS_MM)
    return Card(
        layout,
        scale_x=check.along_read_mm / layout.along_bar_mm,
        scale_y=check.across_read_mm / layout.across_bar_mm,
        u_scale_x=math.hypot(u_bar_mm / layout.along_bar_mm, U_MOISTURE),
        u_scale_y=math.hypot(u_bar_mm / layout.across_bar_mm, U_MOISTURE),
        print_set=check.name,
    )


def unchecked_card(layout: Layout) -> Card:
    """Return a card with an unchecked print: the drawn size, known to 1 % only.

    Parameters
    ----------
    layout : Layout
        Its layout.
    """
    return Card(layout, u_scale_x=UNCHECKED_U, u_scale_y=UNCHECKED_U)


def card_as_printed(found: FoundCard, check: PrintCheck | None) -> Card:
    """Return the card in a photograph, with what is known of its print.

    Parameters
    ----------
    found : FoundCard
        A card in a photograph.
    check : PrintCheck or None
        The readings of the printed bars; ignored if they are of another layout.
    """
    card = unchecked_card(found.layout) if check is None else checked_card(check)
    if card.layout != found.layout:
        card = unchecked_card(found.layout)
    return card.numbered(found.number)


def load_print_checks(path: str | os.PathLike[str]) -> dict[str, PrintCheck]:
    """Return the latest check of each card set in a file; empty if there is no such file.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    dict of str to PrintCheck
        By the name of the card set.

    Raises
    ------
    ValueError
        If the file is damaged, or an entry is not a print check.
    """
    file = Path(path)
    return {
        name: _check_from(name, entry, file)
        for name, entry in read_json(file, "print checks").items()
    }


def save_print_check(path: str | os.PathLike[str], check: PrintCheck) -> None:
    """Add a check to a file atomically, keeping any earlier check of the set in it.

    Parameters
    ----------
    path : path
        The file; created if it does not exist.
    check : PrintCheck
        The check to save.

    Raises
    ------
    ValueError
        If the file is damaged (it is then left unchanged), cannot be written, or has this set
        with another layout.
    """
    file = Path(path)

    def with_check(entries: dict[str, Any]) -> dict[str, Any] | None:
        known = {name: _check_from(name, entry, file) for name, entry in entries.items()}
        before = known.get(check.name)
        if before == check:
            return None
        if before is not None and before.layout != check.layout:
            raise ValueError(
                f"card set {check.name!r} is of layout {before.layout.name}, not "
                f"{check.layout.name}; give the new set another name."
            )
        entry = check_to_dict(check)
        if before is not None:
            old = dict(entries[check.name])
            entry["earlier"] = [*old.pop("earlier", []), old]
        return {**entries, check.name: entry}

    update_json(file, "the print check", with_check)


def check_to_dict(check: PrintCheck) -> dict[str, Any]:
    """Return a print check as plain values, for the file and the record."""
    return {
        "layout": check.layout.name,
        "along_mm": check.along_read_mm,
        "across_mm": check.across_read_mm,
        "u_mm": check.u_read_mm,
        "checked_on": None if check.checked_on is None else check.checked_on.isoformat(),
    }


def check_from_dict(card_set: str, values: dict[str, Any]) -> PrintCheck:
    """Return the print check from the values that `check_to_dict` returned."""
    on = values.get("checked_on")
    return PrintCheck(
        card_set,
        layout_named(values["layout"]),
        float(values["along_mm"]),
        float(values["across_mm"]),
        float(values["u_mm"]),
        None if on is None else date.fromisoformat(on),
    )


def _check_from(name: str, entry: Any, file: Path) -> PrintCheck:
    where = f"{file.name}, card set {name!r}"
    if not isinstance(entry, dict) or not isinstance(entry.get("layout"), str):
        raise ValueError(f"{where}: not a print check; mend the file or move it away.")
    lengths: list[Any] = [entry.get(key) for key in ("along_mm", "across_mm", "u_mm")]
    if not all(type(length) in (int, float) for length in lengths):
        raise ValueError(f"{where}: along_mm, across_mm and u_mm must be numbers, in mm.")
    day = entry.get("checked_on")
    if not isinstance(day, str | None):
        raise ValueError(f"{where}: checked_on must be a date such as 2026-09-14.")
    try:
        if day is not None:
            date.fromisoformat(day)
    except ValueError:
        raise ValueError(
            f"{where}: checked_on is {day!r:.60}; it must be a date such as 2026-09-14."
        ) from None
    try:
        return check_from_dict(name, entry)
    except OverflowError:
        raise ValueError(f"{where}: along_mm, across_mm and u_mm must be numbers, in mm.") from None
    except ValueError as reason:
        raise ValueError(f"{where}: {reason}") from None


Array = NDArray[np.float64]
Used = NDArray[np.bool_]

FAR_OFF = 6.0  # times the median distance: a corner this far off is left out


def refuse_stretched(found: FoundCard, card: Card, pose: Pose) -> None:
    """Refuse a card with an unchecked print that is significantly stretched one way.

    A checked print's scales are known and held in the fit, so no stretch can show.

    Parameters
    ----------
    found : FoundCard
        The card's corners.
    card : Card
        The card with what is known of its print.
    pose : Pose
        Camera and card, fitted with that card.

    Raises
    ------
    RefusedError
        If the print is stretched by more than the uncertainty of an unchecked print covers.
    """
    if card.print_set:
        return
    stretch, used = print_stretch(found, pose)
    # the uncertainty takes longer to compute than the stretch, so only where it could matter
    if 100 * abs(stretch) > limit_of("print-stretched"):
        _refuse_significant(stretch, u_print_stretch(found, pose, used))


def refuse_fitted_stretch(card: Card, pose: Pose) -> None:
    """Refuse such a card once the stripes, which show the stretch far better, are fitted too.

    Parameters
    ----------
    card : Card
        The card with what is known of its print.
    pose : Pose
        Camera and card, fitted with that card to corners and stripes.

    Raises
    ------
    RefusedError
        As `refuse_stretched` does.
    """
    if card.print_set:
        return
    difference = np.array([1.0, -1.0])
    u = float(np.sqrt(difference @ pose.joint.ordered(SCALES) @ difference))
    _refuse_significant(float(difference @ pose.scales), u)


def _refuse_significant(stretch: float, u: float) -> None:
    if 100 * (abs(stretch) - 2 * u) > limit_of("print-stretched"):
        raise RefusedError(finding("print-stretched", 100 * abs(stretch)))


def print_stretch(found: FoundCard, pose: Pose) -> tuple[float, Used]:
    """Return by how much a print is longer along than across, 1, and the corners used (N,).

    Parameters
    ----------
    found : FoundCard
        The card's corners.
    pose : Pose
        Camera and card, fitted to these corners with a prior for the print's scale.
    """
    off = _stretch(found, pose.camera, np.ones(len(found.corners_px), np.bool_))[1]
    used: Used = np.asarray(off < max(FAR_OFF * float(median_of(off)), 1e-6))
    return _stretch(found, pose.camera, used)[0], used


def u_print_stretch(found: FoundCard, pose: Pose, used: Used) -> float:
    """Return the standard uncertainty of `print_stretch`, 1, from the pose's covariance.

    Parameters
    ----------
    found : FoundCard
        The card's corners.
    pose : Pose
        Camera and card, fitted to these corners.
    used : ndarray of shape (N,), bool
        The corners that `print_stretch` used.
    """
    covariance = pose.whole_covariance
    sensitivity = gradient(
        lambda camera: _stretch(found, camera, used)[0],
        pose.camera,
        steps=0.01 * covariance.u_all(),
    )
    return float(np.sqrt(covariance.variance(sensitivity)))


def _stretch(found: FoundCard, camera: Camera, used: Used) -> tuple[float, Array]:
    """Return the stretch shown by the corners used, and every corner's residual, mm (N,)."""
    half = found.layout.length_mm / 2, found.layout.half_height_mm
    on_card = _on_card_mm(camera, found.corners_px, half)
    plane = np.column_stack([found.corners_mm, np.ones(len(on_card))])
    affine = np.linalg.lstsq(plane[used], on_card[used], rcond=None)[0]
    return float(affine[0, 0] / affine[1, 1] - 1), np.hypot(*(on_card - plane @ affine).T)


def _on_card_mm(camera: Camera, points_px: Array, half_mm: tuple[float, float]) -> Array:
    """Return where lines of sight meet the curled and twisted card, mm (N, 2)."""
    eye, sight = camera_centre_mm(camera), rays(camera, points_px)
    height = np.zeros(len(sight))
    for _ in range(4):  # a few mm of bend seen from hundreds of mm: converges by 100 per step
        reach = (height - eye[2]) / sight[:, 2]
        x, y = (eye[:2] + reach[:, None] * sight[:, :2]).T
        along, across = x / half_mm[0], y / half_mm[1]
        height = camera.curl_mm * along**2 + camera.twist_mm * along * across
    return np.column_stack([x, y])
