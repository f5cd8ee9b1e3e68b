"""The input contract: types, words, sizes, ids, coordinate systems."""

from __future__ import annotations

from typing import Any

import geopandas
import numpy as np
import pytest

from netplan.core.errors import BadNetworkError
from netplan.core.findings import Severity
from netplan.network.build import build_network
from netplan.network.contract import WORD_OF, layer_specs
from netplan.network.vocabulary import Host, Material, Surface, YesNo
from tests.support.networks import CRS, build, codes, customer, layers, main, service, station, valve

R1 = station("R1", (0, 0))


def refused(match: str, **rows: Any) -> BadNetworkError:
    with pytest.raises(BadNetworkError, match=match) as caught:
        build(**{"regulators": [R1], **rows})
    assert "\n" not in str(caught.value)
    return caught.value


def test_the_table_of_the_contract_holds_together() -> None:
    specs = layer_specs()
    assert [name for name, spec in specs.items() if spec.required] == ["mains", "customers", "regulators"]
    for spec in specs.values():
        names = [column.name for column in spec.columns]
        assert len(set(names)) == len(names)
        # Shapefiles keep ten characters; no two columns of a layer may begin alike.
        assert len({name[:10] for name in names}) == len(names)
        for column in spec.columns:
            assert column.description
            assert column.kind in ("text", "number", "word")
            if column.kind == "word":
                assert column.words == WORD_OF[column.name].words()
                assert column.default in column.words
            if column.name.rsplit("_", 1)[-1] in ("mm", "m", "mbar", "kwh", "kw", "m3h"):
                assert column.unit


def test_defaults_and_words() -> None:
    row = main("A", (0, 0), (9, 0), material="pe80", surface="Footway", host="duct", year="1998", street=None)
    network = build(
        mains=[row], regulators=[R1], services=[service("S", (5, 0), (5, 5), excess_flow_valve=True)]
    )
    pipes = network.pipes
    assert pipes.material[0] == Material.PE80
    assert pipes.surface.tolist() == [Surface.FOOTWAY, Surface.UNKNOWN]
    assert pipes.host[0] == Host.DUCT
    assert pipes.excess_flow_valve.tolist() == [YesNo.UNKNOWN, YesNo.YES]
    assert pipes.year[0] == 1998
    assert pipes.street[0] == ""
    assert network.systems == ("LP",)


def test_unknown_words_are_noticed_and_replaced() -> None:
    network = build(mains=[main("A", (0, 0), (9, 0), material="wood", joint="glue")], regulators=[R1])
    assert network.pipes.material[0] == Material.OTHER
    # An SDR on what may not be PE is doubtful too.
    assert codes(network) == ["sdr-not-pe", "unknown-joint", "unknown-material"]
    assert "'wood' is not known" in network.findings[2].what


def test_sizes_bore_before_wall_before_sdr() -> None:
    mains = [
        main("A", (0, 0), (9, 0), od_mm=125),
        main("B", (0, 0), (0, 9), wall_mm=10.0, od_mm=125),
        main("C", (0, 0), (0, -9), wall_mm=10.0, bore_mm=101.0, od_mm=125),
        main("D", (0, 0), (-9, 0), od_mm=4.5 * 25.4),
        main("E", (0, 0), (-9, 9), od_mm=450, sdr=17),
    ]
    network = build(mains=mains, regulators=[R1])
    assert network.pipes.bore_m == pytest.approx([0.1022, 0.105, 0.101, 3.682 * 0.0254, 0.3966])
    assert network.pipes.wall_m[0] == pytest.approx(0.0114)
    assert codes(network) == ["computed-wall"]


