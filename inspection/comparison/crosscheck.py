"""Cross-check: every gauge reading against the photograph of the same place and direction."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from scipy.special import ndtr, stdtr, stdtrit

from inspection.measurement.view import (
    DirectionalDiameter,
    diameter_of_estimate,
    diameter_of_reading,
    weighted_terms,
)
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Rope
from vision.results import Estimate, Place, Refusal, Result
from vision.uncertainty import Influence, Term, combined_u_mm, covariance_mm2

Word = Literal["agrees", "doubtful", "disagrees", "cannot say"]
DOUBTFUL_ZETA, DISAGREES_ZETA = 2.0, 3.0  # of a single comparison
NORMAL_DOF = 1e9  # degrees of freedom above which Student's t is the normal distribution
MATTERS_PCT = 1.0  # a difference that matters: the width of a severity band of ISO 4309


@dataclass(frozen=True, slots=True)
class Comparison:
    """A photograph and a gauge reading of one place and direction.

    Parameters
    ----------
    station : int
        Station number.
    view_deg : int
        Direction across the rope, degrees.
    photo_mm, u_photo_mm : float
        The photograph's diameter and its standard uncertainty, mm.
    gauge_mm, u_gauge_mm : float
        The reading and its standard uncertainty, mm.
    difference_mm : float
        Photograph minus gauge, mm.
    difference_budget : tuple of Term
        Budget of the difference; what both share (a print that was checked with the same
        caliper) has cancelled in it.
    en, zeta : float
        ISO 13528: difference over the expanded (k = 2) and the standard uncertainty of the
        difference.
    p_value : float
        Probability of so large a difference if both measure the same, by Student's t with `dof`.
    word : {"agrees", "doubtful", "disagrees", "cannot say"}
        See `compare`.
    matters_mm : float
        Difference that matters, mm.
    needed : str
        What would be required, if the word is "cannot say"; empty otherwise.
    gauge, person, print_set, camera, photo_name, typed : str
        For grouping and display.
    dof : float
        Degrees of freedom of `u_difference_mm`.
    """

    station: int
    view_deg: int
    photo_mm: float
    u_photo_mm: float
    gauge_mm: float
    u_gauge_mm: float
    difference_mm: float
    difference_budget: tuple[Term, ...]
    en: float
    zeta: float
    p_value: float
    word: Word
    matters_mm: float
    needed: str = ""
    gauge: str = ""
    person: str = ""
    print_set: str = ""
    camera: str = ""
    photo_name: str = ""
    typed: str = ""
    dof: float = NORMAL_DOF

    @property
    def place(self) -> Place:
        """Station and direction."""
        return Place(self.station, self.view_deg)

    @property
    def u_difference_mm(self) -> float:
        """Standard uncertainty of the difference, mm."""
        return combined_u_mm(self.difference_budget)

    @property
    def words(self) -> str:
        """The comparison in one or two sentences."""
        sentence = (
            f"Photograph {self.photo_mm:.2f} mm, gauge {self.gauge_mm:.2f} mm: "
            f"{self.difference_mm:+z.2f} mm, U (k = 2) {2.0 * self.u_difference_mm:.2f} mm, "
            f"E_n {self.en:+z.2f}: {self.word}."
        )
        return f"{sentence} {self.needed}".strip()


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """All comparisons of an inspection, and what could not be compared.

    Parameters
    ----------
    comparisons : tuple of Comparison
        By station and direction.
    photos_alone : tuple of Estimate
        Photographs without a reading of the same place and direction, or without a number.
    readings_alone : tuple of Reading
        Readings without a photograph that gives a diameter there.
    refused : tuple of Refusal
        Photographs that give no diameter.
    """

    comparisons: tuple[Comparison, ...]
    photos_alone: tuple[Estimate, ...]
    readings_alone: tuple[Reading, ...]
    refused: tuple[Refusal, ...]


def why_not_compared(photo: Estimate, readings: Sequence[Reading]) -> str:
    """Return why a photograph stands alone."""
    logged = [one.typed for one in readings if one.place == photo.place]
    if not logged:
        return "no reading to compare it with"
    return (
        f"its reading {', '.join(logged)} was not compared: the resolution and permissible error "
        "of its gauge are not known"
    )


def disagrees_zeta(count: int, dof: float = NORMAL_DOF) -> float:
    """Return the zeta from which one of several comparisons disagrees.

    3 for a single comparison whose uncertainty is known exactly. For several, the value at which
    any of them disagrees, if nothing is wrong, as rarely as a single one would (Bonferroni). Where
    the uncertainty was learned from a few readings, the same quantile of Student's t (GUM, JCGM
    100:2008, G.3).

    Examples
    --------
    >>> [round(disagrees_zeta(count), 2) for count in (1, 12, 120)]
    [3.0, 3.69, 4.24]
    >>> [round(disagrees_zeta(12, dof), 2) for dof in (10.0, 30.0)]
    [5.61, 4.19]
    """
    return -float(stdtrit(dof, float(ndtr(-DISAGREES_ZETA)) / max(count, 1)))


def compare(
    photo: DirectionalDiameter,
    gauge: DirectionalDiameter,
    *,
    station: int,
    matters_mm: float,
    of: int = 1,
    reading_dof: float = NORMAL_DOF,
) -> Comparison:
    """Return how a photograph and a gauge reading of one place agree.

    Parameters
    ----------
    photo, gauge : DirectionalDiameter
        The two, with their budgets.
    station : int
        Station number.
    matters_mm : float
        Smallest difference that matters in practice, mm.
    of : int, optional
        How many comparisons are made together.
    reading_dof : float, optional
        Degrees of freedom of the person's repeatability, the part of the uncertainty that is the
        reading's own.

    Raises
    ------
    ValueError
        If the two have no uncertainty at all, or `matters_mm` is not more than 0.

    Notes
    -----
    |zeta| up to 2 (E_n up to 1) agrees, from 3 upwards disagrees (more where many are compared,
    `disagrees_zeta`), and in between is doubtful. Large uncertainties make any two figures agree,
    so an agreement whose expanded uncertainty (k = 2) exceeds `matters_mm` is "cannot say". A
    difference that is significant in spite of that is still reported.

    The degrees of freedom of the difference follow from those of the reading (GUM, G.4.1,
    Welch-Satterthwaite): all other parts count as known exactly.

    References
    ----------
    ISO 13528, zeta and E_n scores: E_n with expanded, zeta with standard uncertainties; limits
    1 for E_n (confirmed), 2 and 3 for zeta (from memory, 0.95). The outcome "cannot say"
    follows a proposal in NIST's "Evaluating inter-laboratory comparison data".
    """
    if not 0 < matters_mm < math.inf:
        raise ValueError(f"`matters_mm` must be more than 0; got {matters_mm}.")
    budget = weighted_terms([(1.0, photo.budget), (-1.0, gauge.budget)])
    u = combined_u_mm(budget)
    if u == 0.0:
        raise ValueError(
            "photograph and gauge have no uncertainty, so nothing can be compared: give the "
            "gauge its resolution and permissible error."
        )
    difference = photo.diameter_mm - gauge.diameter_mm
    zeta = difference / u
    dof = min(reading_dof * (u / max(_repeated_mm(gauge.budget), 1e-9)) ** 4, NORMAL_DOF)
    word: Word = "agrees"
    needed = ""
    if abs(zeta) >= disagrees_zeta(of, dof):
        word = "disagrees"
    elif abs(zeta) > DOUBTFUL_ZETA:
        word = "doubtful"
    elif 2.0 * u > matters_mm:
        word = "cannot say"
        needed = _needed(photo, gauge, matters_mm)
    return Comparison(
        station=station,
        view_deg=photo.view_deg,
        photo_mm=photo.diameter_mm,
        u_photo_mm=photo.u_mm,
        gauge_mm=gauge.diameter_mm,
        u_gauge_mm=gauge.u_mm,
        difference_mm=difference,
        difference_budget=budget,
        en=difference / (2.0 * u),
        zeta=zeta,
        p_value=2.0 * float(stdtr(dof, -abs(zeta))),
        word=word,
        matters_mm=matters_mm,
        needed=needed,
        gauge=gauge.name,
        photo_name=photo.name,
        dof=dof,
    )


def _repeated_mm(budget: Iterable[Term]) -> float:
    """Return the scatter of repeated readings, mm: the part that is the reading's own."""
    return combined_u_mm(term for term in budget if term.influence is Influence.READING)


