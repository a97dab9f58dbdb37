"""`ropephoto page`: what keeps it from starting is said in one sentence; started, it answers."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from click.testing import CliRunner

from ui.page_command import page


def test_a_port_in_use_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(page, ["--port", port, "--no-browser"])
    assert result.exit_code == 1
    assert f"port {port} is in use" in result.output
    assert "Traceback" not in result.output


def test_what_is_no_record_is_told(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("no record at all, but long enough to look like one " * 99)
    result = CliRunner().invoke(page, ["--record", str(tmp_path / "notes.txt"), "--no-browser"])
    assert result.exit_code == 1
    assert "is not a record" in result.output
    assert "Traceback" not in result.output


def test_it_answers_on_this_machine_only_and_ends_when_told(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "ui.cli", "page", "--no-browser", "--port", str(port)]
    environment = os.environ | {"XDG_DATA_HOME": str(tmp_path)}
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, text=True,
        cwd=Path(__file__).resolve().parents[2],
    ) as running:  # fmt: skip
        assert running.stdout is not None
        assert f"http://127.0.0.1:{port}" in running.stdout.readline()
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10) as answer:
            assert answer.status == 200
        running.send_signal(signal.SIGTERM)
        running.wait(timeout=20)
    until = time.monotonic() + 10
    while time.monotonic() < until:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=1).close()
        except (urllib.error.URLError, OSError):
            return
        time.sleep(0.1)
    raise AssertionError("the server outlived the command")
