"""Who may ask the page's server: the page that was opened from this machine's terminal, nobody else.

Loopback alone is not enough: any page in any tab of the same browser can send requests there. So the name
asked for has to be the loopback's own (against names that are made to point there), what changes something
has to come from the page itself, and all but the empty page needs a cookie, given once for the token printed.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final

__all__ = [
    "CSRF_HEADER",
    "MOST_BODY_BYTES",
    "MOST_HEAD_BYTES",
    "SLOWEST_BODY_S",
    "Access",
    "GuardedApp",
    "cookie_name",
    "header_of",
]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

SLOWEST_BODY_S: Final = 20.0
"""Longest time that a body may take to arrive (own) [s]."""
CSRF_HEADER: Final = "x-netplan-page"
MOST_HEAD_BYTES: Final = 16_384
"""Largest head of a request, names and values together (own) [bytes]."""
MOST_BODY_BYTES: Final = 1_000_000
"""Largest body that is read (own) [bytes]."""
OPEN_PATHS: Final = ("/", "/session")
OPEN_FOLDER: Final = "/static/"
CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
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


def cookie_name(port: int) -> str:
    """Return the name of the cookie of a server: a browser keeps one jar for all ports of a name."""
    return f"netplan-page-{port}"


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
        if self._is_exchanged or not _same(token, self.token):
            return None
        self._is_exchanged = True
        return self._cookie

    def knows(self, cookie: str) -> bool:
        """Return whether a cookie is the one that was given."""
        return self._is_exchanged and _same(cookie, self._cookie)

    def may_write(self, csrf: str) -> bool:
        """Return whether a request comes from a page that was let in."""
        return _same(csrf, self.csrf)


def _same(given: str, secret: str) -> bool:
    """Compare in a time that tells nothing; a text may hold halves of signs, which have no bytes."""
    return hmac.compare_digest(given.encode("utf-8", "surrogatepass"), secret.encode())


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
    heard : callable
        Called with every request that had the cookie.
    """

    def __init__(self, app: App, access: Access, port: int, heard: Callable[[], None] = lambda: None) -> None:
        self._app, self._access, self._cookie, self._heard = app, access, cookie_name(port), heard
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
            body = await asyncio.wait_for(_whole_body(receive), SLOWEST_BODY_S)
        except BodyTooLargeError:
            await _refuse(with_headers, 413, f"a body may have {MOST_BODY_BYTES} bytes at most")
            return
        except TimeoutError:
            await _refuse(with_headers, 408, f"a body may take {SLOWEST_BODY_S:g} s at most")
            return
        if not _is_open(scope["path"]):
            self._heard()
        await self._app(scope, _given(body, receive), with_headers)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        if header_of(scope, "host").lower() not in self._hosts:
            return 421, "this server answers to its own address alone"
        if sum(len(name) + len(value) for name, value in scope["headers"]) > MOST_HEAD_BYTES:
            return 431, f"the head of a request may have {MOST_HEAD_BYTES} bytes at most"
        length = header_of(scope, "content-length")
        if length and (not length.isdigit() or int(length) > MOST_BODY_BYTES):
            return 413, f"a body may have {MOST_BODY_BYTES} bytes at most"
        path, writes = scope["path"], scope["method"] not in ("GET", "HEAD")
        if writes and header_of(scope, "origin") not in self._origins:
            return 403, "not from the page itself"
        if _is_open(path):
            return None
        if not self._access.knows(_cookie(scope, self._cookie)):
            return 403, "open the address that the terminal printed"
        if writes and not self._access.may_write(header_of(scope, CSRF_HEADER)):
            return 403, "not from the page itself"
        return None


def _is_open(path: str) -> bool:
    """Return whether a path is answered without a cookie: the empty page, and the exchange for one."""
    return path in OPEN_PATHS or path.startswith(OPEN_FOLDER)


def _cookie(scope: Scope, name: str) -> str:
    try:
        morsel = SimpleCookie(header_of(scope, "cookie")).get(name)
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


async def _whole_body(receive: Receive) -> bytes:
    """Read a body to its end.

    Raises
    ------
    BodyTooLargeError
    """
    parts, length, more = [], 0, True
    while more:
        message = await receive()
        if message["type"] != "http.request":  # the other end has gone
            break
        parts.append(message.get("body", b""))
        length, more = length + len(parts[-1]), message.get("more_body", False)
        if length > MOST_BODY_BYTES:
            raise BodyTooLargeError
    return b"".join(parts)


def _given(body: bytes, receive: Receive) -> Receive:
    """Return a receiver that gives a body that was read, then what the connection says."""
    left = [body]

    async def given() -> Message:
        if left:
            return {"type": "http.request", "body": left.pop(), "more_body": False}
        return await receive()

    return given
