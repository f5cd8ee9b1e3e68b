"""Layers and columns whose names are near those of the contract: read where that is sure, told in any case."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas
import pytest
from typer.testing import CliRunner

from netplan.cli.app import app
from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError, BadNetworkError
from netplan.core.findings import Finding, Severity
from netplan.network.build import build_network
from netplan.network.contract import layer_specs
from netplan.readers import open_source, read_layers, read_network, write_layers
from netplan.readers.name_matching import similar_column, similar_layer
from tests.support import postgis_server
from tests.support.postgis_server import Server, store
from tests.support.small_town import small_town

Layers = dict[str, geopandas.GeoDataFrame]
WORK = ["--main", "M0", "--from", "60", "--to", "64", "--no-weather", "--no-papers", "--options", "1"]
RECASED = {"valves": "Valves", "keep_out": "Keep_Out", "sensing_points": "SENSING_POINTS"}
COLUMNS = {
    "customers": {"priority": "Priority", "service_id": "Service_ID"},
    "mains": {"status": "Status", "system": "SYSTEM", "od_mm": "OD_mm"},
    "valves": {"state": "State"},
}


def town() -> Layers:
    """Return a town with a care home, a dead main and one of another system in the street, and a shut valve."""
    frames = small_town()
    mains = frames["mains"]
    names = mains["id"].tolist()
    frames["mains"] = mains.assign(
        status=["abandoned" if name == "M9" else "live" for name in names],
        system=["MP" if name == "M2" else "LP" for name in names],
    )
    return frames


def as_gpkg(frames: Layers, place: Path) -> Path:
    for name, frame in frames.items():
        frame.to_file(place / "town.gpkg", layer=name, engine="pyogrio")
    return place / "town.gpkg"


def as_parquet(frames: Layers, place: Path) -> Path:
    for name, frame in frames.items():
        frame.to_parquet(place / f"{name}.parquet", index=False)
    return place


def as_geojson(frames: Layers, place: Path) -> Path:
    for name, frame in frames.items():
        frame.to_file(place / f"{name}.geojson", engine="pyogrio", COORDINATE_PRECISION=6)
    return place


def as_shapefiles(frames: Layers, place: Path) -> Path:
    for name, frame in frames.items():
        short = frame.rename(columns={c: c[:10] for c in frame.columns if c != "geometry"})
        short.to_file(place / f"{name}.shp", engine="pyogrio")
    return place


Writer = Callable[[Layers, Path], Path]
WRITERS: list[Writer] = [as_gpkg, as_parquet, as_geojson]


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    with postgis_server.postgis_server() as running:
        yield running


def renamed(frames: Layers, layers: dict[str, str], columns: dict[str, dict[str, str]]) -> Layers:
    return {
        layers.get(name, name): frame.rename(columns=columns.get(name, {})) for name, frame in frames.items()
    }


def told(findings: tuple[Finding, ...], code: str) -> list[Finding]:
    return [finding for finding in findings if finding.code == code]


def said(findings: tuple[Finding, ...], code: str) -> str:
    return " | ".join(finding.what for finding in told(findings, code))


@pytest.mark.parametrize("write", WRITERS)
def test_names_in_another_case_are_read_and_told(tmp_path: Path, write: Writer) -> None:
    network = read_network(write(renamed(town(), RECASED, COLUMNS), tmp_path))
    native = build_network(town())
    assert network.content_sha256 == native.content_sha256
    assert network.recorded == native.recorded
    words = said(network.findings, "read-as")
    for layer, name in RECASED.items():
        assert f"layer {name} read as {layer}" in words
    for pairs in COLUMNS.values():
        for column, name in pairs.items():
            assert f"column {name} read as {column}" in words
    assert not told(network.findings, "column-not-read")
    assert not told(network.findings, "layer-not-read")


def test_names_in_another_case_are_read_from_a_database(server: Server) -> None:
    store(server, "recased", renamed(town(), RECASED, COLUMNS))
    network = read_network(server.url(schema="recased"))
    assert network.content_sha256 == build_network(town()).content_sha256
    assert "column Priority read as priority" in said(network.findings, "read-as")
    assert "layer Valves read as valves" in said(network.findings, "read-as")


def test_shapefiles_in_capitals_are_read_as_ever(tmp_path: Path) -> None:
    capitals = {
        name: {c: c.upper() for c in frame.columns if c != "geometry"} for name, frame in town().items()
    }
    network = read_network(as_shapefiles(renamed(town(), {}, capitals), tmp_path))
    assert network.content_sha256 == build_network(town()).content_sha256
    told_of_files = ("column-absent", "layer-absent")
    of_layers = tuple(finding for finding in network.findings if finding.code not in told_of_files)
    assert of_layers == build_network(town()).findings


def planned(network: Path, out: Path) -> tuple[dict[str, Any], str]:
    result = CliRunner().invoke(app, ["plan", str(network), *WORK, "--out", str(out)])
    assert result.exit_code == 0, result.output
    plan: dict[str, Any] = json.loads((out / "plan.json").read_bytes())
    del plan["provenance"]
    return plan, " ".join(result.output.split())


def test_the_plan_is_the_same_whatever_the_case_and_says_what_it_read(tmp_path: Path) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "other").mkdir()
    frames = small_town()
    native, _ = planned(as_gpkg(frames, tmp_path / "own"), tmp_path / "a")
    other = renamed(frames, RECASED, COLUMNS)
    other["customers"]["colour"] = "green"
    other["lamps"] = frames["fittings"]
    plan, screen = planned(as_gpkg(other, tmp_path / "other"), tmp_path / "b")
    rows = [row for row in plan.pop("findings") if row not in native["findings"]]
    del native["findings"]
    assert plan == native
    assert sorted({row["code"] for row in rows}) == ["column-not-read", "layer-not-read", "read-as"]
    for words in (
        "column Priority read as priority",
        "layer Valves read as valves",
        "lamps (2 features)",
        "colour",
    ):
        assert words in screen
        assert any(words in row["what"] for row in rows)


def test_check_prints_names_and_stops_for_ambiguous_ones(tmp_path: Path) -> None:
    frames = town()
    frames["customers"] = frames["customers"].assign(PRIORITY="").rename(columns={"priority": "Priority"})
    place = as_parquet(frames, tmp_path)
    found = tmp_path / "found.json"
    result = CliRunner().invoke(app, ["check", str(place), "--json", str(found)])
    assert isinstance(result.exception, BadNetworkError)
    assert result.exception.exit_code == 2
    rows = json.loads(found.read_text(encoding="utf-8"))
    [row] = [row for row in rows if row["code"] == "ambiguous-name"]
    assert (row["layer"], row["severity"]) == ("customers", "error")
    assert "PRIORITY and Priority" in row["what"]
    with pytest.raises(BadNetworkError, match="PRIORITY and Priority"):
        read_network(place)


def test_the_exact_column_wins_and_the_other_is_told(tmp_path: Path) -> None:
    frames = town()
    frames["customers"] = frames["customers"].assign(Priority="hospital")
    network = read_network(as_parquet(frames, tmp_path))
    assert network.content_sha256 == build_network(town()).content_sha256
    [finding] = told(network.findings, "column-not-read")
    count = len(frames["customers"])
    assert finding.severity is Severity.WARNING
    assert finding.what == f"column Priority was not read ({count} features); it looks like priority"


def test_a_second_column_of_priorities_is_a_warning_whatever_it_is_called(tmp_path: Path) -> None:
    frames = town()
    frames["customers"] = frames["customers"].assign(Prio2="x", care_code="y", street_2="z", Owner="o")
    found = told(read_layers(as_parquet(frames, tmp_path)).findings, "column-not-read")
    warned = [f.what.split()[1] for f in found if f.severity is Severity.WARNING]
    assert warned == ["Prio2", "care_code", "street_2"]


def test_the_exact_layer_wins_and_two_others_are_an_error(tmp_path: Path) -> None:
    frames = town()
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    both = read_network(as_parquet({**frames, "Mains": frames["mains"].iloc[:2]}, tmp_path / "a"))
    assert both.content_sha256 == build_network(town()).content_sha256
    assert "layer Mains (2 features) was not read; it looks like mains" in said(
        both.findings, "layer-not-read"
    )
    others = {"MAINS": frames["mains"], "Mains": frames.pop("mains"), **frames}
    with pytest.raises(BadNetworkError, match="MAINS and Mains could all be mains"):
        read_network(as_parquet(others, tmp_path / "b"))


NEAR_COLUMNS = [
    ("customers", "priority", "prio"),
    ("customers", "priority", "critical_code"),
    ("customers", "priority", "Prio2"),
    ("customers", "priority", "PRIO_CODE"),
    ("customers", "priority", "prioritty"),
    ("customers", "priority", "priority "),
    ("customers", "service_id", "service-id"),
    ("customers", "service_id", "Service Ids"),
    ("mains", "status", "service_state"),
    ("mains", "status", "State"),
    ("mains", "system", "pressure_tier"),
    ("valves", "operable", "Operability"),
    ("regulators", "max_outlet_mbar", "relief_set"),
]


@pytest.mark.parametrize(("layer", "column", "name"), NEAR_COLUMNS)
def test_a_column_near_one_of_the_contract_is_a_warning(
    tmp_path: Path, layer: str, column: str, name: str
) -> None:
    frames = town()
    count = len(frames[layer])
    place = as_parquet(renamed(frames, {}, {layer: {column: name}}), tmp_path)
    [finding] = [f for f in told(read_layers(place).findings, "column-not-read") if f.layer == layer]
    assert finding.severity is Severity.WARNING
    shown = name.strip()
    assert finding.what == f"column {shown} was not read ({count} features); it looks like {column}"


NEAR_LAYERS = [
    ("valves", "valve"),
    ("valves", "Valves_2"),
    ("valves", "Schieber"),
    ("keep_out", "keepout"),
    ("sensing_points", "sensing-points"),
    ("injections", "Injection 1"),
    ("services", "laterals"),
]


@pytest.mark.parametrize("write", [*WRITERS, as_shapefiles])
@pytest.mark.parametrize(("layer", "name"), NEAR_LAYERS)
def test_a_layer_near_one_of_the_contract_is_a_warning(
    tmp_path: Path, write: Writer, layer: str, name: str
) -> None:
    frames = town()
    count = len(frames[layer])
    place = write(renamed(frames, {layer: name}, {}), tmp_path)
    [finding] = told(read_layers(place).findings, "layer-not-read")
    assert (finding.severity, finding.layer) == (Severity.WARNING, layer)
    features = "1 feature" if count == 1 else f"{count} features"
    assert finding.what == f"layer {name} ({features}) was not read; it looks like {layer}"


def test_districts_are_told_by_name_and_count_never_dropped_in_silence(tmp_path: Path) -> None:
    frames = town()
    customers = frames["customers"]
    frames["customers"], frames["customers_2"] = customers.iloc[:9], customers.iloc[9:]
    place = as_geojson(frames, tmp_path)
    customers.iloc[9:].drop(columns="geometry").to_csv(place / "customers_3.csv")
    (place / "north").mkdir()
    customers.iloc[:1].to_parquet(place / "north" / "customers.parquet", index=False)
    (place / "notes.txt").write_text("x", encoding="utf-8")
    words = said(read_network(place).findings, "layer-not-read")
    left = len(customers) - 9
    assert f"layer customers_2 ({left} features) was not read; it looks like customers" in words
    assert "file customers_3.csv was not read; it looks like customers" in words
    assert "file north/customers.parquet was not read; it looks like customers" in words
    assert "notes" not in words


def test_the_database_tells_tables_that_are_not_read(server: Server) -> None:
    frames = town()
    frames["customers_2"] = frames["customers"].iloc[:4]
    frames["lamps"] = frames["fittings"]
    store(server, "districts", frames)
    with server.as_owner() as connection:
        connection.execute(
            "CREATE VIEW districts.broken AS SELECT 1/(length(id)-length(id)) AS x, geom FROM districts.valves"
        )
        connection.execute("GRANT SELECT ON districts.broken TO reader")
    network = read_network(server.url(schema="districts"))
    assert network.content_sha256 == build_network(town()).content_sha256
    words = said(network.findings, "layer-not-read")
    assert "layer customers_2 (4 features) was not read; it looks like customers" in words
    assert "lamps (2 features)" in words
    assert "broken" in words


def test_a_missing_layer_names_what_looks_like_it(tmp_path: Path) -> None:
    place = as_gpkg(renamed(town(), {"mains": "gas mains 2"}, {}), tmp_path)
    with pytest.raises(
        BadNetworkError, match=r"no layer mains \(layer gas mains 2 \(5 features\) was not read"
    ):
        read_network(place)
    other = {"Main": town()["mains"]}
    (tmp_path / "b").mkdir()
    with pytest.raises(BadInputError, match=r"Main .5 features. was not read; it looks like mains"):
        read_network(as_gpkg(other, tmp_path / "b"))


def test_columns_that_say_nothing_are_one_note_and_keys_of_a_database_none(tmp_path: Path) -> None:
    frames = town()
    plain = read_layers(as_gpkg(frames, tmp_path))
    assert plain.findings == ()
    frames["mains"] = frames["mains"].assign(colour="blue", OBJECTID=1, Shape_Length=2.0, Owner="x", area="y")
    (tmp_path / "b").mkdir()
    [finding] = read_layers(as_parquet(frames, tmp_path / "b")).findings
    assert (finding.code, finding.severity) == ("column-not-read", Severity.NOTE)
    assert finding.what == "columns not read (5 features): Owner, area, colour"


def test_hostile_names_stay_in_one_line(tmp_path: Path) -> None:
    frames = town()
    frames["mains"] = frames["mains"].assign(**{"a\nb\x1b[31m" + "x" * 200: 1})
    [finding] = read_layers(as_parquet(frames, tmp_path)).findings
    assert finding.what.isprintable()
    assert len(finding.line()) < 250


@pytest.mark.parametrize("write", WRITERS)
def test_findings_are_the_same_from_the_cache(tmp_path: Path, write: Writer) -> None:
    (tmp_path / "data").mkdir()
    place = write(
        {**renamed(town(), RECASED, COLUMNS), "customers_2": town()["customers"]}, tmp_path / "data"
    )
    first = read_network(place, cache=tmp_path / "kept")
    again = read_network(place, cache=tmp_path / "kept")
    assert first.findings == again.findings
    assert told(again.findings, "read-as")
    assert told(again.findings, "layer-not-read")


def test_a_cache_sees_a_file_that_comes_or_goes(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    place = as_parquet(town(), tmp_path / "data")
    assert not told(read_network(place, cache=tmp_path / "kept").findings, "layer-not-read")
    (place / "customers_2.csv").write_text("id\n", encoding="utf-8")
    assert told(read_network(place, cache=tmp_path / "kept").findings, "layer-not-read")


def test_a_cache_sees_a_table_of_the_database_that_grows(server: Server, tmp_path: Path) -> None:
    store(server, "growing", {**town(), "customers_2": town()["customers"].iloc[:3]})
    url = server.url(schema="growing")
    assert "(3 features)" in said(read_network(url, cache=tmp_path).findings, "layer-not-read")
    with server.as_owner() as connection:
        connection.execute("INSERT INTO growing.customers_2 SELECT * FROM growing.customers_2")
    assert "(6 features)" in said(read_network(url, cache=tmp_path).findings, "layer-not-read")


def test_no_name_of_the_contract_looks_like_another_one() -> None:
    specs = layer_specs()
    assert len(specs) == 13
    for name, spec in specs.items():
        assert similar_layer(name) == name
        for column in spec.columns:
            assert similar_column(column.name, spec, ()) == column.name


@pytest.mark.parametrize(
    "name", ["domain", "findings", "country", "contours", "trees", "layer_styles", "parcels"]
)
def test_names_of_other_things_are_near_none(name: str) -> None:
    assert similar_layer(name) == ""


def test_write_layers_gives_no_finding(tmp_path: Path) -> None:
    for name, kind in (("t.gpkg", "parquet"), ("p", "parquet"), ("g", "geojson"), ("s", "shp")):
        assert read_layers(write_layers(town(), tmp_path / name, kind)).findings == ()


def test_the_sample_town_in_capitals_is_the_sample_town(tmp_path: Path) -> None:
    native = read_network(sample_network())
    source = open_source(sample_network())
    for name in source.layer_names():
        frame = geopandas.read_file(sample_network(), layer=name, engine="pyogrio")
        capitals = {c: c.upper() for c in frame.columns if c != "geometry"}
        frame.rename(columns=capitals).to_file(tmp_path / "T.gpkg", layer=name.title(), engine="pyogrio")
    network = read_network(tmp_path / "T.gpkg")
    assert network.content_sha256 == native.content_sha256
    assert list(network.customers.priority) == list(native.customers.priority)
    assert {f.code for f in set(network.findings) ^ set(native.findings)} == {"read-as"}
