"""How long the map takes: making the page for a network of 50,000 pieces, and opening it in a browser."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from netplan.outputs.layers import plan_layers
from netplan.outputs.map import plan_map
from tests.support.hamlet import CRS, ORIGIN
from tests.support.plans import hamlet_result

BLOCKS = 160


def _large_layers() -> dict[str, gpd.GeoDataFrame]:
    """Return the hamlet's layers in the middle of about 50,000 further mains."""
    layers = dict(plan_layers(hamlet_result()))
    rng = np.random.default_rng(11)
    x, y = np.meshgrid(np.arange(BLOCKS) * 45.0, np.arange(BLOCKS) * 45.0, indexing="ij")
    places = np.stack([x, y], axis=-1) + rng.normal(0, 6, (BLOCKS, BLOCKS, 2)) + ORIGIN - 3000
    east = np.stack([places[:-1], places[1:]], axis=2).reshape(-1, 2, 2)
    north = np.stack([places[:, :-1], places[:, 1:]], axis=2).reshape(-1, 2, 2)
    lines = np.asarray(shapely.linestrings(np.concatenate([east, north])))
    pipes = layers["pipes"]
    own = pipes[pipes["state"] == "live"].iloc[[0]].drop(columns="geometry")
    parts = [pipes]
    for option in (1, 2):
        rows = own.loc[own.index.repeat(len(lines))].assign(option=option, layer="mains", length_m=45.0)
        parts.append(gpd.GeoDataFrame(rows, geometry=lines, crs=CRS))
    layers["pipes"] = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), geometry="geometry", crs=CRS)
    return layers


@pytest.fixture(scope="module")
def layers() -> dict[str, gpd.GeoDataFrame]:
    return _large_layers()


def test_making_the_page(benchmark: Any, layers: dict[str, gpd.GeoDataFrame]) -> None:
    page = benchmark.pedantic(plan_map, args=(hamlet_result().plan, layers), rounds=1)
    assert len(page) < 6_000_000


@pytest.mark.browser
def test_opening_the_page(benchmark: Any, layers: dict[str, gpd.GeoDataFrame], tmp_path: Path) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("Chromium is not installed")
    path = tmp_path / "map.html"
    path.write_text(plan_map(hamlet_result().plan, layers, hamlet_result().states), encoding="utf-8")
    with sync_api.sync_playwright() as play:
        running = play.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--headless", "--disable-gpu"]
        )
        page = running.new_page(viewport={"width": 1440, "height": 900})

        def open_it() -> None:
            page.goto(path.as_uri())
            page.wait_for_selector("#layers input")
            page.screenshot(path=tmp_path / "map.png")

        benchmark.pedantic(open_it, rounds=2)
        running.close()
