"""One request to an ASGI application, without a server."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

PART = 100_000  # bytes: a body comes in parts, as from a browser


def answer_of(
    app: Any, method: str, path: str, headers: Mapping[str, str], *, body: bytes = b"",
    query: str = "", client: str = "192.0.2.7", part: int = PART,
) -> tuple[int, dict[str, str], bytes]:  # fmt: skip
    """Return status, headers and body; an empty header is not sent, `_` stands for `-`."""
    said: list[Any] = []
    parts = [body[at : at + part] for at in range(0, len(body), part)] or [b""]

    async def receive() -> dict[str, Any]:
        if not parts:
            await asyncio.Event().wait()  # the client stays connected
        return {"type": "http.request", "body": parts.pop(0), "more_body": bool(parts)}

    async def send(message: Any) -> None:
        said.append(message)

    scope = {
        "type": "http", "method": method, "path": path, "query_string": query.encode(),
        "headers": [(name.replace("_", "-").encode(), value.encode("latin-1"))
                    for name, value in headers.items() if value],
        "client": (client, 1234), "http_version": "1.1", "scheme": "http", "root_path": "",
        "extensions": {},
    }  # fmt: skip
    asyncio.run(app(scope, receive, send))
    got = {name.decode().lower(): value.decode() for name, value in said[0]["headers"]}
    return said[0]["status"], got, b"".join(message.get("body", b"") for message in said[1:])