def crosscheck(
    results: Iterable[Result],
    readings: Iterable[Reading],
    gauges: Mapping[str, Gauge],
    rope: Rope,
    *,
    inspection: str = "",
    dof: Mapping[str, float] | None = None,
) -> CrossCheck:
    """Return every reading of an inspection compared with its photograph.

    Parameters
    ----------
    results : iterable of Estimate or Refusal
        What the photographs gave. Where one place and direction was photographed more than
        once, each reading is compared with each photograph.
    readings : iterable of Reading
        The log.
    gauges : mapping
        `Gauge.identity` -> Gauge.
    rope : Rope
        The rope; its outer strands matter to narrow jaws.
    inspection : str, optional
        Its identity, for the readings' budgets.
    dof : mapping, optional
        `Gauge.identity` -> degrees of freedom of its repeatability, where that was learned.

    Raises
    ------
    ValueError
        If a reading names a gauge that is not given.
    """
    photos: dict[Place, list[Estimate]] = {}
    alone: list[Estimate] = []
    refused: list[Refusal] = []
    for result in results:
        if isinstance(result, Refusal):
            refused.append(result)
        elif result.place is None:
            alone.append(result)
        else:
            photos.setdefault(result.place, []).append(result)
    read = list(readings)
    of = sum(len(photos.get(reading.place, ())) for reading in read)
    comparisons: list[Comparison] = []
    readings_alone: list[Reading] = []
    used: set[Place] = set()
    for reading in sorted(read, key=lambda reading: reading.place):
        place = reading.place
        if place not in photos:
            readings_alone.append(reading)
            continue
        used.add(place)
        view = diameter_of_reading(
            reading,
            gauges,
            outer_strands=rope.outer_strands,
            inspection=inspection,
        )
        matters_mm = MATTERS_PCT * rope.nominal_mm / 100.0
        for estimate in photos[place]:
            compared = compare(
                diameter_of_estimate(estimate),
                view,
                matters_mm=matters_mm,
                station=reading.station,
                of=of,
                reading_dof=(dof or {}).get(reading.gauge, NORMAL_DOF),
            )
            comparisons.append(
                replace(
                    compared,
                    person=reading.person,
                    print_set=estimate.print_set,
                    camera=estimate.camera,
                    typed=reading.typed,
                )
            )
    alone += [photo for place in sorted(photos) if place not in used for photo in photos[place]]
    return CrossCheck(tuple(comparisons), tuple(alone), tuple(readings_alone), tuple(refused))


def _needed(photo: DirectionalDiameter, gauge: DirectionalDiameter, matters_mm: float) -> str:
    """Return what would reduce U of the difference to the difference that matters."""
    shared = covariance_mm2(photo.budget, gauge.budget)
    room = (matters_mm / 2.0) ** 2 + 2.0 * shared
    left = room - gauge.u_mm**2
    if left > 0:
        return (
            f"To detect a difference of {matters_mm:.2f} mm the photograph needs U (k = 2) of "
            f"{2.0 * math.sqrt(left):.2f} mm or less (now {2.0 * photo.u_mm:.2f} mm): check the "
            "print, or go closer."
        )
    left = room - photo.u_mm**2
    if left > 0:
        return (
            f"To detect a difference of {matters_mm:.2f} mm the gauge needs U (k = 2) of "
            f"{2.0 * math.sqrt(left):.2f} mm or less (now {2.0 * gauge.u_mm:.2f} mm): use "
            "wide jaws."
        )
    return (
        f"To detect a difference of {matters_mm:.2f} mm both need a smaller U: the gauge has U "
        f"(k = 2) {2.0 * gauge.u_mm:.2f} mm and the photograph {2.0 * photo.u_mm:.2f} mm."
    )
