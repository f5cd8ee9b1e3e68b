"""The map of the sample's plan in a real browser: labels, keys, a telephone, paper (own)."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from netplan.network.linear_reference import lon_lat as network_lon_lat
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers
from netplan.outputs.map import plan_map
from netplan.outputs.number_format import US
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.own.test_pressure_areas import NO_BYPASS, two_areas
from tests.support.axe_checks import barriers
from tests.support.browser import Visit, chromium, opened
from tests.support.networks import build
from tests.support.plans import hamlet_result
from tests.support.sample_plan import sample_plan

pytestmark = pytest.mark.browser

LARGE, PHONE = (1280, 800), (390, 844)
READY = "#layers input"
LABELS = """() => [...document.querySelectorAll('.mark .label, .leaflet-control-scale, .leaflet-control-zoom')]
  .map((one) => [one.textContent, one.getBoundingClientRect()]).filter(([, box]) => box.width)
  .map(([text, box]) => [text, box.left, box.top, box.right, box.bottom])"""
TAB_STOPS = """(selector) => [...document.querySelectorAll(selector)]
  .filter((one) => one.tabIndex >= 0 && one.getClientRects().length).length"""
FOCUSABLE = "a, button, input, select, summary, [tabindex]"
DATA = "JSON.parse(document.getElementById('page-data').textContent)"
WORK = """() => { const box = document.querySelector('.leaflet-work-pane path:last-child').getBoundingClientRect();
  return { left: box.left, top: box.top, right: box.right, bottom: box.bottom }; }"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


def _visit(browser: Any, size: tuple[int, int], path: Path | None = None) -> Any:
    return opened(browser, path or sample_plan() / "map.html", READY, width=size[0], height=size[1])


@pytest.fixture(scope="module")
def large(browser: Any) -> Iterator[Visit]:
    with _visit(browser, LARGE) as seen:
        yield seen
        assert seen.complaints == []


@pytest.fixture(scope="module")
def phone(browser: Any) -> Iterator[Visit]:
    with _visit(browser, PHONE) as seen:
        yield seen
        assert seen.complaints == []


def _overlaps(page: Any) -> list[tuple[str, str]]:
    labels = page.evaluate(LABELS)
    assert len(labels) >= 8
    return [
        (one[0], other[0])
        for one, other in combinations(labels, 2)
        if one[1] < other[3] and other[1] < one[3] and one[2] < other[4] and other[2] < one[4]
    ]


@pytest.mark.parametrize("size", ["large", "phone"])
def test_no_label_covers_another_at_opening(request: pytest.FixtureRequest, size: str) -> None:
    page = request.getfixturevalue(size).page
    for rank in range(1, 6):
        page.dispatch_event(f"[data-option='{rank}']", "click")
        assert _overlaps(page) == [], f"option {rank}"
    page.dispatch_event("[data-option='1']", "click")


@pytest.mark.parametrize("size", ["large", "phone"])
def test_the_work_lies_on_top_and_is_seen_at_opening(request: pytest.FixtureRequest, size: str) -> None:
    page = request.getfixturevalue(size).page
    box = page.evaluate(
        "(() => { const b = map_plan.getContainer().getBoundingClientRect(); return [b.right, b.bottom]; })()"
    )
    work = page.evaluate(WORK)
    assert 0 < work["left"] < work["right"] < box[0]
    assert 0 < work["top"] < work["bottom"] < box[1]
    order = page.evaluate(
        "['state', 'bypass', 'work', 'ground'].map((n) => Number(map_plan.getPane(n).style.zIndex))"
    )
    assert order[2] == max(order)
    covered = [
        text
        for text, left, top, right, bottom in page.evaluate(LABELS)
        if left < work["right"] - 4
        and right > work["left"] + 4
        and top < work["bottom"]
        and bottom > work["top"]
    ]
    assert covered == []
    places = page.evaluate(
        "JSON.parse(document.getElementById('page-data').textContent).options[0].stops.map((s) => s.at)"
    )
    assert len(places) == 3
    for place in places:
        x, y = page.evaluate(
            "(at) => { const p = map_plan.latLngToContainerPoint(at); return [p.x, p.y]; }", place
        )
        assert 0 < x < box[0]
        assert 0 < y < box[1]


