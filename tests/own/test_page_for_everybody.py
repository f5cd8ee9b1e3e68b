"""The planning page by keyboard, by ear, on a telephone and on paper; and its emergency mode (own)."""

from __future__ import annotations

import json
import re
import stat
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pypdf
import pytest

from netplan.page.map_tiles import MapTiles
from netplan.page.opening_file import opening_file
from netplan.readers import read_network, write_layers
from tests.support.axe_checks import barriers
from tests.support.browser import chromium
from tests.support.ring_towns import ring_town_layers
from tests.support.served_page import WAIT_MS, Served, serving

LARGE, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}
CAUTION = "Planning figures only: no permit and no approved procedure."
NOW_MS = 1_000
"""How soon a click in an emergency is answered on the sample, browser included."""


@dataclass
class Room:
    """A browser with one open page, and what it asked for and complained about."""

    served: Served
    page: Any
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    folder = tmp_path_factory.mktemp("everybody")
    write_layers(ring_town_layers(9), folder / "town.gpkg")
    with (
        serving(str(folder / "town.gpkg"), folder) as served,
        chromium() as browser,
    ):
        page = browser.new_context(viewport=LARGE).new_page()
        found = Room(served, page)
        page.on("request", lambda request: found.asked.append(request.url))
        page.on("pageerror", lambda error: found.complaints.append(str(error)))
        page.on("console", lambda message: found.complaints.append(message.text))
        # As the command opens it: the token is in no address that is handed to another program.
        with opening_file(folder, served.url) as uri:
            file = Path(urlsplit(uri).path)
            assert served.url.split("#")[1] not in uri
            assert stat.S_IMODE(file.stat().st_mode) == 0o600
            page.goto(uri, timeout=WAIT_MS)
            page.wait_for_url(f"{served.origin}/**", timeout=WAIT_MS)
        assert not file.exists()
        page.wait_for_selector('body[data-ready="yes"]', timeout=WAIT_MS)
        yield found
        assert not found.complaints
        assert all(url.startswith((served.origin, "data:", "blob:", file.as_uri())) for url in found.asked)


