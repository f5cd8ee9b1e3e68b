"""Maps of a screen and of stages in a real browser without any network."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pypdf
import pytest
import shapely

from netplan.network.model import Network
from netplan.network.work_section import WorkPart, work_section
from netplan.outputs.map.screen_map import screen_map
from netplan.outputs.map.stage_map import stage_map
from netplan.outputs.number_format import METRIC, US
from netplan.outputs.reader_choices import Choices
from netplan.outputs.screen_folder import write_screen_folder
from netplan.outputs.screen_table import ranked_mains
from netplan.outputs.stage_folder import write_stages_folder
from netplan.outputs.stage_layers import stage_layers
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules, read_rules
from netplan.screening import ScreenSettings, screen
from netplan.staging import renewal_of_street, stage_renewal
from tests.support.axe_checks import barriers
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
    request = PlanRequest(network, (), rules, air_temp_c=4.0, options=2, weather=False)
    staging = stage_renewal(request, renewal_of_street(network, "Long Row"))
    out = write_stages_folder(staging, tmp_path / "stages", choices=Choices(papers=False))
    maps = sorted(out.glob("*.html"))
    assert len(maps) == len(staging.stages)
    for path in maps:
        with opened(browser, path, "#worst li", width=width) as seen:
            assert [asked.partition(":")[0] for asked in seen.asked] == ["file"]
            assert seen.complaints == []
            page = seen.page
            assert page.locator(".leaflet-stops-pane .mark").count() == page.locator("#worst li").count() > 0
            assert page.locator("#legend li").count() >= 2


STAGED = {"staging": {"step_m": 50, "longest_m": 60, "shortest_m": 10}}
HERE = "town $(touch x) 'a'.gpkg"
"""A path that a shell must not take for anything else."""


def _mapped() -> Network:
    """Return the street with a street layer, at a path that wants quoting."""
    network = long_row()
    line = shapely.LineString([network.pipes.coords_m[0], network.pipes.coords_m[1]])
    streets = gpd.GeoDataFrame({"name": ["Long Row"]}, geometry=[line], crs=network.crs)
    return replace(network, base={"streets": streets}, source=HERE)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return a screen and a stage in both systems of units."""
    folder, network = tmp_path_factory.mktemp("maps"), _mapped()
    settings = ScreenSettings(air_temp_c=-4.0)
    found = screen(network, default_rules(), settings, folder=folder / "blocks")
    mains = ranked_mains(found, "customers")
    request = PlanRequest(network, (), read_rules(None, STAGED), air_temp_c=4.0, options=2, weather=False)
    staging = stage_renewal(request, renewal_of_street(network, "Long Row"))
    layers = stage_layers(staging)
    for units in (METRIC, US):
        texts = {
            "screen": screen_map(found, mains, "customers", units=units),
            "stage": stage_map(staging, layers, 1, units=units),
        }
        for name, text in texts.items():
            (folder / f"{name}-{units.name}.html").write_text(text, encoding="utf-8")
    return {path.stem: path for path in folder.glob("*.html")}


def _work_of(command: str) -> tuple[WorkPart, ...]:
    """Return the work that a command asks for, as a shell would split its words."""
    words = shlex.split(command)
    assert words[:3] == ["gas-netplan", "plan", HERE]
    given = dict(zip(words[3::2], words[4::2], strict=True))
    first = WorkPart(given["--main"], float(given["--from"]), float(given["--to"]))
    more = (given["--and-main"].split(":"),) if "--and-main" in given else ()
    return (first, *(WorkPart(main, float(low), float(high)) for main, low, high in more))


@pytest.mark.parametrize("name", ["screen", "stage"])
def test_the_main_that_is_found_gives_the_command_that_plans_it(
    browser: Any, pages: dict[str, Path], name: str
) -> None:
    network = _mapped()
    with opened(browser, pages[f"{name}-metric"], "#worst li", width=1280, height=800) as seen:
        page = seen.page
        for main in ("B", "X"):
            page.fill("#search", f"main {main.lower()}")
            page.press("#search", "Enter")
            page.locator(".leaflet-popup-content .command", has_text=f"--main {main} ").wait_for()
            command = page.locator("#chosen code").inner_text()
            (part,) = _work_of(command)
            assert part.main_id == main
            section = work_section(network, (part,))
            length = float(network.pipes.length_m[section.pipe[0]])
            assert 0.0 <= part.from_m < part.to_m <= length
            if name == "screen":
                assert part.from_m + part.to_m == pytest.approx(length, abs=0.002)
                assert shlex.split(command)[-4:-2] == ["--air-temp", "-4 °C"]
        page.click("#chosen button")
        page.locator("#chosen [role=status]", has_text="copied").wait_for()
        page.keyboard.press("Escape")
        assert seen.complaints == []


@pytest.mark.parametrize("name", ["screen", "stage"])
def test_streets_stations_valves_and_units(browser: Any, pages: dict[str, Path], name: str) -> None:
    with opened(browser, pages[f"{name}-us"], "#worst li", width=1280, height=800) as seen:
        page = seen.page
        assert page.locator(".leaflet-streets-pane path").count() == 2
        assert "Long Row" in page.locator(".leaflet-names-pane").text_content()
        assert page.locator(".leaflet-small-pane .mark").count() == 3
        legend = page.inner_text("#legend")
        for words in ("regulator station", "valve", "street"):
            assert words in legend
        assert page.inner_text(".leaflet-control-scale").strip().endswith(" ft")
        page.fill("#search", "valve v0")
        page.press("#search", "Enter")
        page.locator(".leaflet-popup-content", has_text="Valve V0").wait_for()
        assert "mbar" not in page.inner_text("#panel")
        if name == "screen":
            labels = page.locator("#figure option").all_text_contents()
            assert any(label.startswith("least pressure left [in. w.c.") for label in labels)
            assert any(label.startswith("gas lost [ft³") for label in labels)
            page.fill("#search", "main b")
            page.press("#search", "Enter")
            typed = shlex.split(page.locator("#chosen code").inner_text())
            assert typed[-6:] == ["--air-temp", "24.8 °F", "--units", "us", "--out", "plan-B"]
        else:
            assert " ft along the renewal" in page.inner_text("#window")


@pytest.mark.parametrize("name", ["screen", "stage"])
def test_maps_of_mains_are_printed_whole_and_shut_nobody_out(
    browser: Any, pages: dict[str, Path], tmp_path: Path, name: str
) -> None:
    with opened(browser, pages[f"{name}-metric"], "#worst li", width=390, height=844) as seen:
        page = seen.page
        assert page.get_attribute("html", "lang") == "en"
        assert barriers(page) == []
        page.click("#fold")
        assert barriers(page) == []
        page.locator("#worst button").first.click()
        assert page.get_attribute("#fold", "aria-expanded") == "false"
        page.pdf(path=tmp_path / "map.pdf", prefer_css_page_size=True)
        assert seen.complaints == []
    with pypdf.PdfReader(tmp_path / "map.pdf") as reader:
        assert len(reader.pages) == 1
        box, text = reader.pages[0].mediabox, " ".join(reader.pages[0].extract_text().split())
    assert (round(float(box.width) / 72 * 25.4), round(float(box.height) / 72 * 25.4)) == (420, 297)
    for words in ("licensed, competent people govern", "regulator station", "Scale about 1", "on A3"):
        assert words in text
