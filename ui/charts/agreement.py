"""Common layers of the two charts of differences: zero line, limits of agreement, points.

As in `ui.charts.rope`, pure functions of plain data.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import altair as alt

from ui.charts.data import PURPLE
from ui.charts.style import POINT, legend


def agreement_layers(
    marks: alt.Chart,
    lines: Sequence[Mapping[str, Any]],
    shapes: Mapping[str, str],
    across: Callable[[str], alt.Y],
) -> list[Any]:
    """Return the layers of a chart of differences.

    Parameters
    ----------
    marks : alt.Chart
        Rows with ``difference``, ``low``, ``high`` and ``word``; x axis and colours are encoded.
    lines : sequence of mapping
        Mean and limits of agreement: ``value`` and ``words``.
    shapes : mapping
        The shape of a point for each ``word``.
    across : callable
        Returns the axis of differences for a field.
    """
    zero = alt.Chart(alt.InlineData(values=[{"value": 0.0}]))
    layers: list[Any] = [zero.mark_rule(color="#999999", strokeWidth=1).encode(y=across("value:Q"))]
    if lines:
        base = alt.Chart(alt.InlineData(values=list(lines))).encode(y=across("value:Q"))
        layers.append(base.mark_rule(color=PURPLE, strokeWidth=1.5, strokeDash=[6, 4]))
        # labels are placed away from zero, so that the zero line does not cross them
        words_of = partial(base.mark_text, align="right", dx=-4, fontSize=11)
        layers += [
            part.encode(x=alt.value("width"), text=alt.Text("words:N")).transform_filter(side)
            for part, side in (
                (words_of(baseline="top", dy=3), "datum.value < 0"),
                (words_of(baseline="bottom", dy=-2), "datum.value >= 0"),
            )
        ]
    scale = alt.Scale(domain=list(shapes), range=list(shapes.values()))
    shape = alt.Shape("word:N", legend=legend(), scale=scale)
    return [
        *layers,
        marks.mark_rule(strokeWidth=2).encode(y=across("low:Q"), y2=alt.Y2("high:Q")),
        marks.mark_point(filled=True, opacity=1, size=POINT).encode(
            y=across("difference:Q"), shape=shape
        ),
    ]
