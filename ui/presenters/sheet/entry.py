"""Entry of what is typed into the station sheet, field by field: parse, confirm, record.

A field is named by its meaning: "3/90" is the gauge reading of station 3 at 90 degrees, "at/3" the
position of station 3 along the rope, "what/3" the feature there; "row/5" and "way/45" add a station
or a direction. Each time a field is left, its text is sent with a growing number. The record stores
the last number from every open page together with the outcome, so nothing is entered twice when a
browser sends the same text again after a restart of the server.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal

from inspection.model.readings import Reading
from inspection.model.rope import Station, Units
from inspection.record.record import Record
from inspection.record.views import LoggedReading, OpenInspection, StationReview
from ui.lengths import M_PER_FOOT, along_unit
from ui.presenters.sheet.reading_form import ParsedRow, TypedRow, parse_row
from ui.text import capitalised

KIND = "sheet"  # of the draft
MOST_PAGES = 6  # pages whose numbers are stored
READING = re.compile(r"(\d{1,3})/(\d{1,3})")
DISTANCE = re.compile(r"(-?\d{1,6}(?:[.,]\d{1,4})?) ?(m|ft)?")
OTHER = re.compile(r"(at|what|row|way)/(\d{1,3})")
Waits = Literal["", "wrong", "sure", "reason", "gauge"]


@dataclass(frozen=True, slots=True)
class TypedField:
    """A field as the user left it.

    Parameters
    ----------
    name : str
        Name of the field.
    seq : int
        Grows with every text that the page sends.
    text : str
        The text in the field.
    sure : bool
        Whether the person confirmed an implausible figure.
    why : str
        Reason for a correction.
    seen : bool or None
        Whether the photograph's figure was visible beside the field; None if not known.
    """

    name: str
    seq: int
    text: str
    sure: bool = False
    why: str = ""
    seen: bool | None = None


@dataclass(frozen=True, slots=True)
class SheetDraft:
    """What a person has typed into a sheet that is not in the record yet.

    Parameters
    ----------
    texts : mapping of str to str
        Field -> text waiting for something: a gauge, a reason, a correct figure.
    rows, ways : tuple of int
        Added stations and directions that are still empty.
    done : mapping
        Open page -> field -> number of the last text processed.
    """

    texts: Mapping[str, str] = field(default_factory=dict)
    rows: tuple[int, ...] = ()
    ways: tuple[int, ...] = ()
    done: Mapping[str, Mapping[str, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Witness:
    """The person typing, and their gauge.

    Parameters
    ----------
    name : str
        The person.
    gauge : str
        The selected gauge; empty without one.
    second : bool
        Whether they are a second reader, whose readings are added and replace nothing.
    """

    name: str
    gauge: str = ""
    second: bool = False


@dataclass(frozen=True, slots=True)
class FieldState:
    """What a field is waiting for.

    Parameters
    ----------
    asks : {"", "wrong", "sure", "reason", "gauge"}
        A correct text, a confirmation, a reason or a gauge; empty if it can be entered.
    words : str
        The same as a sentence.
    """

    asks: Waits = ""
    words: str = ""


def read_draft(record: Record, opened: OpenInspection, by: str) -> SheetDraft:
    """Return a person's draft, including one saved by an earlier release."""
    identity = opened.inspection.identity
    found = record.draft(identity, by=by, kind=KIND)
    if found is None:
        return SheetDraft(texts=_older_texts(record, opened, by))
    data: dict[str, Any] = found.data
    return SheetDraft(data["texts"], tuple(data["rows"]), tuple(data["ways"]), data["done"])


def _older_texts(record: Record, opened: OpenInspection, by: str) -> dict[str, str]:
    """Return the draft of an earlier release: rows of station, direction and reading."""
    found = record.draft(opened.inspection.identity, by=by)
    texts: dict[str, str] = {}
    drafts = [found.data] if found is not None and isinstance(found.data, dict) else []
    for draft in drafts:
        drafts += [one for one in draft.get("others", ()) if isinstance(one, dict)]
        for row in draft.get("rows", ()):
            if isinstance(row, list) and len(row) == 3 and str(row[2]).strip():
                texts.setdefault(f"{row[0]}/{row[1]}", str(row[2]))
    return {name: text for name, text in texts.items() if READING.fullmatch(name)}


