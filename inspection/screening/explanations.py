"""Slips of the pen: the one change after which an odd entry agrees with everything else.

Slips raise no alarm of their own, so they cost none of the level: only entries that another
test has already singled out are tried, and a slip replaces what it explains. A possible loss of
section is never explained away: it keeps its own remedy, and where another reading of the station
bears it out, no slip is told at all.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import median

from inspection.model.log import Log, best_estimates
from inspection.model.loss import LOSS_REMEDY, MAY_BE_LOSS, is_possible_loss
from inspection.screening.contrasts import contrast_tests
from inspection.screening.multiple_testing import ScreeningTest
from inspection.screening.outliers import outlier_tests
from inspection.screening.transcription_errors import TranscriptionError, transcription_errors

# After the change no test of the changed entries may be odder than zeta = 3, where the
# cross-check begins to say "disagrees" (two-sided normal probability).
AGREES_P = 0.0027
SAME_MM = 0.5e-3  # a figure is the nominal diameter, not one beside it


def figure_tests(log: Log, *, entries: frozenset[int] | None = None) -> list[ScreeningTest]:
    """Return every test in which a wrong diameter shows, or those of some entries only."""
    return [*contrast_tests(log, entries=entries), *outlier_tests(log)]


def explain(log: Log, odd: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return the odd tests, with those that one change clears replaced by that change.

    What may be a loss of section is marked as one, with the remedy of a loss first.

    Parameters
    ----------
    log : Log
        The log.
    odd : list of ScreeningTest
        Tests of figures that passed the level, with their adjusted probabilities.

    Returns
    -------
    tests : list of ScreeningTest
        One test a cause: entries of one gauge that are all off alike, a change where one is
        found, else the oddest test of an entry.
    """
    as_logged = log
    done = _alike_together(log, odd)
    listed = {entry for test in done for entry in test.entries}
    odd = [test for test in odd if not listed & set(test.entries)]
    left = _one_a_cause(odd)
    while left:
        found = _best_change(log, left, odd)
        if found is None:
            break
        change, cleared = found
        done.append(_explained(log, change, cleared))
        touched = set(change.entries)
        left = [test for test in left if not touched & set(test.entries)]
        odd = [test for test in odd if not touched & set(test.entries)]
        log = change.applied(log)
    left = _stations_together(log, left)
    return [_loss_first(as_logged, test) for test in (*done, *_nominal_together(log, left))]


