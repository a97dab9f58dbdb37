"""The documentation, run: commands exit as stated and print what is shown, including figures.

After a change of figures or words, `python tests/test_walkthrough.py` writes the commands' current
output into the pages; look at the difference before you commit it.
"""

from __future__ import annotations

import re
import shlex
import tempfile
from collections.abc import Iterator
from contextlib import chdir
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ui.cli.main import main

PROJECT = Path(__file__).resolve().parent.parent
# Each page, and the least number of commands and blocks of Python it holds.
PAGES = {
    "README.md": (5, 0),
    "ui/USING.md": (10, 0),
    "inspection/LIMITS.md": (2, 1),
    "vision/ACCURACY.md": (0, 2),
    "ui/TEAM.md": (0, 0),
}
# Commands that need nothing from earlier ones: from there a page is run afresh.
RESTARTS = {"ui/USING.md": ["ropephoto record init", "ropephoto report", "ropephoto card --board"]}
FENCE = re.compile(r"^```(\w+)(?: (\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
STATUS = re.compile(r"\s+# ends with status (\d)$")


@dataclass(frozen=True)
class Step:
    """A command of a `console` block, and the output shown below it."""

    command: str
    status: int
    shown: str


def blocks(page: str, kind: str) -> Iterator[tuple[str, str]]:
    """Blocks of a page of one kind: the file name beside the kind, and the content."""
    for found in FENCE.finditer((PROJECT / page).read_text(encoding="utf-8")):
        if found[1] == kind:
            yield found[2] or "", found[3]


def write_files(page: str) -> None:
    """Write the blocks that have a file name into the current folder."""
    for kind in ("csv", "json"):
        for name, content in blocks(page, kind):
            Path(name).write_text(content, encoding="utf-8")


def steps(page: str) -> Iterator[Step]:
    for _, block in blocks(page, "console"):
        for part in re.split(r"^\$ ", block.replace("\\\n", " "), flags=re.MULTILINE)[1:]:
            line, _, shown = part.partition("\n")
            ends = STATUS.search(line)
            yield Step(STATUS.sub("", line), int(ends[1]) if ends else 0, shown)


def plain(text: str) -> str:
    """Keep words and figures: fingerprints depend on the time, line breaks on the screen."""
    text = re.sub(r"\b[0-9a-f]{32}\b", "#", text)
    return " ".join(re.sub("─+", "─", text).split())


def matches(shown: str, printed: str) -> bool:
    """Whether the output matches what is shown; `...` stands for anything."""
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


def walks() -> Iterator[tuple[str, int, int]]:
    """Yield each page with the first and the last of the commands that depend on each other."""
    for page, (least, _) in PAGES.items():
        told = [step.command for step in steps(page)]
        assert len(told) >= least
        starts = [
            next(at for at, line in enumerate(told) if line.startswith(begin))
            for begin in RESTARTS.get(page, [])
        ]
        yield from ((page, *ends) for ends in pairwise([0, *starts, len(told)]) if told)


@pytest.mark.parametrize(("page", "first", "end"), list(walks()))
@pytest.mark.usefixtures("commands_measure_once")
def test_the_commands_of_a_page_run_as_they_are_written(
    page: str, first: int, end: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sample_images").symlink_to(PROJECT / "sample_images")
    monkeypatch.chdir(tmp_path)
    write_files(page)
    for step in list(steps(page))[first:end]:
        result = run(step)
        assert result.exit_code == step.status, f"{step.command}\n{result.output}"
        assert matches(step.shown, result.output), f"{step.command}\n{result.output}"


@pytest.mark.parametrize("page", [page for page, (_, blocks) in PAGES.items() if blocks])
def test_the_lines_of_python_run(
    page: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(PROJECT)
    told: dict[str, object] = {}  # a page's blocks share one namespace
    found = list(blocks(page, "python"))
    assert len(found) >= PAGES[page][1]
    for _, block in found:
        shown = [
            line.removeprefix("# prints ")
            for line in block.splitlines()
            if line.startswith("# prints ")
        ]
        exec(compile(block, page, "exec"), told)
        assert plain(capsys.readouterr().out) == plain("\n".join(shown))


@pytest.mark.parametrize("page", [*PAGES, "DEVELOPERS.md"])
def test_every_link_of_a_page_leads_to_something(page: str) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", (PROJECT / page).read_text(encoding="utf-8")):
        file, _, heading = target.partition("#")
        place = (PROJECT / page).parent / file if file else PROJECT / page
        assert place.exists(), f"{page} points to {target}, which is not there"
        if heading:
            titles = re.findall(r"^#+ (.+)$", place.read_text(encoding="utf-8"), re.MULTILINE)
            anchors = {re.sub(r"[^\w -]", "", one).lower().replace(" ", "-") for one in titles}
            assert heading in anchors, f"{page} points to {target}, which has no such heading"


def outline(line: str) -> str:
    """Return a line without its figures, to find it again when they change."""
    return re.sub(r"[-+]?\d[\d.,]*", "#", plain(line))


def as_shown(shown: str, printed: str) -> str:
    """Return an output with the same lines left out as before.

    Each part between two `...` is found again by its words. A part whose words have changed is an
    error: somebody has to choose again what to show.

    Examples
    --------
    >>> as_shown("a 1\\n...\\nend 1\\n", "a 2\\nb\\nc\\nend 2\\n")
    'a 2\\n...\\nend 2\\n'
    >>> as_shown("...\\nb 1\\n...\\n", "a\\nb 2\\nc\\n")
    '...\\nb 2\\n...\\n'
    """
    lines = [line.rstrip() for line in printed.strip("\n").rstrip().split("\n")]
    if "..." not in shown.split("\n"):
        return "\n".join(lines).rstrip() + "\n" if "..." not in shown else shown
    keys, at, kept = [outline(line) for line in lines], 0, []
    for part in re.split(r"^\.\.\.$\n?", shown, flags=re.MULTILINE):
        wanted = [outline(line) for line in part.strip("\n").split("\n")] if part.strip() else []
        found = [i for i in range(at, len(keys)) if keys[i : i + len(wanted)] == wanted]
        assert found or not wanted, f"its words have changed, choose again what to show: {part}"
        if wanted:
            at = found[0] + len(wanted)
            kept.append("".join(f"{line}\n" for line in lines[at - len(wanted) : at]))
        else:
            kept.append("")
    return "...\n".join(kept)


def rewrite(page: str) -> None:
    """Write the current output of a page's commands into it."""
    place = PROJECT / page
    text = place.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        Path("sample_images").symlink_to(PROJECT / "sample_images")
        write_files(page)
        for step in steps(page):
            result = run(step)
            printed = result.output
            assert result.exit_code == step.status, f"{step.command}\n{printed}"
            if step.shown.strip() and not matches(step.shown, printed):
                assert text.count(step.shown) == 1, step.command
                text = text.replace(step.shown, as_shown(step.shown, printed))
    place.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    for page in PAGES:
        rewrite(page)
