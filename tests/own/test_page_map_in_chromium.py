"""The page's map in a real browser: handles, the ghost of a stop, areas, keep-out, the menu of a meter point."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from netplan.cli.sample import sample_network
from tests.support.browser import chromium
from tests.support.served_page import WAIT_MS, serving

MAIN = "M0048"


class Map:
    """The open page, asked in its own words."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def run(self, body: str, *arguments: Any) -> Any:
        """Return what a function of the page's state, its lines of mains and the arguments returns."""
        script = (
            "async (given) => { const { state } = await import('/static/state.js');"
            "const mains = await import('/static/main_lines.js'); const { map } = state;"
            "const until = async (is) => { for (let n = 0; !is(); n += 1) { if (n > 1500) throw new Error(`never ${is}`);"
            " await new Promise((then) => setTimeout(then, 20)); } };" + body + " }"
        )
        return self.page.evaluate(script, list(arguments))

    def show(self, main_id: str, at_m: float, metres: float = 0.1) -> None:
        """Show a place of a main in the middle."""
        self.run(
            "const at = mains.placeAt(await mains.courseOf(given[0]), given[1]); map.show(...at, given[2]);",
            main_id,
            at_m,
            metres,
        )
        self.page.wait_for_selector('#map[data-drawn="yes"]')
        self.frame()

    def frame(self) -> None:
        self.run("await new Promise(requestAnimationFrame); await new Promise(requestAnimationFrame);")

    def place(self, main_id: str, at_m: float) -> tuple[float, float]:
        """Return where a place of a main is on the screen."""
        x, y = self.run(
            "const main = await mains.courseOf(given[0]); const box = map.canvas.getBoundingClientRect();"
            "const [px, py] = map.toScreen(...mains.placeAt(main, given[1])); return [px + box.left, py + box.top];",
            main_id,
            at_m,
        )
        return x, y

    def orders(self) -> dict[str, Any]:
        found: dict[str, Any] = self.run("return state.orders;")
        return found

    def says(self, words: str) -> None:
        self.page.wait_for_function(
            "(words) => document.getElementById('map-say').textContent.includes(words)",
            arg=words,
            timeout=30_000,
        )

    def ordered(self, what: str, count: int) -> list[Any]:
        """Wait until so many orders of a kind stand."""
        self.run(
            "await until(() => state.orders[given[0]].length === given[1] && !state.sending);",
            what,
            count,
        )
        found: list[Any] = self.orders()[what]
        return found

    def drag(self, start: tuple[float, float], *places: tuple[float, float]) -> None:
        """Press at a place, go by others, and stay pressed at the last."""
        self.page.mouse.move(*start)
        self.page.mouse.down()
        for place in places:
            self.page.mouse.move(*place, steps=4)


def _middle(element: Any) -> tuple[float, float]:
    # An answer that comes just now makes the buttons of the stops anew.
    for _ in range(20):
        element.wait_for()
        box = element.bounding_box()
        if box is not None:
            break
        element.page.wait_for_timeout(50)
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Map]:
    """Open the page; the server ends while it is open, and has nothing to say about that."""
    with chromium() as browser, serving(str(sample_network()), tmp_path_factory.mktemp("map")) as served:
        page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda message: complaints.append(message.text))
        page.goto(served.url, timeout=WAIT_MS)
        page.wait_for_selector('body[data-ready="yes"]', timeout=WAIT_MS)
        yield Map(page)
        # The one answer that refuses an area is logged by the browser itself.
        assert [one for one in complaints if "422" not in one] == []


def _work(shown: Map) -> None:
    """Order some work where none stands yet: each test may be the first."""
    shown.run(
        "const { changed } = await import('/static/orders.js');"
        "if (!state.orders.work.length) await changed((next) => {"
        " next.work = [{ main_id: given[0], from_m: 85, to_m: 89 }]; });",
        MAIN,
    )
    _bound(shown)


def _bound(shown: Map) -> None:
    shown.run("await until(() => !state.stale && state.shown.length);")
    shown.frame()


