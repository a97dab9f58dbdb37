"""A small OpenID Connect provider on loopback, so that the real login runs in the browser.

It does what OpenID Connect Core 1.0 (sections 3.1, 10, 15) and Discovery 1.0 (section 4) ask of a
provider with the authorization code flow: metadata, authorization with state and nonce, PKCE
(RFC 7636, S256), a code that works only once and for one redirect address, client authentication,
an identity token signed with RS256 by a published key, and RP-initiated logout. It has no
passwords: its login page asks which of its people is logging in.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, unquote, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "rope-pages", "a secret of this test only"


@dataclass
class Provider:
    """The provider's state: its address, its key, its people, and codes not yet used."""

    issuer: str
    people: dict[str, dict[str, Any]]
    redirect_uri: str = ""
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "test-key"}))
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)

    def metadata(self) -> dict[str, Any]:
        at = self.issuer
        return {
            "issuer": at,
            "authorization_endpoint": f"{at}/authorize",
            "token_endpoint": f"{at}/token",
            "jwks_uri": f"{at}/jwks",
            "end_session_endpoint": f"{at}/logout",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "scopes_supported": ["openid", "email", "profile"],
            "token_endpoint_auth_methods_supported": ["client_secret_basic", "client_secret_post"],
            "code_challenge_methods_supported": ["S256"],
        }

    def login_page(self, query: dict[str, str]) -> str:
        wrong = [
            name
            for name, right in (
                ("client_id", query.get("client_id") == CLIENT),
                ("redirect_uri", query.get("redirect_uri") == self.redirect_uri),
                ("response_type", query.get("response_type") == "code"),
                ("scope", "openid" in query.get("scope", "").split()),
                ("state", bool(query.get("state"))),
                ("code_challenge", query.get("code_challenge_method") == "S256"),
            )
            if not right
        ]
        if wrong:
            self.refused += wrong
            return f"refused: {', '.join(wrong)}"
        links = "".join(
            f'<p><a href="/login?{html.escape(urlencode(query | {"who": email}))}">'
            f"{html.escape(email)}</a></p>"
            for email in self.people
        )
        return f"<h1>Who are you?</h1>{links}"

    def code_for(self, query: dict[str, str]) -> str:
        code = secrets.token_urlsafe(16)
        self.codes[code] = query
        return f"{query['redirect_uri']}?{urlencode({'code': code, 'state': query['state']})}"

    def token(self, form: dict[str, str], authorization: str) -> dict[str, Any] | None:
        """Return the tokens for a code; None if anything about the request is wrong."""
        client, secret = form.get("client_id", ""), form.get("client_secret", "")
        if authorization.startswith("Basic "):
            pair = base64.b64decode(authorization[6:]).decode()
            client, _, secret = (unquote(part) for part in pair.partition(":"))
        query = self.codes.pop(form.get("code", ""), None)  # a code works only once
        verifier = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        challenge = base64.urlsafe_b64encode(verifier).rstrip(b"=").decode()
        if (
            query is None
            or (client, secret) != (CLIENT, SECRET)
            or form.get("grant_type") != "authorization_code"
            or form.get("redirect_uri") != query["redirect_uri"]
            or challenge != query["code_challenge"]
        ):
            self.refused.append("token")
            return None
        now = int(time.time())
        claims = {
            "iss": self.issuer, "sub": hashlib.sha256(query["who"].encode()).hexdigest()[:16],
            "aud": CLIENT, "iat": now, "exp": now + 300, "email": query["who"],
            **self.people[query["who"]],
        }  # fmt: skip
        if "nonce" in query:
            claims["nonce"] = query["nonce"]
        signed = jwt.encode({"alg": "RS256", "kid": "test-key"}, claims, self.key)
        return {
            "access_token": secrets.token_urlsafe(16), "token_type": "Bearer", "expires_in": 300,
            "id_token": signed,
        }  # fmt: skip


@contextmanager
def serving(people: dict[str, dict[str, Any]]) -> Iterator[Provider]:
    """Serve a provider with `people` (address -> further claims) until the block ends."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            query = {name: values[0] for name, values in parse_qs(parts.query).items()}
            if parts.path == "/.well-known/openid-configuration":
                self.say(json.dumps(provider.metadata()), "application/json")
            elif parts.path == "/jwks":
                keys = {"keys": [provider.key.as_dict(private=False) | {"use": "sig"}]}
                self.say(json.dumps(keys), "application/json")
            elif parts.path == "/authorize":
                self.say(provider.login_page(query))
            elif parts.path == "/login" and query.get("who") in provider.people:
                self.send_on(provider.code_for(query))
            elif parts.path == "/logout":
                self.send_on(query.get("post_logout_redirect_uri", "/"))
            else:
                self.say("nothing here", status=404)

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {name: values[0] for name, values in parse_qs(body).items()}
            tokens = provider.token(form, self.headers.get("Authorization", ""))
            answer = tokens or {"error": "invalid_grant"}
            self.say(json.dumps(answer), "application/json", 200 if tokens else 400)

        def say(self, text: str, kind: str = "text/html", status: int = 200) -> None:
            self.send_response(status)
            self.send_header("Content-Type", f"{kind}; charset=utf-8")
            self.send_header("Cache-Control", "no-store")
            self.end_headers()
            self.wfile.write(text.encode())

        def send_on(self, to: str) -> None:
            self.send_response(302)
            self.send_header("Location", to)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Log nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Answer) as server:
        provider = Provider(f"http://127.0.0.1:{server.server_address[1]}", people)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield provider
        server.shutdown()
