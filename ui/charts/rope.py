"""Charts of the rope: along the rope, a station's roundness, a station's history.

Each is a pure function from plain data to a chart. The colours are safe for colour-blind people,
and a second sign (shape, dash, label) always carries the same information. Charts of readings
against photographs are in `ui.charts.checks`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from functools import partial
from typing import Any

import altair as alt

from inspection.model.rope import Units
from ui.charts.data import (
    BLACK,
    BLUE,
    GREEN,
    PURPLE,
    SOURCE_COLOURS,
    SOURCE_SHAPES,
    VERMILION,
    AlongRope,
    DatedDiameter,
    Figure,
    History,
    LimitLine,
    Roundness,
    ring_step_mm,
    spread,
    wider,
)
from ui.charts.style import HEIGHT, POINT, WORDS_LETTERS, decimals, heading, in_unit, legend
from ui.lengths import along_in, along_unit, length_in, length_text, short_length

BAND_OPACITY = 0.10
MOST_NUMBERS = 14  # station numbers that fit side by side on a phone


def along_rope_chart(data: AlongRope, units: Units = "mm") -> alt.LayerChart:
    """Return a chart of mean diameters along the rope, with U as bars and limits as bands.

    Parameters
    ----------
    data : AlongRope
        From `ui.charts.sources.along_rope`.
    units : {"mm", "inch"}, optional
        Units of the chart.
    """
    by_position = data.by_position
    title = in_unit("Mean diameter", units)
    place_title = f"Position along the rope ({along_unit(units)})" if by_position else "Station"
    at = {figure: _at(data, figure, units) for figure in data.figures}
    rows = [
        {
            "place": at[figure],
            "station": f"station {figure.station}",
            "by": figure.source,
            **_bar(figure.mean_mm, figure.expanded_mm, units),
        }
        for figure in data.figures
    ]
    nominal = short_length(data.nominal_mm, units)
    marks = {length_in(data.nominal_mm, units): f"nominal {nominal}"}
    if data.reference_mm is not None:
        reference = length_text(data.reference_mm, units=units)
        marks[length_in(data.reference_mm, units)] = f"reference {reference}"
    values = [row[name] for row in rows for name in ("low", "high")]
    domain = spread(
        [*_floats(values), *marks, *(length_in(line.value_mm, units) for line in data.limits)]
    )
    y = alt.Scale(domain=domain, nice=False, zero=False)
    layers: list[Any] = [
        *_limit_layers(data.limits, domain, units),
        *_level_layers(marks, y, units),
    ]
    sources = list(SOURCE_COLOURS)
    colour = alt.Color(
        "by:N",
        legend=legend(),
        scale=alt.Scale(domain=sources, range=[SOURCE_COLOURS[source] for source in sources]),
    )
    shape = alt.Shape(
        "by:N",
        legend=legend(),
        scale=alt.Scale(domain=sources, range=[SOURCE_SHAPES[source] for source in sources]),
    )
    places = list(at.values())
    stations = {at[figure]: figure.station for figure in data.figures}
    x = alt.X(
        "place:Q",
        title=place_title,
        scale=alt.Scale(domain=wider(spread(places or [0.0])), nice=False, zero=False),
        axis=alt.Axis(format="d", tickMinStep=1) if not by_position else alt.Axis(),
    )
    tooltip = [
        alt.Tooltip("station:N", title="place"),
        alt.Tooltip("by:N", title="measured by"),
        *_mean_tips(units),
    ]
    point = min(POINT, max(12.0, 1800.0 / max(len(stations), 1)))  # small enough to show both
    beside = 0.53 * point**0.5
    for source, shift in zip(sources, (-beside, beside), strict=True):  # side by side, px
        mine = [row for row in rows if row["by"] == source]
        if not mine:
            continue
        base = alt.Chart(alt.InlineData(values=mine)).encode(x=x, color=colour, tooltip=tooltip)
        layers.append(
            base.mark_rule(strokeWidth=2, xOffset=shift).encode(
                y=alt.Y("low:Q", scale=y, title=title), y2=alt.Y2("high:Q")
            )
        )
        layers.append(
            base.mark_point(filled=True, opacity=1, size=point, xOffset=shift).encode(
                y=alt.Y("mean:Q", scale=y, title=title), shape=shape
            )
        )
    words = ["Bars: U."]
    if by_position and stations:
        layers.append(_station_layer(stations, x))
        words = ["Bars: U. Above: station numbers."]
    return alt.LayerChart(
        layer=layers, height=HEIGHT, title=heading("Mean diameter along the rope", *words)
    )


def _at(data: AlongRope, figure: Figure, units: Units) -> float:
    """Return a figure's place on the axis: position along the rope, or station number."""
    if data.by_position and figure.position_m is not None:
        return along_in(figure.position_m, units)
    return figure.station


