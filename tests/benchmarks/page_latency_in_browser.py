"""How soon the page's map follows a hand: first view, a handle, the ghost of a stop, a zone, in a browser."""

from __future__ import annotations

import tempfile
import urllib.request
from pathlib import Path
from typing import Any, Final

import numpy as np

from tests.support.browser import chromium
from tests.support.served_page import WAIT_MS, serving

__all__ = ["page_rows"]

OPENED: Final = 7
STATE: Final = "const { state } = await import('/static/state.js'); const { map } = state;"
FRAME: Final = "const frame = () => new Promise((then) => requestAnimationFrame(then));"
WATCH: Final = """
() => {
  window.took = [];
  window.addEventListener("pointermove", (event) => {
    const began = event.timeStamp;
    requestAnimationFrame(() => requestAnimationFrame(() => window.took.push(performance.now() - began)));
  }, true);
}
"""


def page_rows(network: str, scratch: Path) -> list[list[str]]:
    """Return a row for each thing that is done on the page of one network."""
    rows: list[tuple[str, list[float]]] = []
    with tempfile.TemporaryDirectory(dir=scratch) as folder, chromium() as browser:
        kept = scratch / "kept"
        with serving(network, Path(folder), "--cache", str(kept)) as served:
            # The address is there before the network is read: only then is it a matter of the page.
            with urllib.request.urlopen(served.origin, timeout=WAIT_MS / 1000.0):  # noqa: S310
                pass
            page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
            page.goto(served.url, timeout=WAIT_MS)
            first = [_first_view(page), *(_opened_again(page, served.origin) for _ in range(OPENED - 1))]
            pipes = page.evaluate(
                "async () => { const f = await (await fetch('/network')).json(); return f.mains + f.customers; }"
            )
            rows = [("first view", first), *_held(page)]
    name = f"{pipes:,} mains and meter points"
    return [[name, what, *(f"{np.percentile(values, q):.0f}" for q in (50, 95))] for what, values in rows]


def _first_view(page: Any) -> float:
    page.wait_for_selector('#map[data-drawn="yes"]', timeout=WAIT_MS)
    found: float = page.evaluate("performance.getEntriesByName('first view')[0].startTime")
    return found


def _opened_again(page: Any, origin: str) -> float:
    """Open the page once more, nothing of it kept by the browser."""
    other = page.context.new_page()
    page.context.new_cdp_session(other).send("Network.setCacheDisabled", {"cacheDisabled": True})
    other.goto(origin, timeout=WAIT_MS)
    found = _first_view(other)
    other.close()
    return found


def _held(page: Any) -> list[tuple[str, list[float]]]:
    """Make a main in the middle the work, and move what can be taken hold of."""
    page.evaluate(
        f"async () => {{ {STATE} map.show(map.facts.west_m + map.facts.extent_m / 2, "
        "map.facts.north_m - map.facts.extent_m / 2, 0.15); const [x, y] = map.middle; "
        "const { point } = await import('/static/pointing.js'); await point(x, y, 200);"
        "const found = await (await fetch(`/main?x=${x}&y=${y}&reach=200`)).json(); map.show(found.x, found.y, 0.15); }"
    )
    page.wait_for_selector(".map-stop", timeout=WAIT_MS)
    rows = [("a place asked: where stops can be within 130 m, fetched", _fetched(page))]
    page.evaluate(WATCH)
    page.wait_for_selector(".map-handle")
    rows.append(("a handle dragged, to the frame after", _dragged(page, ".map-handle >> nth=1")))
    page.evaluate(
        f"async () => {{ {STATE} const stop = map.marks.stops[0]; map.show(stop.x, stop.y, 0.15); }}"
    )
    page.wait_for_timeout(300)
    rows.append(("the ghost of a stop dragged, to the frame after", _dragged(page, ".map-stop >> nth=0")))
    colours = page.evaluate(
        f"async () => {{ {STATE} {FRAME} const [x, y] = map.middle, times = [];"
        "const near = await (await fetch(`/stops-near?x=${x}&y=${y}&reach=2000`)).json();"
        "const lines = near.mains.map((main) => main.line), many = [];"
        "for (let n = 0; lines.length && many.length < 230; n += 1) many.push(lines[n % lines.length]);"
        "for (let n = 0; n < 30; n += 1) { await frame(); const began = performance.now();"
        " map.marks.zone = many.slice(n, 200 + n); map.draw(); await frame(); await frame();"
        " times.push(performance.now() - began); } return times; }"
    )
    return [*rows, ("200 mains recoloured, to the frame after", colours)]


def _fetched(page: Any) -> list[float]:
    found: list[float] = page.evaluate(
        f"async () => {{ {STATE} const [x, y] = map.middle, times = [];"
        "await fetch(`/stops-near?x=${x}&y=${y}&reach=130`);"
        "for (let n = 0; n < 24; n += 1) { const began = performance.now();"
        " await (await fetch(`/stops-near?x=${x + 40 * (n % 6)}&y=${y + 40 * Math.floor(n / 6)}&reach=130`)).json();"
        " times.push(performance.now() - began); } return times; }"
    )
    return found


def _dragged(page: Any, what: str) -> list[float]:
    box = page.locator(what).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate("window.took.length = 0")
    for n in range(40):
        page.mouse.move(x + 4 * n, y + 3 * n)
    page.wait_for_timeout(200)
    found: list[float] = page.evaluate("window.took")
    page.keyboard.press("Escape")
    page.mouse.up()
    page.wait_for_timeout(300)
    return found