@pytest.mark.parametrize(
    ("columns", "match"),
    [
        ({"sdr": None}, "mains A: outside diameter or wall is not recorded"),
        ({"od_mm": None}, "mains A: outside diameter or wall is not recorded"),
        ({"sdr": 110.0}, "mains A: SDR 110 is impossible"),
        ({"od_mm": -5.0}, "mains A: outside diameter -5 mm is impossible"),
        ({"od_mm": 4.0}, "mains A: outside diameter 4 mm is impossible"),
        ({"bore_mm": 120.0}, "mains A: outside diameter 110 mm and bore 120 mm do not go together"),
        ({"id": "A:B"}, "mains A:B: the id holds"),
        ({"id": "A\nB"}, "holds control characters"),
        ({"id": ""}, "mains row 1: has no id"),
        ({"id": None}, "mains row 1: has no id"),
    ],
)
def test_rows_that_stop_a_run(columns: dict[str, Any], match: str) -> None:
    refused(match, mains=[{**main("A", (0, 0), (9, 0)), **columns}])


@pytest.mark.parametrize("size", ["big", float("inf")])
def test_sizes_that_are_no_numbers(size: Any) -> None:
    error = refused("mains A", mains=[main("A", (0, 0), (9, 0), od_mm=size)])
    assert [finding.code for finding in error.findings] == ["missing-size", "not-a-number"]


def test_all_errors_at_once() -> None:
    error = refused(
        r"and 3 more errors",
        mains=[main("A", (0, 0), (9, 0)), main("A", (0, 0), (0, 9)), main("B", (9, 0), (9, 9), sdr=None)],
        customers=[customer("C", (1, 1)), customer("C", (2, 2))],
        regulators=[station("R1", (0, 0), outlet_mbar=None)],
    )
    wrong = [finding for finding in error.findings if finding.severity is Severity.ERROR]
    assert [(f.layer, f.code) for f in wrong] == [
        ("customers", "duplicate-id"),
        ("mains", "duplicate-id"),
        ("mains", "missing-size"),
        ("regulators", "missing-outlet"),
    ]


def test_not_strict_leaves_the_unusable_out() -> None:
    mains = [main("A", (0, 0), (9, 0)), main("A", (0, 0), (0, 9)), main("B", (9, 0), (9, 9), sdr=None)]
    network = build(strict=False, mains=mains, regulators=[R1])
    assert list(network.pipes.id) == ["A"]
    assert {"duplicate-id", "missing-size"} <= set(codes(network))


def test_missing_columns_and_layers() -> None:
    row = main("A", (0, 0), (9, 0))
    del row["material"]
    refused("mains: column material is missing", mains=[row])
    with pytest.raises(BadNetworkError, match="has no layer customers and regulators"):
        build_network(layers(mains=[main("A", (0, 0), (9, 0))]))


def test_geometry_faults() -> None:
    point = {**main("A", (0, 0), (9, 0)), "geometry": R1["geometry"]}
    refused("mains A: is no line", mains=[point])
    refused("mains A: has no geometry", mains=[{**main("A", (0, 0), (9, 0)), "geometry": None}])
    for odd in (float("nan"), float("inf")):
        with np.errstate(invalid="ignore"):
            row = main("A", (0, 0), (odd, 0))
        refused("mains A: has coordinates that are not finite", mains=[row])
    network = build(mains=[main("A", (0, 0), (9, 0)), main("B", (0, 0), (0, 0))], regulators=[R1])
    assert list(network.pipes.id) == ["A"]
    assert codes(network) == ["zero-length"]
    refused("no live main that can be used", mains=[])


def test_no_crs_and_disagreeing_ones_stop() -> None:
    rows = layers(mains=[main("A", (0, 0), (9, 0))], regulators=[R1], customers=[])
    rows["regulators"] = rows["regulators"].set_crs(25832, allow_override=True)
    with pytest.raises(BadNetworkError, match="layers mains and regulators disagree"):
        build_network(rows)
    bare = rows["regulators"]
    rows["regulators"] = geopandas.GeoDataFrame(bare.drop(columns="geometry"), geometry=list(bare.geometry))
    with pytest.raises(BadNetworkError, match="layer regulators has no coordinate reference system"):
        build_network(rows)


