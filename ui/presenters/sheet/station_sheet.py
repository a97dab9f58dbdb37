"""The station sheet: one row per station, one cell per direction, and the headline above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from inspection.assessment import Assessment
from inspection.comparison.crosscheck import Comparison
from inspection.measurement.section import SAME_PLACE_MM, Section, best_sections, sections_of_log
from inspection.model.log import Log, counted
from inspection.model.readings import Reading
from inspection.model.rope import Units
from inspection.record.views import OpenInspection
from ui.lengths import K, along, along_unit, card_place, figure, unit_of
from ui.presenters.review.queue import review_queue
from ui.presenters.sheet.entry import (
    FieldState,
    SheetDraft,
    TypedField,
    Witness,
    asked_again,
    read_again,
    standing_reading,
    state_of,
)
from ui.presenters.sheet.headline import Headline, headline_of
from ui.presenters.sheet.next_photograph import NextPhotograph, next_photograph
from vision.results import Estimate, Refusal, Result

READY = FieldState()
FIRST_ROWS = (1, 2)  # of an empty sheet


@dataclass(frozen=True, slots=True)
class SheetCell:
    """One station in one direction.

    Parameters
    ----------
    name : str
        Name of its field, such as "3/90".
    photo : str
        Hash of its photograph; empty without one.
    figure, u : str
        The photograph's figure and U (k = 2), in the rope's unit; empty if there is none.
    hidden : bool
        Whether its figure is hidden until the reading is typed.
    note : str
        Why the photograph gives no figure, or a remark about the figure.
    text, standing : str
        The text in the field, and the part of it that is in the record.
    was : str
        The reading to be taken again; empty if there is none.
    others : tuple of str
        Other readings of the same place, with their readers.
    word : str
        "agrees", "doubtful", "disagrees", "cannot say", or empty.
    apart : str
        Photograph minus gauge, in the rope's unit, signed.
    state : FieldState
        What the typed text is waiting for.
    again : str
        Who asks for the reading again, and why.
    waits : str
        Notice that its photograph is being measured again; empty if it is not.
    """

    name: str
    photo: str = ""
    figure: str = ""
    u: str = ""
    hidden: bool = False
    note: str = ""
    text: str = ""
    standing: str = ""
    was: str = ""
    others: tuple[str, ...] = ()
    word: str = ""
    apart: str = ""
    state: FieldState = READY
    again: str = ""
    waits: str = ""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One station.

    Parameters
    ----------
    station : int
        Its number.
    position, feature : str
        Distance along the rope and the feature there, as recorded or typed.
    place_state : FieldState
        What its typed position is waiting for.
    cells : tuple of SheetCell
        By direction.
    mean, u_mean, ovality : str
        From its best section, in the rope's unit; empty without one.
    source : str
        "by photographs" or "by gauge".
    why_no_mean : str
        What is missing for a mean; empty if there is one.
    last, last_on : str
        Mean at the previous inspection, and its date.
    open : bool
        Whether something there is waiting for a decision.
    """

    station: int
    position: str
    feature: str
    place_state: FieldState
    cells: tuple[SheetCell, ...]
    mean: str = ""
    u_mean: str = ""
    ovality: str = ""
    source: str = ""
    why_no_mean: str = ""
    last: str = ""
    last_on: str = ""
    open: bool = False


@dataclass(frozen=True, slots=True)
class StationSheet:
    """The whole sheet.

    Parameters
    ----------
    unit, along : str
        "mm" or "in"; "m" or "ft" for distances along the rope.
    ways : tuple of int
        Directions, degrees: the columns.
    rows : tuple of SheetRow
        Stations by number.
    headline : Headline
        The headline above the sheet.
    unplaced : tuple of Estimate or Refusal
        Results of photographs whose card gives no station.
    next : NextPhotograph
        The last photograph's result and the next place, for a phone.
    locked : bool
        Whether the inspection is closed and takes no entries.
    """

    unit: str
    along: str
    ways: tuple[int, ...]
    rows: tuple[SheetRow, ...]
    headline: Headline
    unplaced: tuple[Result, ...]
    next: NextPhotograph = field(default_factory=NextPhotograph)
    locked: bool = False


