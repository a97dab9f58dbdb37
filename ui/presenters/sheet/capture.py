"""An inspection as shown on the phone at the rope: cells, missing entries, photograph results.

A photograph's figure is withheld until the cell's reading has been typed, so that the reading is
independent, unless the inspector chooses to see it.
"""

from __future__ import annotations

from typing import Any

from inspection.model.rope import Station, Units
from inspection.record.views import OpenInspection
from ui.lengths import along, along_unit, diameter_words
from vision.results import Estimate, Refusal, Result

VIEWS = (0, 90)


def capture_state(opened: OpenInspection, *, figures: bool) -> dict[str, Any]:
    """Return plain values for the capture page.

    Parameters
    ----------
    opened : OpenInspection
        The inspection.
    figures : bool
        Whether figures are shown before the reading.
    """
    read = {(one.station, one.view_deg): one.typed for one in opened.readings}
    good = {(one.station, one.view_deg): one for one in opened.results if isinstance(one, Estimate)}
    refused = {(one.station, one.view_deg) for one in opened.results if isinstance(one, Refusal)}
    stations = {one.number: one for one in opened.inspection.stations}
    numbers = set(stations) | {station for station, _ in [*read, *good] if station is not None}
    if not stations:  # no planned stations: offer one more than there are
        numbers.add(max(numbers, default=0) + 1)
    cells = []
    for number in sorted(numbers):
        for view in VIEWS:
            cell = number, view
            photo = "good" if cell in good else "refused" if cell in refused else "none"
            figure = good.get(cell)
            station = stations.get(number)
            shown = figure is not None and (figures or cell in read)
            cells.append({
                "station": number,
                "view_deg": view,
                "where": _where(station, opened.rope.units),
                "photo": photo,
                "figure": _figure(figure, opened.rope.units) if shown and figure else "",
                "reading": read.get(cell, ""),
            })  # fmt: skip
    return {
        "rope": opened.rope.identity,
        "inspection": opened.inspection.identity,
        "closed": opened.state == "closed",
        "inch": opened.rope.units == "inch",
        "cells": cells,
        "waiting": len(opened.waiting),
        "photographs": {
            one.sha256: _photograph(opened, one.sha256, figures, set(read))
            for one in opened.photographs
        },
    }


def _where(station: Station | None, units: Units) -> str:
    if station is None:
        return ""
    where = f"{along(station.position_m, units)} {along_unit(units)} along the rope"
    return where + (f", {station.note}" if station.note else "")


def _figure(estimate: Estimate, units: Units) -> str:
    return diameter_words(estimate.diameter_mm, estimate.u_mm, units)


def _photograph(
    opened: OpenInspection, sha256: str, figures: bool, read: set[tuple[int, int]]
) -> dict[str, str]:
    results: list[Result] = [one for one in opened.results if one.photo_sha256 == sha256]
    if sha256 in opened.waiting or not results:
        return {"state": "waiting"}
    for one in results:
        if isinstance(one, Estimate):
            cell = one.station, one.view_deg
            warned = " ".join(f"{finding.seen} {finding.remedy}" for finding in one.findings)
            shown = figures or cell in read
            return {
                "state": "good",
                "place": f"station {one.station}, {one.view_deg}°",
                "words": _figure(one, opened.rope.units) if shown else "",
                "remedy": warned,
            }
    reason = results[0].findings[0]
    return {
        "state": "refused",
        "place": ""
        if results[0].station is None
        else f"station {results[0].station}, {results[0].view_deg}°",
        "words": reason.seen,
        "remedy": reason.remedy,
    }
