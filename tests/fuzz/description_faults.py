"""Descriptions with one plain fault each, which must be refused: a guard that lets one through.

Random damage rarely hits the one value that a guard is for, and a wrong value that passes need not
crash anything. So each guard has its own inputs here, and reading one of them is a fault.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

NAN, INF = float("nan"), float("inf")
NO_LENGTH: tuple[Any, ...] = (0, -1, 1e6, 1e-9, NAN, INF, True, "x", [1])
NO_NUMBER: tuple[Any, ...] = (NAN, INF, True, "x", [1])
NO_COUNT: tuple[Any, ...] = (0, -1, 1.5, True, "x", 10**20)
NO_TEXT: tuple[Any, ...] = (5, True, [], {})
NO_CHOICE: tuple[Any, ...] = ("x", "", 5, None)
NO_DAY: tuple[Any, ...] = ("2026-02-30", "soon", 5)
NO_FLAG: tuple[Any, ...] = (1, "true", None)
DELETED = object()
Path = tuple[Any, ...]

# Each file's fields, as the path to the value, with values that it can't have.
FAULTS: dict[str, list[tuple[Path, tuple[Any, ...]]]] = {
    "rope.json": [
        *(((name,), NO_LENGTH) for name in ("nominal_mm", "reference_mm", "baseline_mm", "lay_mm")),
        *(
            (("grooves", 0, name), NO_LENGTH)
            for name in ("radius_mm", "pitch_mm", "rope_min_mm", "rope_max_mm")
        ),
        (("u_reference_mm",), (-0.1, 1e6, *NO_NUMBER)),
        (("outer_strands",), NO_COUNT),
        (("grooves", 0, "layers"), NO_COUNT),
        *(((name,), NO_CHOICE) for name in ("core", "build", "duty", "service", "units")),
        (("reference_tension",), ("x", 5)),
        *(((name,), NO_TEXT) for name in ("identity", "reference_how", "site")),
        (("grooves", 0, "name"), NO_TEXT),
        (("reference_on",), NO_DAY),
        (("fibre_centred_strands",), NO_FLAG),
        (("country",), ("Germany", "D", "49", 5)),
        (("grooves",), ("x", 5, [5])),
        (("diameter",), (22.0,)),
        (("identity",), (DELETED,)),
        (("nominal_mm",), (DELETED,)),
    ],
    "inspection.json": [
        (("on",), NO_DAY),
        *(((name,), NO_TEXT) for name in ("place", "inspector", "reviewer", "supervisor")),
        (("tension",), NO_CHOICE),
        (("stations", 0, "number"), (0, -1, 2, 1.5, True, "x", 2**63)),
        (("stations", 0, "position_m"), NO_NUMBER),
        (("stations", 0, "note"), NO_TEXT),
        (("day",), ("2026-11-02",)),
    ],
    "print_checks.json": [
        # of the bars of 180 and 110 mm: unread, in inches, in centimetres, swapped, 7 % off
        (("set A", "along_mm"), (0, -180, 7.05, 17.92, 109.6, 193, NAN, INF, "x", None)),
        (("set A", "across_mm"), (0, -110, 4.32, 10.96, 179.2, 118, NAN, INF, "x", None)),
        (("set A", "u_mm"), (0, -0.02, 1.1, NAN, INF, "x", None)),
        (("set A", "layout"), ("x", "", 5, DELETED)),
        (("set A", "checked_on"), NO_DAY),
        (("",), ({"layout": "A5 middle", "along_mm": 180, "across_mm": 110, "u_mm": 0.02},)),
    ],
    "limits.json": [
        *(
            ((0, name), ("", 5, None, DELETED))
            for name in ("rule_set", "what", "quantity", "purpose", "source")
        ),
        *(((0, name), (*NO_NUMBER, 10**400)) for name in ("low_mm", "from_mm", "to_mm")),
        *(((0, name), NO_NUMBER) for name in ("low_pct", "high_pct", "high_mm", "size_slack_mm")),
        *(
            ((0, name), ("x", 5))
            for name in ("quantity", "purpose", "start", "percent_of", "at_limit", "size_edge")
        ),
        *(
            ((0, name), (["x"], "steel", 5))
            for name in ("cores", "builds", "duties", "services", "tensions")
        ),
        *(((0, name), (5, None, [])) for name in ("edition", "clause", "sure", "note")),
        ((0, "ropes"), ("x", [5], [""])),
        ((0, "plain_winding"), NO_FLAG),
        ((0, "fibre_centred"), (1, "true")),
        ((0, "low_mm"), (None, DELETED)),
        ((0, "least_mm"), (20.5,)),
        ((0,), (5, "x", None)),
    ],
    "cameras.json": [
        *(((name,), (NAN, INF, "x", None, DELETED)) for name in ("focal_px", "k1", "k2", "rms_px")),
        (("focal_px",), (0, -2800)),
        (("k1",), (1e6,)),
        (("centre_px",), ([NAN, 1500], [2000], 5)),
        (("size_px",), ([4000], ["x", 3000], 5)),
        (("covariance",), ([], [[1.0]], NAN, DELETED)),
        (("covariance", 0, 0), (0, -1e-6, NAN, INF, "x")),
        (("on",), NO_DAY),
        (("photographs",), (NAN, "x", None)),
    ],
}  # fmt: skip
# Parts of the tables and of the team file, with what takes their place.
REPLACED: dict[str, list[tuple[str, str]]] = {
    "stations.csv": [
        ("number,", "station no,"), ("position_m", "place"), ("1,4.0", "0,4.0"),
        ("1,4.0", "-1,4.0"), ("1,4.0", "2,4.0"), ("1,4.0", "1_0,4.0"), ("1,4.0", "1.5,4.0"),
        ("1,4.0", "x,4.0"), ("1,4.0", "1,nan"), ("1,4.0", "1,inf"), ("1,4.0", "1,1e3"),
        ("1,4.0", "1,x"), ("1,4.0", "1,"),
    ],
    "team.toml": [
        ("b.lind@", "A.Berg@"), ("B. Lind", "a. berg"), ('"inspector"', '"chief"'),
        ('["inspector"]', '"inspector"'), ('"A. Berg"', '""'),
        ('"A. Berg"', "5"), ("0123456789012345678901234567890123456789", "short"),
        ("https://ropes", "ftp://ropes"), ("/oauth2callback", "/login"),
        ('client_id = "ropes"', ""), ('client_secret = "secret"', 'client_secret = " "'),
        ("[auth]", "[other]"), ("[auth]", "[auth"),
    ],
}  # fmt: skip


def planted(sources: dict[str, bytes]) -> Iterator[tuple[str, bytes]]:
    """Yield every file with one fault, by name, made from whole ones."""
    for kind, faults in FAULTS.items():
        whole = json.loads(sources[kind])
        inside = next(iter(whole)) if kind == "cameras.json" else None
        for path, values in faults:
            for value in values:
                wrong = deepcopy(whole)
                _put(wrong if inside is None else wrong[inside], path, value)
                yield kind, json.dumps(wrong).encode()
    for kind, changes in REPLACED.items():
        text = sources[kind].decode()
        for before, after in changes:
            assert before in text
            yield kind, text.replace(before, after, 1).encode()
    for kind, data in sources.items():
        if not kind.endswith(".csv"):  # tables can have another encoding
            yield kind, data[: len(data) // 2] + b"\xff" + data[len(data) // 2 :]
        if kind.endswith(".json"):
            yield kind, data[:-2]
            yield kind, b"[" * 100_000 + b"]" * 100_000
            yield kind, b"5"


def _put(whole: Any, path: Path, value: Any) -> None:
    for part in path[:-1]:
        whole = whole[part]
    if value is DELETED:
        del whole[path[-1]]
    else:
        whole[path[-1]] = value
