"""The page's server over HTTP: only the newest orders are answered, a killed planner comes back, sessions are kept."""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from netplan.cli.sample import sample_network
from tests.support.page_client import PageClient, page_orders
from tests.support.served_page import Served, serving

MANY = 30
ORDERS = page_orders("M0048", 85, 89, options=2)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(str(sample_network()), tmp_path_factory.mktemp("served")) as running:
        yield running


@pytest.fixture(scope="module")
def client(served: Served) -> Iterator[PageClient]:
    one = PageClient(served.url)
    yield one
    one.close()


def test_of_rapid_orders_the_last_alone_is_answered(client: PageClient) -> None:
    revisions = [
        client.order(page_orders("M0048", 85, round(87 + at * 0.1, 1), options=2)) for at in range(MANY)
    ]
    assert revisions == list(range(revisions[0], revisions[0] + MANY))
    taken_s = time.perf_counter()
    option = client.wait(revisions[-1], "option")
    last = client.wait(revisions[-1], "options", such=lambda one: len(one.data["options"]) == 2)
    assert option.at_s <= last.at_s
    # What was still on its way when the last order was taken is over at once; of the older ones none ends.
    heard = list(client.heard)
    late = [one for one in heard if one.revision < revisions[-1] and one.at_s > taken_s + 0.05]
    assert late == []
    newest = 0
    for one in heard:
        assert one.revision >= newest
        newest = one.revision
    assert not any(one.stage == "done" for one in heard if one.revision < revisions[-1])
    # The answers are to what the last order says.
    work = client.wait(revisions[-1], "bound").data["work"]
    length_m = sum(
        sum(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5 for a, b in pairwise(line)) for line in work
    )
    assert length_m == pytest.approx(87 + (MANY - 1) * 0.1 - 85, abs=0.05)
    words = [one.data["words"] for one in heard if one.revision == revisions[-1] and one.stage == "progress"]
    assert any(line.startswith("candidate ") for line in words)


def _planner(pid: int, besides: int = 0) -> int:
    """Return the process that plans for a server, another than the one before: a child that it spawned."""
    end = time.perf_counter() + 30.0
    while time.perf_counter() < end:
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text(encoding="ascii").split():
                words = Path(f"/proc/{child}/cmdline").read_text(encoding="utf-8")
                if "spawn_main" in words and int(child) != besides:
                    return int(child)
        time.sleep(0.02)
    raise AssertionError("no planner")


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="processes are found in /proc")
def test_a_killed_planner_is_replaced_and_says_so(served: Served, client: PageClient) -> None:
    revision = client.order(page_orders("M0142", 150, 154, options=2))
    client.wait(revision, "bound")
    old = _planner(served.pid)
    os.kill(old, signal.SIGKILL)
    said = client.wait(revision, "replaced")
    assert "runs again" in said.data["words"]
    client.wait(revision, "options", such=lambda one: one.at_s > said.at_s, within_s=40.0)
    assert _planner(served.pid) != old


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="processes are found in /proc")
def test_orders_that_kill_every_planner_are_given_up(served: Served, client: PageClient) -> None:
    revision = client.order(page_orders("M0142", 150, 154, options=2))
    killed = 0
    for _ in range(3):
        killed = _planner(served.pid, besides=killed)
        os.kill(killed, signal.SIGKILL)
    said = client.wait(revision, "failed")
    assert "stopped 3 times on these orders" in said.data["words"]
    assert len([one for one in client.heard if (one.revision, one.stage) == (revision, "replaced")]) == 2
    # Other orders are answered all the same.
    client.wait(client.order(ORDERS), "option")


def test_contradicting_orders_are_named_at_once(client: PageClient) -> None:
    revision = client.order({**ORDERS, "force": ["V011"], "forbid": ["V011"]})
    start = time.perf_counter()
    said = client.wait(revision, "conflict")
    assert said.at_s - start < 3.0
    assert "“a stop at valve V011” against “no stop at valve V011”" in said.data["words"]
    client.wait(revision, "done")
    assert not [one for one in client.heard if one.revision == revision and "options" in one.data]


def test_a_session_is_noted_pinned_saved_and_opened(served: Served, client: PageClient) -> None:
    assert client.post("/pins", {"rank": 1})[0] == 422
    revision = client.order(ORDERS)
    best = client.wait(revision, "option").data["options"][0]
    status, shown = client.post("/pins", {"rank": 1})
    assert status == 200
    assert shown["pinned"][0]["planner"]["burden"] == best["planner"]["burden"]
    text = "<b>ask first</b>"
    status, shown = client.post("/notes", {"about": "stop", "place": "M0048:80", "text": text})
    assert (status, shown["notes"][0]["text"]) == (200, text)
    assert client.post("/notes", {"about": "stop", "place": "M0048:80", "text": "x" * 2_001})[0] == 422
    assert client.post("/session-file/save", {"name": "../monday"})[0] == 422
    status, saved = client.post("/session-file/save", {"name": "monday"})
    assert status == 200
    assert Path(saved["file"]) == served.folder / "plans" / "monday.session.json"
    assert client.get("/session-files") == ["monday"]
    kept: Any = json.loads(Path(saved["file"]).read_text(encoding="utf-8"))
    assert kept["orders"]["work"] == [{"main_id": "M0048", "from_m": 85.0, "to_m": 89.0}]
    client.post("/notes/drop", {"at": 0})
    client.post("/pins/drop", {"at": 0})
    assert client.get("/notes") == {"notes": [], "pinned": []}
    client.order(page_orders("M0142", 150, 154, options=2))
    status, opened = client.post("/session-file/open", {"name": "monday"})
    assert status == 200
    assert opened["changes"] == []
    assert opened["orders"] == client.get("/orders")["orders"]
    assert opened["notes"] == kept["notes"]
    assert opened["pinned"] == kept["pinned"]
    again = client.wait(opened["revision"], "option").data["options"][0]
    assert again["planner"]["burden"]["value"] == best["planner"]["burden"]["value"]
    assert client.post("/session-file/open", {"name": "tuesday"})[0] == 422
