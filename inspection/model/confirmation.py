"""Who compared a published set of limits with their own copy of the document, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Confirmation:
    """A set of this program's limits, compared with a copy of the document.

    Parameters
    ----------
    rule_set : str
        The set, e.g. "ISO 4309:2017"; unique in a record.
    copy : str
        Which copy it was compared with, in words: edition, date, where it is kept.
    person : str
        Who compared every figure.
    on : date
        When.
    figures : str
        Fingerprint of the figures compared (`inspection.limits.confirmed`): figures that the
        program changes later are not confirmed.
    """

    rule_set: str
    copy: str
    person: str
    on: date
    figures: str


def check_confirmation(confirmation: Confirmation) -> None:
    """Raise ValueError if a confirmation is incomplete."""
    if not confirmation.copy.strip():
        raise ValueError(
            "name the copy that the figures were compared with: its edition, and where it is kept."
        )
    if not confirmation.person.strip() or not confirmation.figures:
        raise ValueError("a confirmation must name the person and the figures.")
