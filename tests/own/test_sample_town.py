"""The sample town: what it holds, that a re-run of its script makes it again, and who feeds whom."""

from __future__ import annotations

from collections import Counter
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from netplan.demand import Window, customer_demand, node_demand
from netplan.findings import Severity
from netplan.hydraulics import FlowLinks, FlowNetwork
from netplan.network.checks import check_network
from netplan.network.contract import layer_specs
from netplan.network.graph import components
from netplan.plan.flowcase import base_network, flow_conditions, gas_of
from netplan.readers import read_network
from netplan.reference.gas import METRIC_STANDARD
from netplan.reference.pipes import wall_mm
from netplan.rules import read_rules
from sample_network.make_town import FILE, write_town
from tests.independent import Walker
from tests.pandapipes_flow import answer_of, build, solve_net

TOWN = FILE
EVERY_LAYER = {
    "mains", "services", "customers", "regulators", "sensing_points", "valves", "fittings", "injections",
    "keep_out", "streets", "buildings", "water", "rail",
}  # fmt: skip
PE_OD_MM = {63.0, 90.0, 125.0, 180.0, 250.0, 315.0}
"""Some of the sizes a planner looks for in a low-pressure PE network."""

PLANTED = {
    "fault-pressure-above-mop": 1,
    "fitting-on-no-main": 1,
    "near-miss": 1,
    "no-demand": 3,
    "odd-year": 1,
    "unknown-service": 1,
    "valve-side-unclear": 1,
    "valve-state-unknown": 2,
}
"""Doubts that a real record would hold too, planted on purpose: see sample_network/README.md."""


@lru_cache(maxsize=1)
def layers() -> dict[str, gpd.GeoDataFrame]:
    return {str(name): gpd.read_file(TOWN, layer=name) for name in pyogrio.list_layers(TOWN)[:, 0]}


@lru_cache(maxsize=1)
def network() -> Any:
    return read_network(TOWN)


def live(layer: str, system: str = "LP") -> gpd.GeoDataFrame:
    frame = layers()[layer]
    return frame[(frame["system"] == system) & (frame["status"] == "live")]


@lru_cache(maxsize=1)
def walker() -> Walker:
    return Walker(dict(layers()))


@cache
def fed_by(stations: frozenset[str], opened: frozenset[str] = frozenset()) -> frozenset[str]:
    every = layers()["regulators"]
    walker().layers["regulators"] = every[every["id"].isin(stations)]
    try:
        return walker().walk([], [], opened=opened).fed
    finally:
        walker().layers["regulators"] = every


def test_the_file_is_small_and_holds_every_layer_in_one_projected_system() -> None:
    assert TOWN.stat().st_size < 3_000_000
    assert set(layers()) >= EVERY_LAYER
    systems = {frame.crs.to_epsg() for frame in layers().values()}
    assert len(systems) == 1
    assert layers()["mains"].crs.is_projected
    assert layers()["mains"].crs.axis_info[0].unit_name == "metre"


@pytest.mark.parametrize("layer", sorted(EVERY_LAYER))
def test_columns_and_words_are_those_of_the_contract(layer: str) -> None:
    frame, spec = layers()[layer], layer_specs()[layer]
    columns = {column.name: column for column in spec.columns}
    own = set(frame.columns) - {"geometry"}
    assert own <= set(columns)
    assert {name for name, column in columns.items() if column.required == "yes"} <= own
    for name in own:
        column = columns[name]
        if column.kind == "number":
            assert pd.api.types.is_numeric_dtype(frame[name]), name
        elif column.kind == "word":
            assert set(frame[name].dropna()) - {""} <= set(column.words), name
    if spec.has_id:
        assert frame["id"].is_unique
        assert not frame["id"].str.contains("[:;]").any()


