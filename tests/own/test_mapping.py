"""Column mappings: what each rule does to a column, and what each wrong line is told."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS
from shapely import LineString, MultiLineString, Point
from typer.testing import CliRunner

from netplan.cli.app import app
from netplan.core.errors import BadInputError, BadNetworkError
from netplan.network.raw_layers import as_objects
from netplan.readers import read_layers, read_mapping, read_network, write_layers
from netplan.readers.mapping import parse_mapping
from netplan.readers.mapping.unit_words import unit_factor


def _folder(path: Path, layers: dict[str, Any]) -> Path:
    path.mkdir()
    for name, (columns, shapes) in layers.items():
        frame = geopandas.GeoDataFrame(columns, geometry=shapes, crs=25832)
        frame.to_parquet(path / f"{name}.parquet", index=False)
    return path


def _column(path: Path, values: list[Any], rule: str, target: str = "mains.resin") -> tuple[list[Any], Any]:
    """Map one column of a layer and return its values and the findings."""
    layer, column = target.split(".")
    shape = LineString if layer in ("mains", "services") else None
    shapes = [
        shape([(600000 + i, 5800000), (600000 + i, 5800010)]) if shape else Point(600000 + i, 5800000)
        for i in range(len(values))
    ]
    ids = [f"P{i}" for i in range(len(values))]
    place = _folder(path / "data", {"things": ({"key": ids, "value": values}, shapes)})
    own = "" if column in ("id", "station_id") or layer == "sensing_points" else 'id = "key"\n'
    text = f'[[{layer}]]\nsource = "things"\n[{layer}.columns]\n{own}{column} = {rule}\n'
    raw = read_layers(place, mapping=parse_mapping(text))
    return raw[layer].columns[column].to_pylist(), raw.findings


@pytest.mark.parametrize(
    ("values", "rule", "target", "expected"),
    [
        (["a", " b ", None], '"value"', "mains.resin", ["a", "b", ""]),
        (["a", None], '{ from = "value", default = "x" }', "mains.resin", ["a", "x"]),
        (["a", "-"], '{ from = "value", empty = ["-"] }', "mains.resin", ["a", ""]),
        (["a", None], '{ from = "value", prefix = "P-" }', "mains.resin", ["P-a", ""]),
        (["q.a", "b"], '{ from = "value", drop_prefix = "q." }', "mains.resin", ["a", "b"]),
        (
            ["a.b", "b"],
            '{ from = "value", replace = { "." = "x", "x" = "yy" } }',
            "mains.resin",
            ["ayyb", "b"],
        ),
        (["a", None], '{ from = ["value", "key"], join = "/" }', "mains.resin", ["a/P0", "P1"]),
        (["a"], '{ constant = "all" }', "mains.resin", ["all"]),
        ([7.0, 12.5], '{ from = "value", unit = "in" }', "mains.od_mm", [177.8, 317.5]),
        ([0.055, 0.1], '{ from = "value", unit = "bar" }', "mains.mop_mbar", [55.0, 100.0]),
        ([1, 4], '{ from = "value", unit = "psig" }', "mains.mop_mbar", [68.9475729317, 275.790291727]),
        ([12.0], '{ from = "value", unit = "in w.c." }', "mains.mop_mbar", None),
        ([12.0], '{ from = "value", unit = "in wc" }', "mains.mop_mbar", [29.890668]),
        ([100], '{ from = "value", unit = "therms per year" }', "customers.annual_kwh", [2930.71111111]),
        ([100], '{ from = "value", unit = "m3", kwh_per_m3 = 11 }', "customers.annual_kwh", [1100.0]),
        ([10], '{ from = "value", unit = "m3/h", kwh_per_m3 = 11 }', "customers.peak_kw", [110.0]),
        (["12,5", "1.200,5"], '{ from = "value", decimal = "," }', "mains.od_mm", [12.5, 1200.5]),
        (["4 in", "110", "90 mm"], '"value"', "mains.od_mm", [101.6, 110.0, 90.0]),
        (["6.3mm", "4.0 mm", '0.5"'], '"value"', "mains.wall_mm", [6.3, 4.0, 12.7]),
        (["SDR 11", "SDR17,6", "S5", "9"], '"value"', "mains.sdr", [11.0, 17.6, 11.0, 9.0]),
        (["1998-05-01", "1.5.1967", "2004"], '"value"', "mains.year", [1998.0, 1967.0, 2004.0]),
        (pd.to_datetime(["1998-05-01", "2004-12-31"]), '"value"', "mains.year", [1998.0, 2004.0]),
        ([-9, 110], '{ from = "value", empty = -9 }', "mains.od_mm", [np.nan, 110.0]),
        ([np.nan, 110], '{ from = "value", default = 63 }', "mains.od_mm", [63.0, 110.0]),
        (["ND", "MD"], '{ from = "value", values = { ND = 100, MD = 1000 } }', "mains.mop_mbar", [100, 1000]),
        (
            [1, 2],
            '{ from = "value", values = { 1 = "PE80", 2 = "steel" } }',
            "mains.material",
            ["PE80", "steel"],
        ),
        (["pe-hd"], '{ from = "value", values = { "PE-HD" = "PE100" } }', "mains.material", ["PE100"]),
        (["Steel"], '{ from = "value", values = { "PE-HD" = "PE100" } }', "mains.material", ["Steel"]),
        (
            [True, None],
            '{ from = "value", default = "no" }',
            "customers.service_regulator",
            ["yes", "no"],
        ),
        (["0", "Steel"], '{ from = "value", values = { 0 = "" } }', "mains.material", ["", "Steel"]),
        (
            ["0", "x", "1"],
            '{ from = "value", values = { 0 = "", 1 = "a" }, unlisted = "keep" }',
            "mains.street",
            ["", "x", "a"],
        ),
        (["x"], '{ from = "value", values = { }, unlisted = "keep" }', "mains.street", ["x"]),
        (["x"], '{ from = "value", values = { }, unlisted = "empty" }', "mains.street", [""]),
        (["A:1", "A;1", "A%3A1"], '"value"', "mains.id", ["A%3A1", "A%3B1", "A%253A1"]),
        (["S:1;S2", "S3"], '{ from = "value", prefix = "x" }', "customers.service_id", ["xS%3A1;xS2", "xS3"]),
        (["S1/ S2"], '{ from = "value", split = "/" }', "customers.service_id", ["S1;S2"]),
        ([True, False], '"value"', "customers.service_regulator", [True, False]),
    ],
)
def test_rules_of_a_column(tmp_path: Path, values: Any, rule: str, target: str, expected: Any) -> None:
    if expected is None:
        with pytest.raises(BadInputError, match="is not known"):
            _column(tmp_path, values, rule, target)
        return
    found, findings = _column(tmp_path, values, rule, target)
    if isinstance(expected[0], str | bool):
        assert found == expected
    else:
        np.testing.assert_allclose(np.array(found, dtype=float), expected, rtol=1e-10)
    dates = target.endswith(".year") and any("-" in str(value) for value in values)
    told = {"unlisted-word"} if 'unlisted = "empty"' in rule else set()
    told |= {"date-for-year"} if dates else set()
    assert {f.code for f in findings} - {"column-not-read"} == told


def test_a_word_that_nobody_listed_is_told_with_its_feature(tmp_path: Path) -> None:
    rule = '{ from = "value", values = { "PE-HD" = "PE100", "Blei" = "?" } }'
    found, findings = _column(tmp_path, ["PE-HD", "Stoff 7", "Blei"], rule, "mains.material")
    assert found == ["PE100", "", ""]
    told = {(finding.code, finding.feature_id) for finding in findings}
    assert told == {("unlisted-word", "P1"), ("mapping-gap", "")}
    assert "'Stoff 7'" in next(f.what for f in findings if f.code == "unlisted-word")


def test_a_number_that_is_none_is_told_with_its_feature(tmp_path: Path) -> None:
    found, findings = _column(tmp_path, ["110", "wide"], '"value"', "mains.od_mm")
    assert found[0] == 110.0
    assert np.isnan(found[1])
    assert [(f.code, f.feature_id, f.severity.value) for f in findings] == [("not-a-number", "P1", "error")]


_PIPES = {
    "nr": ["1", "2", "3", "4", "5"],
    "art": ["main", "service", "main", None, "drain"],
    "werkstoff": ["PE100", "PE80", "steel", "cast_iron", "PE80"],
    "nw": ["d180 SDR 17", "32x3", "DN 100", '4"', "round"],
}


def _lines(n: int) -> list[LineString]:
    return [LineString([(600000 + 50 * i, 5800000), (600000 + 50 * i, 5800040)]) for i in range(n)]


_PIPE_SHAPES = _lines(5)


def _mapped_pipes(path: Path, text: str) -> Any:
    return read_layers(_folder(path / "data", {"pipe": (_PIPES, _PIPE_SHAPES)}), mapping=parse_mapping(text))


def test_one_layer_feeds_several_and_several_feed_one(tmp_path: Path) -> None:
    raw = _mapped_pipes(
        tmp_path,
        """
        [[mains]]
        source = "PIPE"
        where = [{ column = "art", is = "main" }]
        columns = { id = "nr", material = "werkstoff" }
        [[mains]]
        source = "pipe"
        where = [{ column = "art", missing = true }]
        columns = { id = { from = "nr", prefix = "old-" }, street = { constant = "Elm Bow" } }
        [[services]]
        source = "pipe"
        where = [{ column = "art", is_not = ["main", "drain"] }, { column = "art", missing = false }]
        columns = { id = "nr" }
        """,
    )
    assert raw["mains"].columns.to_pydict() == {
        "id": ["1", "3", "old-4"],
        "material": ["PE100", "steel", ""],
        "street": ["", "", "Elm Bow"],
    }
    assert len(raw["mains"].geometry) == 3
    assert raw["services"].columns["id"].to_pylist() == ["2"]


def test_sizes_as_text_fill_the_size_columns(tmp_path: Path) -> None:
    raw = _mapped_pipes(
        tmp_path,
        """
        [[mains]]
        source = "pipe"
        size = { from = "nw", values = { "round" = "d 63 SDR 11" } }
        columns = { id = "nr", material = "werkstoff" }
        """,
    )
    sizes = raw["mains"].columns.select(["od_mm", "sdr", "wall_mm", "bore_mm"]).to_pandas()
    expected = pd.DataFrame(
        {
            "od_mm": [180.0, 32.0, 114.3, 121.92, 63.0],
            "sdr": [17.0, np.nan, np.nan, np.nan, 11.0],
            "wall_mm": [np.nan, 3.0, np.nan, np.nan, np.nan],
            "bore_mm": [np.nan, np.nan, 100.0, 101.6, np.nan],
        }
    )
    pd.testing.assert_frame_equal(sizes, expected)
    named = [(f.code, f.feature_id) for f in raw.findings if f.code != "column-not-read"]
    assert named == [("nominal-bore", "3"), ("nominal-bore", "4")]


def test_sizes_as_text_say_the_material_where_no_column_does(tmp_path: Path) -> None:
    texts = [
        "PE100 d125 SDR 17",
        "PE-HD 63x5,8",
        "DN 100 GGG",
        "Stahl DN 150",
        "cast iron DN 100",
        "d90 SDR 11",
    ]
    place = _folder(tmp_path / "data", {"pipe": ({"nw": texts}, _lines(6))})
    raw = read_layers(place, mapping=parse_mapping('[[mains]]\nsource = "pipe"\nsize = "nw"'))
    assert raw["mains"].columns["material"].to_pylist() == [
        "PE100",
        "PE",
        "ductile_iron",
        "steel",
        "cast_iron",
        "",
    ]
    assert raw["mains"].columns["od_mm"].to_pylist() == [125.0, 63.0, 118.0, 168.3, 118.0, 90.0]


def test_an_unreadable_size_names_its_feature(tmp_path: Path) -> None:
    raw = _mapped_pipes(
        tmp_path, '[[mains]]\nsource = "pipe"\nsize = "nw"\ncolumns = { id = "nr", material = "werkstoff" }'
    )
    told = [finding for finding in raw.findings if finding.code == "unreadable-size"]
    assert [(finding.feature_id, finding.what) for finding in told] == [
        ("5", "size 'round' holds 'round', which is not known")
    ]


def test_gaps_are_told_and_the_rest_is_read(tmp_path: Path) -> None:
    raw = _mapped_pipes(
        tmp_path,
        """
        [[mains]]
        source = "pipe"
        columns = { id = "nr", od_mm = "?", sdr = { from = "?" }, mop_mbar = { from = "nr", unit = "?" } }
        [[customers]]
        source = "?"
        """,
    )
    assert raw["mains"].columns.column_names == ["id", "mop_mbar"]
    assert sorted(f.what.rpartition(" at ")[2] for f in raw.findings if f.code == "mapping-gap") == [
        "customers 1: source",
        "mains 1: columns.mop_mbar.unit",
        "mains 1: columns.od_mm",
        "mains 1: columns.sdr",
    ]


def test_heights_in_feet_and_heights_that_are_none(tmp_path: Path) -> None:
    shapes = [
        LineString([(600000, 5800000, 10), (600010, 5800000, 20)]),
        MultiLineString([[(600000, 5800000, 10), (600010, 5800000, 20)]]),
    ]
    place = _folder(tmp_path / "data", {"pipe": ({"nr": ["1", "2"]}, shapes)})
    for height, expected in (("m", 10.0), ("ft", 3.048), ("none", None)):
        text = f'[[mains]]\nsource = "pipe"\nheight = "{height}"\ncolumns = {{ id = "nr" }}'
        found = as_objects(read_layers(place, mapping=parse_mapping(text))["mains"].geometry)
        assert len(found) == 2
        for shape in found:
            first = next(iter(getattr(shape, "geoms", [shape]))).coords[0]
            assert first[:2] == (600000, 5800000)
            assert (first[2] if len(first) > 2 else None) == (expected and pytest.approx(expected))


def test_a_crs_is_given_to_layers_without_one(tmp_path: Path) -> None:
    frame = geopandas.GeoDataFrame(_PIPES, geometry=_PIPE_SHAPES, crs=25832)
    (tmp_path / "s").mkdir()
    frame.to_file(tmp_path / "s" / "pipe.shp")
    (tmp_path / "s" / "pipe.prj").unlink()
    text = '[[mains]]\nsource = "pipe"\ncrs = "EPSG:25832"\ncolumns = { id = "nr" }'
    assert read_layers(tmp_path / "s", mapping=parse_mapping(text))["mains"].crs == CRS.from_epsg(25832)


def test_a_mapping_may_name_columns_that_a_shapefile_cut(tmp_path: Path) -> None:
    frame = geopandas.GeoDataFrame(
        {"LEITUNGSNU": ["7"]}, geometry=[LineString([(600000, 5800000), (600010, 5800000)])], crs=25832
    )
    (tmp_path / "s").mkdir()
    frame.to_file(tmp_path / "s" / "pipe.shp")
    text = '[[mains]]\nsource = "pipe"\ncolumns = { id = "Leitungsnummer" }'
    raw = read_layers(tmp_path / "s", mapping=parse_mapping(text))
    assert raw["mains"].columns["id"].to_pylist() == ["7"]


def test_source_layers_that_disagree_in_crs_stop(tmp_path: Path) -> None:
    place = _folder(tmp_path / "data", {"pipe": (_PIPES, _PIPE_SHAPES)})
    other = geopandas.GeoDataFrame(_PIPES, geometry=_PIPE_SHAPES, crs=25833)
    other.to_parquet(place / "pipe2.parquet")
    text = "".join(f'[[mains]]\nsource = "{name}"\ncolumns = {{ id = "nr" }}\n' for name in ("pipe", "pipe2"))
    with pytest.raises(BadNetworkError, match="mains disagree in their coordinate reference system"):
        read_layers(place, mapping=parse_mapping(text))


_MAIN = '[[mains]]\nsource = "pipe"\n[mains.columns]\n'


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "maps no layer"),
        ("[[mains", "is not valid TOML"),
        ('[[pipes]]\nsource = "x"', "pipes: unknown key"),
        ('[[mains]]\nsource = "x"\ncolour = "blue"', r"mains\.1\.colour: unknown key"),
        ('[[mains]]\ncolumns = { id = "x" }', r"mains\.1\.source: Field required"),
        (_MAIN + 'colour = "x"', r"mains 1: columns\.'colour': no column of the contract"),
        (_MAIN + 'id = { from = "x", form = "y" }', r"mains\.1\.columns\.id\.form: unknown key"),
        (_MAIN + 'id = { from = "x", constant = "y" }', "give either from or constant"),
        (_MAIN + "id = { }", "give either from or constant"),
        (_MAIN + 'od_mm = { from = "x", unit = "psi" }', "'psi' does not convert to mm"),
        (_MAIN + 'od_mm = { from = "x", unit = "2**9" }', "is not known"),
        (_MAIN + 'id = { from = "x", unit = "mm" }', "is no number, so it has no unit"),
        (_MAIN + 'od_mm = { from = ["x", "y"] }', "comes from one column"),
        (_MAIN + 'od_mm = { constant = "wide" }', "'wide' is no number"),
        (_MAIN + 'od_mm = { from = "x", prefix = "y" }', "has no prefix"),
        (_MAIN + 'mop_mbar = { from = "x", kwh_per_m3 = 11 }', "goes with a unit of volume"),
        (_MAIN + 'material = { from = "x", values = { a = "wood" } }', "'wood' is no word of the contract"),
        (_MAIN + 'material = { from = "x", values = { a = "PE", A = "PE80" } }', "holds 'a' twice"),
        ('[[mains]]\nsource = "x"\nheight = "psi"', "height: unit 'psi' does not convert to m"),
        ('[[mains]]\nsource = "x"\ncrs = "+proj=utm"', "crs is not the code"),
        ('[[valves]]\nsource = "x"\nsize = "y"', "size: valves have no size"),
        ('[[mains]]\nsource = "x"\nwhere = [{ column = "y" }]', "exactly one of is, is_not and missing"),
        ('[[mains]]\nsource = "x"\nwhere = [{ column = "y", is = 1, missing = true }]', "exactly one of"),
        ('format = "other/1"\n[[mains]]\nsource = "x"', "format: Input should be"),
    ],
)
def test_a_wrong_mapping_gives_one_line(text: str, match: str) -> None:
    with pytest.raises(BadInputError, match=match) as caught:
        parse_mapping(text, "m.toml")
    assert str(caught.value).startswith("m.toml: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ('[[mains]]\nsource = "pipes"', r"holds no layer 'pipes'; did you mean pipe\?"),
        ('[[mains]]\nsource = "zzz"', "holds no layer 'zzz'; there are pipe"),
        ('[[mains]]\nsource = "pipe"\ncolumns = { id = "nrr" }', r"no column 'nrr'; did you mean nr\?"),
        ('[[mains]]\nsource = "pipe"\nsize = "zzz"', "no column 'zzz'; there are art, nr, nw, werkstoff"),
    ],
)
def test_what_the_data_does_not_hold_gives_one_line(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(BadInputError, match=match) as caught:
        _mapped_pipes(tmp_path, text)
    assert "\n" not in str(caught.value)


def test_files_that_are_no_mapping_give_one_line(tmp_path: Path) -> None:
    (tmp_path / "latin.toml").write_bytes(b'[[mains]]\nsource = "Stra\xdfe"')
    (tmp_path / "large.toml").write_bytes(b"#" * 1_000_001)
    for name, match in (
        ("none.toml", "cannot be read"),
        ("latin.toml", "UTF-8"),
        ("large.toml", "larger than"),
    ):
        with pytest.raises(BadInputError, match=match):
            read_mapping(tmp_path / name)


def test_units_of_the_trade() -> None:
    # Exact by definition: inch, foot and the pound-force; inches of water column at 4 °C: netplan.core.units.
    for unit, target, expected in (
        ("in", "mm", 25.4),
        ('"', "mm", 25.4),
        ("Zoll", "mm", 25.4),
        ("feet", "m", 0.3048),
        ("bar(g)", "mbar", 1000.0),
        ("mm WC", "mbar", 0.0980665),
        ("inH2O", "mbar", 2.490889),
        ("cfh", "m3/h", 0.3048**3),
        ("Nm3/h", "m3/h", 288.15 / 273.15),
        ("MWh/a", "kWh/a", 1000.0),
        ("MBH", "kW", 0.29307107),
    ):
        assert unit_factor(unit, target) == pytest.approx(expected, rel=1e-6), unit


def test_the_native_names_mapped_are_the_native_network(tmp_path: Path) -> None:
    from tests.own.test_readers_formats import town

    place = write_layers(town(), tmp_path / "t.gpkg")
    text = "".join(
        f'[[{name}]]\nsource = "{name}"\n[{name}.columns]\n'
        + "".join(f'{column} = "{column}"\n' for column in frame.columns if column != "geometry")
        for name, frame in town().items()
    )
    mapped = read_network(place, mapping=parse_mapping(text))
    assert mapped.content_sha256 == read_network(place).content_sha256


def test_check_and_draft_on_the_command_line(tmp_path: Path) -> None:
    from tests.own.test_readers_formats import town

    renamed = {f"T_{name}": frame for name, frame in town().items()}
    place = tmp_path / "own.gpkg"
    for name, frame in renamed.items():
        frame.to_file(place, layer=name)
    out = tmp_path / "own.toml"
    run = CliRunner(env={"COLUMNS": "400"}).invoke(app, ["map-columns", str(place), "--out", str(out)])
    assert run.exit_code == 0, run.output
    assert "own.toml: a draft with 0 gaps" in run.output
    again = CliRunner().invoke(app, ["map-columns", str(place), "--out", str(out)])
    assert isinstance(again.exception, BadInputError)
    assert "exists already" in str(again.exception)
    mapped = read_network(place, mapping=read_mapping(out))
    assert list(mapped.pipes.id) == ["M1", "M2", "S1"]
    checked = CliRunner().invoke(app, ["check", str(place), "--mapping", str(out)])
    assert checked.exit_code == 0, checked.output


def test_the_examples_of_the_guide_are_mappings() -> None:
    guide = Path(__file__).parents[2] / "docs" / "how-to-own-data.md"
    examples = re.findall(r"^```toml\n(.*?)^```", guide.read_text(encoding="utf-8"), flags=re.M | re.S)
    assert len(examples) == 4
    for text in examples:
        assert parse_mapping(text).feeds
