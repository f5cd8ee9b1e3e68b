"""The map in a real browser without any network: layers, popups, options, search, paper, hostile text."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from netplan.outputs.layers import plan_layers
from netplan.outputs.map import plan_map
from netplan.outputs.number_format import US
from tests.support.browser import Visit, chromium, opened
from tests.support.hamlet import HOSTILE, HOSTILE_ID
from tests.support.plans import hamlet_result

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


@pytest.fixture
def visit(browser: Any, tmp_path: Path) -> Iterator[Any]:
    with ExitStack() as pages:

        def open_page(text: str, *, width: int = 1440, height: int = 900) -> Visit:
            path = tmp_path / "map.html"
            path.write_text(text, encoding="utf-8")
            return pages.enter_context(opened(browser, path, "#layers input", width=width, height=height))

        yield open_page


@cache
def _map(*, hostile: bool = False, **options: Any) -> str:
    result = hamlet_result(hostile=hostile)
    return plan_map(result.plan, plan_layers(result), result.states, **options)


def _count(page: Any, selector: str) -> int:
    return int(page.locator(selector).count())


def test_nothing_leaves_and_nothing_complains(visit: Any) -> None:
    seen = visit(_map())
    assert len(seen.asked) == 1
    assert seen.asked[0].startswith("file:")
    assert seen.complaints == []


def test_every_layer_toggles(visit: Any) -> None:
    seen = visit(_map())
    boxes = seen.page.locator("#layers input[type=checkbox]")
    drawn = ".leaflet-pane path, .leaflet-marker-icon"
    for k in range(boxes.count()):
        box = boxes.nth(k)
        item = seen.page.locator(
            "#layers li", has=seen.page.locator(f"input[data-layer={box.get_attribute('data-layer')}]")
        )
        is_empty = "empty" in (item.get_attribute("class") or "")
        box.set_checked(False)
        without = _count(seen.page, drawn)
        box.set_checked(True)
        assert (_count(seen.page, drawn) > without) is not is_empty, box.get_attribute("data-layer")
    assert boxes.count() >= 18
    assert seen.complaints == []


def test_options_switch(visit: Any) -> None:
    page = visit(_map()).page
    off = ".leaflet-customers-pane .leaflet-marker-icon rect"
    assert _count(page, "#stop-list li") == 2
    assert _count(page, off) == 8
    page.click("[data-option='2']")
    assert _count(page, "#stop-list li") == 1
    assert _count(page, off) == 16
    assert page.get_attribute("[data-option='2']", "aria-checked") == "true"
    assert "18" in page.inner_text("#facts")


@pytest.mark.parametrize(
    ("selector", "words"),
    [
        (".leaflet-stops-pane .leaflet-marker-icon:first-child text", "bag stop"),
        (".leaflet-tags-pane .label:has-text('B1')", "holds down to"),
        (".leaflet-customers-pane rect", "no gas until relit"),
        (".leaflet-work-pane path.leaflet-interactive", "20.0 m – 48.0 m"),
    ],
)
def test_popups_open(visit: Any, selector: str, words: str) -> None:
    seen = visit(_map())
    seen.page.locator(selector).last.click(force=True)
    seen.page.wait_for_selector(".leaflet-popup-content")
    assert words in seen.page.inner_text(".leaflet-popup-content")
    assert seen.complaints == []


def test_stop_list_leads_to_the_stop(visit: Any) -> None:
    page = visit(_map()).page
    page.click("#stop-list li:nth-child(2) button")
    assert "squeeze-off" in page.inner_text(".leaflet-popup-content")


def test_search_finds_an_address(visit: Any) -> None:
    page = visit(_map()).page
    page.fill("#search", "close 9 mill")
    assert page.inner_text("#found li:first-child span") == "9 Mill Close"
    page.press("#search", "Enter")
    assert "9 Mill Close" in page.inner_text(".leaflet-popup-content")
    page.fill("#search", "nowhere street")
    assert page.inner_text("#found-none") == "nothing of that name on this map"


def test_phone_has_the_map_and_a_panel_that_folds(visit: Any) -> None:
    page = visit(_map(), width=390, height=844).page
    assert not page.is_visible("#panel-body")
    page.click("#fold")
    assert page.is_visible("#panel-body")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    sizes = page.eval_on_selector_all(
        "#layers label", "all => all.map(one => one.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 40


def test_paper_is_one_a3_sheet_with_scale_and_caution(visit: Any, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    seen = visit(_map())
    seen.page.pdf(path=tmp_path / "a3.pdf", prefer_css_page_size=True, print_background=True)
    with pypdf.PdfReader(tmp_path / "a3.pdf") as reader:
        assert len(reader.pages) == 1
        box = reader.pages[0].mediabox
        text = reader.pages[0].extract_text()
    assert (round(float(box.width) / 72 * 25.4), round(float(box.height) / 72 * 25.4)) == (420, 297)
    assert "Scale about 1" in text
    assert "no permit" in text


def test_hostile_text_stays_text(visit: Any) -> None:
    seen = visit(_map(hostile=True))
    page = seen.page
    assert HOSTILE_ID in page.inner_text("#heading")
    assert HOSTILE[1] in page.evaluate("document.querySelector('.leaflet-names-pane').textContent")
    page.fill("#search", "script")
    assert page.inner_text("#found li:first-child span") == HOSTILE[0]
    page.press("#search", "Enter")
    page.click("#stop-list li:nth-child(1) button")
    assert HOSTILE[0] in page.inner_text(".leaflet-popup-content")
    assert page.evaluate("window.hacked") is None
    assert _count(page, "#panel img, .leaflet-popup img, #panel b > b") == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 1440
    assert seen.complaints == []
    assert len(seen.asked) == 1


def test_us_units(visit: Any) -> None:
    page = visit(_map(units=US)).page
    text = page.inner_text("#panel")
    assert "in. w.c." in text
    assert "mbar" not in text


def test_online_background_only_when_asked(visit: Any) -> None:
    seen = visit(_map(tiles="https://tiles.invalid/{z}/{x}/{y}.png"))
    assert len(seen.asked) == 1
    seen.page.check("input[data-layer=tiles]")
    seen.page.wait_for_timeout(300)
    assert any("tiles.invalid" in address for address in seen.asked)


def test_same_plan_same_page() -> None:
    assert _map() == _map.__wrapped__()
