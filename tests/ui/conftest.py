"""Records for the screens: an empty one, and one that holds the sample inspection."""

from __future__ import annotations

import pickle
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from streamlit import config
from streamlit.components.v2 import manifest_scanner
from streamlit.runtime.scriptrunner.script_cache import ScriptCache
from streamlit.testing.v1 import AppTest, app_test, local_script_runner

from inspection.assessment import Assessment, assess
from inspection.model.log import Log
from inspection.record.record import open_record
from tests.kept_answers import answered_once, made_once
from ui.services import assess_record, measuring_queue
from ui.web.page import pictures, session
from vision.apart import apart
from vision.results import Estimate

APP = Path(__file__).resolve().parents[2] / "ui" / "web" / "app.py"
REVIEWER = "Reviewer B"
PLANTED = "station-3-view-90.jpg"  # sample_images/README.md: 22.11 was logged beside it


@pytest.fixture(scope="session", autouse=True)
def _done_once_as_in_a_server(shared: Path) -> Iterator[None]:
    """Cache what AppTest repeats for each app, and a server does once.

    It reads the metadata of everything installed, compiles each screen, forgets conclusions from
    the same entries, and polls a thousand times a second whether a page is drawn: a third of its
    time. Each app has its own record, so pictures would also be made for each. Statistics of
    use are off, as they are in the pages' own settings.
    """
    found, compiled = cache(manifest_scanner.scan_component_manifests), ScriptCache()
    known: dict[bytes, Assessment] = {}

    def concluded(log: Log, **named: Any) -> Assessment:
        entries = pickle.dumps((log, named))
        if entries not in known:
            known[entries] = assess(log, **named)
        return known[entries]

    @cache
    def drawn(sha256: str, part: tuple[float, ...] | None) -> bytes:
        return really("", sha256, part)

    def small(place: str, sha256: str, part: tuple[float, ...] | None) -> bytes:
        session.get_record().photographs.get(sha256)  # a missing file is looked for each time
        return drawn(sha256, part)

    def ended(runner: local_script_runner.LocalScriptRunner, timeout: float) -> None:
        assert runner._script_thread is not None
        runner._script_thread.join(timeout)
        if not runner.script_stopped():
            asked(runner, 0)  # reports that it took too long

    really = pictures._thumbnail.__wrapped__
    asked = local_script_runner.require_widgets_deltas
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pictures, "_thumbnail", small)
        patch.setattr(pictures, "apart", apart_once(shared))
        patch.setattr(manifest_scanner, "scan_component_manifests", found)
        for module in (app_test, local_script_runner):
            patch.setattr(module, "ScriptCache", lambda: compiled)
        patch.setattr(local_script_runner, "require_widgets_deltas", ended)
        patch.setattr(assess_record, "assess", concluded)
        config.set_option("browser.gatherUsageStats", False)
        yield


@pytest.fixture(scope="module", autouse=True)
def _new_records(new_records_are_copies: None) -> None:
    """Creating a record's tables is tested in `tests/inspection`."""


def apart_once(shared: Path) -> Callable[..., Any]:
    """Return what has the separate process do each piece of work on a photograph only once."""

    def remember(name: str, work: Callable[..., Any], data: bytes, *given: Any) -> Any:
        asked = ("apart", name, work.__qualname__, sha256(data).hexdigest(), given)
        return answered_once(shared, asked, lambda: apart(name, work, data, *given))

    return remember


@contextmanager
def measured_apart_once(shared: Path) -> Iterator[None]:
    """Reuse the separate process's result for a photograph when it is asked the same again."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(measuring_queue, "apart", apart_once(shared))
        yield


@pytest.fixture(scope="session")
def sample(shared: Path) -> Path:
    """Return a folder with a record of the sample inspection; not to be written to."""
    from ui.services.sample import load_sample, sample_folder

    folder = sample_folder()
    if folder is None:
        pytest.skip("the sample photographs are not beside the program")

    def make(place: Path) -> None:
        with measured_apart_once(shared), open_record(place / "record.db") as record:
            load_sample(record, folder, by=REVIEWER)

    return made_once(shared, "sample", make)


@pytest.fixture
def planted_photo(sample: Path) -> str:
    """The photograph's figure where the sample's reading was deliberately mistyped, mm."""
    with open_record(sample / "record.db") as record:
        (identity,) = (one.identity for one in record.ranked())
        found = record.inspection(identity).results
    (seen,) = (one for one in found if isinstance(one, Estimate) and one.photo_name == PLANTED)
    return f"{seen.diameter_mm:.2f}"


@pytest.fixture
def app(tmp_path: Path, empty_record: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Return the pages on an empty record of their own."""
    monkeypatch.setenv("ROPE_PHOTO_RECORD", str(tmp_path / "record.db"))
    shutil.copy(
        empty_record, tmp_path / "record.db"
    )  # the pages do not create a record that was named
    monkeypatch.setenv("ROPE_PHOTO_PERSON_FILE", str(tmp_path / "person.json"))
    monkeypatch.setenv("ROPE_PHOTO_CAMERAS", str(tmp_path / "cameras.json"))
    (tmp_path / "person.json").write_text(f'{{"person": "{REVIEWER}"}}', encoding="utf-8")
    return AppTest.from_file(str(APP), default_timeout=120)  # a busy machine


@pytest.fixture
def sample_app(app: AppTest, sample: Path, tmp_path: Path) -> AppTest:
    """Return the pages on a copy of the sample record."""
    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    return app
