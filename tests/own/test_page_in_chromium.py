"""The planning page in a real browser: point, order, forbid, undo, pin, save; strangers get nothing."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest

from netplan.cli.sample import sample_network
from tests.support.browser import chromium
from tests.support.served_page import WAIT_MS, Served, serving


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(str(sample_network()), tmp_path_factory.mktemp("served")) as running:
        yield running


def _figures(page: Any) -> dict[str, str]:
    rows = page.query_selector_all("#figures tr[data-figure]")
    return {row.get_attribute("data-figure"): row.query_selector("td").inner_text() for row in rows}


def _wait(page: Any, stage: str, revision: int) -> None:
    page.wait_for_selector(f'body[data-stages~="{stage}"][data-revision="{revision}"]', timeout=WAIT_MS)


def test_a_planner_works_on_the_page(served: Served) -> None:
    with chromium() as browser:
        page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        asked: list[str] = []
        complaints: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda message: complaints.append(message.text))
        page.goto(served.url, timeout=WAIT_MS)
        page.wait_for_selector('body[data-ready="yes"]', timeout=WAIT_MS)
        assert "#" not in page.url
        # Point at a main: a length round that place, and the bound at once.
        page.wait_for_timeout(300)
        page.mouse.click(510, 372)
        _wait(page, "bound", 1)
        assert page.input_value("#work-rows input") != ""
        # By chainage instead: the figures move to the new length alone.
        for field, value in (("main", "M0048"), ("from", "85"), ("to", "89")):
            page.fill(f'#work-rows input[aria-label="{field} of length 1"]', value)
            page.dispatch_event(f'#work-rows input[aria-label="{field} of length 1"]', "change")
        page.wait_for_selector("#state:has-text('all of it worked out')", timeout=WAIT_MS)
        revision = int(page.get_attribute("body", "data-revision"))
        assert 2 <= revision <= 4
        first = _figures(page)
        page.wait_for_selector("#pin:not([disabled])")
        page.click("#pin")
        # Forbid the first stop, look at what it costs, and take it back.
        was_at = page.inner_text("#stops tbody tr td")
        page.click('#stops button[aria-label="forbid S1"]')
        _wait(page, "done", revision + 1)
        dearer = _figures(page)
        ordered = re.search(r"no stop at M0048:([\d.]+):([\d.]+)", page.inner_text("#order-list"))
        assert ordered is not None, page.inner_text("#order-list")
        place_m = float(was_at.split(" at ")[1].split()[0])
        assert float(ordered[2]) - place_m == pytest.approx(5.0, abs=0.011)
        assert place_m - float(ordered[1]) == pytest.approx(5.0, abs=0.011)
        assert float(dearer["burden"]) >= float(first["burden"])
        assert page.inner_text("#stops tbody tr td") != was_at
        more = float(dearer["burden"]) - float(first["burden"])
        shown_more = page.inner_text('#figures tr[data-figure="burden"] td:last-child')
        assert float(shown_more) == pytest.approx(more, abs=0.01)
        page.click("#undo")
        _wait(page, "done", revision + 2)
        assert _figures(page)["burden"] == first["burden"]
        # Somebody hits a main: the rings at once, and again when a valve fails to shut.
        page.click("#emergency-open")
        page.wait_for_selector("#make-safe li", timeout=WAIT_MS)
        assert "emergency procedure" in page.inner_text("#governs")
        page.click("#show-all")
        page.mouse.click(240, 372)
        page.wait_for_selector("#rings tr[data-valve]", timeout=WAIT_MS)
        page.click("#show-all")
        hit = page.inner_text("#hit")
        page.mouse.click(300, 450)
        page.wait_for_selector(f'#hit:not(:has-text("{hit}"))', timeout=1_000)
        failed = page.get_attribute("#rings tr[data-valve]", "data-valve")
        page.click("#rings tr[data-valve] button")
        page.wait_for_selector(f"#emergency-log li:has-text('failed: {failed}')", timeout=WAIT_MS)
        assert page.query_selector(f'#rings tr[data-valve="{failed}"]') is None
        page.click("#emergency-close")
        page.fill("#save-name", "by page")
        page.click("#save button")
        page.wait_for_selector("#saved:has-text('gas-netplan plan')", timeout=WAIT_MS)
        shown, said = _figures(page), page.inner_text("#saved")
        assert "letters.pdf is not made: the words name no sender" in said
        page.reload()
        page.wait_for_selector('body[data-ready="yes"]', timeout=WAIT_MS)
        _wait(page, "done", revision + 2)
        assert _figures(page)["burden"] == first["burden"]
    assert not complaints
    assert all(url.startswith((served.origin, "data:", "blob:")) for url in asked)
    saved = json.loads((served.folder / "plans" / "by page" / "plan.json").read_text(encoding="utf-8"))
    option = saved["options"][0]
    assert shown["burden"] == f"{option['burden']:g}" or float(shown["burden"]) == option["burden"]
    assert int(shown["stops"]) == len(option["stops"])
    assert int(shown["meters_off"]) == sum(c["meters"] for c in option["customers"] if c["effect"] == "off")
    assert float(shown["least_mbar"]) == option["pressures"]["after"]["least_mbar"]
    line = shlex.split(said.split("the same from a terminal: ")[1])
    out = served.folder / "by command"
    line = [sys.executable, "-m", "netplan", *line[1 : line.index("--out")], "--no-papers", "--out", str(out)]
    subprocess.run(line, check=True, capture_output=True)
    again = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    for plan in (saved, again):
        del plan["provenance"]
    assert again == saved


def test_strangers_get_nothing(served: Served) -> None:
    port = served.origin.rsplit(":", 1)[1]
    for path, headers, status in (
        ("/network", {}, 403),
        ("/network", {"Host": "evil.example"}, 421),
        ("/", {"Host": f"evil.example:{port}"}, 421),
    ):
        request = urllib.request.Request(served.origin + path, headers=headers)
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=10)
        assert refused.value.code == status
        refused.value.close()
    for headers in ({}, {"Origin": "http://evil.example"}):
        request = urllib.request.Request(
            f"{served.origin}/session", data=b'{"token": "guess"}', headers=headers
        )
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=10)
        assert refused.value.code == 403
        refused.value.close()
    with urllib.request.urlopen(f"{served.origin}/", timeout=10) as answer:
        assert "default-src 'none'" in answer.headers["content-security-policy"]