def _press(page: Any, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def _focus(page: Any) -> str:
    return str(page.evaluate("document.activeElement.id"))


def _until(page: Any, expression: str, argument: Any = None, timeout_ms: int = WAIT_MS) -> None:
    """Wait until an expression holds; the page's policy forbids what the browser's driver would wait with."""
    end_s = time.monotonic() + timeout_ms / 1000.0
    while not page.evaluate(expression, argument):
        assert time.monotonic() < end_s, expression
        page.wait_for_timeout(20)


def _worked_out(page: Any, revision: int = 0, stage: str = "done") -> int:
    """Wait until orders newer than a revision went through a stage; return their revision."""
    _until(
        page,
        "([least, stage]) => (document.body.dataset.stages || '').split(' ').includes(stage)"
        " && Number(document.body.dataset.revision) > least",
        [revision, stage],
    )
    return int(page.get_attribute("body", "data-revision"))


def test_a_first_view_shuts_nobody_out(room: Room) -> None:
    assert barriers(room.page) == []
    assert CAUTION in room.page.inner_text("#caution")
    # The first stop of the Tab key leads past the map.
    _press(room.page, "Tab")
    assert room.page.inner_text(":focus").startswith("Skip the map")
    _press(room.page, "Enter")
    assert _focus(room.page) == "side"


def test_the_help_says_every_key(room: Room) -> None:
    page = room.page
    _press(page, "?")
    assert page.is_visible("#help")
    assert barriers(page) == []
    keys = page.eval_on_selector_all("#key-rows kbd", "all => all.map(one => one.textContent)")
    shortcuts = page.eval_on_selector_all(
        "[aria-keyshortcuts]", "all => all.map(one => one.getAttribute('aria-keyshortcuts'))"
    )
    assert set(shortcuts) <= set(keys)
    # Letters do nothing behind it; Escape gives back where the focus was.
    _press(page, "e")
    assert page.get_attribute("body", "data-mode") == "plan"
    _press(page, "Escape")
    assert not page.is_visible("#help")


def test_a_whole_job_without_a_mouse(room: Room) -> None:
    page = room.page
    # Find a main, and make a length of it the work section.
    _press(page, "/")
    assert _focus(page) == "search-text"
    page.keyboard.type("M12")
    _press(page, "Enter")
    page.wait_for_selector("#found button:has-text('M12')")
    _press(page, "Tab", "Tab")
    assert "M12" in page.inner_text(":focus")
    _press(page, "Enter")
    first = _worked_out(page, stage="bound")
    _press(page, "w", "Tab")
    for value in ("33", "36"):
        _press(page, "Control+A")
        page.keyboard.type(value)
        _press(page, "Tab")
    revision = _worked_out(page, first)
    # Nothing spoken while it runs but what stood still; the end is said.
    _until(
        page,
        "document.getElementById('announce').textContent === document.getElementById('state').textContent",
        timeout_ms=5_000,
    )
    # Options are tabs: one of them in the order of focus, arrow keys choose.
    _press(page, "o")
    tabs = page.query_selector_all('#options [role="tab"]')
    assert len(tabs) > 1
    assert [tab.get_attribute("tabindex") for tab in tabs].count("0") == 1
    _press(page, "ArrowRight")
    chosen = page.query_selector('#options [aria-selected="true"]')
    assert chosen.inner_text() == tabs[1].inner_text() or chosen.get_attribute("id") == "option-2"
    assert _focus(page) == "option-2"
    assert page.get_attribute("#figures", "aria-labelledby") == "option-2"
    _press(page, "Home", "p", "s")
    assert page.get_attribute(":focus", "aria-label") == "forbid S1"
    was_at = page.inner_text("#stops tbody tr td")
    _press(page, "Enter")
    revision = _worked_out(page, revision, "bound")
    assert page.inner_text("#stops tbody tr td") != was_at
    # The table was drawn anew under the focus, which stays in it.
    assert page.evaluate("document.getElementById('stops').contains(document.activeElement)")
    assert page.inner_text('#figures [data-figure="burden"] td:last-child') != ""
    assert "no stop at" in page.inner_text("#order-list")
    assert barriers(page) == []
    _press(page, "u")
    _worked_out(page, revision, "options")
    assert page.inner_text("#stops tbody tr td") == was_at
    _press(page, "v")
    page.keyboard.type("by keyboard")
    _press(page, "Enter")
    page.wait_for_selector("#saved:has-text('gas-netplan plan')", timeout=WAIT_MS)
    plan = json.loads(
        (room.served.folder / "plans" / "by keyboard" / "plan.json").read_text(encoding="utf-8")
    )
    option = plan["options"][0]
    assert page.inner_text("#off tbody").count("\n") + 1 == sum(
        one["effect"] == "off" for one in option["customers"]
    )
    # Each stop, and who is off, stands in a table.
    stops = page.inner_text("#stops tbody")
    assert all(stop["id"] in stops for stop in option["stops"])


def test_who_is_off_stands_by_priority_street_and_number(room: Room) -> None:
    shown = room.page.evaluate(
        """async () => {
          const { drawCustomers } = await import("/static/customer_tables.js"), table = document.getElementById("off");
          const was = table.querySelector("tbody").cloneNode(true);
          const places = ["Flat 10, 2 Weir Lane", "10 Weir Lane", "9 Weir Lane", "Flat 9, 2 Weir Lane", "1 Zinc Row", "Ash Lane 3"];
          const off = places.map((address, at) => [0, 0, `C${at}`, address, "", 1]);
          drawCustomers({ off: [...off, [0, 0, "C9", "<b>7</b> Zinc Row", "care home", 40]], kept: [] });
          const words = [...table.querySelectorAll("tbody tr")].map((row) => row.cells[1].textContent);
          table.querySelector("tbody").replaceWith(was);
          return words;
        }"""
    )
    assert shown == [
        "<b>7</b> Zinc Row ! care home",
        *("Ash Lane 3", "Flat 9, 2 Weir Lane", "Flat 10, 2 Weir Lane", "9 Weir Lane", "10 Weir Lane"),
        "1 Zinc Row",
    ]


def test_the_map_goes_by_keyboard_as_well(room: Room) -> None:
    page = room.page
    _press(page, "Escape", "n", "m")
    assert _focus(page) == "map"
    _until(page, "document.getElementById('map').dataset.drawn === 'yes'")
    before = page.screenshot(clip=page.query_selector("#map").bounding_box())
    _press(page, "ArrowRight", "+", "+")
    _until(page, "document.getElementById('map').dataset.drawn === 'yes'")
    page.wait_for_timeout(50)
    assert page.screenshot(clip=page.query_selector("#map").bounding_box()) != before


def test_a_telephone_is_wide_enough(room: Room) -> None:
    page = room.page
    page.set_viewport_size(PHONE)
    page.wait_for_timeout(100)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert page.is_visible("#caution")
    assert barriers(page) == []
    small = page.eval_on_selector_all(
        "button",
        "all => all.filter(one => one.offsetParent && one.offsetHeight < 24).map(one => one.textContent)",
    )
    assert small == []
    page.set_viewport_size(LARGE)


def test_paper_holds_map_figures_and_caution(room: Room) -> None:
    page = room.page
    printed = page.pdf(format="A4", print_background=True)
    sheet = pypdf.PdfReader(BytesIO(printed))
    text = " ".join(" ".join(one.extract_text() for one in sheet.pages).split())
    assert "no approved procedure" in text
    for words in ("Planner", "Notices", "Engineer", "burden", "WITHOUT GAS", "S1", "M12"):
        assert words in text, words
    assert "Save the plan" not in text
    page.evaluate("document.getElementById('map').hidden = true")
    without = page.pdf(format="A4", print_background=True)
    page.evaluate("document.getElementById('map').hidden = false")
    assert len(printed) > len(without) + 1_500, "the map is on it"


def test_an_emergency_stands_apart(room: Room) -> None:
    page = room.page
    _press(page, "Escape", "e")
    page.wait_for_selector("#make-safe li")
    assert _focus(page) == "emergency"
    assert barriers(page) == []
    text = page.inner_text("body").lower()
    for words in ("burden", "price", "orders", "eur"):
        assert not re.search(rf"\b{words}\b", text), words
    assert CAUTION in page.inner_text("#caution")
    assert "emergency procedure" in page.inner_text("#governs")
    # Typed, by keyboard; then by one click: the rings are there at once.
    page.focus("#hit-main")
    page.keyboard.type("M05")
    _press(page, "Tab")
    page.keyboard.type("40")
    _press(page, "Enter")
    page.wait_for_selector("#rings table", timeout=WAIT_MS)
    page.wait_for_selector("#not-solved", state="hidden", timeout=WAIT_MS)
    log = page.query_selector_all("#emergency-log li")
    assert len(log) == 2
    _press(page, "n")
    page.evaluate("document.getElementById('rings').replaceChildren()")
    box = page.query_selector("#map").bounding_box()
    page.mouse.click(box["x"] + 0.62 * box["width"], box["y"] + 0.45 * box["height"])
    page.wait_for_selector("#rings table", timeout=NOW_MS)
    assert "at" in page.inner_text("#emergency-log")


def test_a_valve_fails_by_one_key(room: Room) -> None:
    page = room.page
    page.wait_for_selector("#not-solved", state="hidden", timeout=WAIT_MS)
    assert page.evaluate(
        "const red = document.getElementById('do-first'), rings = document.getElementById('rings');"
        "!!(red.compareDocumentPosition(rings) & Node.DOCUMENT_POSITION_FOLLOWING)"
    )
    rows = page.eval_on_selector_all(
        '[data-ring="A"] tr[data-valve]', "all => all.map(one => one.dataset.valve)"
    )
    assert rows
    # The first is marked as shut: the next open one is meant, or the one whose row has the focus.
    valve = rows[-1]
    page.focus(f'[data-ring="A"] tr[data-valve="{valve}"] button')
    began = page.evaluate("performance.now()")
    _press(page, "Shift+F")
    page.wait_for_selector(f"#failed p:has-text('{valve}')", timeout=NOW_MS)
    assert page.evaluate("performance.now()") - began < NOW_MS
    assert valve in page.inner_text("#announce")
    assert f"failed: {valve}" in page.inner_text("#emergency-log li:last-child") or valve in page.inner_text(
        "#emergency-log"
    )
    assert page.query_selector(f'#rings tr[data-valve="{valve}"]') is None
    assert barriers(page) == []
    page.click("#failed button")
    page.wait_for_selector(f'#rings tr[data-valve="{valve}"]', timeout=WAIT_MS)


def _crossing(page: Any, served: Served) -> tuple[float, float]:
    """Return where on the screen the crossing of most mains is, the whole network shown."""
    network = read_network(str(served.folder / "town.gpkg"))
    tiles, box = MapTiles(network), page.query_selector("#map").bounding_box()
    ends = network.pieces.from_node.tolist() + network.pieces.to_node.tolist()
    node = max(set(ends), key=ends.count)
    metres = tiles.extent_m / min(box["width"], box["height"])
    east_m = float(network.nodes.x_m[node]) - tiles.west_m - tiles.extent_m / 2.0
    south_m = tiles.north_m - tiles.extent_m / 2.0 - float(network.nodes.y_m[node])
    return (
        box["x"] + box["width"] / 2.0 + east_m / metres,
        box["y"] + box["height"] / 2.0 + south_m / metres,
    )


def test_one_of_several_mains_is_confirmed_and_saved(room: Room) -> None:
    page = room.page
    page.wait_for_selector("#not-solved", state="hidden", timeout=WAIT_MS)
    page.fill("#hit-crews", "2")
    page.click("#hit-typed summary")
    page.fill("#hit-address", "C051 Example Row")
    page.click("#hit-ask")
    page.wait_for_selector("#hit:has-text('service S051')", timeout=WAIT_MS)
    assert "curb valve" in page.inner_text("#hit-mains")
    # At a crossing any of its mains may be the one.
    _press(page, "Escape")
    page.focus("#map")
    _press(page, "n")
    page.mouse.click(*_crossing(page, room.served))
    page.wait_for_selector("#hit-mains [data-hit] >> nth=2", timeout=WAIT_MS)
    main = page.get_attribute("#hit-mains [data-hit]", "data-hit")
    page.click("#hit-mains [data-hit] button")
    page.wait_for_selector("#hit-mains li:has-text('named by the caller')", timeout=WAIT_MS)
    assert len(page.query_selector_all("#hit-mains [data-hit]")) == 1
    page.fill("#emergency-name", "hit")
    page.click("#emergency-save button")
    page.wait_for_selector("#emergency-saved:has-text('gas-netplan emergency')", timeout=WAIT_MS)
    said = page.inner_text("#emergency-saved")
    assert f"--main {main}" in said
    assert "--crews 2" in said
    assert (room.served.folder / "plans" / "hit" / "emergency.pdf").stat().st_size > 1000
    page.set_viewport_size(PHONE)
    page.wait_for_timeout(100)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert barriers(page) == []
    page.set_viewport_size(LARGE)
    # A reload in an emergency comes back to it, with its answer.
    page.reload()
    page.wait_for_selector("#hit-mains li:has-text('named by the caller')", timeout=WAIT_MS)
    page.click("#emergency-close")
    assert page.is_visible("#figures")
    assert not page.is_visible("#emergency")
