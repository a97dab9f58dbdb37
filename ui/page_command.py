"""`ropephoto page`: the pages in a browser, served from this machine to this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    import subprocess


@click.command()
@click.option(
    "--record",
    "place",
    metavar="PATH_OR_URL",
    help="Record to open: a SQLite file, or postgresql://user@host/name. By default your own "
    "record, in your user's data folder.",
)
@click.option(
    "--photographs",
    metavar="FOLDER_OR_URL",
    help="Where the record's photographs are kept; by default beside a SQLite record.",
)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8501,
    show_default=True,
    help="Port of the pages.",
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser; say the address only.")
def page(place: str | None, photographs: str | None, port: int, no_browser: bool) -> None:
    """Open the pages for inspector, reviewer and supervisor in a browser.

    Nothing needs to be configured. Only this machine can reach the pages (127.0.0.1); stop
    them with Ctrl+C.

    \b
    Example:
      ropephoto page
    """
    import os
    import signal
    import socket
    import subprocess
    import sys
    from pathlib import Path

    from inspection.record import open_record

    if place:
        try:
            open_record(place).close()  # what is wrong with it is said here, in one sentence
        except ValueError as wrong:
            raise click.ClickException(str(wrong)) from wrong
    with socket.socket() as trial:
        if trial.connect_ex(("127.0.0.1", port)) == 0:
            raise click.ClickException(
                f"port {port} is in use by another program; choose another with --port."
            )
    environment = dict(os.environ)
    if place:  # through the environment: a password has no business in the list of processes
        environment["ROPE_PHOTO_RECORD"] = place
    if photographs:
        environment["ROPE_PHOTO_STORE"] = photographs
    app = Path(__file__).resolve().parent / "app.py"
    command = [sys.executable, "-m", "streamlit", "run", str(app)]
    command += ["--server.address=127.0.0.1", f"--server.port={port}", "--server.headless=true"]
    server = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    # ended from outside, it takes the pages with it
    signal.signal(signal.SIGTERM, lambda *_: _stop(server))
    address = f"http://127.0.0.1:{port}"
    try:
        if _answers(address, server):
            click.echo(f"The pages are open at {address} (stop with Ctrl+C).")
            if not no_browser:
                click.launch(address)
        status = server.wait()
    except KeyboardInterrupt:
        _stop(server)
        status = 0
    if status > 0:  # below 0: ended by a signal, as somebody wished
        raise click.ClickException("the pages could not be started; the lines above say why.")


def _stop(server: subprocess.Popen[bytes]) -> None:
    """End the server; one that waits for an open browser is not waited for long."""
    import subprocess

    server.terminate()
    try:
        server.wait(timeout=3)
    except subprocess.TimeoutExpired:
        server.kill()


def _answers(address: str, server: subprocess.Popen[bytes], seconds: float = 30.0) -> bool:
    """Wait until the server answers; False if it ended before, or takes too long."""
    import time
    import urllib.request

    until = time.monotonic() + seconds
    while time.monotonic() < until and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                return True
        except OSError:
            time.sleep(0.1)
    return False
