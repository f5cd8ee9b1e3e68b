"""Styles stored in plan.gpkg show one option at a time, with names beside stops, feeds and houses."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely

from netplan.outputs.layers import plan_layers, write_layer_folders, write_layers
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from tests.support.command_line import run_command
from tests.support.plans import hamlet_result

LABELLED = {
    "stops": "stop_id",
    "bypasses": "bypass_id",
    "customers": "number",
    "excavations": "excavation_id",
    "gauges": "gauge_id",
    "purge_points": "point_id",
    "stations": "station_id",
    "streets": "name",
}
OGC = "{http://www.opengis.net/ogc}"
SLD = "{http://www.opengis.net/sld}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("styles")
    layers = plan_layers(hamlet_result())
    write_layers(layers, folder / "plan.gpkg")
    write_layer_folders(layers, folder, ("geoparquet", "geojson"))
    return folder


@pytest.fixture(scope="module")
def layers(folder: Path) -> dict[str, gpd.GeoDataFrame]:
    names = [name for name, _ in pyogrio.list_layers(folder / "plan.gpkg") if name != "layer_styles"]
    return {name: pyogrio.read_dataframe(folder / "plan.gpkg", layer=name) for name in names}


def styles(folder: Path) -> list[tuple[str, str, str, str, int]]:
    with closing(sqlite3.connect(folder / "plan.gpkg")) as database:
        return database.execute(
            "SELECT f_table_name, styleName, styleQML, styleSLD, useAsDefault FROM layer_styles"
        ).fetchall()


def rows_by_desktop(xml: str, rows: pd.DataFrame) -> set[int]:
    """Return the places of the rows that the rules of a desktop style draw."""
    found: set[int] = set()
    rules = list(ET.fromstring(xml).iterfind("renderer-v2/rules/rule"))
    assert rules
    for rule in rules:
        shown = pd.Series(data=True, index=rows.index)
        for part in filter(None, rule.get("filter", "").split(" AND ")):
            match = re.fullmatch(r"\"(\w+)\" = '?([^']*?)'?", part)
            assert match is not None, part
            shown &= rows[match[1]].astype(str) == match[2]
        found |= set(rows.index[shown])
    return found


def rows_by_sld(xml: str, rows: pd.DataFrame) -> set[int]:
    """Return the places of the rows that the symbols of an SLD draw."""
    found: set[int] = set()
    for rule in ET.fromstring(xml).iter(f"{SLD}Rule"):
        if rule.find(f"{SLD}TextSymbolizer") is not None:
            continue
        shown = pd.Series(data=True, index=rows.index)
        for equal in rule.iter(f"{OGC}PropertyIsEqualTo"):
            column, value = (equal.findtext(f"{OGC}{tag}", "") for tag in ("PropertyName", "Literal"))
            shown &= rows[column].astype(str) == value
        found |= set(rows.index[shown])
    return found


def of_options(folder: Path, layers: dict[str, gpd.GeoDataFrame]) -> Iterator[tuple[str, int, str, str, int]]:
    for layer, name, xml, sld, default in styles(folder):
        if "option" in layers[layer]:
            yield layer, int(name.removeprefix("option ")), xml, sld, default


def test_each_style_draws_the_rows_of_its_option_alone(
    folder: Path, layers: dict[str, gpd.GeoDataFrame]
) -> None:
    column = {"pipes": "state", "customers": "effect", "stops": "kind", "as_built_fittings": "kind"}
    seen: dict[str, list[int]] = {}
    for layer, rank, xml, sld, default in of_options(folder, layers):
        rows = layers[layer]
        wanted = rows[rows["option"] == rank]
        if layer in column:
            wanted = wanted[wanted[column[layer]].fillna("") != ""]
        assert rows_by_desktop(xml, rows) == set(wanted.index), (layer, rank)
        assert rows_by_sld(sld, rows) == set(wanted.index), (layer, rank)
        assert bool(default) == (rank == 1)
        seen.setdefault(layer, []).append(rank)
    assert set(seen) >= set(LABELLED) - {"streets"}
    assert all(ranks == [1, 2] for ranks in seen.values()), seen


def test_every_layer_with_a_geometry_has_one_default_style(
    folder: Path, layers: dict[str, gpd.GeoDataFrame]
) -> None:
    defaults = [layer for layer, _, _, _, default in styles(folder) if default]
    assert sorted(defaults) == sorted(set(layers) - {"conditions"})


def test_names_stand_beside_stops_feeds_and_houses(folder: Path) -> None:
    labels = 0
    for layer, name, xml, sld, _ in styles(folder):
        root = ET.fromstring(xml)
        rule = root.find("labeling/rules/rule")
        text = ET.fromstring(sld).find(f".//{SLD}TextSymbolizer/{SLD}Label/{OGC}PropertyName")
        column = LABELLED.get(layer)
        if column is None:
            continue
        assert rule is not None, layer
        assert rule.find("settings/text-style[@fieldName]") is not None
        assert rule.find("settings/text-style").get("fieldName") == column  # type: ignore[union-attr]
        assert text is not None, layer
        assert text.text == column
        assert root.get("labelsEnabled") == "1"
        if name != "plan":
            assert rule.get("filter") == f'"option" = {name.removeprefix("option ")}'
        labels += 1
    assert labels == 2 * (len(LABELLED) - 1) + 1


def test_folders_of_open_formats_hold_the_same_rows(
    folder: Path, layers: dict[str, gpd.GeoDataFrame]
) -> None:
    assert len(layers) > 15
    for name, rows in layers.items():
        parquet, geojson = (
            folder / f"layers_geoparquet/{name}.parquet",
            folder / f"layers_geojson/{name}.geojson",
        )
        degrees = pyogrio.read_dataframe(geojson)
        assert len(degrees) == len(rows)
        if not isinstance(rows, gpd.GeoDataFrame):
            pd.testing.assert_frame_equal(pd.read_parquet(parquet), pd.DataFrame(rows), check_dtype=False)
            continue
        metres = gpd.read_parquet(parquet)
        assert metres.crs == rows.crs
        assert list(metres.columns) == list(rows.columns)
        assert metres.geometry.geom_equals(rows.geometry).all()
        if len(rows):
            assert set(degrees.columns) == set(rows.columns)
            apart_m = degrees.to_crs(rows.crs).geometry.distance(rows.geometry)
            assert apart_m.max() < 0.02, name
            assert degrees.total_bounds[0] > -180.0


def test_geoparquet_is_read_by_its_boxes(folder: Path, layers: dict[str, gpd.GeoDataFrame]) -> None:
    pipes = layers["pipes"]
    box = tuple(shapely.box(*layers["stops"].total_bounds).buffer(1.0).bounds)
    near = gpd.read_parquet(folder / "layers_geoparquet/pipes.parquet", bbox=box)
    bounds = pipes.geometry.bounds
    touching = pipes[
        (bounds.minx <= box[2]) & (bounds.maxx >= box[0]) & (bounds.miny <= box[3]) & (bounds.maxy >= box[1])
    ]
    assert 0 < len(near) == len(touching) < len(pipes)


def test_a_plan_and_its_papers_take_them_along_or_refuse_a_format(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    choices = Choices(papers=False, layers=("geojson",))
    plan = write_plan_folder(hamlet_result(), tmp_path / "plan", choices=choices)
    first = {path.name: path.read_bytes() for path in (plan / "layers_geojson").iterdir()}
    assert len(first) > 15
    assert not (plan / "layers_geoparquet").exists()
    assert run_command("papers", plan, "--out", tmp_path / "again", "--layers", "geojson") == 0
    again = {path.name: path.read_bytes() for path in (tmp_path / "again/layers_geojson").iterdir()}
    assert again == first
    capsys.readouterr()
    assert run_command("papers", plan, "--out", tmp_path / "no", "--layers", "shapefile") == 2
    assert (
        "--layers: 'shapefile' is no format of layers; write geoparquet or geojson" in capsys.readouterr().err
    )
    assert not (tmp_path / "no").exists()
