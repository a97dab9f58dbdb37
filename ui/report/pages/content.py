"""The report's content in order, as blocks: one source for PDF and HTML."""

from __future__ import annotations

from inspection.model.rope import Groove, Rope, Units
from ui.charts.sources import last_digits
from ui.lengths import short_length
from ui.presenters.rope_form import USES
from ui.report.blocks import Block, Drawn, Facts, Grid, Heading, NewPage, Pictures, Words
from ui.report.case import ReportCase
from ui.report.pages import measurements
from ui.report.pages.appendix import raw_data
from ui.report.pages.assessment import earlier, flags, not_applicable, verdicts, wear
from ui.report.pages.flag_order import by_action
from ui.report.pages.front import front
from ui.report.pages.record import record_facts
from ui.report.pages.summary import in_short, job, stations
from ui.report.pages.units import in_rope_units
from ui.text import CAUTIONS

METHOD = (
    "A printed card is fixed to the rope and photographed with it from two directions at right "
    "angles. The card's known pattern gives the camera's position. On each side of the rope the "
    "straight line bearing on the strand crowns is traced, as the wide jaw of a gauge would bear "
    "on them. Each of these lines and the camera's centre define a plane tangent to the rope; the "
    "cylinder tangent to both planes gives the diameter. This allows for the rope's distance from "
    "the camera.",
    "The contributions to the figure's uncertainty are listed in a budget by JCGM 100:2008 (GUM): "
    "print scale, flatness, camera, corners, edges, crowns. U is the expanded uncertainty with "
    "k = 2, about 95 % coverage; u is the standard uncertainty.",
    "The mean of the two directions is the measured diameter of ISO 4309:2017, 3.2; the larger "
    "minus the smaller is the ovality. Gauge readings have their own budget and are compared with "
    "the photograph of the same place and direction; contributions that both share cancel in the "
    "difference.",
)


def blocks_of(case: ReportCase) -> list[Block]:
    """Return the whole report."""
    return [
        front(case),
        NewPage(),
        Heading("Annex: summary of findings"),
        *job(case),
        *(Words(caution, "caution") for caution in CAUTIONS),
        *in_rope_units(_measured(case), case.assessment.log.rope.units),
        *record_facts(case),
        *_notes(case),
        NewPage(),
        Heading("Annex: raw data"),
        *in_rope_units(raw_data(case), case.assessment.log.rope.units),
    ]


def _measured(case: ReportCase) -> list[Block]:
    """Return the measurements and what follows from them."""
    assessment = case.assessment
    history = earlier(assessment)
    return [
        *in_short(case),
        Heading("Rope"),
        *_rope(case),
        Heading("Method"),
        *(Words(part) for part in METHOD),
        Heading("Stations"),
        *stations(case),
        Heading("Diameter along the rope"),
        Words(CAUTIONS[1], "caution"),
        *measurements.sections(assessment),
        *measurements.rounds(assessment),
        *measurements.lay(assessment),
        Heading("Figures from photographs"),
        *measurements.views(assessment),
        *measurements.budget(assessment),
        *_pictures(case),
        Heading("Gauge readings against photographs"),
        *measurements.comparisons(assessment),
        Heading("Entries to check"),
        *flags(by_action(case.flags, case.assessment), case.level),
        *_digits(case),
        Heading("Limits and verdicts"),
        Words(CAUTIONS[1], "caution"),
        *verdicts(assessment, case.decision, case.confirmed),
        *not_applicable(assessment),
        *wear(assessment),
        *([Heading("Earlier inspections"), *history] if history else []),
    ]


def _rope(case: ReportCase) -> list[Block]:
    rope = case.assessment.log.rope
    nominal = short_length(rope.nominal_mm, rope.units)
    reference = "none is known"
    if rope.reference_mm is not None:
        day = "" if rope.reference_on is None else f", {rope.reference_on.isoformat()}"
        how = f", {rope.reference_how}" if rope.reference_how else ""
        reference = f"{short_length(rope.reference_mm, rope.units)}{_u_and_tension(rope)}{day}{how}"
    centres = " with fibre centres" if rope.fibre_centred_strands else ""
    pairs = [
        ("Nominal diameter", nominal),
        ("Reference diameter", reference),
        *(
            ()
            if rope.baseline_mm is None
            else (
                (
                    "Baseline diameter",
                    f"{short_length(rope.baseline_mm, rope.units)}{_u_and_tension(rope)}",
                ),
            )
        ),
        (
            "Construction",
            f"{rope.build}, {rope.outer_strands} outer strands{centres}, {rope.core} core",
        ),
        ("Use and state", f"{USES[rope.duty]}, {rope.service.replace('-', ' ')}"),
        ("Country of the regulations", rope.country or "not stated"),
        ("Sheaves", rope.sheaves),
        ("Site", rope.site or "not named"),
    ]
    blocks: list[Block] = [Facts(tuple(pairs))]
    if rope.grooves:
        head = ("Groove", "Radius", "Pitch", "Layers", "Rope allowed")
        rows = tuple(
            (
                groove.name,
                short_length(groove.radius_mm, rope.units),
                "" if groove.pitch_mm is None else short_length(groove.pitch_mm, rope.units),
                str(groove.layers),
                _allowed(groove, rope.units),
            )
            for groove in rope.grooves
        )
        blocks.append(Grid(head, rows, (2, 1, 1, 1, 2), right=frozenset({1, 2, 3})))
        blocks += [Words(fit.words, "small") for fit in case.assessment.groove_fits]
    return blocks


def _u_and_tension(rope: Rope) -> str:
    """Return the uncertainty and tension of a reference or baseline diameter."""
    u, tension = rope.u_reference_mm, rope.reference_tension
    return (
        "" if u is None else f", U (k = 2) {short_length(float(f'{2 * u:.2g}'), rope.units)}"
    ) + ("" if tension is None else f", at the tension '{tension}'")


def _allowed(groove: Groove, units: Units) -> str:
    low, high = groove.rope_min_mm, groove.rope_max_mm
    if low is None and high is None:
        return "not stated"
    return " ".join(
        f"{word} {short_length(value, units)}"
        for word, value in (("from", low), ("to", high))
        if value is not None
    )


def _pictures(case: ReportCase) -> list[Block]:
    if not case.pictures:
        return []
    explanation = (
        "Dotted: the traced outline. Solid with end ticks: the jaws bearing on the crowns. "
        "Dashed: the card, and the distance between the jaws. A photograph without a diameter is "
        "shown whole."
    )
    return [Heading("Photographs", 3), Words(explanation, "small"), Pictures(case.pictures)]


def _digits(case: ReportCase) -> list[Block]:
    """Return the chart of last digits if screening reported them."""
    log = case.assessment.log
    if not any(flag.finding.code == "last-digits" for flag in case.flags):
        return []
    blocks: list[Block] = []
    for name, gauge in log.gauges.items():
        mine = [reading for reading in log.readings if reading.gauge == name]
        digits = last_digits(mine, gauge.resolution_mm) if mine else None
        if digits is not None:
            blocks.append(
                Drawn(
                    digits,
                    f"Last digits of {len(mine)} readings with gauge {name}; dashed: "
                    f"{digits.expected:.1f} expected of each.",
                )
            )
    return blocks


def _notes(case: ReportCase) -> list[Block]:
    if not case.notes:
        return []
    return [Heading("Notes"), *(Words(note, "small") for note in case.notes)]