def test_handles_of_the_work_are_dragged_and_moved_by_keys(shown: Map) -> None:
    page = shown.page
    shown.show(MAIN, 87.0)
    page.mouse.click(*shown.place(MAIN, 87.0))
    (work,) = shown.ordered("work", 1)
    assert (work["main_id"], work["to_m"] - work["from_m"]) == (MAIN, pytest.approx(4.0))
    _bound(shown)
    to = page.locator('.map-handle[aria-label="to of length 1, main M0048"]')
    shown.drag(_middle(to), shown.place(MAIN, 91.0))
    # Geometry alone while it is dragged: the field follows, nothing is ordered.
    assert float(page.input_value('#work-rows input[aria-label="to of length 1"]')) == pytest.approx(
        91.0, abs=0.1
    )
    assert shown.orders()["work"] == [work]
    page.mouse.up()
    shown.run("await until(() => !state.sending);")
    assert shown.orders()["work"][0]["to_m"] == pytest.approx(91.0, abs=0.1)
    assert shown.orders()["work"][0]["from_m"] == work["from_m"]
    start = page.locator('.map-handle[aria-label="from of length 1, main M0048"]')
    start.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowLeft")
    assert float(start.get_attribute("aria-valuenow")) == pytest.approx(work["from_m"] - 4.5)
    page.keyboard.press("Enter")
    shown.run("await until(() => !state.sending);")
    assert shown.orders()["work"][0]["from_m"] == pytest.approx(work["from_m"] - 4.5)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "to of length 1, main M0048"
    # A further length, by the tool and by Shift.
    page.click('#map-tools button[data-tool="add"]')
    page.mouse.click(*shown.place(MAIN, 70.0))
    assert [one["main_id"] for one in shown.ordered("work", 2)] == [MAIN, MAIN]
    page.click("#undo")
    shown.ordered("work", 1)
    page.click('#map-tools button[data-tool="work"]')


def test_a_stop_is_let_go_where_one_can_be_and_nowhere_else(shown: Map) -> None:
    page = shown.page
    _work(shown)
    stop = shown.run("return state.shown[0].stops.find((one) => one.main_id === given[0]);", MAIN)
    shown.show(MAIN, stop["chainage_m"])

    def against(one: dict[str, Any]) -> str:
        """Return what the planner has against a stop in the middle of a length."""
        place = f"{MAIN}:{(one['from_m'] + one['to_m']) / 2:.3f}"
        words: str = shown.run(
            "return (await (await fetch(`/stop-at?place=${given[0]}`)).json()).words;", place
        )
        return words

    near = shown.run(
        "return (await (await fetch(`/stops-near?x=${given[0]}&y=${given[1]}&reach=60`)).json()).mains"
        ".find((one) => one.main_id === given[2]).lengths;",
        stop["x"],
        stop["y"],
        MAIN,
    )
    away = [(abs((one["from_m"] + one["to_m"]) / 2 - stop["chainage_m"]), one) for one in near]
    away.sort(key=lambda pair: pair[0])
    refused = next(one for far, one in away if not one["methods"] and one["to_m"] - one["from_m"] > 2.6)
    free = next(
        one
        for far, one in away
        if one["methods"] and far > 3.0 and one["to_m"] - one["from_m"] > 1.0 and not against(one)
    )
    button = page.locator(".map-stop").nth(
        shown.run("return state.shown[0].stops.findIndex((one) => one.main_id === given[0]);", MAIN)
    )
    # Over a refused length the reason stands beside the pointer and in the status line; nothing is ordered.
    bad = (refused["from_m"] + refused["to_m"]) / 2
    shown.drag(_middle(button), shown.place(MAIN, bad))
    page.wait_for_selector("#map-reason:not([hidden])")
    assert refused["words"] in page.inner_text("#map-reason")
    assert refused["words"] in page.inner_text("#map-say")
    page.mouse.up()
    shown.says("nothing ordered")
    assert refused["words"] in page.inner_text("#map-say")
    assert shown.orders()["force"] == []
    # Where one can be it is ordered, and the answer has it there.
    shown.frame()
    good = (free["from_m"] + free["to_m"]) / 2
    shown.drag(_middle(button), shown.place(MAIN, bad), shown.place(MAIN, good))
    page.mouse.up()
    (place,) = shown.ordered("force", 1)
    main_id, at_m = place.split(":")
    assert main_id == MAIN
    assert free["from_m"] <= float(at_m) <= free["to_m"]
    _bound(shown)
    stops = shown.run("return state.shown[0].stops;")
    assert any(one["main_id"] == MAIN and abs(one["chainage_m"] - float(at_m)) < 0.002 for one in stops)
    page.click("#undo")
    shown.ordered("force", 0)
    # By keys: moved to the next place, given up, forbidden.
    _bound(shown)
    first = page.locator(".map-stop").first
    first.focus()
    page.keyboard.press("ArrowRight")
    shown.says("stop to")
    page.keyboard.press("Escape")
    assert shown.orders()["force"] == []
    page.keyboard.press("Delete")
    shown.ordered("forbid", 1)
    page.click("#undo")
    shown.ordered("forbid", 0)