def test_it_is_as_large_and_as_mixed_as_a_real_town() -> None:
    customers, mains = layers()["customers"], live("mains")
    assert 1200 <= len(customers) <= 2000
    assert len(live("services")) > 900
    assert len(live("regulators")) == 3
    pe = mains[mains["material"].str.startswith("PE")]
    assert set(pe["od_mm"]) >= PE_OD_MM
    assert (pe["od_mm"].min(), pe["od_mm"].max()) == (63, 315)
    assert len(set(pe["sdr"].dropna())) >= 3
    assert {"cast_iron", "steel"} <= set(mains["material"])
    assert {"iron"} <= set(mains["host"].dropna())
    assert {"mechanical", "fusion"} <= set(mains["joint"].dropna())
    assert {"abandoned", "proposed"} <= set(layers()["mains"]["status"])
    assert len(live("mains", "MP")) > 5
    assert {"tee", "cap", "reducer", "tapping_tee", "squeeze_mark"} <= set(layers()["fittings"]["kind"])
    assert {"hospital", "school", "care_home", "medical", "process"} <= set(customers["priority"].dropna())
    assert {"household", "business", "industry", "public"} <= set(customers["category"])
    assert customers["service_id"].str.contains(";", na=False).sum() >= 2
    assert {"yes", "no"} <= set(layers()["services"]["excess_flow_valve"].dropna())
    assert customers.loc[customers["priority"] == "medical", "priority_note"].str.len().gt(0).all()


def test_every_address_is_whole_and_stands_once() -> None:
    customers = layers()["customers"]
    for column in ("address", "street", "number", "postcode"):
        assert customers[column].str.len().gt(0).all(), column
    flats = customers["meters"].fillna(1) > 0
    assert flats.all()
    assert not customers["address"].duplicated().any()


def test_valves_of_every_kind() -> None:
    valves = layers()["valves"]
    kinds = set(zip(valves["state"], valves["operable"], strict=True))
    assert {("open", "yes"), ("closed", "yes")} <= kinds
    assert {state for state, _ in kinds} == {"open", "closed", "unknown"}
    assert {"yes", "no", "unknown"} <= {operable for _, operable in kinds}


def test_bores_of_pe_follow_the_tables() -> None:
    for layer in ("mains", "services"):
        frame = layers()[layer]
        pe = frame[frame["material"].str.startswith("PE") & frame["sdr"].notna()]
        for od, sdr in sorted(set(zip(pe["od_mm"], pe["sdr"], strict=True))):
            assert not wall_mm(od, sdr).computed, (layer, od, sdr)


def test_bag_stops_are_allowed_by_the_stations() -> None:
    stations = live("regulators")
    assert stations["outlet_mbar"].between(27, 35).all()
    assert stations["max_outlet_mbar"].lt(69).all()
    assert stations["capacity_m3h"].gt(0).all()


def test_mains_lie_on_a_hill_and_under_a_river_and_a_railway() -> None:
    mains = layers()["mains"]
    heights = np.concatenate([np.asarray(line.coords)[:, 2] for line in mains.geometry])
    assert np.isfinite(heights).all()
    assert 30 < np.ptp(heights) < 60
    barred = layers()["keep_out"]
    assert {True} == {bool(live("mains").intersects(shape).any()) for shape in barred.geometry}


def test_reading_and_joining_finds_no_errors_and_only_the_planted_doubts() -> None:
    findings = check_network(network())
    assert [f.line() for f in findings if f.severity is Severity.ERROR] == []
    warnings = Counter(f.code for f in findings if f.severity is Severity.WARNING)
    assert warnings == PLANTED


def test_every_customer_is_fed_as_recorded() -> None:
    assert fed_by(frozenset(live("regulators")["id"])) == set(layers()["customers"]["id"])


def test_two_areas_that_only_closed_valves_keep_apart() -> None:
    everybody = set(layers()["customers"]["id"])
    alone = {ident: fed_by(frozenset({ident})) for ident in live("regulators")["id"]}
    small, large = sorted(set(alone.values()), key=len)
    assert not small & large
    assert small | large == everybody
    assert sorted(who == large for who in alone.values()) == [False, True, True]
    lone = frozenset(ident for ident, who in alone.items() if who == small)
    valves = layers()["valves"].set_index("id")
    closed = sorted(valves.index[(valves["state"] == "closed") & (valves["system"] == "LP")])
    joining = [v for v in closed if fed_by(lone, frozenset({v})) == everybody]
    assert {"yes", "no"} <= set(valves.loc[joining, "operable"])