def sheet_of(
    opened: OpenInspection,
    assessment: Assessment,
    draft: SheetDraft,
    who: Witness,
    *,
    blind: bool = False,
) -> StationSheet:
    """Return the sheet of an inspection as one person sees it.

    Parameters
    ----------
    opened, assessment
        The inspection and its assessment.
    draft : SheetDraft
        What the person has typed that is not entered yet.
    who : Witness
        The person.
    blind : bool, optional
        Hide the photograph's figure and others' readings until the person's reading is entered.
    """
    look = _Look(opened, assessment, draft, who, blind)
    numbers = _stations(opened, draft)
    ways = tuple(sorted({0, 90, *draft.ways, *_directions(opened, draft)}))
    open_stations = {item.station for item in review_queue(opened) if not item.settled}
    before = _last_time(assessment.log, numbers)
    rows = []
    for number in numbers:
        cells = tuple(_cell(look, number, way) for way in ways)
        row = _row(look, number, cells)
        if number in before and not any(cell.hidden for cell in cells):
            mean, on = before[number]
            row = replace(row, last=figure(mean, opened.rope.units), last_on=on)
        unhidden = not any(cell.hidden for cell in cells)  # a blind reader must get no hint
        rows.append(replace(row, open=unhidden and number in open_stations))
    hidden = frozenset(cell.name for row in rows for cell in row.cells if cell.hidden)
    words = f"{counted(len(hidden), 'figure is', 'figures are')} hidden until you enter readings"
    headline = Headline(words) if hidden else headline_of(opened, assessment)
    unplaced = tuple(one for one in opened.results if one.place is None)
    units = opened.rope.units
    closed = opened.state == "closed"
    following = next_photograph(opened, numbers, hidden)
    return StationSheet(
        unit_of(units), along_unit(units), ways, tuple(rows), headline, unplaced, following, closed
    )


@dataclass(frozen=True, slots=True)
class _Look:
    """An inspection as seen by one person."""

    opened: OpenInspection
    assessment: Assessment
    draft: SheetDraft
    who: Witness
    blind: bool


def _stations(opened: OpenInspection, draft: SheetDraft) -> list[int]:
    known = {station.number for station in opened.inspection.stations}
    known |= {one.station for one in opened.results if one.station is not None}
    known |= {reading.station for reading in opened.readings}
    typed = {int(name.split("/")[0]) for name in draft.texts if name[0].isdecimal()}
    known |= typed | set(draft.rows)
    return sorted(known) or list(FIRST_ROWS)


def _directions(opened: OpenInspection, draft: SheetDraft) -> set[int]:
    seen = {one.view_deg for one in opened.results if one.view_deg is not None}
    seen |= {reading.view_deg for reading in opened.readings}
    return seen | {int(name.split("/")[1]) for name in draft.texts if name[0].isdecimal()}


def results_at(opened: OpenInspection, station: int, view_deg: int) -> list[Result]:
    """Return the results of a place's photographs, estimates before refusals."""
    here = [one for one in opened.results if (one.station, one.view_deg) == (station, view_deg)]
    return sorted(here, key=lambda one: (isinstance(one, Refusal), one.at_mm))


def _cell(look: _Look, station: int, way: int) -> SheetCell:
    opened, draft, who = look.opened, look.draft, look.who
    name, units = f"{station}/{way}", opened.rope.units
    standing = standing_reading(opened, station, way, who)
    again = read_again(opened, station, way) if standing is not None else None
    review = asked_again(opened, station, way)
    asks = "" if review is None else f"{review.who} asks for it again: {review.why}"
    if review is not None and review.asks == "photograph":
        asks = f"{review.who} asks for another photograph: {review.why}"
    there = "" if standing is None else standing.reading.typed
    cell = SheetCell(name, text=there, standing=there, again=asks)
    if again is not None:
        cell = replace(cell, text="", standing="", was=there)
    if name in draft.texts:
        typed = TypedField(name, 0, draft.texts[name])
        cell = replace(cell, text=typed.text, state=state_of(opened, typed, who))
    mine = None if standing is None else standing.reading
    results = results_at(opened, station, way)
    if results:
        again_measured = results[0].photo_sha256 in opened.waiting
        cell = replace(
            cell,
            photo=results[0].photo_sha256,
            waits="is being measured again" if again_measured else "",
        )
    hidden = look.blind and (standing is None or again is not None)
    if hidden:
        shown = bool(results) and isinstance(results[0], Estimate)
        return replace(cell, hidden=shown)
    cell = replace(cell, others=_others(opened, station, way, mine))
    if results:
        cell = _with_figure(cell, results, units)
    return _with_comparison(cell, look.assessment, mine, units)


