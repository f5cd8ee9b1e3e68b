"""Nobody but the page that was opened gets an answer: names, origins, cookies, bodies, each refused by itself."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping, MutableMapping
from typing import Any

import pytest

from netplan.page import access as access_of_page
from netplan.page.access import CSRF_HEADER, MOST_BODY_BYTES, Access, GuardedApp, cookie_name

PORT = 8123
COOKIE = cookie_name(PORT)
HOST, ORIGIN = f"127.0.0.1:{PORT}", f"http://127.0.0.1:{PORT}"


async def _inner(scope: MutableMapping[str, Any], receive: Any, send: Any) -> None:
    """Read the whole body and answer with its length."""
    length, more = 0, True
    while more:
        message = await receive()
        length, more = length + len(message.get("body", b"")), message.get("more_body", False)
    await send({"type": "http.response.start", "status": 200, "headers": [(b"x-frame-options", b"ALLOW")]})
    await send({"type": "http.response.body", "body": str(length).encode()})


class Asked:
    """One request and its answer."""

    def __init__(
        self,
        app: GuardedApp,
        method: str,
        path: str,
        headers: Mapping[str, str],
        body: bytes = b"",
        wait_s: float = 0.0,
    ) -> None:
        pairs = [(name.encode(), value.encode()) for name, value in headers.items()]
        scope = {"type": "http", "method": method, "path": path, "headers": pairs}
        self.status, self.body, self.starts = 0, b"", 0
        self.headers: dict[bytes, bytes] = {}
        half = len(body) // 2
        messages = [
            {"type": "http.request", "body": body[:half], "more_body": True},
            {"type": "http.request", "body": body[half:], "more_body": False},
        ]

        async def receive() -> dict[str, Any]:
            await asyncio.sleep(wait_s)
            return messages.pop(0)

        async def send(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                self.starts += 1
                self.status, self.headers = message["status"], dict(message["headers"])
            else:
                self.body += message["body"]

        asyncio.run(app(scope, receive, send))


@pytest.fixture
def access() -> Access:
    return Access()


@pytest.fixture
def app(access: Access) -> GuardedApp:
    return GuardedApp(_inner, access, PORT)


@pytest.fixture
def cookie(access: Access) -> str:
    given = access.exchange(access.token)
    assert given is not None
    return f"{COOKIE}={given}"


def test_the_token_is_good_once(access: Access) -> None:
    assert access.exchange("") is None
    assert access.exchange(access.token + "x") is None
    given = access.exchange(access.token)
    assert given
    assert access.exchange(access.token) is None
    assert access.knows(given)
    assert not access.knows("")
    assert not access.knows(access.token)


def test_no_cookie_counts_before_the_exchange(access: Access) -> None:
    assert not access.knows("")


@pytest.mark.parametrize(
    "host",
    [
        *(
            "",
            "evil.example",
            f"evil.example:{PORT}",
            "127.0.0.1",
            f"127.0.0.2:{PORT}",
            "localhost",
            f"[::1]:{PORT}",
        ),
        *(
            f"127.0.0.1:{PORT}.evil.example",
            f"127.0.0.1:{PORT}@evil",
            f"evil@127.0.0.1:{PORT}",
            f"2130706433:{PORT}",
        ),
        *(f"127.0.0.1.:{PORT}", f"localhost.evil:{PORT}", f"127.0.0.1:{PORT + 1}", f" 127.0.0.1:{PORT}"),
    ],
)
@pytest.mark.parametrize("path", ["/", "/session", "/network", "/static/page.js"])
def test_another_name_is_refused(app: GuardedApp, cookie: str, host: str, path: str) -> None:
    assert Asked(app, "GET", path, {"host": host, "cookie": cookie}).status == 421


@pytest.mark.parametrize("host", [HOST, f"localhost:{PORT}"])
def test_the_loopback_is_answered(app: GuardedApp, cookie: str, host: str) -> None:
    assert Asked(app, "GET", "/network", {"host": host, "cookie": cookie}).status == 200


@pytest.mark.parametrize("path", ["/network", "/tiles/0/0/0", "/orders", "/answers", "/plans", "/nothing"])
def test_nothing_of_the_network_without_the_cookie(app: GuardedApp, access: Access, path: str) -> None:
    for given in ("", f"{COOKIE}=", f"{COOKIE}=wrong", f"other={access.token}", "= ; ;;"):
        assert Asked(app, "GET", path, {"host": HOST, "cookie": given}).status == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_a_write_needs_cookie_origin_and_header(
    app: GuardedApp, access: Access, cookie: str, method: str
) -> None:
    whole = {"host": HOST, "origin": ORIGIN, "cookie": cookie, CSRF_HEADER: access.csrf}
    assert Asked(app, method, "/orders", whole).status == 200
    for left_out in ("origin", "cookie", CSRF_HEADER):
        given = {name: value for name, value in whole.items() if name != left_out}
        assert Asked(app, method, "/orders", given).status == 403, left_out
    for origin in ("null", "http://evil.example", f"https://127.0.0.1:{PORT}", "http://127.0.0.1:1"):
        assert Asked(app, method, "/orders", {**whole, "origin": origin}).status == 403, origin


def test_the_exchange_itself_needs_the_page(app: GuardedApp) -> None:
    assert Asked(app, "POST", "/session", {"host": HOST}).status == 403
    assert Asked(app, "POST", "/session", {"host": HOST, "origin": "http://evil.example"}).status == 403
    assert Asked(app, "POST", "/session", {"host": HOST, "origin": ORIGIN}).status == 200


def test_a_body_has_a_limit(app: GuardedApp, access: Access, cookie: str) -> None:
    whole = {"host": HOST, "origin": ORIGIN, "cookie": cookie, CSRF_HEADER: access.csrf}
    for length in (str(MOST_BODY_BYTES + 1), "many", "-1"):
        assert Asked(app, "POST", "/orders", {**whole, "content-length": length}).status == 413
    assert Asked(app, "POST", "/orders", whole, b"x" * MOST_BODY_BYTES).status == 200
    # One that does not say how long it is ends there all the same.
    assert Asked(app, "POST", "/orders", whole, b"x" * (MOST_BODY_BYTES + 1)).status == 413


def test_a_slow_body_is_given_up(
    app: GuardedApp, access: Access, cookie: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(access_of_page, "SLOWEST_BODY_S", 0.05)
    whole = {"host": HOST, "origin": ORIGIN, "cookie": cookie, CSRF_HEADER: access.csrf}
    slow = Asked(app, "POST", "/orders", whole, b"x" * 10, wait_s=0.04)
    assert (slow.status, slow.starts) == (408, 1)
    assert Asked(app, "POST", "/orders", whole, b"x" * 10, wait_s=0.0).body == b"10"


def test_what_is_no_text_is_no_secret(access: Access) -> None:
    """Half a sign, as JSON may hold, is another token, not a fault."""
    for token in ("\ud800", "ä" * 43, "\0"):
        assert access.exchange(token) is None
        assert not access.knows(token)
        assert not access.may_write(token)


def test_servers_side_by_side_do_not_share_a_cookie(access: Access) -> None:
    assert cookie_name(PORT) != cookie_name(PORT + 1)
    given = access.exchange(access.token)
    other = GuardedApp(_inner, access, PORT + 1)
    host = f"127.0.0.1:{PORT + 1}"
    assert Asked(other, "GET", "/network", {"host": host, "cookie": f"{COOKIE}={given}"}).status == 403


def test_only_who_was_let_in_keeps_the_server_awake(access: Access) -> None:
    heard: list[int] = []
    app = GuardedApp(_inner, access, PORT, lambda: heard.append(1))
    given = f"{COOKIE}={access.exchange(access.token)}"
    for path, cookie in (("/", ""), ("/static/page.js", ""), ("/network", ""), ("/session", given)):
        Asked(app, "GET", path, {"host": HOST, "cookie": cookie})
    assert not heard
    Asked(app, "GET", "/network", {"host": HOST, "cookie": given})
    assert heard == [1]


def test_every_answer_carries_the_policy(app: GuardedApp, cookie: str) -> None:
    answers = [
        Asked(app, "GET", "/network", {"host": HOST, "cookie": cookie}),
        Asked(app, "GET", "/", {"host": "evil"}),
    ]
    for answer in answers:
        policy = answer.headers[b"content-security-policy"].decode()
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "require-trusted-types-for 'script'" in policy
        assert "*" not in policy
        assert answer.headers[b"x-frame-options"] == b"DENY"


def test_the_secrets_differ_from_run_to_run() -> None:
    one, two = Access(), Access()
    assert len({one.token, one.csrf, two.token, two.csrf, json.dumps([])}) == 5
