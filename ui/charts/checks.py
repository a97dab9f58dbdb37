"""Charts of the checks: differences, sources of uncertainty, last digits.

As in `ui.charts.rope`, each is a pure function from plain data to a chart.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from inspection.model.rope import Units
from ui.charts.agreement import agreement_layers
from ui.charts.data import (
    BLACK,
    BLUE,
    WORD_COLOURS,
    WORD_SHAPES,
    Differences,
    Digits,
    Share,
    share_words,
    spread,
    wider,
)
from ui.charts.style import HEIGHT, decimals, heading, in_unit, legend
from ui.lengths import length_in, short_length, signed_length
from ui.text import as_minus


def differences_chart(data: Differences, units: Units = "mm") -> alt.LayerChart:
    """Return a chart of photograph minus gauge against their mean, with limits of agreement.

    References
    ----------
    Bland, Altman, Lancet 1986; i: 307-310: difference against mean, bias and limits as lines.
    """
    rows: list[dict[str, Any]] = [
        {
            "place": point.place,
            "mean": length_in(point.mean_mm, units),
            "difference": length_in(point.difference_mm, units),
            "low": length_in(point.difference_mm - point.expanded_mm, units),
            "high": length_in(point.difference_mm + point.expanded_mm, units),
            "U": length_in(point.expanded_mm, units),
            "word": point.word,
        }
        for point in data.points
    ]
    lines: list[dict[str, Any]] = [
        {
            "value": length_in(value, units),
            "words": as_minus(f"{words} {signed_length(value, units)}"),
        }
        for value, words in (
            (data.bias_mm, "mean"),
            (data.low_mm, "lower limit"),
            (data.high_mm, "upper limit"),
        )
        if value is not None
    ]
    reach = [row[end] for row in rows for end in ("low", "high")]
    title_lines = heading(
        "Photograph minus gauge",
        "Bars: U. Dashed: mean and limits of agreement.",
    )
    levels = [line["value"] for line in lines]
    scale = alt.Scale(domain=spread([*reach, *levels, 0.0]), nice=False)
    title = in_unit("Photograph − gauge", units)
    words = list(WORD_COLOURS)
    marks = alt.Chart(alt.InlineData(values=rows)).encode(
        x=alt.X(
            "mean:Q",
            title=in_unit("Mean of photograph and gauge", units),
            axis=alt.Axis(tickCount=8),
            scale=alt.Scale(
                domain=wider(spread([row["mean"] for row in rows] or [0.0])),
                nice=False,
                zero=False,
            ),
        ),
        color=alt.Color(
            "word:N",
            legend=legend(),
            scale=alt.Scale(domain=words, range=[WORD_COLOURS[word] for word in words]),
        ),
        tooltip=[
            alt.Tooltip("place:N", title="place"),
            alt.Tooltip(
                "difference:Q",
                title=in_unit("photograph − gauge", units),
                format=f"+{decimals(units)}",
            ),
            alt.Tooltip("U:Q", title=in_unit("U, k = 2", units), format=decimals(units)),
            alt.Tooltip("word:N", title="agreement"),
        ],
    )

    def across(field: str) -> alt.Y:
        return alt.Y(field, scale=scale, title=title)

    layers = agreement_layers(marks, lines, WORD_SHAPES, across)
    return alt.LayerChart(layer=layers, height=HEIGHT, title=title_lines)


def budget_chart(parts: Sequence[Share], units: Units = "mm") -> alt.LayerChart:
    """Return a bar chart of the sources of uncertainty, as shares of the variance.

    Labels are above the bars: beside them they would leave no room for bars on a phone.
    """
    rows = [
        {
            "from": part.quantity,
            "share": part.share_pct,
            "u": length_in(part.u_mm, units),
            "words": f"{part.quantity}: {share_words(part.share_pct)}",
        }
        for part in parts
    ]
    base = alt.Chart(alt.InlineData(values=rows)).encode(
        y=alt.Y(
            "from:N",
            sort=[part.quantity for part in parts],
            axis=None,
            scale=alt.Scale(paddingInner=0, paddingOuter=0),
        ),
        tooltip=[
            alt.Tooltip("from:N", title="source"),
            alt.Tooltip("share:Q", title="share of the variance (%)", format=".1f"),
            alt.Tooltip(
                "u:Q",
                title=in_unit("u from this alone", units),
                format=".4f" if units == "inch" else ".3f",
            ),
        ],
    )
    x = alt.X(
        "share:Q",
        title="Share of the variance (%)",
        scale=alt.Scale(domain=(0, 100), nice=False),
        axis=alt.Axis(values=[0, 20, 40, 60, 80, 100]),
    )
    layers = [
        base.mark_bar(color=BLUE, size=10, yOffset=8).encode(x=x),
        base.mark_text(align="left", baseline="middle", dx=2, dy=-7, fontSize=12).encode(
            x=alt.value(0), text=alt.Text("words:N")
        ),
    ]
    return alt.LayerChart(
        layer=layers, height=80 + 34 * len(rows), title=heading("Sources of uncertainty")
    )


def digits_chart(data: Digits, units: Units = "mm") -> alt.LayerChart:
    """Return a chart of how often each last digit was typed, and how often it is expected."""
    rows = [
        {"digit": label, "count": count}
        for label, count in zip(data.labels, data.counts, strict=True)
    ]
    whole = list(range(0, max(data.counts) + 1, 1 + max(data.counts) // 8))
    bars = (
        alt.Chart(alt.InlineData(values=rows))
        .mark_bar(color=BLUE)
        .encode(
            x=alt.X(
                "digit:O",
                title=f"Last digit typed (steps of {short_length(data.step_mm, units)})",
                sort=list(data.labels),
                axis=alt.Axis(labelAngle=0),
            ),
            y=alt.Y("count:Q", title="Readings (count)", axis=alt.Axis(values=whole, format="d")),
            tooltip=[
                alt.Tooltip("digit:O", title="last digit"),
                alt.Tooltip("count:Q", title="readings"),
            ],
        )
    )
    level = alt.Chart(alt.InlineData(values=[{"count": data.expected}]))
    layers = [
        bars,
        level.mark_rule(color=BLACK, strokeWidth=1.5, strokeDash=[6, 4]).encode(y=alt.Y("count:Q")),
    ]
    title = heading("Last digits of the readings", f"Dashed: {data.expected:.1f} of each expected.")
    return alt.LayerChart(layer=layers, height=HEIGHT, title=title)