def test_the_legend_has_ids_of_the_plan_and_no_numbers_of_methods(large: Visit) -> None:
    page = large.page
    marks = page.locator(".leaflet-stops-pane .label text").all_text_contents()
    assert marks == ["S1", "S2", "S3"]
    symbols = page.locator("#layers svg text").all_text_contents()
    assert symbols[:4] == ["S", "S", "S", "S"]
    assert not [text for text in symbols if text.isdigit()]
    legend = page.locator("#layers").inner_text()
    assert "Stop: bag stop" in legend
    assert "Hose along its route" in legend
    counts = page.locator("#layers li", has_text="Isolated zone").locator(".count").inner_text()
    assert counts.endswith(" m")


def test_kept_customers_on_standby_are_marked_and_listed(large: Visit) -> None:
    page = large.page
    assert page.locator(".leaflet-customers-pane .on-standby").count() == 20
    fold = page.locator("#customers details[data-effect=kept]")
    assert fold.locator("summary").inner_text() == "Kept by a feed: 20, 20 of them on standby"
    fold.locator("summary").click()
    fold.locator("li").first.wait_for()
    assert fold.locator("li", has_text="on standby").count() == 20


def test_a_few_stops_of_the_tab_key_and_arrows_between_marks(large: Visit) -> None:
    page = large.page
    assert page.evaluate(TAB_STOPS, ".leaflet-map-pane *") <= 12
    assert page.evaluate(TAB_STOPS, FOCUSABLE) <= 30
    page.locator(".leaflet-customers-pane [tabindex='0']").first.focus()
    named = "document.activeElement.getAttribute('aria-label')"
    first = page.evaluate(named)
    assert first.endswith("1 of 8")
    page.keyboard.press("ArrowRight")
    assert page.evaluate(named).endswith("2 of 8")
    page.keyboard.press("End")
    assert page.evaluate(named).endswith("8 of 8")
    page.keyboard.press("Home")
    assert page.evaluate(named) == first


def test_escape_closes_the_popup_and_gives_the_focus_back(large: Visit) -> None:
    page = large.page
    mark = page.locator(".leaflet-stops-pane [tabindex='0']")
    mark.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".leaflet-popup-content")
    page.keyboard.press("Escape")
    page.wait_for_selector(".leaflet-popup", state="detached")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Stop S1, 1 of 3"


@pytest.mark.parametrize(
    ("typed", "first", "said"),
    [
        ("m0147", "Main M0147", "Dyer Street"),
        ("v011", "Valve V011", "on M0142"),
        ("c01377", None, "C01377"),
        ("weir lane 35", "35 Weir Lane", "C01384"),
    ],
)
def test_the_search_by_keyboard(large: Visit, typed: str, first: str | None, said: str) -> None:
    page = large.page
    page.focus("#search")
    page.fill("#search", typed)
    rows = page.locator("#found [role=option]")
    assert rows.count() >= 1
    if first is not None:
        assert rows.first.locator("span").inner_text() == first
    page.keyboard.press("ArrowDown")
    assert rows.first.get_attribute("aria-selected") == "true"
    assert page.get_attribute("#search", "aria-activedescendant") == "found-0"
    page.keyboard.press("Enter")
    page.locator(".leaflet-popup-content", has_text=said).last.wait_for()
    assert page.get_attribute("#search", "aria-expanded") == "false"
    page.keyboard.press("Escape")


def test_on_a_phone_the_sheet_folds_and_the_tapped_stop_is_seen(phone: Visit) -> None:
    page = phone.page
    for number in (1, 2, 3):
        page.click("#fold")
        page.click(f"#stop-list li:nth-child({number}) button")
        page.wait_for_selector(".leaflet-popup-content")
        page.wait_for_timeout(350)
        assert page.get_attribute("#fold", "aria-expanded") == "false"
        at = page.evaluate(
            "(k) => { const s = JSON.parse(document.getElementById('page-data').textContent).options[0].stops[k];"
            " const p = map_plan.latLngToContainerPoint(s.at); return [p.x, p.y]; }",
            number - 1,
        )
        room = page.evaluate("(() => { const s = map_plan.getSize(); return [s.x, s.y]; })()")
        assert 0 < at[0] < room[0]
        assert 0 < at[1] < room[1]
        over = page.evaluate(
            "(p) => !!document.elementFromPoint(...p)?.closest('.leaflet-popup, #panel')", at
        )
        assert not over
        page.keyboard.press("Escape")
    page.click("#fold")
    page.keyboard.press("Escape")
    assert not page.is_visible("#panel-body")


