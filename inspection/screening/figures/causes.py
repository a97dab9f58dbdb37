"""Causes: everything that is known to make figures odd, and how likely each makes them.

Each cause predicts what the figures should be: some of them shifted, one retyped, readings in
one another's places, a different kind of gauge. How likely it makes the readings, times how often
it occurs, gives its odds against nothing being wrong (Bayes factor times prior odds; Kass and
Raftery, Bayes factors, J. Am. Stat. Assoc. 1995; 90: 773).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from inspection.model.loss import LOSS_REMEDY
from inspection.model.readings import one_section_shortfall_pct
from inspection.screening.figures.copied_figures import about_one_level, of_another_rope
from inspection.screening.figures.evidence import (
    Explanation,
    log_posterior,
    row_of,
    rows_of,
    shift_evidence,
)
from inspection.screening.figures.expected_readings import Array, Figures, Fit
from inspection.screening.figures.narrow_jaws import pitch_words, wide_jaws, with_narrow_jaws
from inspection.screening.figures.odd_figures import (
    Exchange,
    entry_at,
    exchange_evidence,
    retype_evidence,
    today,
)
from inspection.screening.figures.predictions import values_today
from inspection.screening.figures.transcription_errors import is_borne_out, readings_meant

# How often each occurs, per reading, station or log. Our judgement, no source: only the order of
# magnitude matters. Two of them (a digit that is one off, narrow jaws) were set after seeing the
# first simulations of tests/benchmarks; its tables come from other seeds and ranges.
SLIP, UNIT, MISREAD = 1 / 400, 1 / 1000, 1 / 150
LOSS, LOSS_ONE_WAY, GROWTH, MISREAD_STATION = 1 / 100, 1 / 400, 1 / 500, 1 / 500
EXCHANGED, ROWS, AXES = 1 / 300, 1 / 300, 1 / 200
GAUGE, ALL_GAUGES, PERSON, CHANGE, JAWS_USED = 1 / 30, 1 / 60, 1 / 50, 1 / 50, 1 / 30
VALLEYS, ALL_LOWER, NO_ROPE, ANOTHER_ROPE = 1 / 100, 1 / 50, 1 / 1000, 1 / 200
# Size in % of nominal: mean and standard deviation, truncated at 0 where a sign is given.
LOSS_SIZE, GROWTH_SIZE = (-3.0, 4.0), (2.0, 2.0)
MISREAD_SIZES = ((0.0, 0.8), (0.0, 3.0))
GAUGE_SIZE, ALL_LOWER_SIZE = (0.0, 1.5), (-1.5, 1.5)
VALLEY_SD = 0.6  # a jaw is rarely exactly in the valley, and strands are not exactly round
SCATTERS_PCT = (0.15, 0.4, 1.0)  # of figures that do not follow the rope

LOOK_ALL = (
    "Measure the rope with another gauge at three stations first: if it is this thin along its "
    "whole length, the discard limits decide. Then check the gauge."
)
READ_AGAIN = "Measure this place again in both directions, and check its photographs."
ASK = "Ask what the gauge read, or measure again; correct the entry only with a reason."
CHECK_GAUGE = "Check the gauge's zero on a known size, and measure two stations again with another."


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that shifts figures, whichever figures these are.

    Parameters
    ----------
    code, words : str
        Its code, and the words people see, as in `Explanation`.
    prior : float
        How often it occurs, against nothing being wrong.
    remedy, innocent : str
        What to do, and how it can happen innocently.
    sign : int
        -1 if it can only make figures smaller, 1 if only larger, 0 if either.
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
    """Return a cause at some places; its sizes are (mean, sd) in % of nominal, equally likely."""
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
    """Return what can have made one station, or one of its readings, odd."""
    figures = fitted.figures
    number = figures.numbers[station]
    here = [k for k in today(figures) if figures.station[k] == station]
    seen = [int(k) for k in figures.photographs if figures.station[k] == station]
    rope = "Corrosion, abrasion or a broken core can make a rope thinner at one place"
    yield _shifted(
        fitted,
        Cause(
            "loss-of-section",
            f"a loss of section at station {number}",
            LOSS,
            remedy=LOSS_REMEDY,
            innocent=f"{rope}; it is often thinner at a crossover or a dead end, too.",
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
                f"a loss of section at station {number} that earlier inspections also show",
                LOSS,
                remedy=LOSS_REMEDY,
                innocent=f"{rope}; it is often thinner at a crossover or a dead end, too.",
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
            remedy="Look for corrosion or a swollen core there, then measure it again.",
            innocent="A serving, dirt under the jaws or ice makes a place measure thicker.",
            sign=1,
        ),
        [*here, *seen],
        (GROWTH_SIZE,),
    )
    yield _shifted(
        fitted,
        Cause(
            "station-misread",
            f"both directions of station {number} measured at the wrong place, or misread",
            MISREAD_STATION,
            remedy=READ_AGAIN,
            innocent="Gauge and card may have been at different places, or the rope under "
            "a different tension.",
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
                innocent="A gauge held askew, or with one jaw off the crown, can be this far "
                "wrong.",
            ),
            [place],
            MISREAD_SIZES,
        )
        yield _over_the_valley(fitted, place)
        if not figures.changed_mm[place]:  # a second slip would contradict one already accepted
            yield from _slips(fitted, place)


def _over_the_valley(fitted: Fit, place: int) -> Explanation:
    figures = fitted.figures
    share = one_section_shortfall_pct(max(figures.log.rope.outer_strands, 3))[2]
    return _shifted(
        fitted,
        Cause(
            "over-the-valleys",
            f"the jaws placed over the valleys between the strands, which reads {share:.1f} % "
            f"too low on {figures.log.rope.outer_strands} strands",
            SLIP,
            remedy="Measure it again over the crowns: the largest reading counts.",
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
        slip for slip in readings_meant(reading) if not is_borne_out(reading.value_mm, slip, others)
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
            else "Anyone who types figures with cold hands makes such slips.",
            np.zeros((0, len(change))),
            change,
            log_prior=prior,
            slip=True,
        )


def exchanged(fitted: Fit, exchange: Exchange) -> Explanation:
    """Return an exchange as an explanation."""
    kinds = {"axes-exchanged": AXES, "rows-shifted": ROWS / (2 * len(fitted.figures.numbers))}
    innocent = (
        "Two lines or columns of a sheet are easily exchanged, or the stations were "
        "counted from the other end."
    )
    prior = math.log(kinds.get(exchange.code, EXCHANGED))
    gain = exchange_evidence(fitted, exchange)
    if exchange.twice:  # only the copy distinguishes it from one that leaves these places free
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
    """Return what can have made everything that one gauge or person read odd."""
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
            f"a rope that has become thinner along its {'running' if unworn else 'whole'} length",
            ALL_LOWER,
            remedy=LOOK_ALL,
            innocent="A new rope loses most diameter in its first weeks, and a load makes it "
            "thinner.",
            sign=-1,
            loss=True,
        ),
        runs or seen,
        (ALL_LOWER_SIZE,),
    )
    if _is_nearer_in_another_unit(figures):
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
                "whose print was not checked, or a different tension shifts all figures "
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
                "all gauges off alike, or the figures they are compared with",
                ALL_GAUGES,
                remedy="Check the print of the card, and both gauges on a known size.",
                innocent="A card whose print "
                "was not checked, or a different tension, shifts all figures alike.",
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
                "one person reading differently from the other",
                PERSON,
                remedy="Let both measure the same two stations, one after the other, with the "
                "same gauge.",
                innocent="People press a gauge differently, and find the crown differently.",
            ),
            theirs,
            (GAUGE_SIZE,),
        )


def _off_from(fitted: Fit, places: list[int], whose: str) -> Iterator[Explanation]:
    figures = fitted.figures
    stations_read = sorted({int(figures.station[place]) for place in places})
    for start in stations_read[1:]:
        yield _shifted(
            fitted,
            Cause(
                "shift-from",
                f"{whose} off from station {figures.numbers[start]} onwards",
                CHANGE / len(stations_read),
                remedy=CHECK_GAUGE,
                innocent="The gauge may have been dropped or not set to zero again, or the "
                "tension may have changed.",
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
            "the jaws placed over the valleys between the "
            f"strands everywhere, which reads {share:.1f} % too low on {strands} strands",
            VALLEYS,
            remedy="Measure two stations again over the crowns: the largest reading counts.",
            innocent="Narrow jaws slip into the valleys unless they are turned to the largest "
            "reading.",
            sign=-1,
        ),
        places,
        ((-share, VALLEY_SD),),
    )


def of_no_rope(fitted: Fit) -> Iterator[Explanation]:
    """Return the explanations of figures that do not follow this rope, where something shows it."""
    figures = fitted.figures
    if not figures.shown:
        return
    pct = figures.log.rope.nominal_mm / 100.0
    plain = log_posterior(figures, fitted.learned)
    own = "figures that do not follow this rope's variations at all"
    ways = [
        (own, NO_ROPE / len(SCATTERS_PCT), about_one_level(figures, scatter * pct))
        for scatter in SCATTERS_PCT
    ]
    ways.append((f"{own}, like those of another rope", ANOTHER_ROPE, of_another_rope(figures)))
    for words, often, predicted in ways:
        prior = math.log(often)
        yield Explanation(
            "follows-no-rope",
            words,
            prior + log_posterior(predicted, fitted.learned) - plain,
            figures.entries,
            "Measure three of these stations again, including the thinnest and the thickest.",
            "Another rope may have been measured, or the stations counted from the other end.",
            rows_of(figures, figures.entries),
            otherwise=predicted,
            log_prior=prior,
        )


def of_jaws(fitted: Fit) -> Iterator[Explanation]:
    """Return narrow jaws as an explanation of what each gauge read, and of all gauges together."""
    figures = fitted.figures
    plain = log_posterior(figures, fitted.learned)
    rows = wide_jaws(figures)
    prior = math.log(JAWS_USED / max(len(rows), 1))
    for _, row in rows:
        predicted = with_narrow_jaws(figures, row)
        yield Explanation(
            "narrow-jaws",
            f"jaws narrower than the crown pitch{pitch_words(figures)}, placed beside the crowns",
            prior + log_posterior(predicted, fitted.learned) - plain,
            tuple(entry_at(figures, int(place)) for place in np.flatnonzero(row)),
            "Check which gauge was used; its jaws must span two crowns on each side.",
            "A caliper other than the one named may have been used.",
            row[None, :],
            otherwise=predicted,
            log_prior=prior,
        )


def _other_unit(figures: Figures) -> tuple[Array, float, float]:
    """Return today's readings, mm; their median over nominal; the factor to the other unit."""
    values = values_today(figures)
    ratio = float(np.median(values)) / figures.log.rope.nominal_mm
    return values, ratio, 25.4 if ratio < 0.5 else 1.0 / 25.4


def _is_nearer_in_another_unit(figures: Figures) -> bool:
    """Return whether the other unit brings the readings nearer to the nominal diameter."""
    _, ratio, factor = _other_unit(figures)
    return abs(math.log(factor * ratio)) < abs(math.log(ratio))


def _wrong_unit(fitted: Fit) -> Explanation:
    figures = fitted.figures
    change = np.zeros(len(figures.off_mm))
    values, _, factor = _other_unit(figures)
    change[figures.first :] = values * (factor - 1.0)
    # figures a 25th as large scatter a 25th as much: that alone is no evidence
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
