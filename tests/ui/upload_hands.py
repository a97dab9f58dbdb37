"""What a browser does with photographs: it sends each one to the upload route."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.applications import Starlette

from tests.ui.asgi_hands import answer_of
from ui.services.access.roles import local_user
from ui.web.page import security
from ui.web.page.upload_routes import ROUTES, owner_of

SAMPLE = "2026-09-quay-crane-2"
HOST = "127.0.0.1:8501"


def put(
    path: str, body: bytes, query: dict[str, str], *, door: bool = True, **headers: str
) -> tuple[int, dict[str, Any]]:
    """Return status and answer; the request passes the pages' access check by default."""
    app: Any = Starlette(routes=ROUTES)
    status, _, whole = answer_of(
        security.security_middleware(app) if door else app,
        "PUT",
        path,
        {"host": HOST, "content_length": str(len(body)), **headers},
        body=body,
        query=urlencode(query),
        client="127.0.0.1",
    )
    try:
        told = json.loads(whole)
    except json.JSONDecodeError:  # answers of the access check
        told = {"error": whole.decode()}
    return status, told


def give(
    name: str, data: bytes, *, identity: str = SAMPLE, by: str = "Reviewer B", print_set: str = ""
) -> tuple[int, dict[str, Any]]:
    """Send a photograph into an inspection, as the one person of this machine."""
    query = {
        "name": name, "by": by, "owner": owner_of(local_user(by)), "inspection": identity,
        "print_set": print_set,
    }  # fmt: skip
    return put("/uploads/photographs", data, query, door=False)


def give_to_tray(tray: str, file: Path, *, by: str = "Reviewer B") -> None:
    """Send a photograph that belongs to no inspection, as the one person of this machine."""
    query = {"name": file.name, "by": by, "owner": owner_of(local_user(by))}
    status, told = put(f"/uploads/trays/{tray}", file.read_bytes(), query, door=False)
    assert status == 200, told
