"""Arcs become straight lines within a tolerance, other kinds are findings; a file geodatabase reads as a GeoPackage."""

from __future__ import annotations

import json
import shutil
import sqlite3
import struct
import warnings
from collections.abc import Iterator
from pathlib import Path

import geopandas
import numpy as np
import pyarrow as pa
import pyogrio
import pytest
import shapely
from pyproj import CRS
from typer.testing import CliRunner

from netplan.cli.app import app
from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError
from netplan.network.raw_layers import as_objects
from netplan.readers import open_source, read_layers, read_network, write_layers
from netplan.readers.mapping.mapping_file import parse_mapping
from netplan.readers.sources.file_limits import UNLIMITED, FileLimits
from netplan.readers.sources.file_sources import GeodatabaseSource
from netplan.readers.sources.wkb_geometry import TOLERANCE_M, shapes_of_wkb, tolerance_in
from tests.own.test_cli import CRS as UTM
from tests.own.test_cli import X, Y, _layers

ARC, COMPOUND, CURVE_POLYGON, MULTI_CURVE, MULTI_SURFACE, COLLECTION = 8, 9, 10, 11, 12, 7
SURFACE, TIN, TRIANGLE = 15, 16, 17
Points = tuple[tuple[float, ...], ...]


def head(kind: int, order: str = "<") -> bytes:
    return (b"\x01" if order == "<" else b"\x00") + struct.pack(f"{order}I", kind)


def points(kind: int, *given: tuple[float, ...], order: str = "<") -> bytes:
    numbers = b"".join(struct.pack(f"{order}{len(one)}d", *one) for one in given)
    return head(kind, order) + struct.pack(f"{order}I", len(given)) + numbers


def several(kind: int, *parts: bytes, order: str = "<") -> bytes:
    return head(kind, order) + struct.pack(f"{order}I", len(parts)) + b"".join(parts)


def at(*given: tuple[float, ...]) -> tuple[tuple[float, ...], ...]:
    return tuple((X + x, Y + y, *rest) for x, y, *rest in given)


HALF = points(ARC, *at((0, 0), (100, 100), (200, 0)))
CIRCLE = points(ARC, *at((0, 0), (20, 0), (0, 0)))
BEND = several(COMPOUND, points(2, *at((-50, 0), (0, 0))), HALF, points(2, *at((200, 0), (200, -30))))
TRIANGLES = several(TIN, several(TRIANGLE, struct.pack("<I", 4) + struct.pack("<8d", 0, 0, 1, 0, 0, 1, 0, 0)))


def read(*blobs: bytes | None, crs: str | None = UTM) -> tuple[np.ndarray, list[bool], list[str]]:
    shapes, odd = shapes_of_wkb(pa.array(blobs, type=pa.binary()), None if crs is None else CRS(crs))
    if odd is None:
        return as_objects(shapes), [False] * len(blobs), [""] * len(blobs)
    return as_objects(shapes), odd.straightened.tolist(), odd.unread.tolist()


def off_the_circle(line: shapely.LineString, centre: tuple[float, float], radius: float) -> float:
    """Return the greatest distance of a line from a circle, by points set close together on it."""
    coords = shapely.get_coordinates(shapely.segmentize(line, radius / 5_000)) - np.array(centre)
    return float(np.abs(np.hypot(*coords.T) - radius).max())


def test_an_arc_keeps_to_its_circle_within_the_tolerance() -> None:
    (line,), curved, _ = read(HALF)
    assert curved == [True]
    assert TOLERANCE_M / 4 < off_the_circle(line, (X + 100, Y), 100.0) <= TOLERANCE_M
    coords = shapely.get_coordinates(line)
    assert [tuple(coords[0]), tuple(coords[-1])] == [(X, Y), (X + 200, Y)]
    assert (X + 100, Y + 100) in {tuple(one) for one in coords}
    assert line.length == pytest.approx(np.pi * 100, rel=1e-4)


@pytest.mark.parametrize("radius_m", [0.05, 1.0, 30.0, 5_000.0])
def test_the_tolerance_holds_for_every_radius_and_both_ways_round(radius_m: float) -> None:
    for turn in (1, -1):
        given = [(radius_m * np.cos(a), turn * radius_m * np.sin(a)) for a in (0.1, 0.2, 4.0)]
        (line,), _, _ = read(points(ARC, *given))
        assert off_the_circle(line, (0.0, 0.0), radius_m) <= TOLERANCE_M * 1.0001
        assert line.length == pytest.approx(3.9 * radius_m, rel=2e-2)


