"""The result of `ropephoto check` as JSON and as CSV."""

from __future__ import annotations

import csv
import json
import sys
from typing import Any

from inspection.assessment import NOTHING_APPLIED, Assessment
from inspection.exchange.spreadsheet import escape_formula
from inspection.folder import Folder, rejected_words
from inspection.limits.remaining_life import StationHistory
from inspection.measurement.doubt import doubt_words
from inspection.model.loss import LOCAL_GROUND
from inspection.model.serialization import to_dict
from ui.cli.output.measure import as_plain
from ui.text import CAUTIONS, refused, sentence

HEADINGS = {
    "kind": "kind",
    "where": "place",
    "source": "source",
    "code": "code",
    "value": "value",
    "limit": "limit or U",
    "unit": "unit",
    "outcome": "outcome",
    "p_value": "chance if nothing is wrong",
    "words": "in words",
}


def print_check_json(assessment: Assessment, read: Folder) -> None:
    """Print an assessment as one JSON document."""
    json.dump(assessment_dict(assessment, read), sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


def assessment_dict(assessment: Assessment, read: Folder) -> dict[str, Any]:
    """Return an assessment as plain values for JSON."""
    log, checked = assessment.log, assessment.crosscheck
    comparisons = []
    for comparison in checked.comparisons:
        values = to_dict(comparison)
        del values["difference_budget"]
        comparisons.append(
            {**values, "u_difference_mm": comparison.u_difference_mm, "words": comparison.words}
        )
    compared = assessment.method_comparison
    return {
        "rope": to_dict(log.rope),
        "inspection": to_dict(log.inspection),
        "first_look": assessment.first_line(rejected_words(read.rejected)),
        "deserves_a_look": assessment.needs_review,
        "judged_against_nothing": assessment.judged_against_nothing,
        "not_complete": list(assessment.not_complete),
        "not_asked": list(assessment.not_asked),
        "findings": [to_dict(finding) for finding in assessment.findings],
        "comparisons": comparisons,
        "agreement": None if assessment.agreement is None else to_dict(assessment.agreement),
        "verdicts": [
            {
                "station": verdict.station,
                "source": verdict.source,
                "doubted": verdict.doubted,
                "doubts": [to_dict(one) for one in verdict.doubts],
                **to_dict(verdict.verdict),
                "words": verdict.words,
            }
            for verdict in assessment.verdicts
        ],
        "not_applicable": [inapplicable.reason for inapplicable in assessment.not_applicable],
        "local": [
            {**to_dict(local), "doubted": local.doubted, "words": local.words}
            for local in assessment.local
        ],
        "across": None
        if compared is None
        else {
            **to_dict(compared),
            "words": compared.flags.words,
            "line_words": compared.line_words,
        },
        "severities": [
            {
                "station": severity.station,
                "source": severity.source,
                "out_of_scope": severity.out_of_scope,
                "doubted": severity.doubted,
                "doubts": [to_dict(one) for one in severity.doubts],
                **to_dict(severity.severity),
                "words": severity.severity.words,
            }
            for severity in assessment.severities
        ],
        "over_time": [_history_plain(history) for history in assessment.station_histories],
        "groove_fits": [{**to_dict(fit), "words": fit.words} for fit in assessment.groove_fits],
        "refused": [as_plain(refusal) for refusal in checked.refused],
        "photographs_alone": [one.photo_name for one in checked.photos_alone],
        "readings_alone": [to_dict(one) for one in checked.readings_alone],
        "rejected_rows": [to_dict(one) for one in read.rejected],
        "notes": [*assessment.notes, *read.notes],
        "cautions": list(CAUTIONS),
    }


def _history_plain(history: StationHistory) -> dict[str, Any]:
    values = to_dict(history)
    for point in values["points"]:
        del point["budget"]
    if values["line"] is not None:
        del values["line"]["points"]
    return values


def print_check_csv(assessment: Assessment, read: Folder) -> None:
    """Print an assessment as CSV: findings in their order, comparisons, verdicts, refusals."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(HEADINGS.values())
    for row in _csv_rows(assessment, read):
        writer.writerow([_cell(row.get(column)) for column in HEADINGS])


def _csv_rows(assessment: Assessment, read: Folder) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = [
        {
            "kind": "finding",
            "where": "; ".join(finding.where),
            "code": finding.code,
            "value": finding.value,
            "limit": finding.limit,
            "unit": finding.unit,
            "p_value": finding.p_value,
            "words": f"{sentence(finding)} {finding.innocent}",
        }
        for finding in assessment.findings
    ]
    rows += [
        {
            "kind": "comparison",
            "where": comparison.place.words,
            "source": comparison.gauge,
            "value": comparison.difference_mm,
            "limit": 2 * comparison.u_difference_mm,
            "unit": "mm",
            "outcome": comparison.word,
            "p_value": comparison.p_value,
            "words": comparison.words,
        }
        for comparison in assessment.crosscheck.comparisons
    ]
    for placed in assessment.verdicts:
        limit = placed.verdict.limit
        rows.append(
            {
                "kind": "verdict",
                "source": placed.source,
                "value": placed.verdict.value_mm,
                "where": "rope" if placed.station is None else f"station {placed.station}",
                "limit": limit.high_mm if limit.low_mm is None else limit.low_mm,
                "unit": "mm",
                "outcome": placed.verdict.outcome,
                "words": placed.words,
            }
        )
    rows += [
        {
            "kind": "severity",
            "where": f"station {severity.station}",
            "source": severity.source,
            "value": severity.severity.decrease_pct,
            "unit": "% of nominal",
            "outcome": severity.band,
            "words": f"ISO 4309:2017. {severity.severity.words} "
            f"{doubt_words(severity.doubts, severity.source)}".rstrip(),
        }
        for severity in assessment.severities
    ]
    rows += [
        {
            "kind": "lay length",
            "where": f"station {lay.station}",
            "source": "photographs",
            "value": lay.lay_mm,
            "unit": "mm",
            "words": lay.words,
        }
        for lay in assessment.lays
    ]
    rows += [
        {
            "kind": "over time",
            "where": f"station {history.station}",
            "source": "gauge",
            "value": history.line.rate_mm_per_year,
            "limit": history.limit and history.limit.limit_mm,
            "unit": "mm per year",
            "words": history.limit.words if history.limit else "",
        }
        for history in assessment.station_histories
        if history.line is not None
    ]
    rows += [
        {
            "kind": "groove",
            "where": fit.groove.name,
            "source": fit.range_name,
            "value": fit.excess_pct,
            "unit": "%",
            "outcome": fit.outcome,
            "words": fit.words,
        }
        for fit in assessment.groove_fits
    ]
    rows += [
        {
            "kind": "refused",
            "where": refusal.photo_name,
            "outcome": "no diameter",
            "words": refused(refusal),
        }
        for refusal in assessment.crosscheck.refused
    ]
    rows += [
        {"kind": "row left out", "where": f"line {one.line}", "words": one.reason}
        for one in read.rejected
    ]
    rows += [
        {
            "kind": "local decrease",
            "where": f"station {local.station}",
            "source": local.source,
            "value": local.deficit_mm,
            "unit": "mm",
            "outcome": local.outcome,
            "words": f"{local.words} {LOCAL_GROUND}",
        }
        for local in assessment.local
        if local.outcome == "local decrease"
    ]
    rows += [{"kind": "not complete", "words": words} for words in assessment.not_complete]
    rows += [{"kind": "not asked", "words": words} for words in assessment.not_asked]
    if assessment.judged_against_nothing:
        rows.append({"kind": "judged against nothing", "words": NOTHING_APPLIED})
    rows.append(
        {"kind": "first look", "words": assessment.first_line(rejected_words(read.rejected))}
    )
    return [*rows, *({"kind": "caution", "words": caution} for caution in CAUTIONS)]


def _cell(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else escape_formula(str(value))
