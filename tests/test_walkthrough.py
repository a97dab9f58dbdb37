"""README.md's walkthrough, run: commands exit as stated, and print what it shows, figures too.

After a change of figures or words, `python tests/test_walkthrough.py` writes into README.md what
the commands print now; look at the difference before it is committed.
"""

from __future__ import annotations

import re
import shlex
import tempfile
from collections.abc import Iterator
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

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


def plain(text: str) -> str:
    """Leave words and figures: fingerprints hold the time, and lines break with the screen."""
    text = re.sub(r"\b[0-9a-f]{32}\b", "#", text)
    return " ".join(re.sub("─+", "─", text).split())


def matches(shown: str, printed: str) -> bool:
    """Whether the output is what is shown; `...` stands for anything."""
    parts = [re.escape(plain(part)) for part in shown.split("...")]
    return (
        re.fullmatch(r"\s*" + ".*?".join(rf"\s*{part}\s*" for part in parts), plain(printed))
        is not None
    )


def test_the_comparison_can_fail() -> None:
    assert matches("a 1.25 mm\n...\nend", "a  1.25\nmm and more\nthen end")
    assert not matches("a 1.25 mm\n...\nend", "a 1.26 mm and more\nthen end")
    assert not matches("a 1.25 mm\nend", "a 1.25 mm and more end")
    assert not matches("a agrees", "a disagrees")


def run(step: Step) -> Result:
    program, *arguments = shlex.split(step.command)
    assert program == "ropephoto"
    return CliRunner().invoke(main, arguments, env={"COLUMNS": "80"})


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
        result = run(step)
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
        assert plain(capsys.readouterr().out) == plain("\n".join(shown))
        ran += 1
    assert ran >= 2


def as_shown(shown: str, printed: str) -> str:
    """Return an output with as many lines left out as before, at the same places.

    Examples
    --------
    >>> as_shown("a 1\\n...\\nend 1\\n", "a 2\\nb\\nc\\nend 2\\n")
    'a 2\\n...\\nend 2\\n'
    """
    lines = [line.rstrip() for line in printed.strip("\n").rstrip().split("\n")]
    head, dots, tail = (f"\n{shown}").partition("\n...\n")
    if not dots:
        return "\n".join(lines).rstrip() + "\n" if "..." not in shown else shown
    first, last = head.count("\n"), len(tail.split("\n")) - 1
    before = head.rpartition("\n")[2]
    if lines.count(before) == 1:  # the line before `...` says where, however many there are now
        first = lines.index(before) + 1
    kept = [*lines[:first], "...", *(lines[-last:] if last else [])]
    return "\n".join(kept).lstrip("\n") + "\n"


def rewrite() -> None:
    """Write what the commands print now into README.md."""
    page = HOUSE / "README.md"
    text = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        Path("sample_images").symlink_to(HOUSE / "sample_images")
        for name, content in blocks("csv"):
            Path(name).write_text(content, encoding="utf-8")
        for step in steps():
            result = run(step)
            printed = result.output
            assert result.exit_code == step.status, f"{step.command}\n{printed}"
            if step.shown.strip() and not matches(step.shown, printed):
                assert text.count(step.shown) == 1, step.command
                text = text.replace(step.shown, as_shown(step.shown, printed))
    page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    rewrite()