def test_every_kind_of_curve_becomes_its_straight_kind() -> None:
    ring = several(CURVE_POLYGON, CIRCLE)
    shapes, curved, unread = read(
        BEND, ring, several(MULTI_CURVE, BEND, points(2, *at((0, 0), (1, 1)))), several(MULTI_SURFACE, ring)
    )
    kinds = [shape.geom_type for shape in shapes]
    assert kinds == ["LineString", "Polygon", "MultiLineString", "MultiPolygon"]
    assert all(curved)
    assert not any(unread)
    assert shapes[0].length == pytest.approx(np.pi * 100 + 80, rel=1e-4)
    assert shapes[1].area == pytest.approx(np.pi * 100, rel=1e-3)
    assert shapes[1].is_valid
    first = shapely.get_coordinates(shapes[0])
    assert (np.hypot(*np.diff(first, axis=0).T) > 0).all()  # no vertex twice where parts meet


def test_heights_follow_the_arc_and_byte_order_does_not_matter() -> None:
    given = at((0, 0, 1.0), (100, 100, 2.0), (200, 0, 4.0))
    for kind in (1000 + ARC, 0x80000000 + ARC):
        for order in "<>":
            (line,), _, _ = read(points(kind, *given, order=order))
            z = shapely.get_coordinates(line, include_z=True)[:, 2]
            assert (z[0], z[-1]) == (1.0, 4.0)
            assert (np.diff(z) > 0).all()
    (measured,), _, _ = read(points(2000 + ARC, *given))
    assert not measured.has_z


def test_the_tolerance_is_one_of_metres_in_every_system() -> None:
    assert tolerance_in(CRS("EPSG:25832")) == TOLERANCE_M
    assert tolerance_in(CRS("EPSG:2263")) == pytest.approx(TOLERANCE_M * 3.2808333)
    assert tolerance_in(CRS("EPSG:4326")) * 111_320 == pytest.approx(TOLERANCE_M, rel=1e-3)
    assert tolerance_in(None) == TOLERANCE_M


def test_points_on_a_straight_line_stay_as_they_are() -> None:
    (line,), curved, _ = read(points(ARC, *at((0, 0), (50, 0), (200, 0))))
    assert line.equals_exact(shapely.LineString(at((0, 0), (50, 0), (200, 0))))
    assert curved == [True]


def test_other_kinds_and_broken_bytes_are_no_fault() -> None:
    nested = several(COLLECTION, *[HALF])
    for _ in range(40):
        nested = several(COLLECTION, nested)
    endless = head(ARC) + struct.pack("<I", 0xFFFFFFFF)
    needle = points(ARC, *at((0, 0), (1e9, 1e-9), (2e9, 1.0)))
    odd = [TRIANGLES, several(SURFACE), HALF[:40], nested, endless, points(ARC, *at((0, 0), (1, 1)))]
    shapes, _, unread = read(*odd, None, HALF, head(99) + b"\0\0\0\0", several(5, HALF), needle)
    assert unread[:2] == ["a TIN", "a polyhedral surface"]
    assert unread[8] == "of geometry type 99"
    assert [shape is None for shape in shapes[:10]] == [True] * 7 + [False, True, True]


def write(
    path: Path, driver: str, layer: str, blobs: list[bytes], kind: str = "Unknown", **columns: list[str]
) -> None:
    """Add a layer of any geometries to a file."""
    names = columns or {"id": [f"{layer}-{row}" for row in range(len(blobs))]}
    table = pa.table({**names, "geom": pa.array(blobs, type=pa.binary())})
    with warnings.catch_warnings(action="ignore"):  # a type that GDAL holds for unusual
        pyogrio.write_arrow(
            table,
            path,
            layer=layer,
            driver=driver,
            geometry_name="geom",
            geometry_type=kind,
            crs=UTM,
            append=path.exists(),
        )