def _station_layer(stations: dict[float, int], x: alt.X) -> alt.Chart:
    """Return the station numbers above the frame, as many as fit on a phone."""
    placed = sorted(stations.items())
    reach = placed[-1][0] - placed[0][0]
    shown: list[tuple[float, int]] = []
    for place, number in placed:
        if not shown or place - shown[-1][0] >= reach / MOST_NUMBERS:
            shown.append((place, number))
    rows = [{"place": place, "number": str(number)} for place, number in shown]
    base = alt.Chart(alt.InlineData(values=rows))
    numbers: alt.Chart = base.mark_text(
        baseline="bottom", dy=-3, fontSize=10, color="#444444"
    ).encode(x=x, y=alt.value(0), text=alt.Text("number:N"))
    return numbers


def history_chart(data: History, units: Units = "mm") -> alt.LayerChart:
    """Return a chart of a station's history: figures, fitted line, prediction band, limits."""
    band = [
        {
            "on": on.isoformat(),
            "low": length_in(low, units),
            "line": length_in(line, units),
            "high": length_in(high, units),
        }
        for on, low, line, high in data.band
    ]
    rows, photographs = (_dated_rows(one, units) for one in (data.figures, data.photographs))
    reach = [row[name] for row in (*rows, *photographs, *band) for name in ("low", "high")]
    domain = spread([*_floats(reach), *(length_in(limit.value_mm, units) for limit in data.limits)])
    scale = alt.Scale(domain=domain, nice=False, zero=False)
    layers: list[Any] = [*_limit_layers(data.limits, domain, units)]
    x = alt.X(
        "on:T",
        title="Date of inspection",
        axis=alt.Axis(format="%Y-%m", tickCount=6, labelOverlap=True),
    )
    title = in_unit("Mean diameter", units)
    if band:
        predicted = alt.Chart(alt.InlineData(values=band)).encode(x=x)
        layers.append(
            predicted.mark_area(color=BLUE, opacity=0.15).encode(
                y=alt.Y("low:Q", scale=scale, title=title), y2=alt.Y2("high:Q")
            )
        )
        layers.append(
            predicted.mark_line(color=BLUE, strokeDash=[6, 3]).encode(
                y=alt.Y("line:Q", scale=scale, title=title)
            )
        )
    by_gauge, by_photograph = (BLACK, "circle"), (VERMILION, "diamond")
    fitted = by_photograph if data.by_photographs else by_gauge
    for shown, (colour, shape) in ((rows, fitted), (photographs, by_photograph)):
        if not shown:
            continue
        seen = alt.Chart(alt.InlineData(values=shown)).encode(
            x=x,
            tooltip=[
                alt.Tooltip("on:T", title="date"),
                *_mean_tips(units),
            ],
        )
        layers.append(
            seen.mark_rule(color=colour, strokeWidth=2).encode(
                y=alt.Y("low:Q", scale=scale, title=title), y2=alt.Y2("high:Q")
            )
        )
        layers.append(
            seen.mark_point(color=colour, filled=True, opacity=1, size=POINT, shape=shape).encode(
                y=alt.Y("mean:Q", scale=scale, title=title)
            )
        )
    words = ["Bars: U."]
    if band:
        words.append("Shaded: where a new figure is expected (95 %).")
    if data.by_photographs:
        words[0] += " Diamonds: photographs."
    elif photographs:
        words[0] += " Dots: gauge; diamond: photographs."
    return alt.LayerChart(
        layer=layers,
        height=HEIGHT,
        title=heading(f"Station {data.station}: inspection history", *words),
    )


