"""Tables of measurements: sections, views, photographs against the gauge."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from inspection.assessment import Assessment
from inspection.comparison.crosscheck import why_not_compared
from inspection.measurement.section import Source
from inspection.screening.checks.lay_length import lay_words
from ui.charts.sources import along_rope, budget_shares, differences, roundness
from ui.lengths import K, figure, short_length, signed_length, tabled, unit_of
from ui.presenters.whole_rope import whole_rope
from ui.report.blocks import Block, Drawn, Grid, Heading, Rounds, Words, without_empty
from ui.text import place
from vision.results import Estimate
from vision.uncertainty import Term, shares

MOST_ROUNDS = 12  # they fill a page; the table has every station


def sections(assessment: Assessment) -> list[Block]:
    """Return mean diameter and ovality of every station, by photographs and by gauge."""
    units = assessment.log.rope.units
    rows: list[tuple[str, ...]] = []
    both = [(one, source) for source, sections in assessment.sections_by_source for one in sections]
    for one, source in sorted(both, key=lambda pair: pair[0].station or 0):
        difference = one.difference_pct
        rows.append(
            (
                str(one.station) + (f", at {short_length(one.at_mm, units)}" if one.at_mm else ""),
                _source_words(assessment, source, one.station),
                " and ".join(f"{view.view_deg}°" for view in one.views),
                tabled(one.mean_mm, units),
                tabled(K * one.u_mean_mm, units),
                "" if difference is None else f"{difference:+z.2f}",
                tabled(one.ovality_mm, units),
                tabled(K * one.u_ovality_mm, units),
                "" if one.ovality_pct is None else f"{one.ovality_pct:.2f}",
            )
        )
    if not rows:
        return [Words("No station was measured in two directions: no mean, no ovality.")]
    head = (
        "Station",
        "Measured by",
        "Directions",
        "Station mean (mm)",
        "U (mm)",
        "Mean − nominal (% of nominal)",
        "Ovality (mm)",
        "U (mm)",
        "Ovality (% of nominal)",
    )
    widths = (1, 1.6, 1.5, 1.1, 0.9, 1.5, 1.1, 0.9, 1.3)
    right = frozenset(range(3, len(head)))
    explanation = Words(
        "Mean: over the directions. Ovality: larger minus smaller direction; it is never "
        "negative, so a perfectly round rope gives slightly more than 0. U: expanded "
        "uncertainty, k = 2.",
        "small",
    )
    return [
        Drawn(
            along_rope(assessment),
            "Mean diameter along the rope; bars are U (k = 2). Shaded: beyond a limit.",
        ),
        Grid(head, tuple(rows), widths, right=right),
        explanation,
        *(Words(words) for words in whole_rope(assessment)),
    ]


def rounds(assessment: Assessment) -> list[Block]:
    """Return the photographed stations as seen along the rope; by gauge if there are none."""
    source: Source = "photographs" if assessment.photograph_sections else "gauge"
    chosen = assessment.photograph_sections or assessment.gauge_sections
    if not chosen:
        return []
    ovalest = sorted(chosen, key=lambda section: -section.ovality_mm)[:MOST_ROUNDS]
    shown = tuple(roundness(one, source) for one in chosen if one in ovalest)
    which = "Each station" if len(shown) == len(chosen) else f"The {len(shown)} most oval stations"
    caption = (
        f"{which} as seen along the rope. Diamonds and bars: measured directions with U "
        "(k = 2). The line between them is interpolated, not measured; its deviations from the "
        "mean are magnified as stated. Dashed ring: the mean; dotted rings: the mean minus and "
        "plus the amount stated."
    )
    ellipses = [
        Words(f"Station {one.station}: {one.ellipse.words}", "small")
        for one in shown
        if one.ellipse is not None
    ]
    return [Heading("Roundness", 3), Rounds(shown, caption), *ellipses]


def stations_by_hand(assessment: Assessment) -> tuple[int, ...]:
    """Return the stations with an edge set by hand in a photograph."""
    named = {
        result.station
        for result in assessment.log.results
        if isinstance(result, Estimate) and result.by_hand
    }
    return tuple(sorted(number for number in named if number is not None))


def stations_without_card(assessment: Assessment) -> tuple[int, ...]:
    """Return the stations with a photograph measured without the card."""
    named = {
        result.station
        for result in assessment.log.results
        if isinstance(result, Estimate) and result.without_card
    }
    return tuple(sorted(number for number in named if number is not None))


def _source_words(assessment: Assessment, source: Source, station: int | None) -> str:
    words = [str(source)]
    if source == "photographs" and station in stations_by_hand(assessment):
        words.append("an edge set by hand")
    if source == "photographs" and station in stations_without_card(assessment):
        words.append("without the card")
    return ", ".join(words) + assessment.mark(station)


def lay(assessment: Assessment) -> list[Block]:
    """Return the lay lengths as text; empty if no photograph shows them."""
    words = lay_words(assessment.lays)
    return [Heading("Lay length", 3), *(Words(word) for word in words)] if words else []


def views(assessment: Assessment) -> list[Block]:
    """Return every photograph's figure with its uncertainty, and each warning once."""
    estimates = [result for result in assessment.log.results if isinstance(result, Estimate)]
    if not estimates:
        return [Words("No photograph gave a diameter.")]
    units = assessment.log.rope.units
    rows = []
    for estimate in sorted(estimates, key=lambda est: (est.station or 10**6, est.view_deg or 0)):
        largest = shares(estimate.budget)[:1]
        most = "".join(f"{term.quantity} ({100 * share:.0f} %)" for term, share in largest)
        rows.append(
            (
                place(estimate),
                tabled(estimate.diameter_mm, units)
                + assessment.entry_mark(estimate.place, "photographs"),
                tabled(estimate.expanded_mm(), units),
                f"{100 * estimate.expanded_mm() / estimate.diameter_mm:.2f}",
                str(estimate.crowns) if estimate.crowns else "smooth",
                figure(estimate.jaw_mm, units, decimals=0),
                f"{estimate.px_per_mm:.1f}",
                f"{estimate.tilt_deg:.0f}",
                most,
                ", ".join(
                    words
                    for words, true in (
                        ("edge set by hand", estimate.by_hand),
                        ("without the card", estimate.without_card),
                    )
                    if true
                ),
            )
        )
    head = (
        "Place",
        "Diameter (mm)",
        "U (mm)",
        "U (%)",
        "Crowns on the jaws",
        "Jaw length (mm)",
        "Scale (px/mm)",
        "Tilt (°)",
        "Main source of U",
        "Note",
    )
    widths = (2.1, 1.3, 0.9, 0.8, 1.2, 1.1, 1.1, 0.8, 2.6, 1.2)
    strong = frozenset(number for number, row in enumerate(rows) if row[-1])
    table = Grid(head, tuple(rows), widths, right=frozenset(range(1, 8)), strong=strong)
    blocks: list[Block] = [
        without_empty(table),
        Words(
            "Crowns on the jaws: strand crowns on which the two straight lines bear. Jaw length: "
            "length of these lines. Scale: pixels of the photograph per millimetre at the rope. "
            "Tilt: of the camera relative to the card.",
            "small",
        ),
    ]
    warnings = Counter(
        f"{finding.seen} {finding.remedy}"
        for estimate in estimates
        for finding in estimate.findings
    )
    blocks += [
        Words(f"Noted in {count} of {len(estimates)} figures: {words}", "small")
        for words, count in warnings.items()
    ]
    return blocks


