"""The print check, calibration and hold that a photograph is measured with, and later ones.

A print check made after the photographs is not applied until somebody asks for it: it may be of
another printing. So it is offered, for exactly those photographs that it fits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from inspection.record.views import Manner, OpenInspection
from ui.services.measuring_queue import calibration_in_words, manner_of
from vision.calibration.library import CalibratedCamera
from vision.results import Estimate
from vision.target.print_scale import PrintCheck


@dataclass(frozen=True, slots=True)
class Offer:
    """Photographs that can be measured better from their stored bytes.

    Parameters
    ----------
    label : str
        Label of the button, e.g. "Apply this check to these 8 photographs".
    why : str
        The reason recorded with the new results.
    hashes : tuple of str
        The photographs.
    manner : Manner
        How they would be measured.
    """

    label: str
    why: str
    hashes: tuple[str, ...]
    manner: Manner


def choose_check(
    checks: dict[str, PrintCheck], print_set: str | None, holder: str
) -> PrintCheck | None:
    """Return the print check to measure with: the named one, or the only one; None if none.

    Raises
    ------
    ValueError
        If there are several and none was named, or the named one is not there.
    """
    if print_set is None and len(checks) > 1:
        raise ValueError(
            f"{holder} holds {len(checks)} card sets; choose one with --print-set: "
            f"{', '.join(sorted(checks))}."
        )
    if print_set is not None and print_set not in checks:
        raise ValueError(
            f"{holder} holds no card set '{print_set}'; it holds "
            f"{', '.join(sorted(checks)) or 'none'}."
        )
    return checks[print_set] if print_set else next(iter(checks.values()), None)


def usual_print_set(opened: OpenInspection, known: Mapping[str, object]) -> str:
    """Return the card set of an inspection's last photographs; else the record's only one.

    With several in the record and none used yet it is not known which cards were used, and a wrong
    print check would be worse than none: the answer is "".
    """
    asked = sorted(opened.requests, key=lambda request: request.event)
    used = [one.print_set for one in opened.results if isinstance(one, Estimate)]
    used += [request.manner.print_set for request in asked]
    if used:
        return used[-1] if used[-1] in known else ""
    return next(iter(known)) if len(known) == 1 else ""


def offers(
    opened: OpenInspection,
    checks: Mapping[str, PrintCheck],
    cameras: Mapping[str, CalibratedCamera],
) -> list[Offer]:
    """Return print checks and calibrations later than an inspection's photographs that fit some.

    Parameters
    ----------
    opened : OpenInspection
        The inspection.
    checks : mapping of str to PrintCheck
        The record's print checks by card set.
    cameras : mapping of str to CalibratedCamera
        This machine's calibrated cameras by their key.
    """
    there = {one.sha256 for one in opened.photographs} - opened.waiting
    automatic = [
        one for one in opened.results
        if isinstance(one, Estimate) and one.photo_sha256 in there
        and not one.by_hand and not one.without_card
    ]  # fmt: skip
    found = []
    for name, check in checks.items():
        mine = [one for one in automatic if _unchecked_on(one, check)]
        found += _offer(
            opened, mine, f"Apply the print check {name} to", f"print check {name} applied", name
        )
    used = {one.sha256: (one.camera_key, one.calibration) for one in opened.requests}
    for key, camera in cameras.items():
        now = calibration_in_words(camera)
        mine = [
            one for one in automatic
            if used.get(one.photo_sha256, ("", ""))[0] == key and used[one.photo_sha256][1] != now
        ]  # fmt: skip
        label = f"Apply the calibration of {key.partition(',')[0]} to"
        why = f"calibration of {key} applied"
        found += _offer(opened, mine, label, why, None)
    return found


def _unchecked_on(estimate: Estimate, check: PrintCheck) -> bool:
    """Return whether an estimate's print is unchecked and a check is of that card."""
    source = f"unchecked {check.layout.name}"
    return not estimate.print_set and any(source in term.source for term in estimate.budget)


def _offer(
    opened: OpenInspection, results: list[Estimate], label: str, why: str, print_set: str | None
) -> list[Offer]:
    """Return an offer for each manner in which the photographs have been measured."""
    by_manner: dict[Manner, list[str]] = {}
    for sha256 in dict.fromkeys(one.photo_sha256 for one in results):
        manner = manner_of(opened, sha256)
        if print_set is not None:
            manner = replace(manner, print_set=print_set)
        by_manner.setdefault(manner, []).append(sha256)
    return [
        Offer(f"{label} {_these(len(hashes))}", why, tuple(hashes), manner)
        for manner, hashes in by_manner.items()
    ]


def _these(count: int) -> str:
    return "this photograph" if count == 1 else f"these {count} photographs"


def can_be_measured_again(opened: OpenInspection) -> tuple[str, ...]:
    """Return the photographs whose results a new measurement would replace.

    Not those whose edges a person moved, nor those without the card.
    """
    stays = {
        one.photo_sha256
        for one in opened.results
        if isinstance(one, Estimate) and (one.by_hand or one.without_card)
    }
    return tuple(one.sha256 for one in opened.photographs if one.sha256 not in stays)