def town(path: Path, main: bytes, *, kind: str = "Unknown") -> Path:
    """Write a street of which one main is drawn by `main`; the other layers are those of the command's tests."""
    driver = "OpenFileGDB" if path.suffix == ".gdb" else "GPKG"
    layers = _layers()
    mains = layers.pop("mains")
    held = {c: [*mains[c].tolist(), *mains[c].tolist()] for c in mains.columns if c != "geometry"}
    held["id"] = ["M1", "M2"]
    write(path, driver, "mains", [shapely.to_wkb(mains.geometry[0]), main], kind, **held)
    for name, frame in layers.items():
        frame.to_file(path, layer=name, driver=driver, engine="pyogrio", mode="w")
    return path


@pytest.mark.parametrize("name", ["street.gpkg", "street.gdb"])
def test_a_curved_main_is_checked_and_planned(tmp_path: Path, name: str) -> None:
    bend = several(MULTI_CURVE, several(COMPOUND, points(ARC, *at((200, 0), (250, 50), (300, 0)))))
    network = town(tmp_path / name, bend, kind="MultiLineString" if name.endswith("gdb") else "Unknown")
    result = CliRunner().invoke(app, ["check", str(network), "--json", str(tmp_path / "f.json")])
    assert result.exit_code == 0, result.output
    found = [f for f in json.loads((tmp_path / "f.json").read_text()) if f["code"] == "curve-straightened"]
    assert [(f["layer"], f["severity"], f["what"]) for f in found] == [
        ("mains", "note", "1 curve was straightened within 1 mm")
    ]
    joined = read_network(network)
    straight, bent = (float(joined.pipes.length_m[joined.pipes.id.find(main)]) for main in ("M1", "M2"))
    assert bent == pytest.approx(straight * np.pi / 4, abs=5e-3)
    out = tmp_path / "plan"
    work = ["--main", "M2", "--from", "70", "--to", "75", "--no-weather", "--no-papers", "--options", "1"]
    result = CliRunner().invoke(app, ["plan", str(network), *work, "--out", str(out)])
    assert result.exit_code in (0, 3), result.exception


def test_a_main_of_another_kind_is_named_and_stops_the_plan(tmp_path: Path) -> None:
    network = town(tmp_path / "street.gpkg", TRIANGLES)
    result = CliRunner().invoke(app, ["check", str(network), "--json", str(tmp_path / "f.json")])
    assert result.exit_code == 2 or isinstance(result.exception, BadInputError)
    found = [f for f in json.loads((tmp_path / "f.json").read_text()) if f["code"] == "unknown-geometry"]
    assert [(f["layer"], f["feature_id"], f["severity"]) for f in found] == [("mains", "M2", "error")]
    assert "is a TIN, which is not read; it is left out" in found[0]["what"]


@pytest.mark.parametrize(("layer", "is_base"), [("buildings", True), ("lamps", True), ("mains", False)])
def test_a_layer_declared_of_another_kind_hides_no_other(tmp_path: Path, layer: str, is_base: bool) -> None:
    network = write_layers(_layers(), tmp_path / "street.gpkg")
    if is_base:
        write(network, "GPKG", layer, [TRIANGLES])
    with sqlite3.connect(network) as database:
        database.execute(
            "update gpkg_geometry_columns set geometry_type_name = 'TIN' where table_name = ?", (layer,)
        )
    database.close()
    assert layer in open_source(network).layer_names()
    if not is_base:
        with pytest.raises(
            BadInputError, match="layer mains is a TIN, which is not read; export it with points"
        ):
            read_layers(network)
        return
    read_in = read_layers(network)
    assert len(read_in["mains"]) == 1
    assert [f.code for f in read_in.findings] == [
        "unknown-geometry" if layer == "buildings" else "layer-not-read"
    ]


def test_what_a_mapping_and_an_area_take_keeps_its_findings(tmp_path: Path) -> None:
    network = town(tmp_path / "street.gpkg", HALF)
    text = "".join(
        f'[[{layer}]]\nsource = "{layer}"\ncolumns = {{ id = "id" }}\n' for layer in ("mains", "services")
    )
    for where, count in (("", 1), ('where = [{ column = "id", is = "M1" }]\n', 0)):
        mapping = parse_mapping(
            text.replace('columns = { id = "id" }\n', f'{where}columns = {{ id = "id" }}\n', 1)
        )
        found = [f for f in read_layers(network, mapping=mapping).findings if f.code == "curve-straightened"]
        assert len(found) == count
    twice = parse_mapping(text + '[[mains]]\nsource = "mains"\ncolumns = { id = "id" }\n')
    (both,) = [f for f in read_layers(network, mapping=twice).findings if f.code == "curve-straightened"]
    assert both.what.startswith("2 curves were straightened")


