"""`ropephoto page`: what prevents its start is reported in one sentence; once up, it answers."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from ui import environment
from ui.cli.page import _addresses, _answers, _phones_addresses, _team_address, page


def test_a_port_in_use_is_reported() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(page, ["--port", port, "--no-browser"])
    assert result.exit_code == 1
    assert f"port {port} is in use" in result.output
    assert "Traceback" not in result.output


def test_what_is_no_record_is_reported(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("no record at all, but long enough to look like one " * 99)
    result = CliRunner().invoke(page, ["--record", str(tmp_path / "notes.txt"), "--no-browser"])
    assert result.exit_code == 1
    assert "is not a record" in result.output
    assert "Traceback" not in result.output


TEAM = """
[auth]
redirect_uri = "http://127.0.0.1:8501/oauth2callback"
cookie_secret = "0123456789abcdef0123456789abcdef"
client_id = "ropes"
client_secret = "s"
server_metadata_url = "http://127.0.0.1:1/.well-known/openid-configuration"

[people."a@example.org"]
name = "A"
roles = ["inspector"]
"""


@pytest.mark.parametrize("address", ["0.0.0.0", "192.0.2.7", "::", "ropes.example.org"])
def test_other_machines_are_let_in_only_with_a_team_or_when_told_so(address: str) -> None:
    result = CliRunner().invoke(page, ["--address", address, "--no-browser"])
    assert result.exit_code == 2
    said = " ".join(result.output.split())
    assert f"at {address} everybody in the network could read and change the record" in said
    assert "--team FILE" in said
    assert "--without-login" in said


def test_a_login_and_none_are_not_asked_for_at_once(tmp_path: Path) -> None:
    asked = ["--team", str(tmp_path / "team.toml"), "--without-login"]
    result = CliRunner().invoke(page, asked)
    assert result.exit_code == 2
    assert "give only one" in result.output


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('roles = ["inspector"]', 'roles = ["boss"]', "the role 'boss'"),
        ('client_id = "ropes"', "", "lacks client_id"),
        ("[auth]", "[auth", "is not a TOML file"),
    ],
)
def test_a_team_file_that_cannot_be_used_is_reported_before_anything_starts(
    tmp_path: Path, old: str, new: str, told: str
) -> None:
    (tmp_path / "team.toml").write_text(TEAM.replace(old, new), encoding="utf-8")
    result = CliRunner().invoke(page, ["--team", str(tmp_path / "team.toml"), "--no-browser"])
    assert result.exit_code == 1
    assert told in " ".join(result.output.split())
    assert "Traceback" not in result.output


def test_a_login_without_its_packages_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "team.toml").write_text(TEAM, encoding="utf-8")
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    result = CliRunner().invoke(page, ["--team", str(tmp_path / "team.toml"), "--no-browser"])
    assert result.exit_code == 1
    assert "pip install '.[team]'" in " ".join(result.output.split())


@pytest.mark.skipif(os.name != "posix", reason="files have no such mode there")
def test_a_team_file_that_others_can_read_is_noted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("authlib", reason="the login needs the extra team")
    file = tmp_path / "team.toml"
    file.write_text(TEAM, encoding="utf-8")
    file.chmod(0o644)
    assert _team_address(str(file)) == "http://127.0.0.1:8501"
    assert "chmod 600" in capsys.readouterr().err
    file.chmod(0o600)
    _team_address(str(file))
    assert capsys.readouterr().err == ""


def test_an_address_that_is_not_this_machines_is_reported() -> None:
    asked = ["--address", "no such host", "--without-login", "--host", "x", "--no-browser"]
    result = CliRunner().invoke(page, asked)
    assert result.exit_code == 1
    assert "is not an address of this machine" in " ".join(result.output.split())


@pytest.mark.parametrize(
    ("address", "hosts", "addresses"),
    [
        ("127.0.0.1", (), ["http://127.0.0.1:8501", "http://localhost:8501"]),
        ("::1", (), ["http://[::1]:8501"]),
        (
            "0.0.0.0",
            ("ropes.local", "https://ropes.example.org/"),
            ["http://ropes.local:8501", "https://ropes.example.org", "http://127.0.0.1:8501",
             "http://localhost:8501"],
        ),
    ],
)  # fmt: skip
def test_the_pages_answer_under_their_own_addresses_only(
    address: str, hosts: tuple[str, ...], addresses: list[str]
) -> None:
    assert _addresses(address, 8501, hosts) == addresses


def test_without_a_login_beyond_this_machine_the_names_are_asked_for() -> None:
    result = CliRunner().invoke(page, ["--address", "0.0.0.0", "--without-login", "--no-browser"])
    assert result.exit_code == 2
    assert "needs --host: the name under which people reach it" in " ".join(result.output.split())


def test_a_record_that_was_named_and_is_missing_is_reported(tmp_path: Path) -> None:
    result = CliRunner().invoke(page, ["--record", str(tmp_path / "no.db"), "--no-browser"])
    assert result.exit_code == 1
    assert "there is no record at" in result.output
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["RECORD", "STORE", "TEAM"])
def test_a_variable_with_a_misspelt_prefix_is_refused(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(f"ROPEPHOTO_{name}", "postgresql://ropes@db.example.org/ropes")
    result = CliRunner().invoke(page, ["--no-browser"])
    assert result.exit_code == 1
    assert f"ROPEPHOTO_{name} has no effect: name it ROPE_PHOTO_{name}." in result.output


@pytest.mark.parametrize(
    ("options", "only_here"),
    [
        (["--phones", "--host", "192.0.2.20"], "1"),  # listens on every address for the phones
        (["--phones", "--host", "https://ropes.example.org"], ""),  # the proxy is on this machine
        ([], ""),
    ],
)
def test_pages_opened_to_phones_answer_this_machine_only(
    options: list[str], only_here: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: dict[str, str] = {}

    class Ended:
        def __init__(self, _: list[str], env: dict[str, str], **__: object) -> None:
            given.update(env)

        def poll(self) -> int:
            return 0

        wait = poll

    monkeypatch.setattr(subprocess, "Popen", Ended)
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    result = CliRunner().invoke(page, ["--no-browser", "--port", port, *options])
    assert result.exit_code == 0, result.output
    assert given[environment.ONLY_HERE] == only_here


def test_it_answers_on_this_machine_only_and_ends_when_told(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "ui.cli.main", "page", "--no-browser", "--port", str(port)]
    environment = os.environ | {"XDG_DATA_HOME": str(tmp_path)}
    with subprocess.Popen(
        command,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).resolve().parents[2],
    ) as running:
        assert running.stdout is not None
        told = re.search(rf"http://127.0.0.1:{port}/\?token=\S+", running.stdout.readline())
        assert told
        with pytest.raises(urllib.error.HTTPError, match="403"):  # another account of the machine
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=60)
        cookies = urllib.request.HTTPCookieProcessor()
        with urllib.request.build_opener(cookies).open(told[0], timeout=60) as answer:
            assert answer.status == 200
            assert answer.url == f"http://127.0.0.1:{port}/"
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


def test_a_start_that_takes_long_is_reported_and_waited_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # after 30 s the command went on without a word: nobody had the token, and no page opened
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    script = (
        "import http.server, sys, time\n"
        "class Yes(http.server.BaseHTTPRequestHandler):\n"
        "    def do_GET(self): self.send_response(200); self.end_headers()\n"
        "    def log_message(self, *_): pass\n"
        "time.sleep(0.5)\n"
        "http.server.HTTPServer(('127.0.0.1', int(sys.argv[1])), Yes).serve_forever()"
    )
    with subprocess.Popen([sys.executable, "-c", script, str(port)]) as server:
        try:
            assert _answers(f"http://127.0.0.1:{port}", server, patience_s=0.2)
        finally:
            server.kill()
    assert capsys.readouterr().err.count("still starting") == 1
    assert not _answers(f"http://127.0.0.1:{port}", server)  # it has ended


def test_a_host_alone_means_nothing() -> None:
    result = CliRunner().invoke(page, ["--host", "ropes.local", "--no-browser"])
    assert result.exit_code == 2
    assert "--host goes with --phones or --without-login" in " ".join(result.output.split())


@pytest.mark.parametrize(
    ("hosts", "addresses"),
    [
        (("ropes.local",), ["http://ropes.local:8501"]),
        (("https://ropes.example.org/",), ["https://ropes.example.org"]),
    ],
)
def test_phones_reach_the_machine_by_the_name_that_is_given(
    hosts: tuple[str, ...], addresses: list[str]
) -> None:
    assert _phones_addresses(hosts, 8501) == addresses


def test_phones_reach_the_machine_by_its_own_address_where_none_is_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Unreachable:
        def __enter__(self) -> Unreachable:
            return self

        def __exit__(self, *_: object) -> None: ...

        def connect(self, _: object) -> None:
            raise OSError("no network")

    monkeypatch.setattr("socket.socket", lambda *_: Unreachable())
    with pytest.raises(click.ClickException, match="is in no network that a phone could join"):
        _phones_addresses((), 8501)
