"""The content of a chart, for tests: rows, axes and the words drawn; never pixels."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from typing import Any

from ui.report.writers.drawings import svg_of


def spec_of(chart: Any) -> dict[str, Any]:
    """Return a chart's description with each layer's rows, which layers can share."""
    made: dict[str, Any] = json.loads(chart.to_json())
    for layer in made["layer"]:
        data = layer.get("data", made.get("data"))
        layer["data"] = data if "values" in data else {"values": made["datasets"][data["name"]]}
    return made


def rows_of(spec: dict[str, Any], field: str) -> list[dict[str, Any]]:
    """Return the rows of every layer that has `field`, each once."""
    found: list[dict[str, Any]] = []
    for layer in spec["layer"]:
        for row in layer["data"]["values"]:
            if field in row and row not in found:
                found.append(row)
    return found


def axes_of(spec: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for layer in spec["layer"]:
        for name in ("x", "y"):
            channel = layer.get("encoding", {}).get(name, {})
            if channel.get("title"):
                yield name, channel


def words_of(plot: Any) -> list[str]:
    """Return all words drawn in a figure of the report."""
    return [unescape(words) for words in re.findall(r">([^<>]+)<", svg_of(plot))]