def _dated_rows(figures: Sequence[DatedDiameter], units: Units) -> list[dict[str, Any]]:
    return [
        {
            "on": figure.on.isoformat(),
            **_bar(figure.mean_mm, figure.expanded_mm, units),
        }
        for figure in figures
    ]


def _bar(mean_mm: float, expanded_mm: float, units: Units) -> dict[str, float]:
    """Return a figure with the ends of its bar, in the units of the chart."""
    mean, reach = length_in(mean_mm, units), length_in(expanded_mm, units)
    return {"mean": mean, "low": mean - reach, "high": mean + reach, "U": reach}


def _mean_tips(units: Units) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("mean:Q", title=in_unit("mean diameter", units), format=decimals(units)),
        alt.Tooltip("U:Q", title=in_unit("U, k = 2", units), format=decimals(units)),
    ]


def roundness_chart(data: Roundness, units: Units = "mm") -> alt.LayerChart:
    """Return a chart of a cross-section with magnified deviations and labelled rings."""
    step = ring_step_mm(data)
    reach = 1.08 * data.reach_mm
    square = alt.Scale(domain=(-reach, reach), nice=False)
    plain_x = alt.X("x:Q", scale=square, axis=None)
    plain_y = alt.Y("y:Q", scale=square, axis=None)

    def curve(points: Sequence[tuple[float, float]]) -> alt.InlineData:
        rows = [{"x": x, "y": y, "step": i} for i, (x, y) in enumerate(points)]
        return alt.InlineData(values=rows)

    layers: list[Any] = []
    for part in (-1, 0, 1):
        radius = data.drawn_mm(data.mean_mm + part * step)
        circle = [_polar(angle, radius) for angle in range(0, 361, 5)]
        layers.append(
            alt.Chart(curve(circle))
            .mark_line(color="#999999", strokeWidth=1, strokeDash=[2, 3] if part else [8, 3])
            .encode(x=plain_x, y=plain_y, order=alt.Order("step:Q"))
        )
    outline = [_polar(angle, radius) for angle, radius in data.outline()]
    layers.append(
        alt.Chart(curve(outline))
        .mark_line(color=BLUE, strokeWidth=2.5)
        .encode(x=plain_x, y=plain_y, order=alt.Order("step:Q"))
    )
    ends, bars = [], []
    inner = min(
        data.drawn_mm(direction.diameter_mm - direction.expanded_mm)
        for direction in data.directions
    )
    for direction in data.directions:
        for turn in (0, 180):
            x, y = _polar(direction.view_deg + turn, data.drawn_mm(direction.diameter_mm))
            x1, y1 = _polar(
                direction.view_deg + turn,
                data.drawn_mm(direction.diameter_mm - direction.expanded_mm),
            )
            x2, y2 = _polar(
                direction.view_deg + turn,
                data.drawn_mm(direction.diameter_mm + direction.expanded_mm),
            )
            # the direction is written inside the outline and the bar, where there is always room
            lx, ly = _polar(direction.view_deg + turn, 0.84 * inner)
            words = f"{direction.view_deg}°" if turn == 0 else ""
            ends.append({"x": x, "y": y, "lx": lx, "ly": ly, "words": words})
            bars.append({"x": x1, "y": y1, "x2": x2, "y2": y2})
    layers.append(
        alt.Chart(alt.InlineData(values=bars))
        .mark_rule(color=VERMILION, strokeWidth=2)
        .encode(x=plain_x, y=plain_y, x2=alt.X2("x2:Q"), y2=alt.Y2("y2:Q"))
    )
    seen = alt.Chart(alt.InlineData(values=ends))
    ends_here = seen.encode(x=plain_x, y=plain_y)
    layers.append(
        ends_here.mark_point(color=VERMILION, filled=True, opacity=1, size=POINT, shape="diamond")
    )
    layers.append(
        seen.mark_text(fontSize=12, baseline="middle").encode(
            x=alt.X("lx:Q", scale=square, axis=None),
            y=alt.Y("ly:Q", scale=square, axis=None),
            text=alt.Text("words:N"),
        )
    )
    listed = "; ".join(
        f"{direction.view_deg}°: {length_text(direction.diameter_mm, units=units)}"
        for direction in data.directions
    )
    title = heading(
        f"Station {data.station}, by {data.source}",
        *textwrap.wrap(listed, WORDS_LETTERS),
        f"Seen along the rope; deviations magnified {data.exaggeration:g} times.",
        f"Dashed: mean {length_text(data.mean_mm, units=units)}; dotted: mean ± "
        f"{short_length(step, units)}.",
        "Diamonds and bars: measured, with U.",
        "The line between them is interpolated.",
    )
    return alt.LayerChart(layer=layers, width=300, height=300, title=title)