def standing_reading(
    opened: OpenInspection, station: int, view_deg: int, who: Witness
) -> LoggedReading | None:
    """Return the reading that a field shows; None if typing there enters a new one.

    It is the person's own reading, or else the first one; for a second reader, only their own in
    addition to the first.
    """
    here = [
        logged
        for logged in opened.logged
        if not logged.withdrawn
        and (logged.reading.station, logged.reading.view_deg) == (station, view_deg)
    ]
    own = [logged for logged in here if logged.reading.person == who.name]
    if who.second:
        own = [logged for logged in own if logged is not here[0]]
        return own[-1] if own else None
    return own[-1] if own else here[0] if here else None


def asked_again(opened: OpenInspection, station: int, view_deg: int) -> StationReview | None:
    """Return the decision by which a reviewer asks for something at a place again."""
    last = [review for review in opened.station_reviews if review.station == station]
    if not last or not (last[-1].stands and last[-1].back):
        return None
    return last[-1] if last[-1].view_deg in (None, view_deg) else None


def read_again(opened: OpenInspection, station: int, view_deg: int) -> StationReview | None:
    """Return the decision by which a reviewer asks for a reading again."""
    review = asked_again(opened, station, view_deg)
    return None if review is None or review.asks == "photograph" else review


def state_of(opened: OpenInspection, typed: TypedField, who: Witness) -> FieldState:
    """Return what a typed text is waiting for before it can be entered."""
    reading = READING.fullmatch(typed.name)
    if reading is None:
        return _station_state(opened, typed)
    station, view_deg = int(reading[1]), int(reading[2])
    standing = standing_reading(opened, station, view_deg, who)
    again = read_again(opened, station, view_deg)
    parsed = _parsed(opened, typed, who, datetime.now())
    if parsed.wrong:
        return FieldState("wrong", capitalised(parsed.wrong))
    if standing is not None and again is None:
        if typed.text == standing.reading.typed:
            return FieldState()
        if not typed.why.strip():
            return FieldState("reason", _reason_words(standing, typed, who))
    if parsed.implausible and not typed.sure:
        return FieldState("sure", parsed.implausible)
    if standing is None and not who.gauge and typed.text:
        return FieldState("gauge", "Kept. Select the gauge it was read with below.")
    return FieldState()


def _reason_words(standing: LoggedReading, typed: TypedField, who: Witness) -> str:
    reading = standing.reading
    by = "" if reading.person == who.name else f" by {reading.person}"
    beside = " To add your own, turn on 'Enter independent second readings' below." if by else ""
    ask = f"Correct it to {typed.text}?" if typed.text else "Withdraw it?"
    return f"{reading.typed}{by} is in the record. {ask}{beside}"


def _parsed(opened: OpenInspection, typed: TypedField, who: Witness, at: datetime) -> ParsedRow:
    station, view = typed.name.split("/")
    row = TypedRow(station, view, typed.text)
    return parse_row(row, opened, gauge=who.gauge, person=who.name, at=at)


def _station_state(opened: OpenInspection, typed: TypedField) -> FieldState:
    found = OTHER.fullmatch(typed.name)
    if found is None:
        return FieldState("wrong", "The page has no such field: reload it.")
    kind, number = found[1], int(found[2])
    if kind == "at" and typed.text:
        try:
            distance_m(typed.text, opened.rope.units)
        except ValueError as wrong:
            return FieldState("wrong", str(wrong))
    placed = number in {station.number for station in opened.inspection.stations}
    if kind == "what" and typed.text and not placed:
        return FieldState("wrong", "Enter the distance first, then the feature there.")
    if kind == "row" and number < 1:
        return FieldState("wrong", "Enter a station number of 1 or more.")
    if kind == "way" and number >= 360:
        return FieldState("wrong", "Enter a direction from 0 to 359 degrees.")
    return FieldState()