def budget(assessment: Assessment) -> list[Block]:
    """Return the sources of the photographs' uncertainty, all photographs combined."""
    estimates = [result for result in assessment.log.results if isinstance(result, Estimate)]
    terms: list[Term] = [term for estimate in estimates for term in estimate.budget]
    if not terms:
        return []
    parts = budget_shares(terms)
    first = parts[0]
    caption = (
        f"Contributions to the variance of {len(estimates)} figures from photographs, combined. "
        f"Largest: {first.quantity} ({first.share_pct:.0f} %). The budget of each photograph is "
        "in the raw data."
    )
    return [Heading("Sources of uncertainty", 3), Drawn(parts, caption)]


def comparisons(assessment: Assessment) -> list[Block]:
    """Return every reading compared with its photograph, and the limits of agreement."""
    units = assessment.log.rope.units
    found = assessment.crosscheck.comparisons
    if not found:
        return [Words("No reading could be compared with a photograph of the same place.")]
    rows = tuple(
        (
            one.place.words,
            one.gauge,
            one.typed + assessment.entry_mark(one.place, "gauge"),
            tabled(one.gauge_mm, units),
            tabled(K * one.u_gauge_mm, units),
            tabled(one.photo_mm, units),
            tabled(K * one.u_photo_mm, units),
            tabled(one.difference_mm, units, signed=True),
            tabled(K * one.u_difference_mm, units),
            f"{one.en:+z.2f}",
            one.word,
        )
        for one in found
    )
    head = (
        "Place",
        "Gauge",
        "As typed",
        "Reading (mm)",
        "U (mm)",
        "Photograph (mm)",
        "U (mm)",
        "Photograph − gauge (mm)",
        "U (mm)",
        "E_n",
        "Agreement",
    )
    widths = (2.0, 1.5, 1.1, 1.2, 0.8, 1.5, 0.8, 1.5, 0.8, 0.9, 1.4)
    strong = frozenset(i for i, one in enumerate(found) if one.word == "disagrees")
    blocks: list[Block] = [
        Grid(head, rows, widths, right=frozenset(range(3, 10)), strong=strong),
        Words(
            "E_n: difference divided by its expanded uncertainty (ISO 13528). A magnitude up to 1 "
            "agrees, from 1.5 disagrees (from more if many are compared, or if people's "
            'repeatability is known from few readings), in between is doubtful; "cannot say": the '
            "uncertainty is larger than a difference that would matter.",
            "small",
        ),
    ]
    blocks += [Words(f"{one.place.words}: {one.needed}", "small") for one in found if one.needed]
    agreement = assessment.agreement
    if agreement is None:
        blocks.append(Words("Fewer than 3 comparisons: no limits of agreement."))
    else:
        shared = (
            ""
            if agreement.u_bias_mm is None
            else f" Standard uncertainty of the mean difference "
            f"{figure(agreement.u_bias_mm, units, decimals=3)} {unit_of(units)}."
        )
        blocks.append(
            Words(
                "Mean difference photograph − gauge "
                f"{signed_length(agreement.bias_mm, units, decimals=3)}, limits of agreement "
                f"{signed_length(agreement.low_mm, units)} to "
                f"{signed_length(agreement.high_mm, units)} "
                f"({agreement.count} comparisons).{shared}"
            )
        )
    lines = "" if agreement is None else ("; dashed lines: mean difference and limits of agreement")
    caption = f"Photograph minus gauge against the mean of both; bars are U (k = 2){lines}."
    blocks.append(Drawn(differences(assessment), caption))
    blocks += _alone(assessment)
    return blocks


def _alone(assessment: Assessment) -> Sequence[Block]:
    checked = assessment.crosscheck
    lines = [
        f"{one.photo_name or place(one)}: {one.diameter_mm:.2f} mm, "
        f"{why_not_compared(one, assessment.log.readings)}."
        for one in checked.photos_alone
    ]
    lines += [
        f"{one.place.words}: {one.typed}{assessment.entry_mark(one.place, 'gauge')} was logged, "
        "no photograph to compare it with."
        for one in checked.readings_alone
    ]
    return [Words(line, "small") for line in lines]
