"""README.md's walkthrough, run: commands exit as stated, and print the words that it shows."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

import ui.cli.progress
from ui.cli.main import main
from vision import pipeline, results
from vision.photo.photo import Photo
from vision.pipeline import Settings

HOUSE = Path(__file__).resolve().parent.parent
FENCE = re.compile(r"^```(\w+)(?: (\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
STATUS = re.compile(r"\s+# ends with status (\d)$")


@dataclass(frozen=True)
class Step:
    """A command of a `console` block, and what is shown below it."""

    command: str
    status: int
    shown: str


def blocks(kind: str) -> Iterator[tuple[str, str]]:
    """Blocks of README.md of one kind: the file name beside the kind, and what is in them."""
    for found in FENCE.finditer((HOUSE / "README.md").read_text(encoding="utf-8")):
        if found[1] == kind:
            yield found[2] or "", found[3]


def steps() -> Iterator[Step]:
    for _, block in blocks("console"):
        for part in re.split(r"^\$ ", block.replace("\\\n", " "), flags=re.MULTILINE)[1:]:
            line, _, shown = part.partition("\n")
            ends = STATUS.search(line)
            yield Step(STATUS.sub("", line), int(ends[1]) if ends else 0, shown)


def masked(text: str) -> str:
    """Leave the words: figures move with every better edge, and lines with the screen."""
    text = re.sub(r"\b[0-9a-f]{32}\b", "#", text)
    text = re.sub(r"[+-]?\d+(\.\d+)?", "#", text)
    return " ".join(re.sub("─+", "─", text).split())


def matches(shown: str, printed: str) -> bool:
    """Whether the output is what is shown; `...` stands for anything."""
    parts = [re.escape(masked(part)) for part in shown.split("...")]
    return (
        re.fullmatch(r"\s*" + ".*?".join(rf"\s*{part}\s*" for part in parts), masked(printed))
        is not None
    )


def test_the_comparison_can_fail() -> None:
    assert matches("a 1.25 mm\n...\nend", "a  +3 mm and more\nthen end")
    assert not matches("a 1.25 mm\nend", "a 3 mm and more end")
    assert not matches("a agrees", "a disagrees")


@pytest.fixture
def measured_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let demo, measure and check, which look at the same photographs, share what was seen."""
    seen: dict[tuple[str, str], tuple[results.Result, ...]] = {}
    really = pipeline.measure_photo

    def remember(photo: Photo, settings: Settings) -> tuple[results.Result, ...]:
        key = (photo.sha256, repr(settings))
        if key not in seen:
            seen[key] = really(photo, settings)
        return seen[key]

    monkeypatch.setattr(ui.cli.progress, "measure_photo", remember)


@pytest.mark.usefixtures("measured_once")
def test_the_walkthrough_runs_as_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sample_images").symlink_to(HOUSE / "sample_images")
    monkeypatch.chdir(tmp_path)
    for name, content in blocks("csv"):
        Path(name).write_text(content, encoding="utf-8")
    walked = list(steps())
    assert len(walked) >= 8
    for step in walked:
        program, *arguments = shlex.split(step.command)
        assert program == "ropephoto"
        result = CliRunner().invoke(main, arguments, env={"COLUMNS": "80"})
        assert result.exit_code == step.status, f"{step.command}\n{result.output}"
        assert matches(step.shown, result.output), f"{step.command}\n{result.output}"


def test_the_lines_of_python_run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(HOUSE)
    ran = 0
    for _, block in blocks("python"):
        shown = [
            line.removeprefix("# prints ")
            for line in block.splitlines()
            if line.startswith("# prints ")
        ]
        exec(compile(block, "README.md", "exec"), {})
        assert masked(capsys.readouterr().out) == masked("\n".join(shown))
        ran += 1
    assert ran >= 2
