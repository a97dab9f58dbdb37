"""The measured diameter of the whole rope in words, for pages and report."""

from __future__ import annotations

from collections.abc import Sequence

from inspection.case import Judgement
from inspection.measured import MeasuredDiameter, measured_diameter
from inspection.section import Section

K = 2.0


def whole_rope(judgement: Judgement) -> list[str]:
    """Return the measured diameter of the whole rope from each source, or why there is none."""
    nominal = judgement.log.rope.nominal_mm
    said = []
    for source, sections in (
        ("photographs", judgement.photograph_sections), ("gauge", judgement.gauge_sections),
    ):  # fmt: skip
        if not sections:
            continue
        found = group_of(sections, nominal)
        if isinstance(found, str):
            said.append(f"No measured diameter of the whole rope by {source}: {found}")
            continue
        numbers = ", ".join(str(one.station) for one in found.sections)
        said.append(
            f"By {source}: measured diameter {found.mean_mm:.2f} ± {K * found.u_mean_mm:.2f} mm "
            f"({found.mean_pct:+z.1f} % to nominal), largest difference of the readings "
            f"{found.largest_difference_mm:.2f} ± {K * found.u_difference_mm:.2f} mm "
            f"({found.difference_pct:.1f} % of nominal), from stations {numbers}."
        )
    return said


def group_of(sections: Sequence[Section], nominal_mm: float) -> MeasuredDiameter | str:
    """Return the measured diameter that sections form together, or why they form none."""
    try:
        return measured_diameter(sections, nominal_mm=nominal_mm)
    except ValueError as wrong:
        return str(wrong)
