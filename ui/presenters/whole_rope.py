"""The measured diameter of the whole rope in words, for pages and report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from inspection.assessment import Assessment
from inspection.measurement.measured_diameter import MeasuredDiameter, measured_diameter
from inspection.measurement.section import Section

K = 2.0


def whole_rope(assessment: Assessment) -> list[str]:
    """Return the measured diameter of the whole rope from each source, or why there is none."""
    said = []
    for source, found in _by_source(assessment):
        if isinstance(found, str):
            said.append(f"No measured diameter of the whole rope by {source}: {found}")
            continue
        numbers = ", ".join(str(section.station) for section in found.sections)
        said.append(
            f"By {source}: measured diameter {found.mean_mm:.2f} ± {K * found.u_mean_mm:.2f} mm "
            f"({found.mean_pct:+z.1f} % to nominal), largest difference of the readings "
            f"{found.largest_difference_mm:.2f} ± {K * found.u_difference_mm:.2f} mm "
            f"({found.difference_pct:.1f} % of nominal), from stations {numbers}."
        )
    return said


def whole_rope_figures(assessment: Assessment) -> dict[str, list[tuple[str, str, str]]]:
    """Return the same as figures, by source: name, figure, and what stands below it."""
    return {
        source: [
            (
                "Measured diameter",
                f"{found.mean_mm:.2f} mm",
                f"± {K * found.u_mean_mm:.2f} mm, {found.mean_pct:+z.1f} % to nominal",
            ),
            (
                "Largest difference",
                f"{found.largest_difference_mm:.2f} mm",
                f"± {K * found.u_difference_mm:.2f} mm, {found.difference_pct:.1f} % of nominal",
            ),
            (
                "From stations",
                ", ".join(str(section.station) for section in found.sections),
                "two directions each",
            ),
        ]
        for source, found in _by_source(assessment)
        if not isinstance(found, str)
    }


def _by_source(assessment: Assessment) -> Iterator[tuple[str, MeasuredDiameter | str]]:
    nominal = assessment.log.rope.nominal_mm
    for source, sections in (
        ("photographs", assessment.photograph_sections),
        ("gauge", assessment.gauge_sections),
    ):
        if sections:
            yield source, group_of(sections, nominal)


def group_of(sections: Sequence[Section], nominal_mm: float) -> MeasuredDiameter | str:
    """Return the measured diameter that sections form together, or why they form none."""
    try:
        return measured_diameter(sections, nominal_mm=nominal_mm)
    except ValueError as wrong:
        return str(wrong)
