"""The bar of the sheet on a phone: the last photograph and the place to photograph next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from inspection.record.views import OpenInspection
from ui.lengths import diameter_words
from ui.presenters.sheet.entry import asked_again
from ui.text import capitalised, sentence
from vision.results import Estimate, Refusal, Result

VIEWS = (0, 90)


@dataclass(frozen=True, slots=True)
class PlaceToPhotograph:
    """A place that has no usable photograph.

    Parameters
    ----------
    station, view_deg : int
        The place.
    why : str
        What was wrong with the photograph taken there; empty if there is none.
    """

    station: int
    view_deg: int
    why: str = ""


@dataclass(frozen=True, slots=True)
class NextPhotograph:
    """What an inspector with a phone sees while photographing.

    Parameters
    ----------
    places : tuple of PlaceToPhotograph
        The places without a usable photograph, in order.
    following : int
        The station after the last one, for an inspection without planned stations; otherwise 0.
    waiting : int
        How many photographs wait for their first measurement.
    last : str
        The result of the last photograph measured; empty before the first.
    last_field : str
        The field of its place, such as "3/90"; empty if its card gave none.
    more : str
        Findings of that photograph: what was seen, and what to do.
    good : bool
        Whether it has a diameter.
    """

    places: tuple[PlaceToPhotograph, ...] = ()
    following: int = 0
    waiting: int = 0
    last: str = ""
    last_field: str = ""
    more: str = ""
    good: bool = False


def next_photograph(
    opened: OpenInspection, stations: Sequence[int], hidden: frozenset[str]
) -> NextPhotograph:
    """Return the result of the last photograph, and the places still to be photographed.

    Parameters
    ----------
    opened : OpenInspection
        The inspection.
    stations : sequence of int
        The stations of the sheet.
    hidden : frozenset of str
        Fields whose figures are hidden until their reading is typed.
    """
    measured = {one.photo_sha256 for one in opened.results}
    planned = bool(opened.inspection.stations)
    shown = NextPhotograph(
        tuple(_open_places(opened, stations)),
        0 if planned else max(stations, default=0) + 1,
        len(set(opened.waiting) - measured),
    )
    last = next((one.sha256 for one in reversed(opened.photographs) if one.sha256 in measured), "")
    results = [one for one in opened.results if one.photo_sha256 == last]
    return _with_last(opened, shown, results, hidden) if results else shown


def _open_places(opened: OpenInspection, stations: Sequence[int]) -> list[PlaceToPhotograph]:
    found = []
    for station in stations:
        for view in VIEWS:
            here = [one for one in opened.results if (one.station, one.view_deg) == (station, view)]
            review = asked_again(opened, station, view)
            if review is not None and review.asks == "photograph":
                found.append(PlaceToPhotograph(station, view, review.why))
            elif not any(isinstance(one, Estimate) for one in here):
                why = here[-1].findings[0].seen if here else ""
                found.append(PlaceToPhotograph(station, view, why))
    return found


def _with_last(
    opened: OpenInspection,
    shown: NextPhotograph,
    results: Sequence[Result],
    hidden: frozenset[str],
) -> NextPhotograph:
    best = min(results, key=lambda one: isinstance(one, Refusal))
    field = (
        "" if best.station is None or best.view_deg is None else f"{best.station}/{best.view_deg}"
    )
    where = f"station {best.station}, {best.view_deg}°: " if field else ""
    findings = best.findings if isinstance(best, Estimate) else best.findings[:1]
    more = " ".join(sentence(one) for one in findings)
    if isinstance(best, Refusal):
        words = f"{where}no diameter"
    elif field in hidden:
        words = f"{where}measured; type your reading to see the figure"
    else:
        words = f"{where}{diameter_words(best.diameter_mm, best.u_mm, opened.rope.units)}"
    return replace(
        shown,
        last=capitalised(words),
        last_field=field,
        more=more,
        good=isinstance(best, Estimate),
    )
