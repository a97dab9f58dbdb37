"""Lay length: along the rope, over time and against the certificate, from photographs.

A strand's lay length increases or decreases where the rope has been twisted (a load that turned, a
swivel, a tight sheave) and where its core gives way. No published limit for it is known here, so
none is applied: a difference larger than its uncertainty is reported for a second look, with
the reason, and nothing is called good or bad because of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import erfc, sqrt

from inspection.measurement.view import weighted_terms
from inspection.model.log import Earlier, Log
from inspection.model.rope import Rope
from inspection.screening.multiple_testing import ScreeningTest
from vision.results import Estimate, Place, Result
from vision.uncertainty import Term, combined_u_mm

TO_DO = (
    "Measure the length of several lays there by hand, and look for a twisted rope, a protruding "
    "strand or a visible core; the competent person decides. No published limit is known."
)
INNOCENT = (
    "Even new ropes are not laid evenly to the millimetre, and a rope under load has a longer "
    "lay than an unloaded one."
)


@dataclass(frozen=True, slots=True)
class StationLay:
    """The lay length at one station: the mean over its photographs.

    Parameters
    ----------
    station : int
        Station number.
    lay_mm : float
        Lay length, mm: the rope's outer strands times the pitch of the crowns.
    budget : tuple of Term
        Its uncertainty budget.
    pitches : int
        Number of single pitches of the outline that it is based on, in all photographs.
    photographs : int
        How many photographs.
    hands : tuple of str
        "right" or "left" lay as the photographs show it, each at most once.
    """

    station: int
    lay_mm: float
    budget: tuple[Term, ...]
    pitches: int
    photographs: int
    hands: tuple[str, ...] = ()

    @property
    def u_mm(self) -> float:
        """Standard uncertainty, mm."""
        return combined_u_mm(self.budget)

    @property
    def words(self) -> str:
        """The lay length as a sentence."""
        hand = f", {self.hands[0]} hand" if len(self.hands) == 1 else ""
        count = f"{self.pitches} pitches" if self.pitches else "the strands' lines"
        return (
            f"Station {self.station}: lay length {self.lay_mm:.1f} mm, U {2 * self.u_mm:.1f} mm"
            f"{hand}, from {count} in {self.photographs} "
            f"{'photograph' if self.photographs == 1 else 'photographs'}."
        )


def with_strands(results: Iterable[Result], strands: int | None) -> list[Result]:
    """Return the results with the number of outer strands that was entered, if any."""
    return [
        replace(one, strands=strands)
        if strands and isinstance(one, Estimate) and one.pitch_budget
        else one
        for one in results
    ]


def lay_words(lays: Sequence[StationLay]) -> list[str]:
    """Return what is known about the lay as sentences; empty where no photograph shows it."""
    if not lays:
        return []
    return [
        *(one.words for one in lays),
        "Lay length: distance along the rope for one turn of a strand, with the number of strands "
        "entered for the rope. Differences larger than their uncertainty are listed among the "
        "entries to look at. No published limit is known, so none is applied.",
    ]


def station_lays(results: Iterable[Result], strands: int) -> tuple[StationLay, ...]:
    """Return the lay length of each station whose photographs show it.

    Parameters
    ----------
    results : iterable of Estimate or Refusal
        What the photographs gave.
    strands : int
        Number of outer strands, as in the rope's papers.
    """
    placed: dict[int, list[Estimate]] = {}
    for one in results:
        if isinstance(one, Estimate) and one.station is not None and one.pitch_budget:
            placed.setdefault(one.station, []).append(one)
    return tuple(_station(number, placed[number], strands) for number in sorted(placed))


def _station(number: int, seen: Sequence[Estimate], strands: int) -> StationLay:
    weight = strands / len(seen)
    return StationLay(
        number,
        sum(one.crown_pitch_mm or 0.0 for one in seen) * weight,
        weighted_terms((weight, one.pitch_budget) for one in seen),
        sum(one.pitches for one in seen),
        len(seen),
        tuple(sorted({one.hand for one in seen if one.hand})),
    )


def lay_length_tests(log: Log) -> list[ScreeningTest]:
    """Return the tests of lay lengths against certificate, other stations and last inspection."""
    lays = station_lays(log.results, log.rope.outer_strands)
    tests = [*_strands(log.results, log.rope), *_certificate(lays, log.rope)]
    for one in lays if len(lays) > 2 else lays[:1]:  # two stations give only one difference
        others = [other for other in lays if other is not one]
        if not others:
            continue
        share = 1.0 / len(others)
        usual = sum(other.lay_mm for other in others) * share
        parts = [(1.0, one.budget), *((-share, other.budget) for other in others)]
        tests.append(
            _test(
                "lay-along",
                one.station,
                f"The lay length at station {one.station} is {one.lay_mm:.1f} mm; at the other "
                f"stations it is {usual:.1f} mm on average",
                one.lay_mm - usual,
                combined_u_mm(weighted_terms(parts)),
            )
        )
    before = _last(log.earlier, log.rope.outer_strands)
    if before is not None:
        then, known = before
        tests += [
            _test(
                "lay-changed",
                one.station,
                f"The lay length at station {one.station} is {one.lay_mm:.1f} mm; on "
                f"{then.inspection.on.isoformat()} it was {known[one.station].lay_mm:.1f} mm",
                one.lay_mm - known[one.station].lay_mm,
                combined_u_mm(
                    weighted_terms([(1.0, one.budget), (-1.0, known[one.station].budget)])
                ),
                about=(then.inspection.identity,),
            )
            for one in lays
            if one.station in known
        ]
    return tests


def _certificate(lays: Sequence[StationLay], rope: Rope) -> list[ScreeningTest]:
    if rope.lay_mm is None:
        return []
    return [
        _test(
            "lay-certificate",
            one.station,
            f"The lay length at station {one.station} is {one.lay_mm:.1f} mm, but "
            f"{rope.lay_mm:g} mm is entered for the rope",
            one.lay_mm - rope.lay_mm,
            one.u_mm,
        )
        for one in lays
    ]


def _last(earlier: Sequence[Earlier], strands: int) -> tuple[Earlier, dict[int, StationLay]] | None:
    """Return the latest earlier inspection whose photographs show a lay."""
    for one in reversed(earlier):
        lays = station_lays(one.results, strands)
        if lays:
            return one, {lay.station: lay for lay in lays}
    return None


def _test(
    code: str,
    station: int,
    begin: str,
    difference_mm: float,
    u_mm: float,
    about: tuple[str, ...] = (),
) -> ScreeningTest:
    z = abs(difference_mm) / u_mm if u_mm > 0 else 0.0
    return ScreeningTest(
        "lay",
        code,
        (),
        (Place(station),),
        erfc(z / sqrt(2)),
        f"{begin}: {difference_mm:+z.1f} mm; the expanded uncertainty (k = 2) of the "
        f"difference is {2 * u_mm:.1f} mm.",
        TO_DO,
        INNOCENT,
        difference_mm,
        None,
        "mm",
        "circumstances",
        about,
    )


def _strands(results: Iterable[Result], rope: Rope) -> list[ScreeningTest]:
    """Return a test if at least two photographs agree on another number than was entered."""
    seen = [one.strands for one in results if isinstance(one, Estimate) and one.strands]
    if len(seen) < 2 or len(set(seen)) != 1 or seen[0] == rope.outer_strands:
        return []
    return [
        ScreeningTest(
            "strands",
            "strands-differ",
            (),
            (),
            None,
            f"{len(seen)} photographs show {seen[0]} outer strands, but {rope.outer_strands} are "
            "entered for the rope; lay lengths are calculated with the number entered.",
            "Count the strands, and correct the number entered for the rope.",
            "The number is 6 where nobody entered it, and the count in a photograph can be wrong "
            "where the lay length is unusual.",
            float(seen[0] or 0),
            None,
            "1",
            "circumstances",
        )
    ]
