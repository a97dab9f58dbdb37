"""Times: whether the log's own times can be true, and whether they fit those of the photographs.

Plain bounds, no probabilities: a log in which nothing is wrong never exceeds them, apart from
the innocent explanations given with each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from inspection.model.log import Log, counted
from inspection.screening.multiple_testing import ScreeningTest, plain_fact
from vision.results import Place, Result

FEWEST_TIMES = 8  # fewer can be close together by chance


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast an inspection can go.

    Parameters
    ----------
    walking_m_s : float
        Fastest pace along the rope, m/s. A brisk walk on level ground; common practice, no
        source.
    photo_gap_min : float
        Longest time between a reading and the photograph of its place, min; common practice,
        no source.
    days : int
        Photographs may be this many days off the inspection's date (work past midnight).
    reading_s : float
        Shortest time per place, s, that anyone can keep up when reading a rope: figures that
        follow one another faster were typed in later. Common practice, no source.
    typing_s : float
        Shortest time per figure, s, that anyone can keep up when typing from paper. Common
        practice, no source.
    """

    walking_m_s: float = 2.0
    photo_gap_min: float = 120.0
    days: int = 1
    reading_s: float = 12.0
    typing_s: float = 1.5

    def __post_init__(self) -> None:
        """Refuse values that are out of range."""
        if not self.walking_m_s > 0:
            raise ValueError(f"`walking_m_s` must be more than 0; got {self.walking_m_s}.")
        if not self.photo_gap_min > 0:
            raise ValueError(f"`photo_gap_min` must be more than 0; got {self.photo_gap_min}.")
        if not 0 < self.typing_s <= self.reading_s:
            raise ValueError(
                "`typing_s` must be more than 0 and at most `reading_s`; got "
                f"{self.typing_s} and {self.reading_s}."
            )


@dataclass(frozen=True, slots=True)
class _Stop:
    """One time at one station: who or what was there, and the photograph in words."""

    at: datetime
    place: Place
    group: str
    entry: int | None = None
    photograph: str = ""


def timing_tests(log: Log, *, pace: Pace) -> list[ScreeningTest]:
    """Return the findings from the times of the log and of the photographs."""
    written = _log_stops(log)
    stops = [stop for group in _groups(written) if not typed_later(group, pace) for stop in group]
    return [
        *_hurry_tests(log, written, pace),
        *_walk_tests(log, stops, "readings", pace),
        *_walk_tests(log, _photo_stops(log), "photographs", pace),
        *_gap_tests(log, pace),
        *_day_tests(log, pace),
    ]


def seconds_apart(times: Sequence[datetime]) -> float | None:
    """Return the median time from one entry to the next, s; None where the times can't show it.

    They can't where there are too few, where all are the same, or where they are whole minutes
    only: a log without seconds says nothing about seconds.

    Examples
    --------
    >>> from datetime import timedelta
    >>> seven = datetime(2026, 11, 3, 19, 0, 10)
    >>> seconds_apart([seven + timedelta(seconds=4 * n) for n in range(12)])
    4.0
    >>> seconds_apart([seven] * 12)
    """
    ordered = sorted(times)
    if len(ordered) < FEWEST_TIMES or ordered[0] == ordered[-1]:
        return None
    if all(at.second == 0 and at.microsecond == 0 for at in ordered):
        return None
    return median((end - start).total_seconds() for start, end in pairwise(ordered))


def typed_later(group: Sequence[_Stop], pace: Pace) -> bool:
    """Return whether one person's entries were typed in after the walk: their times say nothing.

    Times that can't show it (all the same, whole minutes, a few entries only) are taken so if all
    are closer together than they can have been read, as are two typed in the evening.
    """
    times = [stop.at for stop in group]
    apart = seconds_apart(times)
    if apart is not None:
        return apart < pace.reading_s
    return len(times) > 1 and max(times) - min(times) < (len(times) - 1) * timedelta(
        seconds=pace.reading_s
    )


def _hurry_tests(log: Log, stops: list[_Stop], pace: Pace) -> list[ScreeningTest]:
    """Return the people's entries that followed one another faster than anyone types."""
    tests = []
    for group in _groups(stops):
        apart = seconds_apart([stop.at for stop in group])
        if apart is None or apart >= pace.typing_s:
            continue
        entries = tuple(stop.entry for stop in group if stop.entry is not None)
        span = (max(stop.at for stop in group) - min(stop.at for stop in group)).total_seconds()
        tests.append(
            ScreeningTest(
                check="hurry",
                code="entries-too-fast",
                entries=entries,
                places=log.places(entries),
                p=None,
                seen=f"{len(entries)} entries were logged within {span:.0f} s, usually "
                f"{apart:.1f} s apart; nobody reads or types them faster than one in "
                f"{pace.typing_s:g} s.",
                remedy="Ask how these entries were logged.",
                innocent="A table may have been imported by a program that set the times itself.",
                value=apart,
                limit=pace.typing_s,
                unit="s",
                touches="circumstances",
            )
        )
    return tests


