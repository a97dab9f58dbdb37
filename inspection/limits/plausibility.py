"""Whether figures can belong to the nominal diameter at all, whatever other limits apply.

This is not a published limit but our own rule, used where no other one applies. A rope is made at
least as thick as its nominal diameter. If it is thinner than nominal by more than the table of
uniform decrease allows from a *reference*, it is beyond that table whatever its reference was, or
the nominal diameter, the unit or the rope itself is wrong. Nor can a rope be thicker than the
largest oversize of a new rope plus the increase whose cause has to be found.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from inspection.limits.standards import BAND_EDGES_PCT, discard_category
from inspection.model.log import Log, log_terms
from inspection.model.loss import LOSS_REMEDY, can_be_diameter
from inspection.model.rope import Rope
from vision.results import Estimate, Finding, Place
from vision.uncertainty import combined_u_mm

# Largest oversize of a new rope in any row (FACTS: strands with fibre centres, 4 to 6 mm), and
# the increase at which the cause has to be found, % of nominal.
MOST_OVERSIZE_PCT = 9.0
INCREASE_PCT = {"steel": 5.0, "fibre": 10.0}


@dataclass(frozen=True, slots=True)
class _Figure:
    place: Place | None
    words: str
    value_mm: float
    u_mm: float


def plausible_mm(rope: Rope) -> tuple[float, float]:
    """Return the least and largest plausible diameter of a rope of this nominal diameter, mm.

    Examples
    --------
    >>> plausible_mm(Rope("R-1", 24.0))
    (22.2, 27.36)
    """
    least_pct = BAND_EDGES_PCT[discard_category(rope)][-1]
    most_pct = MOST_OVERSIZE_PCT + INCREASE_PCT[rope.core]
    return (
        round(rope.nominal_mm * (1 - least_pct / 100), 9),
        round(rope.nominal_mm * (1 + most_pct / 100), 9),
    )


def far_from_nominal(log: Log, *, named: Collection[Place | None] = ()) -> tuple[Finding, ...]:
    """Return the findings on figures that can't belong to the rope's nominal diameter.

    Every reading and every photograph counts, in one direction or two; a figure beyond the bounds
    by more than its expanded uncertainty (k = 2) is far from nominal.

    Parameters
    ----------
    log : Log
        The inspection.
    named : collection of Place, optional
        Places whose figures have findings of their own; a finding is returned only if it concerns
        other places, too.
    """
    low, high = plausible_mm(log.rope)
    off_plan = log.beside_the_plan()
    figures = [
        _Figure(
            figure.place,
            f"{figure.typed} logged at {figure.place.words}",
            figure.value_mm,
            combined_u_mm(terms or ()),
        )
        for figure, terms in zip(log.readings, log_terms(log), strict=True)
    ]
    figures += [
        _Figure(
            place,
            f"{result.diameter_mm:.2f} mm by photograph {result.photo_name}",
            result.diameter_mm,
            result.u_mm,
        )
        for result in log.results
        if isinstance(result, Estimate) and result not in off_plan
        for place in [result.place]
        if place is not None
    ]
    thin = [figure for figure in figures if figure.value_mm + 2 * figure.u_mm < low]
    thick = [figure for figure in figures if figure.value_mm - 2 * figure.u_mm > high]
    nominal = log.rope.nominal_mm
    findings = []
    for far, than, bound in ((thin, "thinner", low), (thick, "thicker", high)):
        if all(figure.place in named for figure in far):
            continue
        first = (min if than == "thinner" else max)(far, key=lambda figure: figure.value_mm)
        pct = 100.0 * (first.value_mm - nominal) / nominal
        check = "Check the nominal diameter, the unit and which rope it was."
        # one misplaced decimal point hides no loss at another place
        lost = than == "thinner" and any(can_be_diameter(one.value_mm, nominal) for one in far)
        places = tuple(dict.fromkeys(figure.place for figure in far if figure.place is not None))
        findings.append(
            Finding(
                "far-from-nominal",
                f"{len(far)} of {len(figures)} figures "
                f"{'is' if len(far) == 1 else 'are'} {than} than {bound:.2f} mm, which a "
                f"sound rope of nominal {nominal:g} mm can't be; the farthest, "
                f"{first.words}, is {pct:+z.1f} % from nominal.",
                f"{LOSS_REMEDY} {check}" if lost else check,
                "look",
                first.value_mm,
                bound,
                "mm",
                tuple(place.words for place in places) or ("whole rope",),
                innocent="The nominal "
                "diameter may have been entered wrongly, or the rope was another one.",
                places=places,
                about=(than,),
                look_first=lost,
                may_be_loss=lost,
            )
        )
    return tuple(findings)
