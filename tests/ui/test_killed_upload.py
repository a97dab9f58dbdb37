"""A server that is killed while photographs are measured: the next one says which never came."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from ui.services.sample import sample_folder
from ui.web.panels import upload

SAMPLE = "2026-09-quay-crane-2"
HOUSE = Path(__file__).resolve().parents[2]
# Three photographs come, and the process is killed while the second one is measured.
SERVER = """
import os, sys
from pathlib import Path
from streamlit.testing.v1 import AppTest
from ui.web.panels import upload
really, count = upload.measure_and_add, []

def measure(*given, **named):
    count.append(1)
    if len(count) == 2:
        os.kill(os.getpid(), 9)
    return really(*given, **named)

upload.measure_and_add = measure
at = AppTest.from_file("ui/web/app.py", default_timeout=120).run()
at.switch_page("screens/photographs.py").run()
at.file_uploader[0].set_value([(Path(one).name, Path(one).read_bytes(), "image/jpeg")
                               for one in sys.argv[1:]]).run()
"""


@pytest.mark.fault(
    "a kill while photographs are measured",
    "`2 of 3 photographs that came at ... are not in the record, ...`",
)
@pytest.mark.skipif(sys.platform == "win32", reason="kills a process")
def test_photographs_that_a_killed_server_took_with_it_are_named(
    sample_app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = sample_folder()
    assert folder is not None
    given = []
    for number, name in enumerate(["bar-16mm.jpg", "refuse-no-card.jpg", "refuse-tilted.jpg"]):
        path = tmp_path / f"new {number}.jpg"  # bytes behind the picture make another file of it
        path.write_bytes((folder / name).read_bytes() + bytes([number]))
        given.append(str(path))
    done = subprocess.run(
        [sys.executable, "-c", SERVER, *given], cwd=HOUSE, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(HOUSE)},
    )  # fmt: skip
    assert done.returncode == -signal.SIGKILL, done.stderr[-2000:]
    monkeypatch.setattr(upload, "session_name", lambda: "the session after the restart")
    at = sample_app.run().switch_page("screens/photographs.py").run()
    assert not at.exception
    (told,) = [one.value for one in at.error if "are not in the record" in one.value]
    assert told.startswith("2 of 3 photographs that came at ")
    assert "new 1.jpg, new 2.jpg. Choose them again." in told
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.verify().sound
        assert "new 0.jpg" in {one.name for one in record.inspection(SAMPLE).photographs}
    next(one for one in at.button if one.label == "I have seen it").click()
    at.run()
    assert not [one.value for one in at.error if "are not in the record" in one.value]
