"""What a reviewer decides about a station: kept in the record, with the reason where it is owed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from inspection.comparison.crosscheck import DOUBTFUL_ZETA, Comparison
from inspection.model.length_text import parse_length
from inspection.model.names import same_person
from inspection.model.readings import Reading
from inspection.record.errors import RecordError
from inspection.record.examinations import ACCEPTED
from inspection.record.record import Record
from inspection.record.views import AskedAgain, Asks, LoggedReading, OpenInspection
from inspection.screening.transcription_errors import retyped, value_meant_mm
from ui.lengths import length_text, unit_of
from ui.presenters.review_queue import ReviewItem
from vision.results import Place, Result

Decision = Literal["accepted", "sent back", "overruled"]


@dataclass(frozen=True, slots=True)
class Slip:
    """What may have been meant by a reading that disagrees with its photograph.

    Parameters
    ----------
    text : str
        As it would have been typed.
    words : str
        Which slip turns it into what was typed.
    """

    text: str
    words: str


def save_decision(
    record: Record,
    opened: OpenInspection,
    item: ReviewItem,
    decision: Decision,
    *,
    by: str,
    why: str,
) -> None:
    """Keep a reviewer's decision in the record.

    Accepting settles what was found there; what disagrees is accepted with a reason only. Sending
    back asks the inspector for something, with the reason; the inspection is sent back with it.
    Overruling turns another person's decision round. What belongs to no single station is settled
    in the same words.

    Raises
    ------
    RecordError
        If the person read or corrected a reading of this inspection, would overrule themselves
        or nobody, or the inspection was changed meanwhile.
    ValueError
        If a reason is missing.
    """
    why = " ".join(why.split())
    if decision == "accepted" and item.owes_reason and not why:
        raise ValueError(
            f"{item.name} does not agree: say why it stands all the same. The reason stays in the "
            "supervisor's list."
        )
    if decision != "accepted" and not why:
        raise ValueError(f"a station is {decision} with a reason: say why.")
    if decision == "overruled" and item.station is None:
        _check_overruling(item, by)
    _save(record, opened, item, decision, AskedFor(by, why))


def ask_again(
    record: Record, opened: OpenInspection, item: ReviewItem, asked: AskedAgain, *, by: str
) -> None:
    """Ask the inspector for a reading or a photograph of a station again.

    Raises
    ------
    RecordError
        As `save_decision`.
    """
    where = f"station {asked.station}"
    if asked.view_deg is not None:
        where = Place(asked.station, asked.view_deg).words
    done = "read" if asked.what == "reading" else "photograph"
    why = f"{done} {where} again"
    told = AskedFor(by, why, asked.what, asked.view_deg)
    _save(record, opened, item, "sent back", told)


@dataclass(frozen=True, slots=True)
class AskedFor:
    """A decision's reason, with what is asked for again.

    Parameters
    ----------
    by, why : str
        Who decides, and why.
    what : {"", "reading", "photograph"}
        What is asked for again.
    view_deg : int or None
        In which direction.
    """

    by: str
    why: str
    what: Asks = ""
    view_deg: int | None = None


def _save(
    record: Record, opened: OpenInspection, item: ReviewItem, decision: Decision, told: AskedFor
) -> None:
    identity, by, why = opened.inspection.identity, told.by, told.why
    word = ACCEPTED if decision == "accepted" else decision
    how = f"{word}: {why}" if why else word
    back = decision == "sent back"
    with record.transaction() as writing:
        if writing.inspection(identity).revision != opened.revision:
            raise RecordError(
                f"inspection {identity!r} was changed while you looked at it; nothing was decided: "
                "look at it as it is now, and decide then."
            )
        if item.station is not None:
            asked = AskedAgain(item.station, told.what, told.view_deg)
            writing.review(identity, decision, by=by, why=why, station=asked)
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
        raise RecordError("nothing was decided here yet: accept it or send it back.")
    if any(same_person(by, decider) for decider in deciders):
        raise RecordError(f"{by} decided here; another person must overrule it.")


# ---- a slip of the pen ----------------------------------------------------------------------


def reading_of(opened: OpenInspection, comparison: Comparison) -> LoggedReading | None:
    """Return the logged reading that a comparison is about; None if it is not there any more."""
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


def slips(reading: Reading, comparison: Comparison, said: Sequence[str] = ()) -> list[Slip]:
    """Return what a single slip of the pen turns into the reading and the photograph supports.

    Parameters
    ----------
    reading : Reading
        As it was logged.
    comparison : Comparison
        Against its photograph.
    said : sequence of str
        What screening says about the place; what it names first comes first.
    """
    told = " ".join(said)
    found: dict[str, tuple[int, float, Slip]] = {}
    for _, words, text in retyped(reading.typed):
        value = value_meant_mm(reading, text)
        if not supports(comparison, value) or text in found:
            continue
        named = told.find(f"{text} in place of")
        rank = named if named >= 0 else len(told) + 1
        found[text] = (rank, abs(value - comparison.photo_mm), Slip(text, words))
    return [slip for _, _, slip in sorted(found.values(), key=lambda one: one[:2])]


def supports(comparison: Comparison, value_mm: float) -> bool:
    """Say whether a photograph agrees with a figure that is to take the place of its reading."""
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
    """Correct a slip of the pen at review; return what was done in words.

    Raises
    ------
    ValueError
        If the text is no length, says what stands there already, or the photograph does not agree
        with it: then the place is to be read again.
    RecordError
        If the person read or corrected a reading of this inspection, or it was changed meanwhile.
    """
    logged = reading_of(opened, comparison)
    if logged is None:
        raise RecordError("this reading is not there any more; look at the station as it is now.")
    text = text.strip()
    units = opened.rope.units
    value = parse_length(text, unit=unit_of(units))
    photographed = length_text(comparison.photo_mm, units=units)
    where = comparison.place.words
    if text == logged.reading.typed:
        raise ValueError(f"{text} stands there already; say what it should be.")
    if not supports(comparison, value):
        raise ValueError(
            f"the photograph of {where} says {photographed} and does not support "
            f"{text}: only a slip that it shows to be one is corrected here. Ask for the reading "
            "again instead."
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
    return f"{where}: {logged.reading.typed} is {text} now."


def set_aside(record: Record, opened: OpenInspection, result: Result, *, by: str, why: str) -> None:
    """Set a photograph's figure aside, with the reason; it is kept and counts no more.

    Raises
    ------
    ValueError
        If the reason is missing.
    StaleError
        If the inspection was changed meanwhile.
    """
    why = " ".join(why.split())
    if not why:
        raise ValueError("a photograph is set aside with a reason: say what is wrong with it.")
    record.replace_result(
        opened.inspection.identity, result, None,
        by=by, why=f"set aside: {why}", revision=opened.revision,
    )  # fmt: skip
