"""A served page and strangers: what is sent on the wire is refused, and priority notes are in no answer at all."""

from __future__ import annotations

import socket
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from netplan.core.constants import SECONDS_PER_HOUR
from netplan.page.access import MOST_BODY_BYTES, Access
from netplan.page.planning_worker import NetworkSource
from netplan.page.run_server import run_server
from netplan.page.server import PageServer
from netplan.readers import read_network, write_layers
from tests.aside_towns import WORK, aside_layers
from tests.support.let_in import LetIn, raw_answer
from tests.support.served_page import Served, serving

NOTE = "planted-note-7f3a"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve a town with a note for every customer."""
    folder = tmp_path_factory.mktemp("wire")
    town = aside_layers()
    town["customers"]["priority_note"] = NOTE + town["customers"]["id"]
    town["customers"]["priority"] = [{"C90": "school"}.get(name) for name in town["customers"]["id"]]
    write_layers(town, folder / "town.gpkg")
    with serving(str(folder / "town.gpkg"), folder) as page:
        yield page


@pytest.fixture(scope="module")
def inside(served: Served) -> LetIn:
    return LetIn.by(served.url)


def _head(served: Served, method: str, path: str, *more: str) -> bytes:
    host = served.origin.removeprefix("http://")
    return "\r\n".join([f"{method} {path} HTTP/1.1", f"Host: {host}", *more, "", ""]).encode()


def _status(served: Served, request: bytes) -> int:
    answer = raw_answer(served.origin, request)
    return int(answer.split()[1]) if answer else 0


def test_the_cookie_stays_with_the_page(inside: LetIn) -> None:
    words = [one.strip().lower() for one in inside.cookie_words.split(";")]
    assert "httponly" in words
    assert "samesite=strict" in words
    assert "path=/" in words
    assert not any(one.startswith(("domain", "expires", "max-age")) for one in words)


def test_the_token_is_good_once_on_the_wire(served: Served, inside: LetIn) -> None:
    token = served.url.split("/#")[1]
    assert inside.ask("/session", {"token": token})[0] == 403
    others: tuple[Any, ...] = ({"token": "\ud800"}, {"token": None}, {}, [], 7)
    for wrong in others:
        assert inside.ask("/session", wrong)[0] == 403
    assert inside.ask("/session")[0] == 200
    # Who has the cookie alone learns nothing to write with.
    request = urllib.request.Request(f"{served.origin}/session", headers={"Cookie": inside.cookie})
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(request, timeout=10)
    assert refused.value.code == 403
    refused.value.close()


@pytest.mark.parametrize("path", ["/network", "/tiles/0/0/0", "/answers", "/emergency", "/emergency/answers"])
@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS", "TRACE", "PROPFIND"])
def test_nothing_on_the_wire_without_the_cookie(served: Served, path: str, method: str) -> None:
    assert _status(served, _head(served, method, path)) == 403


def test_no_other_origin_is_let_read(served: Served, inside: LetIn) -> None:
    wanted = (f"Cookie: {inside.cookie}", "Origin: http://evil.example", "Access-Control-Request-Method: GET")
    for method in ("GET", "OPTIONS"):
        answer = raw_answer(served.origin, _head(served, method, "/network", *wanted)).lower()
        assert b"access-control-allow" not in answer
        assert b"cross-origin-resource-policy: same-origin" in answer


@pytest.mark.parametrize(
    "path",
    [
        "/static/..%2fserver.py",
        "/static/%2e%2e/access.py",
        "/static/../network",
        "/static/page.html",
        "/static/",
        "/static/page.css%00",
        "//etc/passwd",
        "/static/C:%5cpage.css",
        "/tiles/0/1/0",
        "/tiles/99/0/0",
    ],
)
def test_no_path_leads_out(served: Served, inside: LetIn, path: str) -> None:
    request = _head(served, "GET", path, f"Cookie: {inside.cookie}")
    assert _status(served, request) in (400, 403, 404)


def test_heads_and_bodies_have_limits_on_the_wire(served: Served, inside: LetIn) -> None:
    long = f"X-Long: {'x' * 40_000}"
    assert _status(served, _head(served, "GET", "/", long)) in (400, 431)
    assert _status(served, _head(served, "GET", "/", "Host: evil.example")) == 400  # two names of a host
    let_in = (f"Cookie: {inside.cookie}", f"Origin: {inside.origin}", f"X-Netplan-Page: {inside.csrf}")
    chunk = b"%x\r\n%s\r\n" % (MOST_BODY_BYTES + 1, b" " * (MOST_BODY_BYTES + 1))
    chunked = _head(served, "POST", "/orders", *let_in, "Transfer-Encoding: chunked") + chunk + b"0\r\n\r\n"
    answer = raw_answer(served.origin, chunked)
    assert answer.startswith(b"HTTP/1.1 413")
    assert (
        _status(served, _head(served, "GET", "/answers", "Upgrade: websocket", "Connection: Upgrade")) == 403
    )


def test_what_is_no_order_is_refused_in_words(inside: LetIn) -> None:
    ring = [[10.5 + 1e-4 * k, 52.9] for k in range(2_001)]
    for path, body in (
        ("/orders", {"keep_out": [ring]}),
        ("/orders", {"keep_out": [ring[:3]] * 101}),
        ("/orders", {"work": [{"main_id": "\ud800", "from_m": 0, "to_m": 1}]}),
        ("/orders", b"[" * 100_000),
        ("/orders", b"\xff\xfe"),
        ("/emergency", {"x": 1e300, "y": 0}),
        ("/emergency", {"main": "\ud800"}),
        ("/emergency", b"[" * 100_000),
        ("/emergency", {"address": "nowhere at all"}),
        ("/emergency/saved", {"name": "../up"}),
        ("/emergency/saved", {"name": ["a"]}),
        ("/plans", {"name": "../up"}),
    ):
        status, said = inside.ask(path, body)
        assert status == 422, (path, str(body)[:60], said)
        assert b"Traceback" not in said
    for query in ("x=nan&y=0&reach=1", "x=1&y=inf&reach=1", "x=1", "x=a&y=b&reach=c"):
        assert inside.ask(f"/main?{query}")[0] == 400


def test_priority_notes_are_in_no_answer(served: Served, inside: LetIn) -> None:
    answers = [
        inside.ask(path) for path in ("/", "/session", "/network", "/orders", "/emergency", "/tiles/0/0/0")
    ]
    static = resources.files("netplan.page").joinpath("static")
    answers += [inside.ask(f"/static/{one.name}") for one in static.iterdir() if one.name != "page.html"]
    answers += [inside.ask(f"/search?text={text}") for text in ("Long", "C0", "T02", NOTE)]
    found = inside.ask("/main?x=0&y=0&reach=500")
    assert all(status == 200 for status, _ in (*answers, found))
    assert (
        inside.ask("/orders", {"work": [{"main_id": WORK[0], "from_m": WORK[1], "to_m": WORK[2]}]})[0] == 200
    )
    streamed = b""
    for line in inside.events("/answers"):
        streamed += line
        if b'"stage": "options"' in line:
            break
    assert b"Long Row" in streamed
    status, emergency = inside.ask("/emergency", {"main": WORK[0], "at_m": WORK[1]})
    assert (status, b"Long Row" in emergency) == (200, True)
    followed, seen = b"", 0
    for line in inside.events("/emergency/answers"):
        followed += line
        seen += line.startswith(b"data:")
        if b'"not_solved": ""' in line:
            break
    assert seen
    _, saved = inside.ask("/emergency/saved", {"name": "one"})
    assert b"emergency.html" in saved
    for body in (*(body for _, body in answers), found[1], streamed, emergency, followed, saved):
        assert NOTE.encode() not in body
    for file in (served.folder / "plans" / "one").iterdir():
        assert NOTE.encode() not in file.read_bytes(), file.name


def test_every_module_is_asked_for_at_once() -> None:
    static = resources.files("netplan.page").joinpath("static")
    page = static.joinpath("page.html").read_text(encoding="utf-8")
    modules = {one.name for one in static.iterdir() if one.name.endswith(".js")}
    assert len(modules) > 20
    for name in modules:
        assert f'"/static/{name}"' in page, name


def test_it_ends_by_itself_when_nobody_asks(tmp_path: Path) -> None:
    write_layers(aside_layers(), tmp_path / "town.gpkg")
    source = NetworkSource(str(tmp_path / "town.gpkg"))
    network = read_network(source.network, set_aside=True)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        page = PageServer(source, network, Access(), listening.getsockname()[1], tmp_path)
        began_s = time.monotonic()
        run_server(page, listening, 0.4 / SECONDS_PER_HOUR)
    assert 0.3 < time.monotonic() - began_s < 30.0