def test_an_open_popup_is_not_printed_and_nothing_is_cut_off(large: Visit, tmp_path: Path) -> None:
    page = large.page
    page.click("#stop-list li:nth-child(2) button")
    page.locator(".leaflet-popup-content", has_text="why here").wait_for()
    page.pdf(path=tmp_path / "map.pdf", prefer_css_page_size=True, print_background=True)
    with pypdf.PdfReader(tmp_path / "map.pdf") as reader:
        assert len(reader.pages) == 1
        text = " ".join(reader.pages[0].extract_text().split())
    assert "why here" not in text
    for said in ("no permit", "Scale about 1", "Names", "Reference conditions", "Part kept by a feed"):
        assert said in text
    page.keyboard.press("Escape")
    page.click("#show-work")


def test_nobody_is_shut_out(large: Visit, phone: Visit) -> None:
    assert barriers(large.page) == []
    phone.page.click("#fold")
    assert barriers(phone.page) == []
    phone.page.click("#fold")
    assert large.page.get_attribute("html", "lang") == "en"


def test_us_units_in_scale_bar_popups_and_paper(browser: Any, tmp_path: Path) -> None:
    result = hamlet_result()
    text = plan_map(result.plan, plan_layers(result), result.states, units=US)
    (tmp_path / "us.html").write_text(text, encoding="utf-8")
    with _visit(browser, LARGE, tmp_path / "us.html") as seen:
        page = seen.page
        assert page.inner_text(".leaflet-control-scale").strip().endswith(" ft")
        page.click("#stop-list li:nth-child(2) button")
        page.locator(".leaflet-popup-content", has_text="in. w.c.").wait_for()
        legend = page.locator("#layers li", has_text="Isolated zone").locator(".count").inner_text()
        assert legend.endswith(" ft")
        page.pdf(path=tmp_path / "us.pdf", prefer_css_page_size=True)
    with pypdf.PdfReader(tmp_path / "us.pdf") as reader:
        box = reader.pages[0].mediabox
        assert (round(float(box.width) / 72), round(float(box.height) / 72)) == (17, 11)
        assert len(reader.pages) == 1
        assert "(1 in is" in reader.pages[0].extract_text()


def test_a_hose_is_drawn_along_its_route_and_an_opened_valve_at_its_place(
    browser: Any, tmp_path: Path
) -> None:
    for link, key in (("gap", "hoses"), ("valve", "opened_valves")):
        network = build(strict=False, **two_areas(31.0, 58.0, link=link, mop_mbar=60.0, far_mop_mbar=60.0))
        work, rules = WorkPart("M1", 110.0, 116.0), read_rules(None, NO_BYPASS)
        result = make_plan(PlanRequest(network, (work,), rules, options=1, weather=False))
        layers = plan_layers(result)
        path = tmp_path / f"{link}.html"
        path.write_text(plan_map(result.plan, layers, result.states), encoding="utf-8")
        with _visit(browser, LARGE, path) as seen:
            page = seen.page
            row = page.locator("#layers li", has=page.locator(f"input[data-layer={key}]"))
            assert row.locator(".count").inner_text() == "1"
            page.click("#show-all")
            if link == "gap":
                (hose,) = result.plan.options[0].bypasses
                assert hose.kind == "hose"
                (route,) = page.evaluate(f"{DATA}.options[0].bypasses.map((b) => b.line)")
                lon, lat = network_lon_lat(network, np.array(hose.course)).T
                assert np.reshape(route, (-1, 2)) == pytest.approx(np.stack([lat, lon], axis=1), abs=2e-7)
                assert page.locator(".leaflet-bypass-pane path").count() == 3
                assert page.locator(".leaflet-tags-pane .label", has_text=hose.id).is_visible()
            else:
                assert page.locator(".leaflet-small-pane [title='Opened valve V1']").is_visible()
                assert "V1: opened valve" in page.inner_text("#feeds")
