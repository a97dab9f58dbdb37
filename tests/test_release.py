"""A release states its owner, its licence and the Python versions it supports."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import pytest

PROJECT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def project() -> dict[str, Any]:
    told: dict[str, Any] = tomllib.loads((PROJECT / "pyproject.toml").read_text("utf-8"))["project"]
    return told


def words(text: str) -> list[str]:
    return re.sub(r"[^a-z ]", " ", text.lower()).split()


def test_the_readme_ends_in_the_whole_mit_licence(project: dict[str, Any]) -> None:
    # compared with the text in another project under this licence: pytest
    (other,) = [
        path for path in distribution("pytest").files or () if path.name == "LICENSE"
    ]  # fmt: skip
    theirs = str(other.read_text("utf-8")).partition("Permission is hereby")[2]
    ours = (PROJECT / "README.md").read_text("utf-8").partition("Permission is hereby")[2]
    assert len(words(theirs)) > 150
    assert words(ours) == words(theirs)
    assert project["license"].startswith("MIT")
    assert project["readme"] in project["license-files"]  # so that the wheel contains it


def test_the_version_has_its_paragraph_in_the_changelog(project: dict[str, Any]) -> None:
    page = (PROJECT / "DEVELOPERS.md").read_text("utf-8").partition("## Changelog")[2]
    assert page.strip().startswith(f"**{project['version']}**")


def test_the_declared_pythons_start_at_the_required_one(
    project: dict[str, Any],
) -> None:
    claimed = [
        one.rpartition(" ")[2] for one in project["classifiers"] if re.search(r":: 3\.\d+$", one)
    ]
    assert claimed == ["3.11", "3.12", "3.13"]
    assert project["requires-python"] == f">={claimed[0]}"


def test_every_package_says_that_it_is_typed() -> None:
    for package in ("vision", "inspection", "ui"):
        assert (PROJECT / package / "py.typed").is_file()