def distance_m(text: str, units: Units) -> float:
    """Return a typed distance along the rope, m.

    Parameters
    ----------
    text : str
        A number, with m or ft if it is not in the rope's own unit.
    units : {"mm", "inch"}
        The rope's units: a number without a unit is in feet for a rope in inches.

    Raises
    ------
    ValueError
        If it is not a number.

    Examples
    --------
    >>> distance_m("31,5", "mm"), distance_m("83.5 m", "inch"), distance_m("10 ft", "mm")
    (31.5, 83.5, 3.048)
    """
    found = DISTANCE.fullmatch(text.strip())
    if found is None:
        names = {"m": "metres", "ft": "feet"}[along_unit(units)]
        raise ValueError(f"{text[:40]!r} is not a distance in {names}: write it as 31.5 or 31,5.")
    number, unit = float(found[1].replace(",", ".")), found[2] or along_unit(units)
    return number if unit == "m" else number * M_PER_FOOT


def take_typed(
    record: Record,
    identity: str,
    tab: str,
    fields: Sequence[TypedField],
    who: Witness,
) -> int:
    """Record what was typed, or keep it as a draft, in a single transaction.

    Parameters
    ----------
    record, identity
        The record and the inspection.
    tab : str
        The open page that sent it.
    fields : sequence of TypedField
        The fields that were left; those already processed are skipped.
    who : Witness
        The person who typed.

    Returns
    -------
    entered : int
        Number of changes made to the record.

    Raises
    ------
    RecordError
        If the record can't be written, or the inspection takes no entries.
    """
    with record.transaction() as writing:
        opened = writing.inspection(identity)
        draft = read_draft(writing, opened, who.name)
        done = dict(draft.done.get(tab, {}))
        fresh = [one for one in fields if one.seq > done.get(one.name, 0)]
        if not fresh:
            return 0
        texts, rows, ways = dict(draft.texts), set(draft.rows), set(draft.ways)
        taking = _Taking(writing, opened, who)
        for typed in sorted(fresh, key=lambda one: one.seq):
            done[typed.name] = typed.seq
            texts.pop(typed.name, None)
            state = state_of(taking.planned(), typed, who)
            if state.asks:
                texts[typed.name] = typed.text
            elif typed.name.startswith("row/"):
                rows.add(int(typed.name[4:]))
            elif typed.name.startswith("way/"):
                ways.add(int(typed.name[4:]))
            else:
                taking.take(typed)
        entered = taking.enter()
        pages = {**{one: seqs for one, seqs in draft.done.items() if one != tab}, tab: done}
        _write(writing, identity, who.name, replace(
            draft, texts=texts, rows=tuple(sorted(rows)), ways=tuple(sorted(ways)),
            done=dict(list(pages.items())[-MOST_PAGES:]),
        ))  # fmt: skip
    return entered


def enter_waiting(record: Record, identity: str, who: Witness) -> int:
    """Enter the readings that were waiting for a gauge; return how many."""
    with record.transaction() as writing:
        opened = writing.inspection(identity)
        draft = read_draft(writing, opened, who.name)
        texts, taking = dict(draft.texts), _Taking(writing, opened, who)
        for name, text in draft.texts.items():
            typed = TypedField(name, 0, text)
            before = state_of(opened, typed, replace(who, gauge=""))
            if before.asks == "gauge" and not state_of(opened, typed, who).asks:
                taking.take(typed)
                del texts[name]
        entered = taking.enter()
        if entered:
            _write(writing, identity, who.name, replace(draft, texts=texts))
    return entered


def _write(record: Record, identity: str, by: str, draft: SheetDraft) -> None:
    record.save_draft(
        identity,
        {
            "texts": dict(draft.texts),
            "rows": list(draft.rows),
            "ways": list(draft.ways),
            "done": {page: dict(seqs) for page, seqs in draft.done.items()},
        },
        by=by,
        kind=KIND,
    )
    record.drop_draft(identity, by=by)  # the old draft, whose texts are now in this one


