"""A reviewer's decisions about a station, recorded with a reason where one is required."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from inspection.comparison.crosscheck import DOUBTFUL_ZETA, Comparison
from inspection.model.length_text import parse_length
from inspection.model.names import same_person
from inspection.model.readings import Reading
from inspection.record.errors import RecordError
from inspection.record.overview.examinations import ACCEPTED
from inspection.record.record import Record
from inspection.record.views import AskedAgain, Asks, LoggedReading, OpenInspection, StationState
from inspection.screening.figures.transcription_errors import retyped, value_meant_mm
from ui.lengths import length_text, unit_of
from ui.presenters.review.queue import ReviewItem
from vision.results import Place, Result


@dataclass(frozen=True, slots=True)
class Slip:
    """What may have been meant by a reading that disagrees with its photograph.

    Parameters
    ----------
    text : str
        The reading as it should have been typed.
    words : str
        The slip that turns it into what was typed.
    """

    text: str
    words: str


def save_decision(
    record: Record,
    opened: OpenInspection,
    item: ReviewItem,
    decision: StationState,
    *,
    by: str,
    why: str,
) -> None:
    """Save a reviewer's decision in the record.

    Accepting settles the findings; accepting a disagreement needs a reason. Sending back asks the
    inspector for something, with the reason, and sends the inspection back too. Overruling
    reverses another person's decision. Findings that belong to no single station are settled in
    the same way.

    Raises
    ------
    RecordError
        If the person took or corrected a reading of this inspection, if there is no other
        person's decision to overrule, or if the inspection was changed meanwhile.
    ValueError
        If a reason is missing.
    """
    why = " ".join(why.split())
    if decision == "accepted" and item.owes_reason and not why:
        raise ValueError(
            f"{item.name} does not agree: give a reason for accepting it. The reason stays in the "
            "supervisor's list."
        )
    if decision != "accepted" and not why:
        raise ValueError(f"no reason was given: say why the station is {decision}.")
    if decision == "overruled" and item.station is None:
        _check_overruling(item, by)
    _save(record, opened, item, decision, AskedFor(by, why))


def ask_again(
    record: Record, opened: OpenInspection, item: ReviewItem, asked: AskedAgain, *, by: str
) -> None:
    """Ask the inspector to take a reading or photograph of a station again.

    Raises
    ------
    RecordError
        As in `save_decision`.
    """
    where = f"station {asked.station}"
    if asked.view_deg is not None:
        where = Place(asked.station, asked.view_deg).words
    done = "read" if asked.what == "reading" else "photograph"
    why = f"{done} {where} again"
    request = AskedFor(by, why, asked.what, asked.view_deg)
    _save(record, opened, item, "sent back", request)


@dataclass(frozen=True, slots=True)
class AskedFor:
    """The reason for a decision, and what is requested again.

    Parameters
    ----------
    by, why : str
        Who decides, and why.
    what : {"", "reading", "photograph"}
        What is requested again.
    view_deg : int or None
        Its direction.
    """

    by: str
    why: str
    what: Asks = ""
    view_deg: int | None = None


def _save(
    record: Record,
    opened: OpenInspection,
    item: ReviewItem,
    decision: StationState,
    request: AskedFor,
) -> None:
    identity, by, why = opened.inspection.identity, request.by, request.why
    word = ACCEPTED if decision == "accepted" else decision
    how = f"{word}: {why}" if why else word
    back = decision == "sent back"
    with record.transaction() as writing:
        if writing.inspection(identity).revision != opened.revision:
            raise RecordError(
                f"inspection {identity!r} was changed while you were reviewing it, so your "
                "decision was not saved: review it again as it is now."
            )
        if item.station is not None:
            place = AskedAgain(item.station, request.what, request.view_deg)
            writing.review(identity, decision, by=by, why=why, station=place)
            back = writing.inspection(identity).station_reviews[-1].back
        if item.station is None or not back:
            for finding in item.findings:
                if decision == "overruled" or not finding.settled_by:
                    writing.settle_finding(identity, finding.key, how=how, by=by)
        if back:
            writing.review(identity, "sent back", by=by, why=f"{item.name}: {why}")


def _check_overruling(item: ReviewItem, by: str) -> None:
    deciders = {finding.settled_by for finding in item.findings if finding.settled_by}
    if not deciders:
        raise RecordError("there is no decision to overrule here: accept it or send it back.")
    if any(same_person(by, decider) for decider in deciders):
        raise RecordError(f"{by} made this decision; another person must overrule it.")


# ---- a slip of the pen ----------------------------------------------------------------------


def reading_of(opened: OpenInspection, comparison: Comparison) -> LoggedReading | None:
    """Return the logged reading of a comparison; None if it is no longer there."""
    return next(
        (
            logged
            for logged in opened.logged
            if not logged.withdrawn
            and logged.reading.place == comparison.place
            and logged.reading.typed == comparison.typed
        ),
        None,
    )


def slips(reading: Reading, comparison: Comparison, codes: Collection[str] = ()) -> list[Slip]:
    """Return the readings supported by the photograph from which a single slip gives this one.

    Parameters
    ----------
    reading : Reading
        The reading as logged.
    comparison : Comparison
        Its comparison with the photograph.
    codes : collection of str, optional
        Codes of the findings there: a kind of slip that they name comes first.
    """
    found: dict[str, tuple[bool, float, Slip]] = {}
    for code, words, text in retyped(reading.typed):
        value = value_meant_mm(reading, text)
        if supports(comparison, value) and text not in found:
            apart_mm = abs(value - comparison.photo_mm)
            found[text] = (code not in codes, apart_mm, Slip(text, words))
    return [slip for _, _, slip in sorted(found.values(), key=lambda one: one[:2])]


def supports(comparison: Comparison, value_mm: float) -> bool:
    """Say whether a photograph agrees with a figure that is to replace its reading."""
    reach = DOUBTFUL_ZETA * comparison.u_difference_mm
    return abs(value_mm - comparison.photo_mm) <= reach


def correct_slip(
    record: Record,
    opened: OpenInspection,
    comparison: Comparison,
    text: str,
    *,
    by: str,
    why: str = "",
) -> str:
    """Correct a slip of the pen at review; return a description of the change.

    Raises
    ------
    ValueError
        If the text is not a length, equals the present reading, or the photograph does not agree
        with it: the place must then be read again.
    RecordError
        If the person took or corrected a reading of this inspection, or it was changed meanwhile.
    """
    logged = reading_of(opened, comparison)
    if logged is None:
        raise RecordError("this reading no longer exists: review the station as it is now.")
    text = text.strip()
    units = opened.rope.units
    value = parse_length(text, unit=unit_of(units))
    photographed = length_text(comparison.photo_mm, units=units)
    where = comparison.place.words
    if text == logged.reading.typed:
        raise ValueError(f"{text} is already the reading: enter what it should be.")
    if not supports(comparison, value):
        raise ValueError(
            f"the photograph of {where} shows {photographed} and does not support {text}. Only a "
            "slip confirmed by the photograph can be corrected here: ask for the reading again "
            "instead."
        )
    done = f"{logged.reading.typed} was a slip for {text}"
    reason = " ".join(f"{done}; the photograph says {photographed}. {why}".split())
    record.correct_slip(
        opened.inspection.identity,
        logged.number,
        replace(logged.reading, typed=text, value_mm=value),
        by=by,
        why=reason,
        revision=opened.revision,
    )
    return f"{where}: {logged.reading.typed} was corrected to {text}."


def set_aside(record: Record, opened: OpenInspection, result: Result, *, by: str, why: str) -> None:
    """Set a photograph's figure aside, with the reason; it is kept but no longer counts.

    Raises
    ------
    ValueError
        If the reason is missing.
    StaleError
        If the inspection was changed meanwhile.
    """
    why = " ".join(why.split())
    if not why:
        raise ValueError("no reason was given: say what is wrong with the photograph.")
    record.replace_result(
        opened.inspection.identity, result, None,
        by=by, why=f"set aside: {why}", revision=opened.revision,
    )  # fmt: skip
