"""Damaged descriptions: every small file that the program reads, read and fully used."""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from inspection.assessment import assess
from inspection.folder import read_folder
from inspection.limits.user_rules import rules_from_json
from tests.fuzz.description_faults import planted
from tests.fuzz.mutations import mutated
from tests.fuzz.watched import Outcome, Trial
from tests.inspection.reading_tables import SAMPLE
from ui.services.access.roles import check_login, read_team
from vision.calibration.library import CalibratedCamera, load_cameras, save_camera
from vision.target.print_scale import load_print_checks

# What a careless person or a faulty program leaves in place of a value.
VALUES: tuple[Any, ...] = (
    "", " ", "x", "12,1", "12.1", "nan", "2026-02-30", "2026-09-14", "\u202e22", "x" * 500, 0, -1,
    1, 3, 1.5, -0.0, 1e-320, 1e308, 10**20, 10**400, float("nan"), float("inf"), True, False, None,
    [], {}, [1], [[]], {"a": 1}, [None], ["x"],
)  # fmt: skip
ROPE: dict[str, Any] = {
    "identity": "hoist rope 1", "nominal_mm": 22.0, "outer_strands": 6, "core": "steel",
    "build": "single-layer", "fibre_centred_strands": False, "duty": "general",
    "service": "in-service", "reference_mm": 22.44, "reference_on": "2025-03-11",
    "reference_how": "two readings", "units": "mm", "site": "Quay 4", "u_reference_mm": 0.02,
    "reference_tension": "none", "baseline_mm": 22.5, "lay_mm": 140.0,
    "grooves": [
        {"name": "drum", "radius_mm": 11.9, "pitch_mm": 25.0, "layers": 2, "rope_min_mm": 21.0,
         "rope_max_mm": 23.0},
        {"name": "head sheave", "radius_mm": 11.8},
    ],
}  # fmt: skip
INSPECTION: dict[str, Any] = {
    "identity": "visit", "rope": "hoist rope 1", "on": "2026-11-02", "place": "Quay 4",
    "inspector": "A. Berg", "reviewer": "B. Lind", "supervisor": "C. Holm", "tension": "none",
    "stations": [{"number": 1, "position_m": 4.0, "note": "drum"}, {"number": 2, "position_m": 9}],
}  # fmt: skip
CHECKS = {
    "set A": {"layout": "A5 middle", "along_mm": 179.24, "across_mm": 109.62, "u_mm": 0.02,
              "checked_on": "2026-09-14"},
}  # fmt: skip
LIMITS = [
    {"rule_set": "Site 4", "what": "least diameter", "quantity": "mean diameter",
     "purpose": "discard", "source": "site rule 4.2", "start": "nothing", "low_mm": 20.5,
     "cores": ["steel"], "from_mm": 8, "to_mm": 60},
]  # fmt: skip
TEAM = """
[auth]
redirect_uri = "https://ropes.example.org/oauth2callback"
cookie_secret = "0123456789012345678901234567890123456789"
client_id = "ropes"
client_secret = "secret"
server_metadata_url = "https://login.example.org/.well-known/openid-configuration"
[people."a.berg@example.org"]
name = "A. Berg"
roles = ["inspector"]
[people."b.lind@example.org"]
name = "B. Lind"
roles = ["reviewer", "supervisor"]
"""
CAMERA = CalibratedCamera(
    "Lantern L4, 4000 x 3000, 26 mm", (4000, 3000), 2800.0, (2000.0, 1500.0), 0.01, -0.02, 0.0, 0.0,
    tuple(tuple(1e-6 if i == j else 0.0 for j in range(7)) for i in range(7)), 12, 0.3, 0.8,
    date(2026, 9, 14),
)  # fmt: skip


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="descriptions-"))
    (folder / "readings.csv").write_text(SAMPLE, "utf-8")
    return folder


def _whole_folder() -> None:
    for name, data in sources().items():
        if name in ("rope.json", "inspection.json", "stations.csv"):
            (_folder() / name).write_bytes(data)