class _Taking:
    """Entries to be recorded: new readings together, everything else one by one."""

    def __init__(self, record: Record, opened: OpenInspection, who: Witness) -> None:
        self.record, self.opened, self.who = record, opened, who
        self.at = datetime.now().replace(microsecond=0)
        self.readings: list[Reading] = []
        self.stations = {one.number: one for one in opened.inspection.stations}
        self.changes = 0

    def planned(self) -> OpenInspection:
        """Return the inspection with the stations as typed so far."""
        stations = _in_order(self.stations.values())
        return replace(self.opened, inspection=replace(self.opened.inspection, stations=stations))

    def take(self, typed: TypedField) -> None:
        """Take one text that can be entered."""
        if READING.fullmatch(typed.name):
            self._reading(typed)
        else:
            kind, number = typed.name.split("/")
            self._station(kind, int(number), typed.text.strip())

    def _reading(self, typed: TypedField) -> None:
        station, view_deg = (int(part) for part in typed.name.split("/"))
        identity, by = self.opened.inspection.identity, self.who.name
        standing = standing_reading(self.opened, station, view_deg, self.who)
        again = read_again(self.opened, station, view_deg)
        why = typed.why.strip()
        if standing is not None and again is not None and typed.text and not why:
            why = f"read again, as {again.who} asked: {again.why}"
        if standing is None or not why:
            reading = _parsed(self.opened, typed, self.who, self.at).reading
            if standing is None and reading is not None:
                self.readings.append(replace(reading, blind=self._blind(typed)))
            return
        if typed.text.strip():
            old = standing.reading
            who = self.who if again is not None else Witness(old.person, old.gauge)
            who = replace(who, gauge=who.gauge or old.gauge)
            reading = _parsed(self.opened, typed, who, self.at).reading
            if reading is not None and again is not None:
                reading = replace(reading, blind=self._blind(typed))
            elif reading is not None:  # the same reading, now typed correctly
                reading = replace(old, typed=reading.typed, value_mm=reading.value_mm)
            if reading is not None:
                self.record.correct_reading(identity, standing.number, reading, by=by, why=why)
                self.changes += 1
        else:
            self.record.withdraw_reading(identity, standing.number, by=by, why=why)
            self.changes += 1

    def _blind(self, typed: TypedField) -> bool | None:
        """Say whether the person can't have seen the photograph's figure on the sheet."""
        station, view_deg = (int(part) for part in typed.name.split("/"))
        read_before = any(
            logged.reading.person == self.who.name
            and (logged.reading.station, logged.reading.view_deg) == (station, view_deg)
            for logged in self.opened.logged
        )
        return None if typed.seen is None else not (typed.seen or read_before)

    def _station(self, kind: str, number: int, text: str) -> None:
        if kind == "at" and not text:
            self.stations.pop(number, None)
        elif kind == "at":
            there = self.stations.get(number, Station(number, 0.0))
            position_m = distance_m(text, self.opened.rope.units)
            self.stations[number] = replace(there, position_m=position_m)
        elif number in self.stations:
            self.stations[number] = replace(self.stations[number], note=text)

    def enter(self) -> int:
        """Record everything taken; return the number of changes."""
        identity, by = self.opened.inspection.identity, self.who.name
        if self.readings:
            self.record.add_readings(identity, self.readings, by=by)
        stations = _in_order(self.stations.values())
        if stations != self.opened.inspection.stations:
            self.record.change_inspection(
                replace(self.opened.inspection, stations=stations),
                by=by,
                why="stations entered",
                revision=self.record.inspection(identity).revision,
            )
            self.changes += 1
        return self.changes + len(self.readings)


def _in_order(stations: Iterable[Station]) -> tuple[Station, ...]:
    return tuple(sorted(stations, key=lambda one: one.number))
