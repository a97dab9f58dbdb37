"""`ropephoto page`: the pages in a browser, by default served to this machine only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ui import environment

if TYPE_CHECKING:
    import subprocess

LOOPBACK = ("127.0.0.1", "localhost", "::1")


@click.command()
@click.option(
    "--record",
    "place",
    metavar="PATH_OR_URL",
    help="Record to open: a SQLite file, or postgresql://user@host/name. Default: your own "
    "record, in your user's data folder.",
)
@click.option(
    "--photographs",
    metavar="FOLDER_OR_URL",
    help="Where the record's photographs are kept. Default: beside a SQLite record.",
)
@click.option(
    "--team",
    metavar="FILE",
    type=click.Path(path_type=str),
    help="TOML file with the login ([auth]), the people and their roles. Without it, one person "
    "on one machine can do everything.",
)
@click.option(
    "--address",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on. Any that other machines can reach needs --team or --without-login.",
)
@click.option(
    "--without-login",
    is_flag=True,
    help="Let everybody who reaches --address read and change the record, without a login.",
)
@click.option(
    "--host",
    "hosts",
    multiple=True,
    metavar="NAME",
    help="Name or address under which people reach --address without a login, e.g. ropes.local or "
    "https://ropes.example.org; repeat for several.",
)
@click.option(
    "--phones",
    is_flag=True,
    help="Let phones in the same network add photographs and readings to an inspection whose page "
    "shows them a code. Use --host if phones reach this machine under another name or address.",
)
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8501,
    show_default=True,
    help="Port of the pages.",
)
@click.option("--no-browser", is_flag=True, help="Don't open a browser; print the address only.")
def page(
    place: str | None,
    photographs: str | None,
    team: str | None,
    address: str,
    without_login: bool,
    hosts: tuple[str, ...],
    phones: bool,
    port: int,
    no_browser: bool,
) -> None:
    """Open the pages in a browser.

    They are for inspector, reviewer and supervisor. Nothing needs to be configured. Only this
    machine can reach the pages (127.0.0.1); stop them with Ctrl+C. For a team, --team names a file
    with the login and everybody's role.

    \b
    Example:
      ropephoto page
      ropephoto page --phones
      ropephoto page --team team.toml --record postgresql://ropes@db/ropes
    """
    import secrets
    import signal

    from inspection.record.record import open_record

    try:
        environment.refuse_misspelt_names()
    except ValueError as wrong:
        raise click.ClickException(str(wrong)) from wrong
    _check_options(team, address, without_login, hosts, phones)
    phones_at = _phones_addresses(hosts, port) if phones else []
    # without a proxy, phones reach this machine itself, which serves them only their own page
    only_here = phones and not team and address in LOOPBACK and phones_at[0].startswith("http://")
    if only_here:
        address = "::" if address == "::1" else "0.0.0.0"
    if place:
        try:
            open_record(place, create=False).close()  # fails here, with one sentence
        except ValueError as wrong:
            raise click.ClickException(str(wrong)) from wrong
    if team:
        addresses = [_team_address(team)]
        phones_at = addresses if phones else []
    else:
        addresses = _addresses(address, port, hosts if without_login else ())
    _check_port(address, port)
    token = "" if team or without_login else secrets.token_urlsafe()
    given = {
        environment.ORIGINS: ",".join(addresses),
        environment.PHONES: ",".join(phones_at),
        environment.ONLY_HERE: "1" if only_here else "",
        environment.TOKEN: token,
        environment.LOGINS_FILE: str(environment.own_file(environment.LOGINS_FILE, "logins.db")),
    }
    if place:  # through the environment: a list of processes would show a password
        given[environment.RECORD] = place
    if photographs:
        given[environment.STORE] = photographs
    server = _start(given, address, port, team)
    here = f"http://{_in_url(_reached(address))}:{port}"
    # a termination signal stops the pages too, as Ctrl+C does
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        if _answers(here, server):
            opened_at = f"{here}/?token={token}" if token else addresses[0]
            click.echo(f"The pages are open at {opened_at} (stop with Ctrl+C).")
            _tell_of_access(addresses if without_login else [], phones_at)
            if not no_browser:
                _show(opened_at)
        status = server.wait()
    except KeyboardInterrupt:
        _stop(server)
        status = 0
    if status > 0:  # below 0: ended by a signal, on purpose
        raise click.ClickException("the pages could not be started; the lines above say why.")


def _check_options(
    team: str | None, address: str, without_login: bool, hosts: tuple[str, ...], phones: bool
) -> None:
    """Refuse options that contradict each other, or that would open the record to a network."""
    if team and without_login:
        raise click.UsageError("--team requires a login and --without-login none; give only one.")
    if address not in LOOPBACK and not (team or without_login):
        raise click.UsageError(
            f"at {address} everybody in the network could read and change the record; name the "
            "people with --team FILE, or add --without-login if that is intended."
        )
    if without_login and address not in LOOPBACK and not hosts:
        raise click.UsageError(
            "--without-login beyond this machine needs --host: the name under which people reach "
            "it, e.g. --host ropes.local. Requests under other names are then refused."
        )
    if hosts and not (without_login or phones):
        raise click.UsageError("--host goes with --phones or --without-login.")


def _check_port(address: str, port: int) -> None:
    """Refuse an address that is not this machine's, and a port that another program uses."""
    import socket

    with socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET) as trial:
        try:
            taken = trial.connect_ex((_reached(address), port)) == 0
        except OSError as wrong:
            raise click.ClickException(
                f"{address!r} is not an address of this machine; give one that is with --address."
            ) from wrong
    if taken:
        raise click.ClickException(
            f"port {port} is in use by another program; choose another with --port."
        )