def _alike_together(log: Log, odd: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return one test for each gauge of which half the entries or more are off alike.

    A gauge that reads 0.4 mm too much makes no slips of the pen, even where one would fit.
    """
    groups: dict[tuple[str, str], list[ScreeningTest]] = {}
    for test in odd:
        reading = log.readings[test.entries[0]]
        typed_in = abs(reading.value_mm - log.rope.nominal_mm) < SAME_MM
        if test.check in ("photograph", "growth") and not typed_in:
            groups.setdefault((test.check, reading.gauge), []).append(test)
    together = []
    for (check, gauge), tests in groups.items():
        middle = median(test.value or 0.0 for test in tests)
        # the limit is 2 u; 3 u from the middle is where "disagrees" begins
        alike = [
            test for test in tests if abs((test.value or 0.0) - middle) <= 1.5 * (test.limit or 0.0)
        ]
        entries = tuple(sorted({entry for test in alike for entry in test.entries}))
        if len(entries) < max(3, sum(item.gauge == gauge for item in log.readings) / 2):
            continue
        first = min(alike, key=lambda test: test.p or 0.0)
        against = "the photographs against them" if check == "photograph" else "since last time"
        together.append(
            replace(
                first,
                entries=entries,
                places=log.places(entries),
                about=(gauge,),
                seen=f"{len(entries)} entries read with gauge '{gauge}' are off alike: "
                f"{middle:+z.2f} mm for {against}, in the middle. The first: {first.seen}",
                remedy="Check the gauge's zero on a known size, and the print of the card.",
                innocent="A gauge that was not set to zero, a card whose print was not checked, "
                "or another tension shifts all figures alike.",
            )
        )
    return together


def _one_a_cause(odd: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return the oddest test of every single entry, and contrasts that no such entry explains."""
    kept: list[ScreeningTest] = []
    single = [test for test in odd if len(test.entries) == 1]
    for test in sorted(single, key=lambda item: (item.p or 0.0, item.check != "photograph")):
        if all(test.entries != other.entries for other in kept):
            kept.append(test)
    listed = {entry for test in kept for entry in test.entries}
    several = [test for test in odd if len(test.entries) > 1 and not listed & set(test.entries)]
    for test in sorted(several, key=lambda item: (item.p or 0.0, len(item.entries))):
        if not listed & set(test.entries):
            kept.append(test)
            listed |= set(test.entries)
    return kept


def _best_change(
    log: Log, left: list[ScreeningTest], odd: list[ScreeningTest]
) -> tuple[TranscriptionError, list[ScreeningTest]] | None:
    """Return the change that clears the most, and what it clears; fewest entries first."""
    touched = {entry for test in left for entry in test.entries}
    photographed = best_estimates(log.results)
    pictured = {
        entry for entry, reading in enumerate(log.readings) if reading.place in photographed
    }
    # where a photograph bears an entry out, the rope itself differs there: nothing to change
    curable = [test for test in odd if test.check != "outlier" or not pictured & set(test.entries)]
    best: tuple[tuple[int, int], TranscriptionError, list[ScreeningTest]] | None = None
    for change in transcription_errors(log, touched):
        if _is_borne_out(log, change):
            continue
        mine = set(change.entries)
        cleared = [test for test in curable if mine & set(test.entries)]
        if not _tells(change.code, cleared) or not _agrees(change.applied(log), mine, odd):
            continue
        score = (-len(cleared), len(mine))
        if best is None or score < best[0]:
            best = (score, change, cleared)
    return None if best is None else (best[1], best[2])


def _is_borne_out(log: Log, change: TranscriptionError) -> bool:
    """Return whether another reading of the station agrees with an entry as it stands.

    A person who slips does so once: two directions that agree with each other are no slip. A
    place of the decimal point or a unit can be wrong twice, and no rope is a tenth of itself.
    """
    if change.code not in ("digits-swapped", "digit-mistyped"):
        return False
    ((entry, changed),) = change.readings
    stands = log.readings[entry]
    return any(
        abs(other.value_mm - stands.value_mm) < abs(other.value_mm - changed.value_mm)
        for place, other in enumerate(log.readings)
        if place != entry and other.station == stands.station
    )


def _stations_together(log: Log, tests: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return the tests, those at several entries of one station that may be a loss as one."""
    groups: dict[int, list[ScreeningTest]] = {}
    for test in tests:
        if test.check == "outlier" and _may_be_loss(log, test):
            groups.setdefault(log.readings[test.entries[0]].station, []).append(test)
    together = []
    for station, group in groups.items():
        if len(group) == 1:
            continue
        first = min(group, key=lambda test: test.p or 0.0)
        entries = tuple(sorted({entry for test in group for entry in test.entries}))
        typed = " and ".join(log.readings[entry].typed for entry in entries)
        together.append(
            replace(
                first,
                entries=entries,
                places=log.places(entries),
                seen=f"Station {station} was logged as {typed}, which bear each other out. "
                f"{first.seen}",
            )
        )
        tests = [test for test in tests if test not in group]
    return [*tests, *together]


def _may_be_loss(log: Log, test: ScreeningTest) -> bool:
    """Return whether every entry of a test is thinner than the rope is at its other stations."""
    return all(
        is_possible_loss(log.readings[entry].value_mm, others, log.rope.nominal_mm)
        for entry in test.entries
        for others in [_elsewhere_mm(log, log.readings[entry].station)]
    )


def _elsewhere_mm(log: Log, station: int) -> float:
    """Return the median of the readings at the other stations; the nominal without any, mm."""
    others = [one.value_mm for one in log.readings if one.station != station]
    return median(others) if others else log.rope.nominal_mm


def _loss_first(log: Log, test: ScreeningTest) -> ScreeningTest:
    """Return a test with the remedy of a loss of section first, where it may be one."""
    one_place = len({log.readings[entry].station for entry in test.entries}) == 1
    if test.touches != "figure" or not one_place or not _may_be_loss(log, test):
        return test
    remedy = (
        LOSS_REMEDY
        if test.check == "outlier" and test.code == test.check
        else (f"{LOSS_REMEDY} {test.remedy}")
    )
    return replace(
        test,
        touches="section",
        seen=f"{test.seen} {MAY_BE_LOSS}",
        remedy=remedy,
    )


def _tells(code: str, cleared: list[ScreeningTest]) -> bool:
    """Return whether what a change clears is enough to speak of it.

    Exchanging two nearly equal figures often clears one weak oddity by chance. A real exchange
    shows in the contrast of just these two, or at several entries at once.
    """
    contrast = {"directions-exchanged": "directions", "stations-exchanged": "neighbours"}.get(code)
    if contrast is None:
        return bool(cleared)
    odd_entries = {test.entries for test in cleared if len(test.entries) == 1}
    return len(odd_entries) > 1 or any(test.check == contrast for test in cleared)


def _agrees(changed: Log, mine: set[int], odd: list[ScreeningTest]) -> bool:
    """Return whether no test of the changed entries is odd any more.

    A contrast that also holds another odd entry can't be cleared by this change alone.
    """
    others = {entry for test in odd if len(test.entries) == 1 for entry in test.entries} - mine
    tests = [
        test
        for test in figure_tests(changed, entries=frozenset(mine))
        if mine & set(test.entries) and not others & set(test.entries)
    ]
    # where a photograph agrees, the rope may well differ from its other stations
    seen = {entry for test in tests if test.check == "photograph" for entry in test.entries}
    return all(
        test.p is None or test.p > AGREES_P
        for test in tests
        if test.check != "outlier" or not seen & set(test.entries)
    )


def _explained(log: Log, change: TranscriptionError, cleared: list[ScreeningTest]) -> ScreeningTest:
    first = min(cleared, key=lambda test: test.p or 0.0)
    return replace(
        first,
        code=change.code,
        entries=change.entries,
        places=log.places(change.entries),
        seen=f"{first.seen} With {change.words} all agrees.",
        remedy="Ask what was read, or read it again; correct the entry only with its reason.",
        innocent=change.innocent,
    )


def _nominal_together(log: Log, tests: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return the tests, those at entries of exactly the nominal diameter put together in one."""
    nominal = log.rope.nominal_mm
    same = [
        test
        for test in tests
        if all(abs(log.readings[entry].value_mm - nominal) < SAME_MM for entry in test.entries)
    ]
    if not same:
        return tests
    entries = tuple(sorted({entry for test in same for entry in test.entries}))
    first = min(same, key=lambda test: test.p or 0.0)
    return [
        *(test for test in tests if test not in same),
        replace(
            first,
            check="nominal",
            code="nominal-typed",
            entries=entries,
            places=log.places(entries),
            seen=f"{first.seen} What was logged is exactly the nominal diameter"
            f"{'' if len(entries) == 1 else f', at {len(entries)} places'}.",
            innocent="The nominal diameter may have stood there as a place holder.",
        ),
    ]
