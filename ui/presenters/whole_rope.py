"""The measured diameter of the whole rope in words, for pages and report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from inspection.assessment import Assessment
from inspection.measurement.measured_diameter import MeasuredDiameter, measured_diameter
from inspection.measurement.section import Section
from ui.lengths import diameter_words, with_u


def whole_rope(assessment: Assessment) -> list[str]:
    """Return the whole rope's measured diameter from each source, or why there is none."""
    units = assessment.log.rope.units
    sentences = []
    for source, measured in _by_source(assessment):
        if isinstance(measured, str):
            sentences.append(f"No measured diameter of the whole rope by {source}: {measured}")
            continue
        numbers = ", ".join(str(section.station) for section in measured.sections)
        sentences.append(
            f"By {source}: measured diameter "
            f"{diameter_words(measured.mean_mm, measured.u_mean_mm, units)} "
            f"({measured.mean_pct:+z.1f} % from nominal), largest difference between readings "
            f"{diameter_words(measured.largest_difference_mm, measured.u_difference_mm, units)} "
            f"({measured.difference_pct:.1f} % of nominal), from stations {numbers}"
            f"{_mark(assessment, measured)}."
        )
    return sentences


WHOLE_ROPE_HEADS = [
    "measured by", "measured diameter ± U mm", "from nominal", "largest difference ± U mm",
    "of nominal", "stations",
]  # fmt: skip


def whole_rope_rows(assessment: Assessment) -> list[list[str]]:
    """Return the same as rows under `WHOLE_ROPE_HEADS`, one for each source with a result."""
    units = assessment.log.rope.units
    return [
        [
            source,
            with_u(measured.mean_mm, measured.u_mean_mm, units) + _mark(assessment, measured),
            f"{measured.mean_pct:+z.1f} %",
            with_u(measured.largest_difference_mm, measured.u_difference_mm, units),
            f"{measured.difference_pct:.1f} %",
            ", ".join(str(section.station) for section in measured.sections),
        ]
        for source, measured in _by_source(assessment)
        if not isinstance(measured, str)
    ]


def _mark(assessment: Assessment, measured: MeasuredDiameter) -> str:
    return assessment.mark(*(section.station for section in measured.sections))


def _by_source(assessment: Assessment) -> Iterator[tuple[str, MeasuredDiameter | str]]:
    nominal = assessment.log.rope.nominal_mm
    for source, sections in assessment.sections_by_source:
        if sections:
            yield source, group_of(sections, nominal)


def group_of(sections: Sequence[Section], nominal_mm: float) -> MeasuredDiameter | str:
    """Return the measured diameter of sections together, or why there is none."""
    try:
        return measured_diameter(sections, nominal_mm=nominal_mm)
    except ValueError as wrong:
        return str(wrong)