@pytest.fixture(scope="module")
def geodatabase(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Write the sample town as a file geodatabase."""
    path = tmp_path_factory.mktemp("gdb") / "town.gdb"
    with warnings.catch_warnings(action="ignore"):  # whole numbers of 64 bits become floats there
        for name, _ in pyogrio.list_layers(sample_network()):
            frame = geopandas.read_file(sample_network(), layer=name)
            frame.to_file(path, layer=name, driver="OpenFileGDB", engine="pyogrio")
    yield path
    shutil.rmtree(path)


def test_a_file_geodatabase_gives_the_network_of_the_geopackage(geodatabase: Path) -> None:
    stored, native = read_network(geodatabase), read_network(sample_network())
    assert stored.content_sha256 == native.content_sha256
    assert stored.findings == native.findings
    assert stored.pipes.length_m.tolist() == native.pipes.length_m.tolist()
    assert stored.customers.priority_note == native.customers.priority_note
    assert {name: len(frame) for name, frame in stored.base.items()} == {
        name: len(frame) for name, frame in native.base.items()
    }


def test_a_plan_from_a_file_geodatabase_is_the_same(geodatabase: Path, tmp_path: Path) -> None:
    plans = []
    for network in (geodatabase, sample_network()):
        out = tmp_path / network.suffix[1:]
        work = ["--main", "M0017", "--from", "120", "--to", "126", "--no-weather", "--no-papers"]
        result = CliRunner().invoke(app, ["plan", str(network), *work, "--options", "1", "--out", str(out)])
        assert result.exit_code == 0, result.exception
        plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
        plan.pop("provenance")
        plans.append(plan)
    assert plans[0] == plans[1]


def test_a_geodatabase_is_read_by_area_kept_and_drafted(geodatabase: Path, tmp_path: Path) -> None:
    whole = read_layers(geodatabase)
    west, south, east, north = shapely.total_bounds(as_objects(whole["mains"].geometry))
    corner = shapely.box(west, south, (west + east) / 2, (south + north) / 2)
    window = geopandas.GeoSeries([corner], crs=whole["mains"].crs).to_crs(4326)[0]
    part, native = (read_layers(place, within=window) for place in (geodatabase, sample_network()))
    assert 0 < len(part["mains"]) < len(whole["mains"])
    assert set(part["mains"].columns["id"].to_pylist()) == set(native["mains"].columns["id"].to_pylist())
    first = read_network(geodatabase, cache=tmp_path / "kept")
    again = read_network(geodatabase, cache=tmp_path / "kept")
    assert again.content_sha256 == first.content_sha256
    assert len(list((tmp_path / "kept").iterdir())) == 1
    result = CliRunner().invoke(app, ["map-columns", str(geodatabase)])
    assert result.exit_code == 0
    assert 'source = "mains"' in result.output
    source = open_source(geodatabase)
    assert isinstance(source, GeodatabaseSource)
    assert next(iter(source.fields("mains"))).name == "OBJECTID"


def test_a_geodatabase_that_is_none_or_leads_elsewhere_is_refused(geodatabase: Path, tmp_path: Path) -> None:
    empty = tmp_path / "empty.gdb"
    empty.mkdir()
    copy = Path(shutil.copytree(geodatabase, tmp_path / "copy.gdb"))
    away = copy / "a00000009.gdbtable"
    shutil.move(away, tmp_path / "away")
    away.symlink_to(tmp_path / "away")
    broken = Path(shutil.copytree(geodatabase, tmp_path / "broken.gdb"))
    for file in broken.glob("*.gdbtable"):
        file.write_bytes(file.read_bytes()[:50])
    for place, says in (
        (empty, "is no file geodatabase inside"),
        (copy, "is a link out of its folder"),
        (broken, "cannot be read"),
    ):
        with pytest.raises(BadInputError, match=says):
            read_layers(place)
    with pytest.raises(BadInputError, match="more than the 1,000 expected"):
        open_source(geodatabase, FileLimits({".gdb": 1_000}, 10))
    with pytest.raises(BadInputError, match="features, more than the 10 expected"):
        read_layers(open_source(geodatabase, FileLimits({}, 10)))
    assert open_source(geodatabase, UNLIMITED).layer_names()
