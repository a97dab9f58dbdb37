"""Figures held against figures: the sums and differences in which a wrong diameter shows.

Every test here is one contrast: readings and estimates with signs, whose true value is known to
be 0 if nothing is wrong. What both sides share (a print's scale, a gauge's own error) stands in
both budgets under one source and cancels by itself, so the difference of two directions is held
against a far smaller uncertainty than either diameter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

from inspection.comparison.crosscheck import MATTERS_PCT, compare
from inspection.measurement.view import DirectionalDiameter, diameter_of_estimate, weighted_terms
from inspection.model.log import (
    Earlier,
    Log,
    best_estimates,
    budget_of,
    log_terms,
    readings_at,
    right_angle_pairs,
)
from inspection.model.readings import Reading
from inspection.screening.multiple_testing import ScreeningTest
from vision.results import Estimate, Place
from vision.uncertainty import Term, combined_u_mm

Budgets = list[tuple[Term, ...] | None]
Part = tuple[float, float, tuple[Term, ...]]  # weight, value in mm, budget

SAME_PLACE_M = 0.5  # stations of two inspections count as one place within this; no source
READ_AGAIN = "Read this station again in both directions, and look at its photographs."


def contrast(parts: Iterable[Part]) -> tuple[float, float]:
    """Return value and standard uncertainty of a weighted sum of results, mm.

    Parameters
    ----------
    parts : iterable of (weight, value_mm, budget)
        What is added up. Terms of one source are one unknown (JCGM 100:2008, F.1.2.3).

    Examples
    --------
    A shared scale cancels in a difference:

    >>> scale = Term("scale", 0.1, "mm", 1.0, "B", "print:A")
    >>> contrast([(1.0, 35.2, (scale,)), (-1.0, 35.0, (scale,))])[1]
    0.0
    """
    listed = list(parts)
    value = sum(weight * part_mm for weight, part_mm, _ in listed)
    return value, combined_u_mm(weighted_terms((weight, terms) for weight, _, terms in listed))


def two_sided_p(value: float, u: float) -> float:
    """Return the probability that a normal error is at least this large, either way."""
    return 1.0 if u <= 0 else math.erfc(abs(value) / u / math.sqrt(2.0))


def contrast_tests(log: Log, *, entries: frozenset[int] | None = None) -> list[ScreeningTest]:
    """Return every test of figures against figures that the log allows.

    Parameters
    ----------
    log : Log
        The log.
    entries : frozenset of int, optional
        Only tests in which one of these readings takes part; all by default.
    """
    terms = log_terms(log)
    wanted = frozenset(range(len(log.readings))) if entries is None else entries
    return [
        *_photograph_tests(log, terms, wanted),
        *_direction_tests(log, terms, wanted),
        *_neighbour_tests(log, terms, wanted),
        *_growth_tests(log, terms, wanted),
    ]


def _photograph_tests(log: Log, terms: Budgets, wanted: frozenset[int]) -> list[ScreeningTest]:
    photographs: dict[Place, list[Estimate]] = {}
    for result in log.results:
        if isinstance(result, Estimate) and result.place is not None:
            photographs.setdefault(result.place, []).append(result)
    matters_mm = log.rope.nominal_mm * MATTERS_PCT / 100.0
    tests = []
    for entry, reading in enumerate(log.readings):
        budget = terms[entry]
        if budget is None or entry not in wanted:
            continue
        logged = DirectionalDiameter(reading.value_mm, budget, reading.view_deg, reading.gauge)
        for photograph in photographs.get(reading.place, ()):
            found = compare(
                diameter_of_estimate(photograph),
                logged,
                matters_mm=matters_mm,
                station=reading.station,
            )
            tests.append(
                ScreeningTest(
                    check="photograph",
                    code="photograph-disagrees",
                    entries=(entry,),
                    places=(log.place(entry),),
                    p=found.p_value,
                    seen=f"{reading.typed} was logged, and the photograph gives "
                    f"{found.photo_mm:.2f} mm: {found.difference_mm:+z.2f} mm, where the expanded "
                    f"uncertainty (k = 2) is {2 * found.u_difference_mm:.2f} mm "
                    f"(E_n {found.en:+z.1f}).",
                    remedy="Look at the photograph, then read this place again.",
                    innocent="Gauge and card may have been at different places, or the rope "
                    "under another tension.",
                    value=found.difference_mm,
                    limit=2 * found.u_difference_mm,
                    unit="mm",
                    about=(photograph.photo_sha256 or photograph.photo_name,),
                )
            )
    return tests


def _direction_tests(log: Log, terms: Budgets, wanted: frozenset[int]) -> list[ScreeningTest]:
    estimates = best_estimates(log.results)
    tests = []
    for first, second in right_angle_pairs(log.readings):
        if first not in wanted and second not in wanted:
            continue
        one, two = log.readings[first], log.readings[second]
        photo_one, photo_two = estimates.get(one.place), estimates.get(two.place)
        terms_one, terms_two = terms[first], terms[second]
        if photo_one is None or photo_two is None or terms_one is None or terms_two is None:
            continue
        gap, u = contrast(
            [
                (1.0, one.value_mm, terms_one),
                (-1.0, two.value_mm, terms_two),
                (-1.0, photo_one.diameter_mm, photo_one.budget),
                (1.0, photo_two.diameter_mm, photo_two.budget),
            ]
        )
        tests.append(
            ScreeningTest(
                check="directions",
                code="directions-disagree",
                entries=(first, second),
                places=(log.place(first), log.place(second)),
                p=two_sided_p(gap, u),
                seen=f"By the gauge the two directions differ by "
                f"{one.value_mm - two.value_mm:+z.2f} mm, by the photographs by "
                f"{photo_one.diameter_mm - photo_two.diameter_mm:+z.2f} mm; {2 * u:.2f} mm is the "
                "expanded uncertainty of the two together (k = 2).",
                remedy=READ_AGAIN,
                innocent="The directions may have been counted from another side of the rope.",
                value=gap,
                limit=2 * u,
                unit="mm",
            )
        )
    return tests


def _neighbour_tests(log: Log, terms: Budgets, wanted: frozenset[int]) -> list[ScreeningTest]:
    estimates = best_estimates(log.results)
    held: dict[int, dict[int, int]] = {}
    for place, entries in readings_at(log.readings).items():
        first = log.readings[entries[0]]
        if place in estimates and terms[entries[0]] is not None:
            held.setdefault(first.station, {})[first.view_deg] = entries[0]
    places = log.positions_m()
    order = sorted(held, key=lambda number: (places.get(number, 0.0), number))
    tests = []
    for here, there in pairwise(order):
        views = sorted(held[here].keys() & held[there].keys())
        entries = [held[station][view] for station in (here, there) for view in views]
        if not wanted.intersection(entries):
            continue
        parts: list[Part] = []
        for station, sign in ((here, 1.0), (there, -1.0)):
            for view in views:
                entry, photo = held[station][view], estimates[Place(station, view)]
                weight = sign / len(views)
                parts += [
                    (weight, log.readings[entry].value_mm, terms[entry] or ()),
                    (-weight, photo.diameter_mm, photo.budget),
                ]
        gap, u = contrast(parts)
        tests.append(
            ScreeningTest(
                check="neighbours",
                code="neighbours-disagree",
                entries=tuple(entries),
                places=log.places(entries),
                p=two_sided_p(gap, u),
                seen=f"From station {here} to station {there} the diameter changes by "
                f"{-gap:+z.2f} mm more by the gauge than by the photographs; {2 * u:.2f} mm is "
                "the expanded uncertainty of the two together (k = 2).",
                remedy=READ_AGAIN,
                innocent="One of the two stations may have been read beside the place of its "
                "photograph.",
                value=-gap,
                limit=2 * u,
                unit="mm",
            )
        )
    return tests


def _growth_tests(log: Log, terms: Budgets, wanted: frozenset[int]) -> list[ScreeningTest]:
    tests = []
    for entry, reading in enumerate(log.readings):
        budget = terms[entry]
        found = _last_reading(log, reading) if entry in wanted else None
        if budget is None or found is None:
            continue
        before, then = found
        terms_then = budget_of(log, then, inspection=before.inspection.identity)
        if terms_then is None:
            continue
        gap, u = contrast([(1.0, reading.value_mm, budget), (-1.0, then.value_mm, terms_then)])
        # ropes wear thin: only growth is unexpected, hence one side
        p = 0.5 * math.erfc(gap / u / math.sqrt(2.0)) if u > 0 else 1.0
        tests.append(
            ScreeningTest(
                check="growth",
                code="growth",
                entries=(entry,),
                places=(log.place(entry),),
                p=p,
                seen=f"{reading.place.words.capitalize()} reads "
                f"{gap:+z.2f} mm against {before.inspection.on} ({then.typed}, now "
                f"{reading.typed}); {2 * u:.2f} mm is the expanded uncertainty of the change "
                "(k = 2).",
                remedy="Read this place again; if it did grow, look for corrosion or a swollen "
                "core.",
                innocent="The earlier reading may have been the low one, the tension another, or "
                "the station not the same place of the rope.",
                value=gap,
                limit=2 * u,
                unit="mm",
                about=(before.inspection.identity,),
            )
        )
    return tests


def _last_reading(log: Log, reading: Reading) -> tuple[Earlier, Reading] | None:
    """Return the last earlier reading of this place under the same tension."""
    here = log.positions_m().get(reading.station)
    for before in reversed(log.earlier):
        if before.inspection.tension != log.inspection.tension:
            continue
        then = {item.number: item.position_m for item in before.inspection.stations}
        there = then.get(reading.station)
        if here is not None and there is not None and abs(here - there) > SAME_PLACE_M:
            continue
        for item in before.readings:
            if item.place == reading.place:
                return before, item
    return None
