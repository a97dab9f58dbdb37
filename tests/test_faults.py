"""FAULTS.md: what can go wrong and what people then see, taken from the tests that show it.

A test that shows a fault has the mark ``fault``: what goes wrong, and what is seen then. After a
change to such tests, `python tests/test_faults.py` rewrites the page.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
PAGE = TESTS / "FAULTS.md"
PROMISES = TESTS / "PROMISES.md"
AREAS = {
    "vision": "Photographs",
    "inspection": "Tables and the record",
    "ui": "Commands, pages and reports",
    "browser": "In a browser",
    "fuzz": "Arbitrary input",
}
PROMISE = re.compile(r"`([\w/]+\.py)::(\w+)`")


@dataclass(frozen=True)
class Fault:
    """What goes wrong, what people then see, and the test that shows it."""

    what: str
    seen: str
    test: str


def faults_in(path: Path) -> Iterator[Fault]:
    """Yield the faults named by the marks of a file's tests, in order."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef):
            for mark in node.decorator_list:
                if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.fault":
                    what, seen = (ast.literal_eval(one) for one in mark.args)
                    yield Fault(what, seen, f"{path.relative_to(TESTS)}::{node.name}")


@cache
def faults(area: str) -> list[Fault]:
    files = sorted((TESTS / area).rglob("test_*.py"))
    return [one for path in files for one in faults_in(path)]


def page() -> str:
    """Return the whole page."""
    lines = [
        "# Faults, and what people see", "",
        "Written by `python tests/test_faults.py` from the tests' marks; edit those, not this.",
    ]  # fmt: skip
    for area, title in AREAS.items():
        lines += ["", f"## {title}", "", "| fault | what is seen | test |", "|---|---|---|"]
        lines += [f"| {one.what} | {one.seen} | `{one.test}` |" for one in faults(area)]
    return "\n".join(lines) + "\n"


def test_the_page_of_faults_matches_the_tests() -> None:
    listed = [one for area in AREAS for one in faults(area)]
    assert len(listed) >= 45
    assert len({one.what for one in listed}) == len(listed), "a fault is listed twice"
    assert PAGE.read_text(encoding="utf-8") == page(), "run `python tests/test_faults.py`"


def test_every_promise_names_a_test_that_is_there() -> None:
    text = PROMISES.read_text(encoding="utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| ")][1:]
    assert len(rows) >= 12
    for row in rows:
        named = PROMISE.findall(row)
        assert named, f"no test is named for this promise: {row}"
        for file, name in named:
            tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
            names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
            assert name in names, f"{file} has no {name}"


@pytest.mark.parametrize("area", AREAS)
def test_every_kind_of_fault_has_tests(area: str) -> None:
    assert faults(area)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
