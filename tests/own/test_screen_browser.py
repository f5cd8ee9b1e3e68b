"""Maps of a screen and of stages in a real browser without any network."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from netplan.outputs.screen_folder import write_screen_folder
from netplan.outputs.stage_folder import write_stages_folder
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules, read_rules
from netplan.screening import ScreenSettings, screen
from netplan.staging import renewal_of_street, stage_renewal
from tests.support.browser import chromium, opened
from tests.support.hamlet import HOSTILE
from tests.support.streets import long_row

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as running:
        yield running


@pytest.mark.parametrize("street", ["Long Row", HOSTILE[0]])
def test_a_screen_is_drawn_ranked_and_searched(browser: Any, tmp_path: Path, street: str) -> None:
    network = long_row(street=street)
    settings = ScreenSettings(air_temp_c=4.0)
    found = screen(network, default_rules(), settings, folder=tmp_path / "blocks")
    out = write_screen_folder(found, tmp_path / "screen", "customers")
    with opened(browser, out / "map.html", "#worst li") as seen:
        page = seen.page
        assert [asked.partition(":")[0] for asked in seen.asked] == ["file"]
        assert seen.complaints == []
        worst = page.locator("#worst li")
        assert worst.count() >= 3
        for figure in range(page.locator("#figure option").count()):
            page.select_option("#figure", str(figure))
            assert page.locator("#legend li").count() >= 1
        page.fill("#search", "b")
        assert "B" in page.locator("#found li").first.inner_text()
        page.locator("#found li").first.click()
        popup = page.locator(".leaflet-popup-content")
        assert "main" in popup.inner_text()
        assert street in popup.inner_text()
        assert page.evaluate("window.hacked") is None
        assert seen.complaints == []


@pytest.mark.parametrize("width", [1440, 390])
def test_a_stage_is_drawn(browser: Any, tmp_path: Path, width: int) -> None:
    network = long_row()
    rules = read_rules(None, {"staging": {"step_m": 50, "longest_m": 60, "shortest_m": 10}})
    request = PlanRequest(network, (), rules, air_temp_c=4.0, options=2)
    staging = stage_renewal(request, renewal_of_street(network, "Long Row"))
    out = write_stages_folder(staging, tmp_path / "stages")
    maps = sorted(out.glob("*.html"))
    assert len(maps) == len(staging.stages)
    for path in maps:
        with opened(browser, path, "#worst li", width=width) as seen:
            assert [asked.partition(":")[0] for asked in seen.asked] == ["file"]
            assert seen.complaints == []
            page = seen.page
            assert page.locator(".leaflet-stops-pane .mark").count() == page.locator("#worst li").count() > 0
            assert page.locator("#legend li").count() >= 2
