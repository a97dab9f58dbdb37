"""Project rules that a machine can check: imports, names, sizes, dependencies, documents."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from importlib.metadata import packages_distributions
from inspect import cleandoc
from pathlib import Path
from typing import Any

import click
import pytest

from ui.cli.main import main
from ui.web.page import streamlit_internals
from vision.findings import limit_of
from vision.target.layout import LAYOUTS, PAPERS_MM

PROJECT = Path(__file__).resolve().parent.parent
PACKAGES = ("vision", "inspection", "ui")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tests", "sample_images", *PACKAGES}
LONGEST = 500
MOST_MODULES = 21  # with its __init__
MOST_PARAMETERS = 6  # besides self or cls
SAYS_NOTHING = {"utils", "util", "helpers", "helper", "manager", "base", "core", "common", "misc"}
# Fields that a person fills in on a page.
FIELDS = {
    "camera_input", "checkbox", "date_input", "file_uploader", "number_input", "pills", "radio",
    "selectbox", "text_area", "text_input", "toggle",
}  # fmt: skip
# What each package may import from the others, and what it must not import from outside.
MAY = {
    "vision": ("vision",),
    "inspection": ("inspection", "vision.results", "vision.findings", "vision.uncertainty"),
    "ui": PACKAGES,
}
MUST_NOT = {
    "vision": {"streamlit", "sqlalchemy", "click"},
    "inspection": {"cv2", "skimage", "PIL", "streamlit", "click"},
    "ui": {"tests", "sample_images"},
}


def modules(*packages: str) -> list[Path]:
    return sorted(path for package in packages for path in (PROJECT / package).rglob("*.py"))


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports(path: Path) -> frozenset[str]:
    """Every module that a file imports, by its full name, anywhere in the file."""
    found = set()
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide which package a name comes from"
            found.add(str(node.module))
            if str(node.module) in PACKAGES:
                found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(found)


@cache
def project() -> dict[str, Any]:
    return tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))


def text_of(name: str) -> str:
    return (PROJECT / name).read_text(encoding="utf-8")


def test_packages_import_only_what_they_are_allowed_to() -> None:
    for package in PACKAGES:
        for path in modules(package):
            for name in imports(path):
                top = name.split(".")[0]
                assert top not in MUST_NOT[package], f"{path} must not import {name}"
                if top in PACKAGES and name != top:
                    allowed = any(name == one or name.startswith(f"{one}.") for one in MAY[package])
                    assert allowed, f"{path} must not import {name}"


def loaded_by(*statements: str) -> list[set[str]]:
    """The modules that a fresh interpreter has loaded after each of several statements."""
    held = "\nimport sys\nprint('held', *sys.modules)\n"
    done = subprocess.run(
        [sys.executable, "-c", "".join(f"{one}{held}" for one in statements)],
        cwd=PROJECT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return [set(one.split()) for one in re.findall("^held (.*)$", done.stdout, re.MULTILINE)]


def test_inspection_can_be_used_without_image_libraries() -> None:
    listed = ", ".join(
        ".".join(path.relative_to(PROJECT).with_suffix("").parts)
        for path in modules("inspection")
        if path.stem != "__init__" and "migrations" not in path.parts
    )
    comparison, package, pictures = loaded_by(
        "import inspection.comparison.crosscheck", f"import {listed}", "import vision.camera"
    )
    assert not {"cv2", "PIL", "skimage", "streamlit"} & comparison
    # the whole package: openpyxl looks for PIL itself, so PIL is not checked here
    assert not {"cv2", "skimage", "streamlit"} & package
    assert "cv2" in pictures  # shows that the check can find it


HEAVY = {
    "PIL", "alembic", "altair", "cv2", "fsspec", "joblib", "numpy", "openpyxl", "pandas", "pi_heif",
    "platformdirs", "reportlab", "rich", "scipy", "segno", "simplejpeg", "skimage", "sqlalchemy",
    "starlette", "streamlit", "typst", "vl_convert",
}  # fmt: skip


def test_the_list_of_heavy_libraries_matches_the_dependencies() -> None:
    needed = {"pillow": "PIL", "opencv-python-headless": "cv2", "scikit-image": "skimage"}
    needed["vl-convert-python"] = "vl_convert"
    names = {re.split("[>=<\\[]", one)[0] for one in project()["project"]["dependencies"]}
    assert {needed.get(name, name.replace("-", "_")) for name in names} - {"click"} <= HEAVY


def test_help_comes_without_waiting_for_heavy_libraries() -> None:
    commands = [[], ["measure"], ["check"], ["calibrate"], ["cameras"], ["record", "import"]]
    asked = (
        f"from ui.cli.main import main\ntry:\n    main({[*command, '--help']!r})\n"
        "except SystemExit:\n    pass"
        for command in commands
    )
    for command, held in zip(commands, loaded_by(*asked), strict=True):
        assert not HEAVY & held, command


def test_no_module_has_a_meaningless_name() -> None:
    for path in modules(*PACKAGES, "tests", "sample_images"):
        assert path.stem not in SAYS_NOTHING, path


def test_no_two_classes_share_a_name_and_a_type_alias_means_one_thing() -> None:
    meanings: dict[str, set[str]] = {}
    for path in modules(*PACKAGES):
        for node in parsed(path).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                meanings.setdefault(node.name, set()).add(f"class of {path.relative_to(PROJECT)}")
            elif isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript):
                for target in node.targets:
                    if isinstance(target, ast.Name) and re.fullmatch(r"[A-Z]\w*[a-z]", target.id):
                        meanings.setdefault(target.id, set()).add(ast.unparse(node.value))
    assert not {name: said for name, said in meanings.items() if len(said) > 1}


def test_no_file_is_longer_than_the_limit() -> None:
    lengths = {
        str(path.relative_to(PROJECT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in modules(*PACKAGES, "sample_images")
    }
    assert not {name: lines for name, lines in lengths.items() if lines > LONGEST}


@pytest.mark.parametrize(("page", "most"), [("README.md", 162), ("DEVELOPERS.md", 215)])
def test_the_first_pages_stay_short(page: str, most: int) -> None:
    assert (
        len(text_of(page).splitlines()) <= most
    )  # longer texts have a page of their own beside the package


def parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[str]:
    taken = function.args
    several = [one for one in (taken.vararg, taken.kwarg) if one is not None]
    listed = [*taken.posonlyargs, *taken.args, *taken.kwonlyargs, *several]
    return [one.arg for one in listed if one.arg not in ("self", "cls")]


def is_a_command(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return any(
        isinstance(one, ast.Call)
        and isinstance(one.func, ast.Attribute)
        and one.func.attr == "command"
        for one in function.decorator_list
    )


def test_no_function_has_too_many_parameters() -> None:
    # values that belong together are one parameter; a command's parameters are its options
    too_many = {
        f"{path.relative_to(PROJECT)} {node.name}"
        for path in modules(*PACKAGES)
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and not is_a_command(node)
        and len(parameters(node)) > MOST_PARAMETERS
    }
    assert too_many == set()


def test_the_top_level_holds_what_it_must_and_nothing_else() -> None:
    made = [line.strip("/") for line in text_of(".gitignore").splitlines() if line]
    found = {
        path.name
        for path in PROJECT.iterdir()
        if not path.name.startswith(".") and not any(fnmatch(path.name, one) for one in made)
    }
    assert found == TOP_LEVEL


def test_the_three_packages_are_shipped_and_nothing_else() -> None:
    # `vision` and `ui` are common names: no other folder must be shipped beside them
    found = project()["tool"]["setuptools"]["packages"]["find"]
    assert found["include"] == [f"{package}*" for package in PACKAGES]
    folders = {".".join(path.parent.relative_to(PROJECT).parts) for path in modules(*PACKAGES)}
    assert all(any(fnmatch(name, one) for one in found["include"]) for name in folders)
    tops = {path.name for path in PROJECT.iterdir() if path.is_dir()}
    assert {
        name
        for name in tops
        if fnmatch(name, "vision*") or fnmatch(name, "ui*") or fnmatch(name, "inspection*")
    } == set(PACKAGES)


installed = cache(packages_distributions)  # it reads the metadata of every package


def distributions(paths: list[Path]) -> set[str]:
    """The distributions, by their index names, that these files import from outside."""
    ours = {path.stem for path in modules(*PACKAGES, "tests", "sample_images")}
    ours |= {*PACKAGES, "tests", "second_world", *sys.stdlib_module_names}
    tops = {name.split(".")[0] for path in paths for name in imports(path)} - ours
    known = installed()
    return {known.get(top, [top])[0].lower().replace("_", "-") for top in tops}


def declared(entries: list[str]) -> set[str]:
    return {entry.split(">=")[0].split("[")[0].lower().replace("_", "-") for entry in entries}


def test_what_is_installed_is_what_is_imported() -> None:
    needed = declared(project()["project"]["dependencies"])
    assert distributions(modules(*PACKAGES)) == needed
    major, minor = streamlit_internals.TESTED
    private = f"streamlit>={major}.{minor},<{major}.{minor + 1}"
    assert private in project()["project"]["dependencies"]
    for entry in project()["project"]["dependencies"]:
        assert ">=" in entry, f"{entry} has no lower bound"
        # an upper bound keeps bug fixes out: only private parts of another package justify it
        assert "<" not in entry or entry == private, f"{entry} has a cap"


def test_what_only_tests_and_samples_import_is_in_their_extras() -> None:
    extras = project()["project"]["optional-dependencies"]
    needed = declared(project()["project"]["dependencies"])
    needed |= declared(extras["test"])
    # benchmarks are run by hand, one in a browser; the browser tests are skipped without one
    apart = {"benchmarks": ["samples", "second-world", "browser"], "browser": ["browser"]}
    for folder, wanted in apart.items():
        inside = distributions([p for p in modules("tests") if folder in p.parts])
        assert inside <= needed.union(*(declared(extras[extra]) for extra in wanted))
    rest = [path for path in modules("tests") if not set(path.parts) & set(apart)]
    assert distributions(rest) <= needed
    assert distributions(modules("sample_images")) <= needed | declared(extras["samples"])


def commands(group: click.Group, before: str = "ropephoto") -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from commands(command, f"{before} {name}")
        elif not command.hidden:
            yield f"{before} {name}", command


@pytest.mark.parametrize(("name", "command"), list(commands(main)))
def test_every_command_is_explained_and_shows_an_example(name: str, command: click.Command) -> None:
    pages = ("README.md", "ui/USING.md", "inspection/LIMITS.md", "vision/ACCURACY.md")
    assert any(name in text_of(page) for page in pages), f"{name} is in none of {pages}"
    _, _, example = cleandoc(command.help or "").partition("\nExample:\n")
    assert example.startswith(f"  {name}"), f"the help of {name} has no example that runs it"
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{name} {parameter.opts[0]} has no help"


def test_the_documentation_states_the_current_sizes_and_limits() -> None:
    page = text_of("ui/USING.md")
    for paper in PAPERS_MM:
        sizes = [f"to {layout.rope_max_mm:.0f} mm" for layout in LAYOUTS if layout.paper == paper]
        row = next(
            line
            for line in page.splitlines()
            if line.startswith(f"| {paper} |") or line.startswith(f"| US {paper} |")
        )
        assert row.replace("ropes to", "to").split(" | ", 1)[1].strip(" |").split(" | ") == sizes
    flat = " ".join(text_of("README.md").split())
    assert f"more than {limit_of('too-tilted'):.0f} degrees of tilt" in flat
    assert f"a rope less than {limit_of('too-far'):.0f} px wide" in flat


def test_every_field_of_the_pages_has_help() -> None:
    without = [
        f"{path.relative_to(PROJECT)}:{call.lineno} {call.func.attr}"
        for path in modules("ui")
        for call in ast.walk(parsed(path))
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Attribute)
        and call.func.attr in FIELDS
        and all(keyword.arg != "help" for keyword in call.keywords)
    ]
    assert not without


def test_every_package_says_what_it_contains() -> None:
    folders = {path.parent for path in modules(*PACKAGES)}
    for folder in sorted(folders):
        doc = ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8")))
        assert doc, f"{folder.relative_to(PROJECT)}/__init__.py says nothing"


def test_no_package_has_too_many_modules() -> None:
    for folder in {path.parent for path in modules(*PACKAGES)}:
        assert len(list(folder.glob("*.py"))) <= MOST_MODULES, folder
