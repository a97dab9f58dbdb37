"""Causes: everything that is known to make figures odd, and how likely it makes them.

Each account of a figure says what the figures should then be: some of them shifted, a text
retyped, readings in one another's places, a gauge of another kind. How likely it makes what was
read, and how often it comes about, are its odds against nothing being wrong (Bayes factor times
prior odds; Kass and Raftery, Bayes factors, J. Am. Stat. Assoc. 1995; 90: 773).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from inspection.model.loss import LOSS_REMEDY
from inspection.model.readings import one_section_shortfall_pct
from inspection.screening.copied_figures import about_one_level, of_another_rope
from inspection.screening.evidence import (
    Explanation,
    log_posterior,
    row_of,
    rows_of,
    shift_evidence,
)
from inspection.screening.expected_readings import Fit
from inspection.screening.narrow_jaws import pitch_words, wide_jaws, with_narrow_jaws
from inspection.screening.odd_figures import (
    Exchange,
    entry_at,
    exchange_evidence,
    retype_evidence,
    today,
)
from inspection.screening.transcription_errors import readings_meant

# How often each comes about, for one reading, station or log. Our judgement, no source: what
# counts is their order of size. Two of them (a digit that is one off, narrow jaws) were set with
# a look at the first simulations of tests/benchmarks; its tables come from other seeds and ranges.
SLIP, UNIT, MISREAD = 1 / 400, 1 / 1000, 1 / 150
LOSS, LOSS_ONE_WAY, GROWTH, MISREAD_STATION = 1 / 100, 1 / 400, 1 / 500, 1 / 500
EXCHANGED, ROWS, AXES = 1 / 300, 1 / 300, 1 / 200
GAUGE, ALL_GAUGES, PERSON, CHANGE, JAWS_USED = 1 / 30, 1 / 60, 1 / 50, 1 / 50, 1 / 30
VALLEYS, ALL_LOWER, NO_ROPE, ANOTHER_ROPE = 1 / 100, 1 / 50, 1 / 1000, 1 / 200
# How large, in % of nominal: mean and standard deviation, cut at 0 where a sign is named.
LOSS_SIZE, GROWTH_SIZE = (-3.0, 4.0), (2.0, 2.0)
MISREAD_SIZES = ((0.0, 0.8), (0.0, 3.0))
GAUGE_SIZE, ALL_LOWER_SIZE = (0.0, 1.5), (-1.5, 1.5)
VALLEY_SD = 0.6  # a jaw rarely lies quite in the valley, and strands are not quite round
SCATTERS_PCT = (0.15, 0.4, 1.0)  # of figures that follow no rope

LOOK_ALL = (
    "Measure the rope with another gauge at three stations first: if it is this thin all along, "
    "the discard limits decide. Then check the gauge."
)
READ_AGAIN = "Read this place again in both directions, and look at its photographs."
ASK = "Ask what was read, or read it again; correct the entry only with its reason."
CHECK_GAUGE = "Check the gauge's zero on a known size, and read two stations again with another."


@dataclass(frozen=True, slots=True)
class Cause:
    """What shifts figures, whichever they are.

    Parameters
    ----------
    code, words : str
        Its name, and the same for people, as in `Explanation`.
    prior : float
        How often it comes about, against nothing being wrong.
    remedy, innocent : str
        What to do, and how it comes about.
    sign : int
        -1 where it only makes figures smaller, 1 where only larger, 0 where either.
    loss : bool
        Whether it is a loss of section.
    """

    code: str
    words: str
    prior: float
    remedy: str
    innocent: str
    sign: int = 0
    loss: bool = False


def _shifted(
    fitted: Fit, cause: Cause, places: list[int], sizes: tuple[tuple[float, float], ...]
) -> Explanation:
    """Return a cause at some places; its sizes are (mean, sd) in % of nominal, each as likely."""
    figures = fitted.figures
    pct = figures.log.rope.nominal_mm / 100.0
    row = row_of(figures, places)
    evidence = [
        (*shift_evidence(fitted, row, (mean * pct, sd * pct), cause.sign), (mean * pct, sd * pct))
        for mean, sd in sizes
    ]
    best, cut, size = max(evidence)
    prior = math.log(cause.prior / len(sizes))
    entries = tuple(entry_at(figures, place) for place in places if place >= figures.first)
    return Explanation(
        cause.code,
        cause.words,
        prior + best,
        entries,
        cause.remedy,
        cause.innocent,
        row[None, :],
        size_mm=size,
        log_prior=prior,
        log_cut=cut,
        loss=cause.loss,
    )


def of_station(fitted: Fit, station: int, entries: Collection[int]) -> Iterator[Explanation]:
    """Return what can have made one station, or one reading of it, odd."""
    figures = fitted.figures
    number = figures.numbers[station]
    here = [k for k in today(figures) if figures.station[k] == station]
    seen = [int(k) for k in figures.photographs if figures.station[k] == station]
    rope = "corrosion, abrasion or a broken core can make a rope thinner at one place"
    yield _shifted(
        fitted,
        Cause(
            "loss-of-section",
            f"a loss of section at station {number}",
            LOSS,
            remedy=LOSS_REMEDY,
            innocent=f"{rope}; a crossover or a dead end is often thinner, too.",
            sign=-1,
            loss=True,
        ),
        [*here, *seen],
        (LOSS_SIZE,),
    )
    always = figures.at_station(station)
    if len(always) > len(here) + len(seen):
        yield _shifted(
            fitted,
            Cause(
                "loss-of-section",
                f"a loss of section at station {number} that earlier inspections show, too",
                LOSS,
                remedy=LOSS_REMEDY,
                innocent=f"{rope}; a crossover or a dead end is often thinner, too.",
                sign=-1,
                loss=True,
            ),
            always,
            (LOSS_SIZE,),
        )
    yield _shifted(
        fitted,
        Cause(
            "thicker-place",
            f"a rope that is thicker at station {number}",
            GROWTH,
            remedy="Look for corrosion or a swollen core there, then read it again.",
            innocent="A serving, dirt under the jaws or ice makes a place thicker.",
            sign=1,
        ),
        [*here, *seen],
        (GROWTH_SIZE,),
    )
    yield _shifted(
        fitted,
        Cause(
            "station-misread",
            f"both directions of station {number} read beside the place, or misread",
            MISREAD_STATION,
            remedy=READ_AGAIN,
            innocent="Gauge and card may have been at different places, or the rope under "
            "another tension.",
        ),
        here,
        MISREAD_SIZES,
    )
    for place in here:
        entry = entry_at(figures, place)
        if entry not in entries:
            continue
        view = figures.log.readings[entry].view_deg
        alike = [k for k in seen if abs(figures.cos_2_view[k] - figures.cos_2_view[place]) < 1e-6]
        yield _shifted(
            fitted,
            Cause(
                "loss-of-section",
                f"a loss of section at station {number}, seen at {view} deg",
                LOSS_ONE_WAY,
                remedy=LOSS_REMEDY,
                innocent="A rope that runs over a flat surface wears on one side.",
                sign=-1,
                loss=True,
            ),
            [place, *alike],
            (LOSS_SIZE,),
        )
        yield _shifted(
            fitted,
            Cause(
                "misread",
                "a misreading",
                MISREAD,
                remedy=READ_AGAIN,
                innocent="A gauge held askew, or with one jaw off the crown, reads wrong by so "
                "much.",
            ),
            [place],
            MISREAD_SIZES,
        )
        yield _over_the_valley(fitted, place)
        yield from _slips(fitted, place)


def _over_the_valley(fitted: Fit, place: int) -> Explanation:
    figures = fitted.figures
    share = one_section_shortfall_pct(max(figures.log.rope.outer_strands, 3))[2]
    return _shifted(
        fitted,
        Cause(
            "over-the-valleys",
            f"the jaws laid over the valleys between the strands, which reads {share:.1f} % too "
            f"little on {figures.log.rope.outer_strands} strands",
            SLIP,
            remedy="Read it again over the crowns: the largest reading counts.",
            innocent="Narrow jaws slip into the valleys unless they are turned to the largest "
            "reading.",
            sign=-1,
        ),
        [place],
        ((-share, VALLEY_SD),),
    )


def _slips(fitted: Fit, place: int) -> Iterator[Explanation]:
    figures = fitted.figures
    entry = entry_at(figures, place)
    reading = figures.log.readings[entry]
    others = [
        figures.log.readings[entry_at(figures, k)].value_mm
        for k in today(figures)
        if k != place and figures.station[k] == figures.station[place]
    ]
    meant = [
        slip
        for slip in readings_meant(reading)
        if not _is_borne_out(reading.value_mm, slip, others)
    ]
    counts: dict[str, int] = {}
    for kind, *_ in meant:
        counts[kind] = counts.get(kind, 0) + 1
    for kind, words, value_mm in meant:
        change = np.zeros(len(figures.off_mm))
        change[place] = value_mm - reading.value_mm
        prior = math.log((UNIT if kind == "inch-for-mm" else SLIP) / counts[kind])
        code = "digit-mistyped" if kind == "digit-one-off" else kind
        yield Explanation(
            code,
            words,
            prior + retype_evidence(fitted, change),
            (entry,),
            ASK,
            "The gauge may have been switched to the other unit."
            if code == "inch-for-mm"
            else "Such slips happen to everyone who types figures with cold hands.",
            np.zeros((0, len(change))),
            change,
            log_prior=prior,
            slip=True,
        )


def _is_borne_out(stands_mm: float, slip: tuple[str, str, float], others: list[float]) -> bool:
    """Return whether another reading of the station bears a figure out as it stands.

    A person who slips does so once: two directions that agree with each other are no slip. A
    place of the decimal point or a unit can be wrong twice, and no rope is a tenth of itself.
    """
    code, _, meant_mm = slip
    return code not in ("decimal-moved", "inch-for-mm") and any(
        abs(other - stands_mm) < abs(other - meant_mm) for other in others
    )


def exchanged(fitted: Fit, exchange: Exchange) -> Explanation:
    """Return an exchange as an explanation."""
    kinds = {"axes-exchanged": AXES, "rows-shifted": ROWS / (2 * len(fitted.figures.numbers))}
    innocent = (
        "Two lines or columns of a sheet are easily exchanged, or the stations were "
        "counted from the other side."
    )
    prior = math.log(kinds.get(exchange.code, EXCHANGED))
    gain = exchange_evidence(fitted, exchange)
    if exchange.twice:  # told apart from one that lets these places go by nothing but the copy
        prior += gain - exchange_evidence(fitted, replace(exchange, twice=()))
        gain = exchange_evidence(fitted, replace(exchange, twice=()))
    return Explanation(
        exchange.code,
        exchange.words,
        prior + gain,
        exchange.entries,
        ASK,
        innocent,
        exchange.free,
        exchange.change_mm,
        log_prior=prior,
    )


def of_many(fitted: Fit) -> Iterator[Explanation]:
    """Return what can have made all that one gauge or person read odd."""
    figures, log = fitted.figures, fitted.figures.log
    places = list(today(figures))
    photographs = [int(place) for place in figures.photographs]
    unworn = log.unworn()
    seen = [*places, *photographs]
    runs = [k for k in seen if figures.numbers[figures.station[k]] not in unworn]
    yield _shifted(
        fitted,
        Cause(
            "lower-everywhere",
            f"a rope that has become thinner all along{', where it runs' if unworn else ''}",
            ALL_LOWER,
            remedy=LOOK_ALL,
            innocent="A new rope loses most in its first weeks, and a load stretches it thinner.",
            sign=-1,
            loss=True,
        ),
        runs or seen,
        (ALL_LOWER_SIZE,),
    )
    yield _wrong_unit(fitted)
    readings = log.readings
    gauges = sorted({readings[entry].gauge for entry in figures.entries})
    people = sorted({readings[entry].person for entry in figures.entries})
    for name in gauges:
        theirs = [k for k in places if readings[entry_at(figures, k)].gauge == name]
        off = f"gauge '{name}' off by the same amount everywhere"
        yield _shifted(
            fitted,
            Cause(
                "gauge-shifted",
                off,
                GAUGE,
                remedy=CHECK_GAUGE,
                innocent="A gauge that was not set to zero, a card "
                "whose print was not checked, or another tension shifts all figures "
                "alike.",
            ),
            theirs,
            (GAUGE_SIZE, (0.0, 5.0)),
        )
        yield _all_over_the_valleys(fitted, theirs)
        yield from _off_from(fitted, theirs, f"gauge '{name}'")
    if len(gauges) > 1:
        yield _all_over_the_valleys(fitted, places)
        yield from _off_from(fitted, places, "all gauges")
        yield _shifted(
            fitted,
            Cause(
                "gauge-shifted",
                "all gauges off alike, or what they are held against",
                ALL_GAUGES,
                remedy="Check the print of the card, and both gauges on a known size.",
                innocent="A card whose print "
                "was not checked, or another tension, shifts all figures alike.",
            ),
            places,
            (GAUGE_SIZE,),
        )
    for name in people if len(people) > 1 else []:
        theirs = [k for k in places if readings[entry_at(figures, k)].person == name]
        yield _shifted(
            fitted,
            Cause(
                "person-differs",
                "one of the people reading otherwise than the other",
                PERSON,
                remedy="Let both read the same two stations, one after the other, with the same "
                "gauge.",
                innocent="People press a gauge differently, and look for the crown differently.",
            ),
            theirs,
            (GAUGE_SIZE,),
        )


def _off_from(fitted: Fit, places: list[int], whose: str) -> Iterator[Explanation]:
    figures = fitted.figures
    held = sorted({int(figures.station[place]) for place in places})
    for start in held[1:]:
        yield _shifted(
            fitted,
            Cause(
                "shift-from",
                f"{whose} off from station {figures.numbers[start]} on",
                CHANGE / len(held),
                remedy=CHECK_GAUGE,
                innocent="A gauge that was dropped or not set to zero again, or a change of "
                "tension on the way.",
            ),
            [place for place in places if figures.station[place] >= start],
            (GAUGE_SIZE,),
        )


def _all_over_the_valleys(fitted: Fit, places: list[int]) -> Explanation:
    strands = fitted.figures.log.rope.outer_strands
    share = one_section_shortfall_pct(max(strands, 3))[2]
    return _shifted(
        fitted,
        Cause(
            "over-the-valleys",
            "the jaws laid over the valleys between the "
            f"strands everywhere, which reads {share:.1f} % too little on {strands} strands",
            VALLEYS,
            remedy="Read two stations again over the crowns: the largest reading counts.",
            innocent="Narrow jaws slip into the valleys unless they are turned to the largest "
            "reading.",
            sign=-1,
        ),
        places,
        ((-share, VALLEY_SD),),
    )


def of_no_rope(fitted: Fit) -> Iterator[Explanation]:
    """Return what figures are that follow no rope, or not this one, where something shows it."""
    figures = fitted.figures
    if not figures.shown:
        return
    pct = figures.log.rope.nominal_mm / 100.0
    plain = log_posterior(figures, fitted.learned)
    own = "figures that do not follow this rope's ups and downs at all"
    ways = [
        (own, NO_ROPE / len(SCATTERS_PCT), about_one_level(figures, scatter * pct))
        for scatter in SCATTERS_PCT
    ]
    ways.append((f"{own}, as those of another rope", ANOTHER_ROPE, of_another_rope(figures)))
    for words, often, told in ways:
        prior = math.log(often)
        yield Explanation(
            "follows-no-rope",
            words,
            prior + log_posterior(told, fitted.learned) - plain,
            figures.entries,
            "Read three of these stations again, the thinnest and the thickest among them.",
            "Another rope may have been read, or the stations counted from its other end.",
            rows_of(figures, figures.entries),
            otherwise=told,
            log_prior=prior,
        )


def of_jaws(fitted: Fit) -> Iterator[Explanation]:
    """Return what narrow jaws make of all that was read with a gauge, or with all of them."""
    figures = fitted.figures
    plain = log_posterior(figures, fitted.learned)
    rows = wide_jaws(figures)
    prior = math.log(JAWS_USED / max(len(rows), 1))
    for _, row in rows:
        told = with_narrow_jaws(figures, row)
        yield Explanation(
            "narrow-jaws",
            f"jaws narrower than the crown pitch{pitch_words(figures)}, laid beside the crowns",
            prior + log_posterior(told, fitted.learned) - plain,
            tuple(entry_at(figures, int(place)) for place in np.flatnonzero(row)),
            "Look which gauge was used; jaws must reach over two crowns on each side.",
            "Another caliper than the one that is named may have been at hand.",
            row[None, :],
            otherwise=told,
            log_prior=prior,
        )


def _wrong_unit(fitted: Fit) -> Explanation:
    figures = fitted.figures
    change = np.zeros(len(figures.off_mm))
    nominal = figures.log.rope.nominal_mm
    values = np.array([figures.log.readings[entry].value_mm for entry in figures.entries])
    factor = 25.4 if float(np.median(values)) < nominal / 2.0 else 1.0 / 25.4
    change[figures.first :] = values * (factor - 1.0)
    # what is a 25th as long scatters a 25th as much: that alone is no evidence
    prior = math.log(UNIT) + len(values) * math.log(factor)
    return Explanation(
        "inch-for-mm",
        f"all typed in {'inches' if factor > 1 else 'millimetres'}",
        prior + retype_evidence(fitted, change),
        figures.entries,
        ASK,
        "The gauge may have been switched to the other unit.",
        np.zeros((0, len(change))),
        change,
        log_prior=prior,
        slip=True,
    )