@cache
def sources() -> dict[str, bytes]:
    """Return whole files by name."""
    save_camera(_folder() / "kept.json", CAMERA)
    made = {"rope.json": ROPE, "inspection.json": INSPECTION, "print_checks.json": CHECKS,
            "limits.json": LIMITS}  # fmt: skip
    return {
        **{name: json.dumps(value, indent=1).encode() for name, value in made.items()},
        "cameras.json": (_folder() / "kept.json").read_bytes(),
        "stations.csv": b"number,position_m,note\n1,4.0,drum\n2,9.0,\n",
        "team.toml": TEAM.encode(),
    }


def _use_folder(_: Path) -> None:
    read = read_folder(_folder())
    assess(read.log)


def _use_limits(path: Path) -> None:
    try:
        text = path.read_text("utf-8")
    except UnicodeDecodeError as wrong:
        raise ValueError("is no text.") from wrong  # as the command line does
    own = rules_from_json(text)
    assess(read_folder(_folder()).log, own=own)


def _use_checks(path: Path) -> None:
    for check in load_print_checks(path).values():
        assert 0 < check.along_read_mm < 1e4


def _use_team(path: Path) -> None:
    assert read_team(path)
    assert check_login(path).startswith("http")


USES: dict[str, Callable[[Path], object]] = {
    "rope.json": _use_folder,
    "inspection.json": _use_folder,
    "stations.csv": _use_folder,
    "limits.json": _use_limits,
    "print_checks.json": _use_checks,
    "cameras.json": load_cameras,
    "team.toml": _use_team,
}


def trial(seed: int) -> Trial:
    """Return the function that tries the description with a given number.

    The first ones have a plain fault, and reading one of those is a fault; the others are damaged
    by chance.
    """
    kinds = list(sources())
    faulty = list(planted(sources()))

    def one(number: int) -> Outcome:
        chance = random.Random(f"description {seed} {number}")
        is_faulty = number < len(faulty)
        kind, data = faulty[number] if is_faulty else (kinds[number % len(kinds)], b"")
        _whole_folder()
        (_folder() / kind).write_bytes(data if is_faulty else _damaged(kind, chance))
        try:
            USES[kind](_folder() / kind)
        except ValueError as reason:
            plain = str(reason).endswith((".", "?", ")")) and "\n" not in str(reason)
            sentence = plain and len(str(reason)) < 1500
            return Outcome(number, kind, "sentence" if sentence else "FAULT", str(reason))
        if is_faulty:
            return Outcome(number, kind, "FAULT", f"was read: {_excerpt(data, sources()[kind])}")
        return Outcome(number, kind, "read", "")

    return one


def _excerpt(data: bytes, whole: bytes) -> str:
    """Return a file from shortly before where it differs from the whole one."""
    if whole.startswith((b"{", b"[")):
        whole = json.dumps(json.loads(whole)).encode()
    differ = (at for at, pair in enumerate(zip(data, whole, strict=False)) if pair[0] != pair[1])
    same = next(differ, 0)
    return repr(data[max(same - 40, 0) : same + 40])


def _damaged(kind: str, chance: random.Random) -> bytes:
    data = sources()[kind]
    if kind.endswith(".json") and chance.random() < 0.8:
        value = json.loads(data)
        for _ in range(chance.choice([1, 1, 1, 3])):
            value = _changed(value, chance)
        return json.dumps(value).encode()
    if kind.endswith(".json") and chance.random() < 0.1:
        deep = chance.choice([50, 900, 100_000])
        return b'{"grooves": ' + b"[" * deep + b"]" * deep + b"}"
    return mutated(data, chance, sources()[chance.choice(list(sources()))])


def _changed(value: Any, chance: random.Random) -> Any:
    """Return a JSON value with one change somewhere in it."""
    inside = list(value) if isinstance(value, dict) else range(len(_listed(value)))
    if not inside or chance.random() < 0.15:
        return chance.choice(VALUES)
    copy = dict(value) if isinstance(value, dict) else list(value)
    at: Any = chance.choice(list(inside))
    match chance.randrange(8):
        case 0:
            del copy[at]
        case 1 if isinstance(copy, dict):
            copy[chance.choice(["x", "", "identity", "u"])] = copy[at]
        case 2 if isinstance(copy, list):
            copy.append(copy[at])
        case _:
            copy[at] = _changed(copy[at], chance)
    return copy


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []
