"""How an inspection ends: the competent person's decision about the rope."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

ServiceDecision = Literal["stays in service", "stays in service until", "taken out of service"]
DECISIONS: tuple[ServiceDecision, ...] = get_args(ServiceDecision)


@dataclass(frozen=True, slots=True)
class Closing:
    """The competent person's decision; this program decides nothing.

    Parameters
    ----------
    decision : {"stays in service", "stays in service until", "taken out of service"}
        The decision.
    competent_person : str
        Who decided.
    until : date or None
        Last day of service, if the decision names one.
    next_due : date or None
        When the rope is to be inspected again.
    remarks : str
        Further remarks.
    """

    decision: ServiceDecision
    competent_person: str
    until: date | None = None
    next_due: date | None = None
    remarks: str = ""

    @property
    def words(self) -> str:
        """The decision and when the rope is next due.

        Examples
        --------
        >>> Closing("stays in service until", "C. Holm", date(2027, 3, 1)).words
        'stays in service until 2027-03-01'
        """
        until = f" {self.until.isoformat()}" if self.until else ""
        due = f", next inspection due {self.next_due.isoformat()}" if self.next_due else ""
        return f"{self.decision}{until}{due}"


def check_closing(closing: Closing, *, held_on: date) -> None:
    """Raise ValueError if a decision is incomplete or its dates are impossible."""
    if closing.decision not in DECISIONS:
        raise ValueError(
            f"the decision must be one of {', '.join(DECISIONS)}; got {closing.decision!r:.60}."
        )
    if not closing.competent_person.strip():
        raise ValueError("a decision about a rope needs a name: enter the competent person.")
    if (closing.decision == "stays in service until") != (closing.until is not None):
        raise ValueError(
            "the last day of service is missing: enter it, or choose 'stays in service'."
            if closing.until is None
            else f"{closing.decision!r} takes no last day; got {closing.until}."
        )
    for what, day in (
        ("last day of service", closing.until),
        ("next inspection", closing.next_due),
    ):
        if day is not None and day < held_on:
            raise ValueError(f"the {what}, {day}, is before the inspection of {held_on}.")
