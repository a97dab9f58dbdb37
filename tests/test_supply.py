"""Installed packages: no copyleft licence on the user's own work, pinned with hashes, listed."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement

PROJECT = Path(__file__).resolve().parent.parent
LOCK = PROJECT / ".deploy" / "requirements-team.txt"
# The GPL and the AGPL, by SPDX (spdx.org/licenses) or the index's classifiers; not the LGPL.
BINDING = re.compile(r"(?<![L])A?GPL|(?<!Lesser )(?:Affero )?General Public License", re.IGNORECASE)


@pytest.fixture(scope="module")
def supply() -> ModuleType:
    spec = importlib.util.spec_from_file_location("supply", PROJECT / ".deploy" / "supply.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


@pytest.mark.parametrize(
    ("licence", "binds"),
    [
        ("GPL-3.0-or-later", True),
        ("AGPL-3.0", True),
        ("GNU General Public License v2 (GPLv2)", True),
        ("GNU Affero General Public License v3", True),
        ("GNU Lesser General Public License v3 (LGPLv3)", False),
        ("LGPL-3.0-only", False),
        ("MIT", False),
    ],
)
def test_copyleft_licences_are_recognised(licence: str, binds: bool) -> None:
    assert (BINDING.search(licence) is not None) is binds


@pytest.mark.parametrize("extra", ["", "team", "postgres"])
def test_no_installed_package_is_under_gpl_or_agpl(supply: ModuleType, extra: str) -> None:
    found = supply.installed(extra)
    assert {"streamlit", "numpy", "pi-heif", "pyarrow"} <= set(found)
    told = {name: supply.licence(one) for name, one in found.items()}
    assert not {name: words for name, words in told.items() if BINDING.search(words)}
    assert "not stated" not in told.values()


def locked() -> dict[str, tuple[str, str]]:
    """Return version and hash of every package in the lock, by name."""
    lines = [line for line in LOCK.read_text("utf-8").splitlines() if not line.startswith("#")]
    found = [re.fullmatch(r"([a-z0-9-]+)==(\S+) --hash=sha256:([0-9a-f]{64})", one)
             for one in lines]  # fmt: skip
    assert all(found)
    return {one[1]: (one[2], one[3]) for one in found if one}


def test_the_teams_lock_pins_all_that_is_needed_and_names_no_address(supply: ModuleType) -> None:
    pinned = locked()
    assert set(supply.installed("team")) - set(supply.NOT_NEEDED) <= set(pinned)
    assert not set(supply.NOT_NEEDED) & set(pinned)
    told = supply.project()
    extras = [text for extra in supply.SERVER for text in told["optional-dependencies"][extra]]
    for text in told["dependencies"] + extras:
        asked = Requirement(text)
        version = pinned[supply.normal(asked.name)][0]
        assert asked.specifier.contains(version), f"{asked} is pinned at {version}: lock anew"
    assert "://" not in LOCK.read_text("utf-8")


def test_the_bill_of_materials_names_every_package_once(supply: ModuleType) -> None:
    told = supply.bom("team")
    # required by CycloneDX 1.5: bomFormat, specVersion; of a component type and name
    assert (told["bomFormat"], told["specVersion"], told["version"]) == ("CycloneDX", "1.5", 1)
    assert re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", told["serialNumber"])
    names = [one["name"] for one in told["components"]]
    assert names == sorted(set(names)) == list(supply.installed("team"))
    for one in told["components"]:
        assert one["type"] == "library"
        assert one["purl"] == f"pkg:pypi/{one['name']}@{one['version']}"
    assert told == supply.bom("team")


def test_the_pages_need_nothing_that_the_lock_leaves_out(tmp_path: Path) -> None:
    """And the first imports are not made by two pages at the same time.

    With thirty people on a server just started, one page saw a half-loaded pandas and failed.
    """
    script = (
        "import sys\n"
        "for name in ('pydeck', 'git', 'gitdb', 'smmap', 'watchdog'): sys.modules[name] = None\n"
        "import ui.web.server\n"
        "assert {'altair', 'pandas'} <= set(sys.modules)\n"
        "assert not {'scipy.stats', 'scipy.signal'} & set(sys.modules)\n"  # a second of a start
        "from inspection.record.record import open_record\n"
        "open_record(sys.argv[1]).close()\n"
        "from streamlit.testing.v1 import AppTest\n"
        "at = AppTest.from_file(sys.argv[2], default_timeout=120).run()\n"
        "assert not at.exception and not at.error\n"
    )
    record = tmp_path / "record.db"
    done = subprocess.run(
        [sys.executable, "-c", script, str(record), str(PROJECT / "ui" / "web" / "app.py")],
        cwd=PROJECT, capture_output=True, text=True,
        env={**os.environ, "ROPE_PHOTO_RECORD": str(record),
             "ROPE_PHOTO_PERSON_FILE": str(tmp_path / "person.json")},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-1500:]
