"""Who may ask the page's server: the page that was opened from this machine's terminal, nobody else.

Loopback alone is not enough: any page in any tab of the same browser can send requests there. So the name
asked for has to be the loopback's own (against names that are made to point there), what changes something
has to come from the page itself, and all but the empty page needs a cookie, given once for the token printed.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final

__all__ = ["COOKIE", "CSRF_HEADER", "MOST_BODY_BYTES", "Access", "GuardedApp", "header_of"]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE: Final = "netplan-page"
CSRF_HEADER: Final = "x-netplan-page"
MOST_BODY_BYTES: Final = 1_000_000
"""Largest body that is read (own) [bytes]."""
OPEN_PATHS: Final = ("/", "/session")
OPEN_FOLDER: Final = "/static/"
CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS: Final = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class Access:
    """The secrets of one server.

    Attributes
    ----------
    token : str
        Printed with the address; good for one exchange.
    csrf : str
        What the page sends with everything that changes something.
    """

    def __init__(self) -> None:
        self.token = secrets.token_urlsafe(32)
        self.csrf = secrets.token_urlsafe(32)
        self._cookie = secrets.token_urlsafe(32)
        self._is_exchanged = False

    def exchange(self, token: str) -> str | None:
        """Return the cookie for the token, once; None for another token or a second time."""
        if self._is_exchanged or not hmac.compare_digest(token.encode(), self.token.encode()):
            return None
        self._is_exchanged = True
        return self._cookie

    def knows(self, cookie: str) -> bool:
        """Return whether a cookie is the one that was given."""
        return self._is_exchanged and hmac.compare_digest(cookie.encode(), self._cookie.encode())

    def may_write(self, csrf: str) -> bool:
        """Return whether a request comes from a page that was let in."""
        return hmac.compare_digest(csrf.encode(), self.csrf.encode())


def header_of(scope: Scope, name: str) -> str:
    """Return a header of a request, empty where there is none; of several the first."""
    wanted = name.lower().encode()
    return next((value.decode("latin-1") for key, value in scope["headers"] if key.lower() == wanted), "")


class GuardedApp:
    """An application that only the page itself reaches; every answer carries the content policy.

    Parameters
    ----------
    app : ASGI application
    access : Access
    port : int
        Port that is listened on: part of the names that are let in.
    """

    def __init__(self, app: App, access: Access, port: int) -> None:
        self._app, self._access = app, access
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self._origins = {f"http://{host}" for host in self._hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it before anything is read."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
                return
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = {name for name, _ in HEADERS}
                kept = [pair for pair in message.get("headers", []) if pair[0].lower() not in own]
                message["headers"] = [*kept, *HEADERS]
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await _refuse(with_headers, *refusal)
            return
        try:
            await self._app(scope, _limited(receive), with_headers)
        except BodyTooLargeError:
            await _refuse(with_headers, 413, f"a body may have {MOST_BODY_BYTES} bytes at most")

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        if header_of(scope, "host").lower() not in self._hosts:
            return 421, "this server answers to its own address alone"
        length = header_of(scope, "content-length")
        if length and (not length.isdigit() or int(length) > MOST_BODY_BYTES):
            return 413, f"a body may have {MOST_BODY_BYTES} bytes at most"
        path, writes = scope["path"], scope["method"] not in ("GET", "HEAD")
        if writes and header_of(scope, "origin") not in self._origins:
            return 403, "not from the page itself"
        if path in OPEN_PATHS or path.startswith(OPEN_FOLDER):
            return None
        if not self._access.knows(_cookie(scope)):
            return 403, "open the address that the terminal printed"
        if writes and not self._access.may_write(header_of(scope, CSRF_HEADER)):
            return 403, "not from the page itself"
        return None


def _cookie(scope: Scope) -> str:
    try:
        morsel = SimpleCookie(header_of(scope, "cookie")).get(COOKIE)
    except CookieError:
        return ""
    return "" if morsel is None else morsel.value


async def _refuse(send: Send, status: int, words: str) -> None:
    body = words.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


class BodyTooLargeError(Exception):
    """A body without a stated length that went on beyond the limit."""


def _limited(receive: Receive) -> Receive:
    """Return a receiver that ends a body which goes on beyond the limit."""
    read = 0

    async def limited() -> Message:
        nonlocal read
        message = await receive()
        if message["type"] == "http.request":
            read += len(message.get("body", b""))
            if read > MOST_BODY_BYTES:
                raise BodyTooLargeError
        return message

    return limited