def test_medium_pressure_never_feeds_the_low_pressure_side() -> None:
    mains = layers()["mains"]
    medium, low = mains[mains["system"] == "MP"], mains[mains["system"] == "LP"]
    assert medium.buffer(0.5).union_all().intersects(low.union_all())
    frames = dict(layers())
    frames["mains"] = low
    assert Walker(frames).walk([], []).fed == set(layers()["customers"]["id"])
    town = network()
    part, system = components(town), town.pipes.system[town.pieces.pipe]
    by_system = [set(part[town.pieces.from_node[system == code]]) for code in range(len(town.systems))]
    assert town.systems == ("LP", "MP")
    assert not by_system[0] & by_system[1]
    assert set(layers()["services"]["system"]) == {"LP"}
    assert set(layers()["regulators"]["system"]) == {"LP"}


def merged(count: int, start: Any, end: Any) -> Any:
    """Return the connected part of each of `count` nodes."""
    return connected_components(coo_array((np.ones(len(start)), (start, end)), shape=(count, count)), False)[
        1
    ]


def fed_part(base: FlowNetwork, demand: Any) -> tuple[FlowNetwork, Any]:
    """Return what the stations feed, as recorded, with open valves as joints, and the demand of its nodes."""
    links = base.links
    joint = links.is_open & (links.length_m <= 0)
    one = merged(base.node_count, links.from_node[joint], links.to_node[joint])
    carries = links.is_open & (links.length_m > 0)
    start, end = one[links.from_node], one[links.to_node]
    size = int(one.max()) + 1
    part = merged(size, start[carries], end[carries])
    fed = np.isin(part, part[one[base.station_node]])
    row = np.cumsum(fed) - 1
    chosen = np.flatnonzero(carries & fed[start] & (start != end))
    flow = FlowNetwork(
        node_count=int(fed.sum()),
        links=FlowLinks(
            from_node=row[start[chosen]],
            to_node=row[end[chosen]],
            length_m=links.length_m[chosen],
            bore_m=links.bore_m[chosen],
            roughness_m=links.roughness_m[chosen],
        ),
        station_node=row[one[base.station_node]],
        station_pressure_pa_gauge=base.station_pressure_pa_gauge,
    )
    return flow, np.bincount(one, weights=demand, minlength=size)[fed]


def test_design_day_pressures_are_those_of_a_healthy_network() -> None:
    """Solved by pandapipes 0.16 (Colebrook, level), with demand at the rules' design weather."""
    rules, town = read_rules(None), network()
    calorific = gas_of(rules).gross_calorific_value_j_per_m3(METRIC_STANDARD)
    drawn = customer_demand(town.customers, Window(), rules, calorific).flow_m3_per_s_std()
    base = base_network(town, rules)
    flow, demand = fed_part(base, node_demand(town.customers, drawn, base.node_count))
    assert demand.sum() == pytest.approx(drawn.sum(), rel=1e-9)
    assert 0.7 < drawn.sum() * 3600.0 / len(town.customers) < 3.0
    net = build(flow, demand, flow_conditions(rules))
    solve_net(net, same_law=False)
    pressure_mbar = answer_of(net).pressure_pa_gauge / 100.0
    assert 22.0 < pressure_mbar.min() < 29.0


def test_making_the_town_again_gives_the_same_layers(tmp_path: Path) -> None:
    again = write_town(tmp_path / "again.gpkg")
    assert list(pyogrio.list_layers(again)[:, 0]) == list(pyogrio.list_layers(TOWN)[:, 0])
    for name, frame in layers().items():
        other = gpd.read_file(again, layer=name)
        pd.testing.assert_frame_equal(other.drop(columns="geometry"), frame.drop(columns="geometry"))
        assert other.geometry.to_wkb().equals(frame.geometry.to_wkb()), name
