"""Two server processes behind nginx, with the configuration that is shipped in .deploy."""

from __future__ import annotations

import asyncio
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from inspection.record.record import open_record

PROJECT = Path(__file__).resolve().parents[2]
NGINX = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin")


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def answers(address: str) -> None:
    until = time.monotonic() + 120
    while True:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except OSError:
            assert time.monotonic() < until, f"{address} does not answer"
            time.sleep(0.2)


@pytest.fixture(scope="module")
def proxied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[Path]]]:
    """Yield the proxy's address and the log of each of its two servers."""
    if NGINX is None:
        pytest.skip("the proxy is not tried: nginx is not installed.")
    folder = tmp_path_factory.mktemp("proxy")
    open_record(folder / "record.db").close()
    front, one, two = free_port(), free_port(), free_port()
    address = f"http://127.0.0.1:{front}"
    conf = (PROJECT / ".deploy" / "nginx.conf").read_text(encoding="utf-8")
    for old, new in (("listen 443 ssl;", f"listen 127.0.0.1:{front};"), (":8501", f":{one}"),
                     (":8502", f":{two}")):  # fmt: skip
        assert old in conf
        conf = conf.replace(old, new)
    conf = "\n".join(line for line in conf.splitlines() if "ssl_" not in line)
    (folder / "nginx.conf").write_text(f"daemon off;\n{conf}", encoding="utf-8")
    logs = [folder / "one.log", folder / "two.log"]
    running = []
    try:
        for port, log in zip((one, two), logs, strict=True):
            command = [sys.executable, "-m", "ui.cli.main", "page", "--no-browser", "--port",
                       str(port), "--record", str(folder / "record.db"), "--without-login",
                       "--host", address]  # fmt: skip
            with log.open("w") as said:
                running.append(
                    subprocess.Popen(command, cwd=PROJECT, stdout=said, stderr=subprocess.STDOUT)
                )
        for port in (one, two):
            answers(f"http://127.0.0.1:{port}")
        running.append(
            subprocess.Popen([NGINX, "-p", str(folder), "-c", str(folder / "nginx.conf")])
        )
        answers(address)
        yield address, logs
    finally:
        for process in reversed(running):
            process.terminate()
        for process in running:
            process.wait(timeout=30)


def connected(address: str, person: str) -> bool:
    """Say whether a page is drawn over the proxy's websocket."""
    websockets = pytest.importorskip("websockets")
    from streamlit.proto.BackMsg_pb2 import BackMsg
    from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

    async def draw() -> bool:
        async with websockets.connect(
            address.replace("http", "ws", 1) + "/_stcore/stream", origin=address, max_size=None,
            subprotocols=["streamlit"], additional_headers={"Cookie": f"rope_photo_login={person}"},
        ) as line:  # fmt: skip
            ask = BackMsg()
            ask.rerun_script.page_name = ""
            await line.send(ask.SerializeToString())
            async for message in line:
                if ForwardMsg.FromString(message).WhichOneof("type") == "script_finished":
                    return True
        return False

    return asyncio.run(draw())


def test_people_are_served_by_two_processes_behind_a_proxy(
    proxied: tuple[str, list[Path]],
) -> None:
    address, logs = proxied
    with urllib.request.urlopen(address, timeout=30) as page:
        assert page.status == 200
        assert page.headers["X-Frame-Options"] == "DENY"
    for person in ("ann", "ben", "cay"):
        assert connected(address, person)
    until = time.monotonic() + 60  # the command says it once it has seen its pages answer
    for log in logs:
        while "Everybody who reaches" not in log.read_text(encoding="utf-8"):
            assert time.monotonic() < until, log.read_text(encoding="utf-8")
            time.sleep(0.1)


def test_a_name_that_was_not_stated_is_not_answered_over_plain_http(
    proxied: tuple[str, list[Path]],
) -> None:
    address, _ = proxied
    asked = urllib.request.Request(address, headers={"Host": "evil.example"})
    with pytest.raises(urllib.error.HTTPError, match="403"):
        urllib.request.urlopen(asked, timeout=30)