def too_fast(
    stops: Sequence[tuple[datetime, float]], *, walking_m_s: float
) -> list[tuple[int, float, float]]:
    """Return the legs of a walk that were faster than anyone walks.

    Parameters
    ----------
    stops : sequence of (time, position in m)
        In order of time.
    walking_m_s : float
        Fastest pace, m/s.

    Returns
    -------
    legs : list of (index, metres, seconds)
        Leg from stop `index` to the next one, and the longest time it can have taken.

    Notes
    -----
    Times that are all whole minutes were truncated or rounded; a leg may then have taken up to
    60 s longer than they say (1 s longer where they show seconds).

    Examples
    --------
    >>> from datetime import timedelta
    >>> noon = datetime(2026, 11, 3, 12, 0, 10)
    >>> too_fast([(noon, 0.0), (noon + timedelta(seconds=4), 30.0)], walking_m_s=2.0)
    [(0, 30.0, 5.0)]
    """
    whole_minutes = all(at.second == 0 and at.microsecond == 0 for at, _ in stops)
    slack = 60.0 if whole_minutes else 1.0
    legs = []
    for index, ((start, here), (end, there)) in enumerate(pairwise(stops)):
        metres, seconds = abs(there - here), (end - start).total_seconds() + slack
        if metres > walking_m_s * seconds:
            legs.append((index, metres, seconds))
    return legs


def _walk_tests(log: Log, stops: list[_Stop], what: str, pace: Pace) -> list[ScreeningTest]:
    places = log.positions_m()
    tests = []
    # two people can be at two stations: each has their own times
    for group in dict.fromkeys(stop.group for stop in stops):
        known = sorted(
            (stop for stop in stops if stop.group == group and stop.place.station in places),
            key=lambda stop: stop.at,
        )
        legs = too_fast(
            [(stop.at, places[stop.place.station]) for stop in known], walking_m_s=pace.walking_m_s
        )
        if not legs:
            continue
        index, metres, seconds = max(legs, key=lambda leg: leg[1] / leg[2])
        ends = [known[end] for leg in legs for end in (leg[0], leg[0] + 1)]
        tests.append(
            ScreeningTest(
                check=f"walk-{what}",
                code=f"{what}-too-fast",
                entries=tuple(dict.fromkeys(stop.entry for stop in ends if stop.entry is not None)),
                places=tuple(dict.fromkeys(stop.place for stop in ends)),
                photographs=tuple(
                    dict.fromkeys(stop.photograph for stop in ends if stop.photograph)
                ),
                about=(group,),
                p=None,
                seen=f"From station {known[index].place.station} to station "
                f"{known[index + 1].place.station} it is {metres:.0f} m, and at most "
                f"{seconds:.0f} s passed between the {what}: {metres / seconds:.1f} m/s, where "
                f"{pace.walking_m_s:g} m/s is the fastest walk ({len(legs)} such "
                f"leg{'' if len(legs) == 1 else 's'}).",
                remedy="Ask how these stations were reached.",
                innocent="The rope may have been run past one place, or figures were noted on "
                "paper first and typed in later.",
                value=metres / seconds,
                limit=pace.walking_m_s,
                unit="m/s",
                touches="circumstances",
            )
        )
    return tests


