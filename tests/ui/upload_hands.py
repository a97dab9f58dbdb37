"""What a browser does with photographs: it sends each one to the pages' route, by itself."""

from __future__ import annotations

import asyncio
import json
from typing import Any
from urllib.parse import urlencode

from starlette.applications import Starlette

from ui.services.roles import local_user
from ui.web.page import security
from ui.web.page.upload_routes import ROUTES, owner_of

SAMPLE = "2026-09-quay-crane-2"
HOST = "127.0.0.1:8501"


def put(
    path: str, body: bytes, query: dict[str, str], *, door: bool = True, **headers: str
) -> tuple[int, dict[str, Any]]:
    """Return status and answer; the pages' door stands before it unless it is left out."""
    said: list[Any] = []
    parts = [body[at : at + 100_000] for at in range(0, len(body), 100_000)] or [b""]

    async def receive() -> dict[str, Any]:
        if not parts:
            await asyncio.Event().wait()  # the browser stays there
        part = parts.pop(0)
        return {"type": "http.request", "body": part, "more_body": bool(parts)}

    async def send(message: Any) -> None:
        said.append(message)

    given = {"host": HOST, "content_length": str(len(body)), **headers}
    scope = {
        "type": "http", "method": "PUT", "path": path, "query_string": urlencode(query).encode(),
        "headers": [(name.replace("_", "-").encode(), value.encode())
                    for name, value in given.items() if value],
        "client": ("127.0.0.1", 1234), "http_version": "1.1", "scheme": "http", "root_path": "",
        "extensions": {},
    }  # fmt: skip
    app = Starlette(routes=ROUTES)
    asked = security.security_middleware(app) if door else app  # type: ignore[arg-type]
    asyncio.run(asked(scope, receive, send))  # type: ignore[arg-type]
    whole = b"".join(message.get("body", b"") for message in said[1:]).decode()
    try:
        told = json.loads(whole)
    except json.JSONDecodeError:  # the door's own answers
        told = {"error": whole}
    return said[0]["status"], told


def give(
    name: str, data: bytes, *, identity: str = SAMPLE, by: str = "Reviewer B", print_set: str = ""
) -> tuple[int, dict[str, Any]]:
    """Send a photograph into an inspection, as the one person of this machine."""
    query = {
        "name": name, "by": by, "owner": owner_of(local_user(by)), "inspection": identity,
        "print_set": print_set,
    }  # fmt: skip
    return put("/uploads/photographs", data, query, door=False)