def square_roundness_chart(data: Roundness, units: Units = "mm") -> alt.LayerChart:
    """Return the roundness chart on a square, so that a round rope looks round."""
    size = alt.AutoSizeParams(type="pad", contains="content")
    chart = roundness_chart(data, units)
    chart.width, chart.height, chart.autosize = 290, 290, size
    return chart


def _limit_layers(
    limits: Sequence[LimitLine], domain: tuple[float, float], units: Units
) -> list[Any]:
    """Return each limit as a line with its label and a band on the side beyond it."""
    rows = [
        {
            "value": length_in(limit.value_mm, units),
            "edge": domain[0] if limit.side == "least" else domain[1],
            "words": f"{limit.words}: at {limit.side} {length_text(limit.value_mm, units=units)}",
        }
        for limit in limits
    ]
    if not rows:
        return []
    base = alt.Chart(alt.InlineData(values=rows))
    scale = alt.Scale(domain=domain, nice=False, zero=False)
    y = alt.Y("value:Q", scale=scale, title=in_unit("Mean diameter", units))
    words = partial(base.mark_text, align="left", dx=4, fontSize=11, color="#8a3b00")
    return [
        base.mark_rect(color=VERMILION, opacity=BAND_OPACITY).encode(y=y, y2=alt.Y2("edge:Q")),
        base.mark_rule(color=VERMILION, strokeWidth=2, strokeDash=[8, 4]).encode(y=y),
        *(  # labels are beyond the limit, where no figure should be
            part.encode(y=y, x=alt.value(0), text=alt.Text("words:N")).transform_filter(side)
            for part, side in (
                (words(baseline="top", dy=4), "datum.value > datum.edge"),
                (words(baseline="bottom", dy=-3), "datum.value <= datum.edge"),
            )
        ),
    ]


def _level_layers(marks: dict[float, str], scale: alt.Scale, units: Units) -> list[Any]:
    """Return nominal and reference diameter as thin lines with labels."""
    rows = [
        {"value": value, "words": words, "colour": colour}
        for (value, words), colour in zip(marks.items(), (GREEN, PURPLE), strict=False)
    ]
    lowest = min(marks)
    base = alt.Chart(alt.InlineData(values=rows))
    y = alt.Y("value:Q", scale=scale, title=in_unit("Mean diameter", units))
    words = partial(base.mark_text, align="right", dx=-4, fontSize=11, color="#444444")
    return [
        base.mark_rule(strokeWidth=1, color="#666666", strokeDash=[1, 3]).encode(y=y),
        *(  # the lower line is labelled below, the other above, in case they are close together
            part.encode(y=y, x=alt.value("width"), text=alt.Text("words:N")).transform_filter(side)
            for part, side in (
                (words(baseline="top", dy=3), f"datum.value === {lowest}"),
                (words(baseline="bottom", dy=-2), f"datum.value !== {lowest}"),
            )
        ),
    ]


def _polar(angle_deg: float, radius: float) -> tuple[float, float]:
    """Return a point; 0 degrees is up and angles are clockwise, looking along the rope."""
    angle = math.radians(angle_deg)
    return radius * math.sin(angle), radius * math.cos(angle)


def _floats(values: Sequence[Any]) -> list[float]:
    return [float(value) for value in values]