def test_areas_are_drawn_as_work_and_as_keep_out(shown: Map) -> None:
    page = shown.page
    _work(shown)
    shown.show(MAIN, 48.0, 0.25)
    x, y = shown.place(MAIN, 48.0)
    corners = [(x - 60, y - 45), (x + 60, y - 45), (x + 60, y + 45), (x - 60, y + 45)]
    page.click('#map-tools button[data-tool="keep-out"]')
    for corner in [*corners[:3], (x, y + 80), corners[3]]:
        page.mouse.click(*corner)
        if corner[1] == y + 80:
            page.keyboard.press("Backspace")
    page.keyboard.press("Enter")
    (ring,) = shown.ordered("keep_out", 1)
    assert len(ring) == 4
    assert "keep-out area 1" in page.inner_text("#order-list")
    refused = shown.run(
        "const [px, py] = mains.placeAt(await mains.courseOf(given[0]), 48);"
        "return (await (await fetch(`/stops-near?x=${px}&y=${py}&reach=20`)).json()).mains"
        ".find((one) => one.main_id === given[0]).lengths.filter((one) => one.from_m <= 48 && 48 <= one.to_m);",
        MAIN,
    )
    assert any("keep out: by order" in one["words"] for one in refused)
    page.click('button[aria-label="take back keep-out area 1"]')
    shown.ordered("keep_out", 0)
    page.click('#map-tools button[data-tool="keep-out"]')
    page.mouse.click(*corners[0])
    page.keyboard.press("Escape")
    assert page.get_attribute('#map-tools button[data-tool="work"]', "aria-pressed") == "true"
    # A length is forbidden by dragging along its main.
    page.click('#map-tools button[data-tool="no-stop"]')
    shown.drag(shown.place(MAIN, 50.0), shown.place(MAIN, 58.0))
    page.mouse.up()
    (length,) = shown.ordered("forbid", 1)
    main_id, low, high = length.split(":")
    assert main_id == MAIN
    assert [float(low), float(high)] == pytest.approx([50.0, 58.0], abs=0.3)
    page.click("#undo")
    shown.ordered("forbid", 0)
    page.click('#map-tools button[data-tool="area"]')
    for corner in corners:
        page.mouse.click(*corner)
    page.keyboard.press("Enter")
    shown.says("in the area")
    work = shown.orders()["work"]
    assert any(one["main_id"] == MAIN and one["from_m"] < 48.0 < one["to_m"] for one in work)
    page.click("#undo")
    # All of the town is more than may be the work at once: one line says so.
    shown.run(
        "map.show(map.facts.west_m + map.facts.extent_m / 2, map.facts.north_m - map.facts.extent_m / 2, map.facts.extent_m / (1.1 * Math.min(map.width, map.height)));"
    )
    page.click('#map-tools button[data-tool="area"]')
    box = page.locator("#map").bounding_box()
    east, south = box["x"] + box["width"] - 12, box["y"] + box["height"] - 60
    for corner in (
        (box["x"] + 12, box["y"] + 60),
        (east, box["y"] + 60),
        (east, south),
        (box["x"] + 12, south),
    ):
        page.mouse.click(*corner)
    page.keyboard.press("Enter")
    shown.says("60 can be the work")
    page.keyboard.press("Escape")


def test_a_meter_point_is_kept_on_by_its_menu(shown: Map) -> None:
    page = shown.page
    shown.show(MAIN, 60.0, 0.15)
    at = shown.run(
        "let found = null; const box = map.canvas.getBoundingClientRect(); while (!found) {"
        " await new Promise((then) => setTimeout(then, 30));"
        " const side = map.facts.extent_m / 2 ** map.facts.marks_zoom, [x, y] = map.middle;"
        " const tile = await (await fetch(`/marks/${Math.floor((x - map.facts.west_m) / side)}/${Math.floor((map.facts.north_m - y) / side)}`)).json();"
        " found = tile.customers.map((one) => [one.id, ...map.toScreen(one.x, one.y)]).find(([, px, py]) => px > 20 && py > 60 && px < map.width - 60 && py < map.height - 60); }"
        "return [found[0], found[1] + box.left, found[2] + box.top];"
    )
    page.wait_for_timeout(200)
    page.mouse.click(at[1], at[2])
    page.wait_for_selector("#customer-menu")
    assert page.evaluate("document.activeElement.textContent") == "keep on"
    page.keyboard.press("Enter")
    assert shown.ordered("keep_on", 1) == [at[0]]
    page.mouse.click(at[1], at[2])
    page.wait_for_selector("#customer-menu")
    assert "take back" in page.inner_text("#customer-menu")
    page.keyboard.press("Escape")
    assert not page.query_selector("#customer-menu")
    page.click("#undo")
    shown.ordered("keep_on", 0)


def test_a_whole_street_is_the_work_by_its_name(shown: Map) -> None:
    page = shown.page
    page.fill("#search-text", "Almond")
    page.click("#search button")
    page.click('button[aria-label^="whole street as the work: Almond"]')
    shown.says("whole")
    work = shown.orders()["work"]
    assert work
    assert all(one["from_m"] == 0 and one["to_m"] > 1 for one in work)
