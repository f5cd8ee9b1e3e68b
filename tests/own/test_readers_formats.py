"""The same network in every format, and files that cannot be read."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import geopandas
import pandas as pd
import pytest
from shapely import box

from netplan.core.errors import BadInputError, BadNetworkError
from netplan.network.build import build_network
from netplan.readers import open_source, read_layers, read_network, write_layers
from tests.support.networks import (
    customer,
    fitting,
    injection,
    keep_out,
    layers,
    main,
    sensing_point,
    service,
    station,
    valve,
)

Layers = dict[str, geopandas.GeoDataFrame]


def town(**changes: Any) -> Layers:
    rows: dict[str, Any] = {
        "mains": [
            main("M2", (0, 0), (60.12345, 0), (60.12345, 40), street="Elm Bow", record_date="2019-03-01"),
            main("M1", (0, 0), (0, -80.5), od_mm=63, year=1988, mop_mbar=75, depth_m=0.85, resin="XY 23"),
        ],
        "services": [service("S1", (30, 0), (30, 8), excess_flow_valve="yes")],
        "customers": [
            customer(
                "C1",
                (30, 8),
                service_id="S1",
                street="Elm Bow",
                priority="school",
                priority_note="Größe – äöü",
                postcode="01234",
            )
        ],
        "regulators": [station("R1", (0, 0), capacity_m3h=400.5)],
        "sensing_points": [sensing_point("R1", (5, 0))],
        "valves": [valve("V1", (50, 0))],
        "fittings": [fitting("F1", (10, 0), "tapping_tee")],
        "injections": [injection("I1", (0, -80.5))],
        "keep_out": [keep_out("river", (5, 5), (9, 5), (9, 9))],
        **changes,
    }
    return layers(**rows)


FORMATS = [("t.gpkg", "parquet"), ("p", "parquet"), ("g", "geojson"), ("s", "shp")]


@pytest.mark.parametrize(("name", "file_format"), FORMATS)
def test_every_format_gives_the_same_network(tmp_path: Path, name: str, file_format: str) -> None:
    memory = build_network(town())
    network = read_network(write_layers(town(), tmp_path / name, file_format))
    assert network.content_sha256 == memory.content_sha256
    assert network.pipes.id == memory.pipes.id
    assert network.pipes.record_date == memory.pipes.record_date
    assert network.customers.priority_note[0] == "Größe – äöü"
    assert network.customers.postcode[0] == "01234"
    assert network.pipes.length_m.tolist() == memory.pipes.length_m.tolist()
    assert network.recorded == memory.recorded
    of_files = ("column-absent", "layer-absent")  # of layers in memory nobody says what they lack
    assert tuple(one for one in network.findings if one.code not in of_files) == memory.findings


@pytest.mark.parametrize(("name", "file_format"), FORMATS[:3])
def test_geographic_layers_agree_between_formats(tmp_path: Path, name: str, file_format: str) -> None:
    moved = {layer: frame.to_crs(4326) for layer, frame in town().items()}
    memory = build_network(moved)
    network = read_network(write_layers(moved, tmp_path / name, file_format))
    assert network.content_sha256 == memory.content_sha256
    assert network.crs == "EPSG:32632"


def test_the_digest_ignores_order_and_sees_every_change() -> None:
    digest = build_network(town()).content_sha256
    turned = {layer: frame.iloc[::-1] for layer, frame in town().items()}
    assert build_network(turned).content_sha256 == digest
    changes = 0
    for layer, frame in town().items():
        for column in frame.columns:
            if column == "geometry":
                changed = frame.assign(geometry=frame.translate(0.001, 0))
            elif pd.api.types.is_numeric_dtype(frame[column]):
                changed = frame.assign(**{column: frame[column] + 0.5})
            else:
                continue
            assert build_network({**town(), layer: changed}).content_sha256 != digest, (layer, column)
            changes += 1
    assert changes == 20
    renamed = town(mains=[main("M2", (0, 0), (60.12345, 0), (60.12345, 40)), main("M1", (0, 0), (0, -80.5))])
    assert build_network(renamed).content_sha256 != digest


def test_the_digest_sees_the_base_map_in_any_order() -> None:
    houses = geopandas.GeoDataFrame(
        {"name": ["a", "b"]}, geometry=[box(10, 5, 20, 12), box(30, 5, 41, 12)], crs=town()["mains"].crs
    )
    bare, built = (build_network(town() | more).content_sha256 for more in ({}, {"buildings": houses}))
    turned = houses.iloc[::-1].assign(name="c")
    moved = houses.assign(geometry=houses.translate(0.002, 0))
    assert built != bare
    assert build_network(town() | {"buildings": turned}).content_sha256 == built
    assert build_network(town() | {"water": houses}).content_sha256 != built
    assert build_network(town() | {"buildings": moved}).content_sha256 != built


def test_ids_that_are_numbers_are_text(tmp_path: Path) -> None:
    frames = town()
    frames["mains"] = frames["mains"].assign(id=[2.0, 1.0])
    network = read_network(write_layers(frames, tmp_path / "t.gpkg"))
    assert list(network.pipes.id)[:2] == ["1", "2"]


def test_shapefile_columns_are_known_again(tmp_path: Path) -> None:
    raw = read_layers(write_layers(town(), tmp_path / "s", "shp"))
    assert {"priority", "priority_note", "service_id", "annual_kwh"} <= set(
        raw["customers"].columns.column_names
    )
    assert {"max_outlet_mbar", "outlet_mbar", "capacity_m3h"} <= set(raw["regulators"].columns.column_names)


def test_other_layers_columns_and_files_are_left_alone(tmp_path: Path) -> None:
    frames = town()
    frames["mains"] = frames["mains"].assign(colour="blue")
    place = write_layers(frames, tmp_path / "p")
    (place / "notes.txt").write_text("x", encoding="utf-8")
    frames["valves"].to_parquet(place / "lamps.parquet")
    raw = read_layers(place)
    assert "lamps" not in raw
    assert "colour" not in raw["mains"].columns.column_names


def test_base_layers_come_along(tmp_path: Path) -> None:
    frames = town()
    frames["streets"] = frames["mains"][["street", "geometry"]].rename(columns={"street": "name"})
    network = read_network(write_layers(frames, tmp_path / "t.gpkg"))
    assert list(network.base["streets"]["name"]) == ["Elm Bow", ""]
    assert network.base["streets"].crs.to_epsg() == 31467


def _broken_gpkg(path: Path) -> Path:
    whole = write_layers(town(), path / "whole.gpkg").read_bytes()
    (path / "cut.gpkg").write_bytes(whole[: len(whole) // 3])
    return path / "cut.gpkg"


def _text_gpkg(path: Path) -> Path:
    (path / "t.gpkg").write_text("no database", encoding="utf-8")
    return path / "t.gpkg"


def _other_database(path: Path) -> Path:
    with sqlite3.connect(path / "o.gpkg") as connection:
        connection.execute("create table mains (id text)")
    connection.close()
    return path / "o.gpkg"


def _empty_folder(path: Path) -> Path:
    (path / "empty").mkdir()
    return path / "empty"


def _double_layer(path: Path) -> Path:
    place = write_layers(town(), path / "d", "geojson")
    town()["mains"].to_parquet(place / "mains.parquet")
    return place


def _file(name: str, content: bytes) -> Any:
    def make(path: Path) -> Path:
        place = write_layers(town(), path / "f", "parquet")
        (place / "mains.parquet").unlink()
        (place / name).write_bytes(content)
        return place

    return make


def _plain_parquet(path: Path) -> Path:
    place = write_layers(town(), path / "q", "parquet")
    pd.DataFrame({"id": ["A"]}).to_parquet(place / "mains.parquet")
    return place


def _other_type(path: Path) -> Path:
    (path / "x.csv").write_text("id", encoding="utf-8")
    return path / "x.csv"


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda path: path / "nothing", "no such file or folder"),
        (_broken_gpkg, "cannot be read"),
        (_text_gpkg, "cannot be read"),
        (_other_database, r"cannot be read|no geometry|holds no layer"),
        (_empty_folder, "holds no layers"),
        (_double_layer, r"layer mains stands in mains\.geojson and mains\.parquet"),
        (_file("mains.parquet", b"PAR1 but not really"), "cannot be read as GeoParquet"),
        (_file("mains.geojson", b"{"), "cannot be read"),
        (_file("mains.geojson", b"[1, 2]"), "cannot be read"),
        (_file("mains.shp", b"\x00" * 50), "cannot be read"),
        (_plain_parquet, "Parquet without geometry"),
        (_other_type, "is no GeoPackage"),
    ],
)
def test_what_cannot_be_read_gives_one_line(tmp_path: Path, make: Any, match: str) -> None:
    with pytest.raises(BadInputError, match=match) as caught:
        read_network(make(tmp_path))
    assert "\n" not in str(caught.value)


def test_a_geojson_without_crs_member_is_geographic(tmp_path: Path) -> None:
    place = write_layers({n: f.to_crs(4326) for n, f in town().items()}, tmp_path / "g", "geojson")
    for file in place.iterdir():
        content = json.loads(file.read_text(encoding="utf-8"))
        content.pop("crs", None)
        file.write_text(json.dumps(content), encoding="utf-8")
    assert read_network(place).crs == "EPSG:32632"


def test_a_shapefile_without_projection_file_stops(tmp_path: Path) -> None:
    place = write_layers(town(), tmp_path / "s", "shp")
    (place / "valves.prj").unlink()
    with pytest.raises(BadNetworkError, match="layer valves has no coordinate reference system"):
        read_network(place)


def test_writing_refuses_what_it_cannot_do(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="exists already"):
        write_layers(town(), tmp_path)
    with pytest.raises(BadInputError, match="layer lamps is not in the input contract"):
        write_layers({"lamps": town()["mains"]}, tmp_path / "x")
    with pytest.raises(BadInputError, match="file format kml is not known"):
        write_layers(town(), tmp_path / "x", "kml")


@pytest.mark.parametrize(("name", "file_format"), FORMATS)
def test_a_window_reads_what_touches_it(tmp_path: Path, name: str, file_format: str) -> None:
    place = write_layers(town(), tmp_path / name, file_format)
    whole = read_layers(place)
    end = town()["mains"].set_index("id").geometry["M1"].interpolate(60).buffer(5)
    corner = geopandas.GeoSeries([end], crs=whole["mains"].crs).to_crs(4326)[0]
    part = read_layers(place, within=corner)
    assert part["mains"].columns["id"].to_pylist() == ["M1"]
    assert len(part["services"]) == 0
    assert part["mains"].crs == whole["mains"].crs
    everywhere = read_layers(place, within=box(-179, -89, 179, 89))
    assert [len(everywhere[layer]) for layer in everywhere.layers] == [
        len(whole[layer]) for layer in whole.layers
    ]


def test_a_source_reads_only_the_columns_it_is_asked_for(tmp_path: Path) -> None:
    for name, file_format in FORMATS:
        source = open_source(write_layers(town(), tmp_path / name, file_format))
        assert source.layer_names() == tuple(sorted(town()))
        fields = {field.name: field.kind for field in source.fields("mains")}
        assert (fields["id"], fields["od_mm"]) == ("text", "number")
        raw = source.read("mains", ["od_mm"])
        assert raw.columns.column_names == ["od_mm"]
        assert len(source.read("mains", [])) == 2


def test_a_key_of_a_geopackage_is_a_column(tmp_path: Path) -> None:
    frame = town()["mains"].drop(columns="id")
    frame.to_file(tmp_path / "t.gpkg", layer="mains", FID="id")
    raw = read_layers(tmp_path / "t.gpkg")
    assert raw["mains"].columns["id"].to_pylist() == [1, 2]