def test_geographic_layers_go_to_utm_and_say_so() -> None:
    rows = layers(mains=[main("A", (0, 0), (1000, 0))], regulators=[R1], customers=[customer("C", (10, 3))])
    moved = build_network({name: frame.to_crs(4326) for name, frame in rows.items()})
    assert moved.crs == "EPSG:32632"
    assert "UTM zone 32N" in moved.crs_note
    assert moved.pipes.length_m[0] == pytest.approx(1000, rel=5e-4)


def test_feet_become_metres() -> None:
    # New York Long Island (ftUS), EPSG:2263: the same course once in feet and once in metres.
    feet = [(1_000_000.0, 200_000.0), (1_000_328.083333333, 200_000.0)]
    from shapely.geometry import LineString, Point

    rows = {
        "mains": geopandas.GeoDataFrame(
            {"id": ["A"], "material": ["PE"], "od_mm": [110.0], "sdr": [11.0]},
            geometry=[LineString(feet)],
            crs=2263,
        ),
        "customers": geopandas.GeoDataFrame(
            {"id": ["C"], "address": ["x"]}, geometry=[Point(feet[0])], crs=2263
        ),
        "regulators": geopandas.GeoDataFrame(
            {"id": ["R"], "outlet_mbar": [20.0]}, geometry=[Point(feet[0])], crs=2263
        ),
    }
    network = build_network(rows)
    assert "US survey foot" in network.crs_note
    assert network.pipes.length_m[0] * network.scale == pytest.approx(100.0, abs=2e-4)
    from netplan.network.linear_reference import lon_lat, points_at

    here = lon_lat(network, points_at(network, np.array([0]), np.array([0.0])))
    there = rows["mains"].to_crs(4326).geometry[0].coords[0]
    assert here[0] == pytest.approx(there, abs=1e-8)


def test_a_web_map_projection_is_warned_about() -> None:
    rows = layers(mains=[main("A", (0, 0), (5000, 9000))], regulators=[R1], customers=[])
    network = build_network({name: frame.to_crs(3857) for name, frame in rows.items()})
    assert "crs-distorts" in codes(network)
    assert network.pipes.length_m[0] == pytest.approx((5000**2 + 9000**2) ** 0.5, rel=5e-3)


def test_many_findings_of_one_kind_are_counted() -> None:
    mains = [main(f"M{k:04}", (k * 10, 0), (k * 10 + 9, 0), joint="glue") for k in range(1500)]
    network = build(mains=mains, regulators=[R1])
    of_kind = [finding for finding in network.findings if finding.code == "unknown-joint"]
    assert len(of_kind) == 1001
    assert any("500 more" in finding.what for finding in of_kind)


def test_crs_of_the_test_grid() -> None:
    assert build(mains=[main("A", (0, 0), (9, 0))], regulators=[R1]).crs == CRS


def test_records_of_valves_are_read_and_their_absence_leaves_the_digest() -> None:
    nothing = {"turns_to_close": None, "cover_type": "", "size_mm": None, "remark": None}
    mains, at = [main("A", (0, 0), (90, 0))], (40, 0)
    bare, empty, told = (
        build(mains=mains, regulators=[R1], valves=[valve("V1", at, **columns), valve("V2", (60, 0))])
        for columns in (
            {},
            nothing,
            {"turns_to_close": "21", "closing_direction": "clockwise", "size_mm": 80.0, "remark": "deep"},
        )
    )
    assert bare.content_sha256 == empty.content_sha256 != told.content_sha256
    assert np.isnan(bare.valves.turns_to_close).all()
    assert list(bare.valves.cover_type) == ["", ""]
    assert told.valves.turns_to_close.tolist()[0] == 21.0
    assert told.valves.size_m.tolist()[0] == pytest.approx(0.08)
    assert list(told.valves.closing_direction) == ["clockwise", ""]
    assert list(told.valves.remark) == ["deep", ""]
    wrong = build(mains=mains, regulators=[R1], valves=[valve("V1", at, turns_to_close="a few")])
    assert codes(wrong) == ["not-a-number"]