def _others(
    opened: OpenInspection, station: int, way: int, mine: Reading | None
) -> tuple[str, ...]:
    return tuple(
        f"{reading.typed} by {reading.person}{', blind' if reading.blind else ''}"
        for reading in opened.readings
        if (reading.station, reading.view_deg) == (station, way) and reading is not mine
    )


def _with_figure(cell: SheetCell, results: Sequence[Result], units: Units) -> SheetCell:
    first = results[0]
    if isinstance(first, Refusal):
        return replace(cell, note=first.findings[0].seen)
    places = [one for one in results if isinstance(one, Estimate)]
    note = f"{len(places)} places on this card" if len(places) > 1 else ""
    if len(places) == 1 and first.at_mm:
        note = f"at {card_place(first.at_mm, units)} on the card"
    return replace(
        cell,
        figure=figure(first.diameter_mm, units),
        u=figure(first.expanded_mm(), units),
        note=note,
    )


def _with_comparison(
    cell: SheetCell, assessment: Assessment, reading: Reading | None, units: Units
) -> SheetCell:
    station, way = (int(part) for part in cell.name.split("/"))
    here = [
        one
        for one in assessment.crosscheck.comparisons
        if (one.station, one.view_deg) == (station, way)
    ]
    mine = [one for one in here if reading is not None and one.typed == reading.typed]
    if not (mine or here):
        return cell
    worst: Comparison = max(mine or here, key=lambda one: abs(one.zeta))
    return replace(cell, word=worst.word, apart=figure(worst.difference_mm, units, signed=True))


def _row(look: _Look, number: int, cells: tuple[SheetCell, ...]) -> SheetRow:
    opened, draft = look.opened, look.draft
    placed = {station.number: station for station in opened.inspection.stations}
    there, units = placed.get(number), opened.rope.units
    position = along(there.position_m, units) if there else ""
    state = READY
    for kind in ("at", "what"):
        name = f"{kind}/{number}"
        if name in draft.texts and not state.asks:
            state = state_of(opened, TypedField(name, 0, draft.texts[name]), Witness(""))
    row = SheetRow(
        number,
        draft.texts.get(f"at/{number}", position),
        draft.texts.get(f"what/{number}", there.note if there else ""),
        state,
        cells,
    )
    if any(cell.hidden for cell in cells):
        return replace(row, why_no_mean="hidden")
    section = next((one for one in look.assessment.best if one.station == number), None)
    if section is None:
        return replace(row, why_no_mean=why_no_mean(opened, number))
    return replace(
        row,
        mean=figure(section.mean_mm, units),
        u_mean=figure(K * section.u_mean_mm, units),
        ovality=figure(section.ovality_mm, units),
        source=f"by {section.source}",
    )


def why_no_mean(opened: OpenInspection, station: int) -> str:
    """Return what is missing for a station mean, in words.

    A mean needs two directions from one source: two photographs at the same place on the card, or
    two readings.
    """
    seen = {
        one.view_deg: one.at_mm
        for one in opened.results
        if isinstance(one, Estimate) and one.station == station and one.view_deg is not None
    }
    read = {reading.view_deg for reading in opened.readings if reading.station == station}
    if len(seen) > 1:
        (one, here), (other, there) = sorted(seen.items())[:2]
        if abs(here - there) > SAME_PLACE_MM:
            units = opened.rope.units
            return (
                f"{one}° was measured at {card_place(here, units)} on the card and "
                f"{other}° at {card_place(there, units)}: measure both at the same place"
            )
    if not seen and not read:
        return ""
    have = sorted(seen.keys() | read)
    lacking = [way for way in (0, 90) if way not in have]
    if lacking and len(have) == 1:
        return f"needs {lacking[0]}°"
    return "needs two directions by photographs or by the gauge"


def _last_time(log: Log, numbers: Sequence[int]) -> dict[int, tuple[float, str]]:
    """Return the means of stations at their latest earlier inspection, with its date."""
    found: dict[int, tuple[float, str]] = {}
    for then in reversed(log.earlier):
        known_then = {one.station for one in (*then.readings, *then.results)}
        if not known_then & (set(numbers) - found.keys()):
            continue
        past = Log(log.rope, then.inspection, then.readings, log.gauges, then.results)
        sections = sections_of_log(past)
        known: tuple[Section, ...] = best_sections((*sections["photographs"], *sections["gauge"]))
        for one in known:
            found.setdefault(one.station, (one.mean_mm, f"{then.inspection.on:%Y-%m-%d}"))
    return found
