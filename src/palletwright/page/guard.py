"""Who may talk to the page's server: this machine's own page, with the key for whatever it keeps; nobody else.

A foreign Host is refused (names that point here from outside), a foreign Origin is refused (other pages in the same
browser), everything under /api needs the key, as a cookie for reading or as a header for writing, and no body is
longer than its limit. Every answer forbids the page to load or send anything anywhere else.
"""

from __future__ import annotations

import json
import secrets
from http.cookies import CookieError, SimpleCookie

from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADER = "x-palletwright-key"
WRITING = ("POST", "PUT", "PATCH", "DELETE")
OPEN_PATHS = ("/api/enter", "/api/health")
SMALL = 2_000_000
"""bytes of a body where a path names no limit of its own."""
LIMITS = {"/part": 60_000_000, "/blank": 60_000_000, "/archives": 120_000_000, "/shops": 4_000_000}
"""bytes by the end of the path."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


class TooLong(Exception):
    """A body went past its limit while it came in."""


class Guard:
    """ASGI middleware that lets through what may pass. `port` 0 accepts any port of this machine."""

    def __init__(self, app: ASGIApp, key: str, port: int = 0) -> None:
        self.app, self.key, self.port = app, key, port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = {k.decode("latin-1"): v.decode("latin-1") for k, v in scope["headers"]}
        refused = self.refusal(scope["method"], scope["path"], headers)
        if refused is not None:
            await answer(send, *refused)
            return
        began = False

        async def dressed(message: Message) -> None:
            nonlocal began
            if message["type"] == "http.response.start":
                began = True
                own = {k.lower() for k, _ in message["headers"]}
                extra = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in own]
                message = {**message, "headers": [*message["headers"], *extra]}
            await send(message)

        try:
            await self.app(scope, counted(receive, limit_of(scope["path"])), dressed)
        except TooLong:
            if not began:
                await answer(send, 413, f"longer than {limit_of(scope['path']):,} bytes")

    def refusal(self, method: str, path: str, headers: dict[str, str]) -> tuple[int, str] | None:
        """Status and sentence where a request may not pass."""
        host, _, port = headers.get("host", "").rpartition(":")
        if host not in ("127.0.0.1", "localhost") or (self.port and port != str(self.port)):
            return 421, "this address isn't this page's: open http://127.0.0.1 with its port"
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{headers['host']}":
            return 403, "another page may not use this one"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none") and path.startswith("/api"):
            return 403, "another page may not use this one"
        if method not in ("GET", "HEAD", *WRITING):
            return 405, f"{method} isn't used here"
        if path.startswith("/api") and path not in OPEN_PATHS:
            given = headers.get(HEADER) or ("" if method in WRITING else cookie(headers.get("cookie", ""), port))
            if not secrets.compare_digest(given.encode(), self.key.encode()):
                return 401, "needs the key: open the address that palletwright serve printed"
        length = headers.get("content-length", "0")
        if not length.isdecimal():
            return 400, "content-length isn't a number"
        if int(length) > limit_of(path):
            return 413, f"longer than {limit_of(path):,} bytes"
        return None


def cookie_name(port: str) -> str:
    """Cookies don't know ports, so the name says it."""
    return f"palletwright-{port}"


def cookie(header: str, port: str) -> str:
    """The key in a cookie header, or nothing."""
    try:
        kept = SimpleCookie(header).get(cookie_name(port))
    except CookieError:
        return ""
    return "" if kept is None else kept.value


def limit_of(path: str) -> int:
    """bytes that a body for this path may have."""
    return next((n for end, n in LIMITS.items() if path.rstrip("/").endswith(end)), SMALL)


def counted(receive: Receive, limit: int) -> Receive:
    """The body, cut off with an error past its limit, whatever its header said."""
    seen = 0

    async def inner() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooLong
        return message

    return inner


async def answer(send: Send, status: int, text: str) -> None:
    """A refusal in the same form as every other fault."""
    body = json.dumps({"faults": [{"problem": text}]}).encode()
    headers = {**HEADERS, "content-type": "application/json", "content-length": str(len(body))}
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        }
    )
    await send({"type": "http.response.body", "body": body})