def _start(
    given: dict[str, str], address: str, port: int, team: str | None
) -> subprocess.Popen[bytes]:
    """Start the server with these variables; it answers under the addresses in them."""
    import os
    import subprocess
    import sys
    from pathlib import Path
    from urllib.parse import urlsplit

    variables = os.environ | given
    variables.pop(environment.TEAM_FILE, None)  # a team is named on the command line only
    command = [sys.executable, "-m", "streamlit", "run"]
    command += [str(Path(__file__).resolve().parents[1] / "web" / "server.py")]
    command += [f"--server.address={address}", f"--server.port={port}", "--server.headless=true"]
    if team:
        variables[environment.TEAM_FILE] = str(Path(team).resolve())
        command += [f"--secrets.files={Path(team).resolve()}"]
    known = f"{given[environment.ORIGINS]},{given[environment.PHONES]}".split(",")
    names = {urlsplit(one).hostname or "" for one in known if one} | set(LOOPBACK)
    command += [f"--server.allowedHosts={name}" for name in sorted(names)]
    return subprocess.Popen(command, env=variables, stdout=subprocess.DEVNULL)


def _tell_of_access(open_to_all: list[str], phones_at: list[str]) -> None:
    """Say who else can use the pages: phones, and without a login everybody."""
    if phones_at:
        click.echo(
            f"Phones use {phones_at[0]}: scan the code under 'On a phone' on an inspection's page."
        )
        if not phones_at[0].startswith("https://"):
            click.echo(
                "That connection is not encrypted; use a private network, or put a proxy with "
                "HTTPS in front and name it with --host (ui/TEAM.md)."
            )
    if open_to_all:
        click.echo(
            f"Everybody who reaches {' or '.join(open_to_all)} can read and change the record, "
            "its photographs and its reviews, under any name."
        )


def _team_address(team: str) -> str:
    """Return the address of a team's pages; a fault in its file becomes a one-sentence error."""
    import importlib.util
    import os

    from ui.services.access.roles import AccessError, check_login, read_team

    try:
        read_team(team)
        opened_at = check_login(team)
    except AccessError as wrong:
        raise click.ClickException(str(wrong)) from wrong
    if any(importlib.util.find_spec(name) is None for name in ("authlib", "httpx")):
        raise click.ClickException(
            "the login of --team needs further packages: pip install '.[team]'."
        )
    if os.name == "posix" and os.stat(team).st_mode & 0o077:
        click.echo(
            f"Note: {team} holds the login's secrets, and other accounts on this machine can "
            f"read it; restrict it with chmod 600 {team}.",
            err=True,
        )
    return opened_at


def _addresses(address: str, port: int, hosts: tuple[str, ...]) -> list[str]:
    """Return the addresses at which the pages answer, each with scheme and port."""
    here = {address} & set(LOOPBACK) or {"127.0.0.1"}
    if here != {"::1"}:
        here = {"127.0.0.1", "localhost"}
    return _with_scheme(hosts, port) + [f"http://{_in_url(one)}:{port}" for one in sorted(here)]


def _phones_addresses(hosts: tuple[str, ...], port: int) -> list[str]:
    """Return the addresses at which phones reach this machine: those named, or its own."""
    import socket

    if hosts:
        return _with_scheme(hosts, port)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:  # nothing is sent: the system picks the address it would send from
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
            return [f"http://{probe.getsockname()[0]}:{port}"]
        except OSError as wrong:
            raise click.ClickException(
                "this machine is in no network that a phone could join; connect it to one, or "
                "name the machine with --host."
            ) from wrong


def _with_scheme(hosts: tuple[str, ...], port: int) -> list[str]:
    addresses = [one if "://" in one else f"http://{_in_url(one)}:{port}" for one in hosts]
    return [one.rstrip("/") for one in addresses]


def _show(address: str) -> None:
    """Open the browser through a private file: other accounts can see a command line."""
    import atexit
    import html
    import tempfile
    from pathlib import Path

    folder = tempfile.TemporaryDirectory(prefix="ropephoto-")
    atexit.register(folder.cleanup)
    page = Path(folder.name) / "open.html"
    page.touch(mode=0o600)
    page.write_text(
        f'<meta http-equiv="refresh" content="0; url={html.escape(address, quote=True)}">',
        encoding="utf-8",
    )
    click.launch(page.as_uri())


def _reached(address: str) -> str:
    """Return the address at which this machine reaches a server listening on `address`."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}.get(address, address)


def _in_url(address: str) -> str:
    return f"[{address}]" if ":" in address else address


def _stop(server: subprocess.Popen[bytes]) -> None:
    """End the server; kill it if an open browser keeps it waiting."""
    import subprocess

    server.terminate()
    try:
        server.wait(timeout=3)
    except subprocess.TimeoutExpired:
        server.kill()


def _answers(address: str, server: subprocess.Popen[bytes], patience_s: float = 20.0) -> bool:
    """Wait until the server answers, however long that takes; False if it ended before."""
    import time
    import urllib.request

    late = time.monotonic() + patience_s
    while server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                return True
        except OSError:
            time.sleep(0.1)
        if time.monotonic() > late:
            click.echo("The pages are still starting; this machine is slow.", err=True)
            late = float("inf")
    return False
