"""Files shipped with the program: fonts with their licences, scripts, styles."""

from __future__ import annotations

import struct
import tomllib
from pathlib import Path

import pytest

from ui.report.writers.letters import FOLDER

PROJECT = Path(__file__).resolve().parents[2]


def names_in(font: Path) -> dict[int, str]:
    """Return a font's name records: 0 is its copyright, 13 its licence."""
    data = font.read_bytes()
    (many,) = struct.unpack_from(">4xH", data)
    tables = [struct.unpack_from(">4s4xI", data, 12 + 16 * i) for i in range(many)]
    at = next(start for tag, start in tables if tag == b"name")
    count, strings = struct.unpack_from(">2xHH", data, at)
    names = {}
    for i in range(count):
        system, kind, long, start = struct.unpack_from(">H4xHHH", data, at + 6 + 12 * i)
        if system == 3:  # Unicode
            from_here = at + strings + start
            names[kind] = data[from_here : from_here + long].decode("utf-16-be")
    return names


LICENCES = {"DejaVu": "LICENSE.txt", "Waree": "LICENSE-Waree.txt",
            "WenQuanYi": "LICENSE-WenQuanYiMicroHei.txt"}  # fmt: skip


@pytest.mark.parametrize("font", [path.name for path in FOLDER.glob("*.ttf")])
def test_what_a_font_says_of_its_owners_and_licence_lies_beside_it(font: str) -> None:
    (file,) = [file for family, file in LICENCES.items() if font.startswith(family)]
    beside = " ".join((FOLDER / file).read_text(encoding="utf-8").replace("(c)", "©").split())
    names = names_in(FOLDER / font)
    for line in (names[0] + "\n" + names[13]).replace("(c)", "©").splitlines():
        assert " ".join(line.split()).rstrip(".") in beside


def test_the_fonts_are_small_enough_to_be_shipped() -> None:
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 5_500_000


def test_whatever_lies_beside_the_program_is_packed_with_it() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
    packed = {
        path
        for package, patterns in project["tool"]["setuptools"]["package-data"].items()
        for pattern in patterns
        for path in PROJECT.joinpath(*package.split(".")).glob(pattern)
    }
    beside = {
        path
        for package in ("vision", "inspection", "ui")
        for path in (PROJECT / package).rglob("*")
        if path.is_file() and path.suffix not in {".py", ".pyc"}
    }
    assert beside == packed
    assert {path.name for path in packed} >= {"rope_view.js", "view_parts.js", *LICENCES.values()}
