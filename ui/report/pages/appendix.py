"""The appendix: raw data from which every figure of the report can be recalculated."""

from __future__ import annotations

from inspection.assessment import Assessment
from ui.lengths import figure, length_in, short_length, unit_of
from ui.report.blocks import Block, Grid, Heading, Words
from ui.report.case import ReportCase
from ui.report.pages.assessment import minute
from ui.report.photos import in_order
from ui.services.bench_checks import bench_check_for, known_bench_checks
from ui.text import place, refused
from vision.results import Estimate
from vision.uncertainty import shares

LEAST_SHARE = 0.0005  # smaller contributions to a budget are combined


def raw_data(case: ReportCase) -> list[Block]:
    """Return readings as typed, gauges, photographs, their budgets, and what was left out."""
    assessment = case.assessment
    blocks = [
        *_readings(assessment),
        *_gauges(assessment),
        *_photographs(assessment),
        *_budgets(assessment),
        *_changed(case),
        *_left_out(case),
    ]
    return blocks or [Words("Nothing was entered or measured: there are no raw data.")]


def _readings(assessment: Assessment) -> list[Block]:
    log = assessment.log
    rows = tuple(
        (
            str(number),
            one.place.words,
            one.typed + assessment.entry_mark(one.place, "gauge"),
            figure(one.value_mm, log.rope.units, decimals=3),
            one.gauge,
            one.person,
            "" if one.at is None else one.at.isoformat(sep=" ", timespec="seconds"),
        )
        for number, one in enumerate(log.readings, start=1)
    )
    if not rows:
        return []
    head = ("No.", "Place", "As typed", "Value (mm)", "Gauge", "Read by", "Logged at")
    widths = (0.6, 2, 1.2, 1.2, 1.6, 1.8, 2.2)
    return [
        Heading("Gauge readings as logged", 3),
        Grid(head, rows, widths, right=frozenset({0, 3})),
    ]


def _gauges(assessment: Assessment) -> list[Block]:
    rows = tuple(
        (
            gauge.identity,
            gauge.kind,
            short_length(gauge.resolution_mm, assessment.log.rope.units),
            short_length(gauge.permissible_error_mm, assessment.log.rope.units),
            "not known" if gauge.calibration_due is None else gauge.calibration_due.isoformat(),
        )
        for gauge in assessment.log.gauges.values()
    )
    if not rows:
        return []
    head = ("Gauge", "Kind", "Resolution", "Permissible error", "Calibration due")
    return [Heading("Gauges", 3), Grid(head, rows, (2, 2, 1.4, 1.6, 1.8), right=frozenset({2, 3}))]


def _photographs(assessment: Assessment) -> list[Block]:
    results = assessment.log.results
    if not results:
        return []
    rows = tuple(
        (
            result.photo_name,
            place(result),
            ""
            if result.taken_at is None
            else result.taken_at.isoformat(sep=" ", timespec="seconds"),
            result.camera,
            (result.print_set or "not checked") if isinstance(result, Estimate) else "",
            f"{result.focal_px:.0f}" if isinstance(result, Estimate) else "",
            result.hold if isinstance(result, Estimate) else "no diameter",
            result.photo_sha256,
        )
        for result in sorted(results, key=in_order)
    )
    head = (
        "Photograph",
        "Place",
        "Taken at",
        "Camera",
        "Card set",
        "Focal length (px)",
        "Card position",
        "Fingerprint of the file (SHA-256)",
    )
    widths = (2.6, 1.8, 1.7, 1.4, 1.2, 1.0, 1.1, 2.7)
    return [
        Heading("Photographs", 3),
        Words(
            "Card set: the printed cards, named by their print check. A file's fingerprint changes "
            "with any change to the file.",
            "small",
        ),
        Grid(head, rows, widths, right=frozenset({5})),
        *_bench_checks(assessment),
        *(
            Words(f"{refusal.photo_name}: {refused(refusal)}", "small")
            for refusal in assessment.crosscheck.refused
        ),
    ]


