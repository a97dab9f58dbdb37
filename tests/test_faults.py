"""DEVELOPERS.md lists the faults and what people see; each names a test that is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

TESTS = Path(__file__).resolve().parent
PAGE = (TESTS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
LIST = PAGE.partition("## Faults, and what people see")[2].partition("\n## ")[0]
ROW = re.compile(r"^\| (?P<fault>.+?) \| (?P<seen>.+) \| `(?P<file>\S+)::(?P<name>\w+)` \|$")


def rows() -> list[re.Match[str]]:
    found = [ROW.match(line) for line in LIST.splitlines() if line.startswith("| ")][1:]
    assert None not in found, "a row of the list of faults does not name its test"
    return [row for row in found if row is not None]


def test_every_fault_of_the_list_names_a_test_that_is_there() -> None:
    assert len(rows()) >= 45
    for row in rows():
        tree = ast.parse((TESTS / row["file"]).read_text(encoding="utf-8"))
        names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
        assert row["name"] in names, f"{row['fault']}: {row['file']} has no {row['name']}"


def test_no_fault_stands_in_the_list_twice() -> None:
    faults = [row["fault"] for row in rows()]
    assert len(set(faults)) == len(faults)