def _gap_tests(log: Log, pace: Pace) -> list[ScreeningTest]:
    taken: dict[Place, datetime] = {}
    for result in log.results:
        if result.place is None or result.taken_at is None:
            continue
        # photographs of another day are reported by `_day_tests`
        if abs((result.taken_at.date() - log.inspection.on).days) <= pace.days:
            taken.setdefault(result.place, _wall(result.taken_at))
    gaps = []
    later = {
        stop.entry
        for group in _groups(_log_stops(log))
        if typed_later(group, pace)
        for stop in group
    }
    for entry, reading in enumerate(log.readings):
        if entry in later:  # typed in later: its time is not that of the reading
            continue
        photo = taken.get(reading.place)
        if reading.at is not None and photo is not None:
            gaps.append((entry, (photo - _wall(reading.at)).total_seconds() / 60.0))
    far = [(entry, gap) for entry, gap in gaps if abs(gap) > pace.photo_gap_min]
    if not far:
        return []
    usual = median(gap for _, gap in gaps)
    shifted = len(far) == len(gaps) > 1 and all(
        abs(gap - usual) <= pace.photo_gap_min for _, gap in gaps
    )
    worst = max((gap for _, gap in far), key=abs)
    side = "after" if worst > 0 else "before"
    return [
        ScreeningTest(
            check="photo-gap",
            code="photograph-time",
            entries=tuple(entry for entry, _ in far),
            places=log.places(entry for entry, _ in far),
            p=None,
            seen=f"Of {len(gaps)} photographs {counted(len(far), 'was', 'were')} taken long before "
            f"or after the reading of the same place, up to {_span(abs(worst))} {side}; "
            f"{_span(pace.photo_gap_min)} is allowed."
            + (" All are shifted by the same amount, as by a wrong clock." if shifted else ""),
            remedy="Compare the camera's clock with the log's.",
            innocent="The camera's clock may be wrong or in another time zone, or the readings "
            "were typed in later.",
            value=worst,
            limit=pace.photo_gap_min,
            unit="min",
            touches="circumstances",
        )
    ]


def _day_tests(log: Log, pace: Pace) -> list[ScreeningTest]:
    on = log.inspection.on
    wrong_readings = [
        entry
        for entry, reading in enumerate(log.readings)
        if reading.at is not None and abs((reading.at.date() - on).days) > pace.days
    ]
    wrong_photos = [
        result
        for result in log.results
        if result.taken_at is not None and abs((result.taken_at.date() - on).days) > pace.days
    ]
    tests = []
    if wrong_readings:
        first = log.readings[wrong_readings[0]].at
        tests.append(
            _day_test(
                "readings-day",
                tuple(wrong_readings),
                log.places(wrong_readings),
                (),
                f"{counted(len(wrong_readings), 'entry was', 'entries were')} logged on another "
                f"day, the first on {first:%Y-%m-%d}",
                log,
            )
        )
    if wrong_photos:
        taken = wrong_photos[0].taken_at
        wrong_places = tuple(one.place for one in wrong_photos if one.place is not None)
        tests.append(
            _day_test(
                "photographs-day",
                tuple(e for e, reading in enumerate(log.readings) if reading.place in wrong_places),
                wrong_places,
                tuple(_photo_words(result) for result in wrong_photos),
                f"{counted(len(wrong_photos), 'photograph was', 'photographs were')} taken on "
                f"another day, the first on {taken:%Y-%m-%d}",
                log,
            )
        )
    return tests


def _day_test(
    code: str,
    entries: tuple[int, ...],
    places: tuple[Place, ...],
    photographs: tuple[str, ...],
    what: str,
    log: Log,
) -> ScreeningTest:
    fact = plain_fact(
        code,
        entries,
        places,
        seen=f"{what}; the inspection is dated {log.inspection.on}.",
        remedy="Check the inspection's date and the clocks.",
        innocent="A clock may be wrong, or the inspection may have taken more than a day.",
    )
    return replace(fact, photographs=photographs, value=float(len(photographs or places)))


def _log_stops(log: Log) -> list[_Stop]:
    return [
        _Stop(_wall(reading.at), reading.place, reading.person, entry)
        for entry, reading in enumerate(log.readings)
        if reading.at is not None
    ]


def _photo_stops(log: Log) -> list[_Stop]:
    return [
        _Stop(
            _wall(result.taken_at),
            Place(result.station, result.view_deg),
            result.camera,
            photograph=_photo_words(result),
        )
        for result in log.results
        if result.taken_at is not None and result.station is not None
    ]


def _groups(stops: Sequence[_Stop]) -> list[list[_Stop]]:
    """Return the stops of each person or camera."""
    names = dict.fromkeys(stop.group for stop in stops)
    return [[stop for stop in stops if stop.group == name] for name in names]


def _photo_words(result: Result) -> str:
    """Return a photograph in words: its name if it has one, and its place."""
    name = f"photograph {result.photo_name}" if result.photo_name else "photograph"
    return name if result.place is None else f"{name} ({result.place.words})"


def _wall(at: datetime) -> datetime:
    """Return the local clock time: cameras rarely write a zone, so zones can't be compared."""
    return at.replace(tzinfo=None)


def _span(minutes: float) -> str:
    """Return a time span in words: minutes up to two hours, hours up to two days, then days."""
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.1f} h" if minutes < 2880 else f"{minutes / 1440:.0f} days"