def _bench_checks(assessment: Assessment) -> list[Block]:
    """Return the results of bench checks on a known bar for these phones and card sets."""
    log = assessment.log
    try:
        known = bench_check_for(log.results, known_bench_checks())
    except ValueError as damaged:
        return [Words(f"Bench check: {damaged}", "small")]
    return [Words(check.reminder(log.inspection.on), "small") for check in known]


def _budgets(assessment: Assessment) -> list[Block]:
    """Return each figure's budget, largest contributions first (GUM, JCGM 100:2008, 5.1.2)."""
    estimates = [result for result in assessment.log.results if isinstance(result, Estimate)]
    units = assessment.log.rope.units
    rows: list[tuple[str, ...]] = []
    sums = set()
    for estimate in sorted(estimates, key=in_order):
        small, small_share = 0.0, 0.0
        name = place(estimate)
        for term, share in shares(estimate.budget):
            if share < LEAST_SHARE:
                small, small_share = small + term.u_mm**2, small_share + share
                continue
            is_length = term.unit == "mm"
            rows.append(
                (
                    name,
                    term.quantity,
                    term.kind,
                    f"{length_in(term.u, units):.3g} {unit_of(units)}"
                    if is_length
                    else f"{term.u:.3g} {'' if term.unit == '1' else term.unit}",
                    f"{term.sensitivity if is_length else length_in(term.sensitivity, units):.3g}",
                    figure(term.u_mm, units, decimals=4),
                    f"{100 * share:.1f}",
                )
            )
        if small_share:
            rows.append(
                (
                    name,
                    "all smaller contributions combined",
                    "",
                    "",
                    "",
                    figure(small**0.5, units, decimals=4),
                    f"{100 * small_share:.1f}",
                )
            )
        sums.add(len(rows))
        rows.append(
            (
                name,
                "combined standard uncertainty u",
                "",
                "",
                "",
                figure(estimate.u_mm, units, decimals=4),
                "100",
            )
        )
    if not rows:
        return []
    head = (
        "Figure",
        "Quantity",
        "Kind",
        "u of the quantity",
        "Sensitivity (mm per unit)",
        "Contribution (mm)",
        "Share of the variance (%)",
    )
    return [
        Heading("Uncertainty budgets of the photographs", 3),
        Words(
            "Kind A: from observed scatter; B: from other knowledge. Contributions from one source "
            "are added before squaring, so the combined value can differ from the root of the sum "
            "of squares of the listed contributions.",
            "small",
        ),
        Grid(
            head,
            tuple(rows),
            (1.8, 3.8, 0.6, 1.2, 1.4, 1.1, 1.3),
            right=frozenset({3, 4, 5, 6}),
            sums=frozenset(sums),
        ),
    ]


def _changed(case: ReportCase) -> list[Block]:
    """Return what was corrected, replaced or withdrawn in a record after it was entered."""
    if case.record is None:
        return []
    blocks: list[Block] = []
    for title, entry, changes in (
        ("Corrected or withdrawn readings", "Reading no.", case.record.readings_changed),
        (
            "Replaced or withdrawn figures from photographs",
            "Photograph",
            case.record.figures_changed,
        ),
    ):
        rows = tuple(
            (
                change.entry,
                change.place,
                change.what,
                change.before,
                change.after or "nothing",
                change.who,
                minute(change.at),
                change.why,
                str(change.event),
            )
            for change in changes
        )
        head = (
            entry,
            "Place",
            "What happened",
            "Was",
            "Now",
            "By",
            "When",
            "Why",
            "Entry in the record",
        )
        if rows:
            widths = (1.3, 1.7, 1.2, 1.2, 1.2, 1.6, 1.5, 2.6, 0.9)
            blocks += [Heading(title, 3), Grid(head, rows, widths, right=frozenset({8}))]
    return blocks


def _left_out(case: ReportCase) -> list[Block]:
    if not case.rejected:
        return []
    rows = tuple((str(one.line), one.reason, " | ".join(one.cells)) for one in case.rejected)
    return [
        Heading("Rejected rows", 3),
        Grid(("Line", "Why", "Content"), rows, (0.6, 3, 4)),
    ]
