"""Chart of a comparison with a trusted gauge: differences against size, with limits of agreement.

A pure function from plain data to a chart, as in `ui.charts.rope`.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from inspection.comparison.gauge_study import GaugeStudy
from ui.charts.agreement import agreement_layers
from ui.charts.data import BLUE, VERMILION, spread, wider
from ui.charts.style import HEIGHT, legend

INSIDE = {"inside U": BLUE, "outside U": VERMILION}
SHAPES = {"inside U": "circle", "outside U": "triangle-up"}


def study_chart(study: GaugeStudy) -> alt.LayerChart:
    """Return a chart of photograph minus trusted reading, %, against their mean, mm.

    References
    ----------
    Bland, Altman, Lancet 1995; 346: 1085-1087: plot against the mean, because differences plotted
    against either method show a spurious slope.
    """
    rows: list[dict[str, Any]] = [
        {
            "mean": one.trusted.diameter_mm + (one.difference_mm or 0.0) / 2.0,
            "difference": one.difference_pct,
            "low": one.difference_pct - 100.0 * u / one.trusted.diameter_mm,
            "high": one.difference_pct + 100.0 * u / one.trusted.diameter_mm,
            "word": "inside U" if one.inside else "outside U",
        }
        for one in study.photos
        if one.difference_pct is not None and (u := one.expanded_difference_mm) is not None
    ]
    whole = study.whole.spread
    lines: list[dict[str, Any]] = [] if whole is None else [
        {"value": whole.bias_pct, "words": f"bias {whole.bias_pct:+z.2f} %"},
        {"value": whole.low_pct, "words": f"lower limit {whole.low_pct:+z.2f} %"},
        {"value": whole.high_pct, "words": f"upper limit {whole.high_pct:+z.2f} %"},
    ]  # fmt: skip
    reach = [row[end] for row in rows for end in ("low", "high")] + [
        line["value"] for line in lines
    ]
    scale = alt.Scale(domain=spread([*reach, 0.0]), nice=False)
    title = "Photograph − trusted reading (%)"

    def across(field: str) -> alt.Y:
        return alt.Y(field, scale=scale, title=title)

    words = list(INSIDE)
    marks = alt.Chart(alt.InlineData(values=rows)).encode(
        x=alt.X(
            "mean:Q",
            title="Mean of photograph and trusted reading (mm)",
            scale=alt.Scale(
                domain=wider(spread([row["mean"] for row in rows] or [0.0])),
                nice=False,
                zero=False,
            ),
        ),
        color=alt.Color(
            "word:N",
            legend=legend(),
            scale=alt.Scale(domain=words, range=[INSIDE[word] for word in words]),
        ),
    )
    layers = agreement_layers(marks, lines, SHAPES, across)
    return alt.LayerChart(layer=layers, height=HEIGHT)
