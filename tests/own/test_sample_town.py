"""The invented sample town: what it must hold, and that its script makes it again."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal

from netplan.demand import Window, customer_demand, customer_pressure, node_demand
from netplan.hydraulics import FlowSolver, PartStatus
from netplan.hydraulics.recorded_network import base_network, flow_conditions, gas_of
from netplan.network.checks import check_network
from netplan.network.contract import layer_specs
from netplan.network.model import Network
from netplan.network.topology import components
from netplan.readers import read_network
from netplan.reference.gas import METRIC_STANDARD
from netplan.rules import read_rules
from sample_network.make_town import FILE, write_town
from tests.support.independent import Walker

SCALE = 0.99972
"""Planar length over true length there; the walks below do not depend on it."""


@cache
def layers() -> dict[str, gpd.GeoDataFrame]:
    return {str(name): gpd.read_file(FILE, layer=name) for name, _ in pyogrio.list_layers(FILE)}


@cache
def network() -> Network:
    return read_network(FILE)


def test_file_is_small_and_complete() -> None:
    assert FILE.stat().st_size < 3_000_000
    assert set(layers()) == set(layer_specs())
    assert all(frame.crs.to_epsg() == 25832 for frame in layers().values())


def test_counts() -> None:
    town = layers()
    assert 1200 <= len(town["customers"]) <= 2000
    assert len(town["regulators"]) == 3
    assert 20 <= len(town["valves"]) <= 32
    live = town["mains"].query("status == 'live' and system == 'LP'")
    plastic = live[live["material"].str.startswith("PE")]
    assert {63.0, 90.0, 110.0, 125.0, 160.0, 180.0, 250.0, 315.0} <= set(plastic["od_mm"])
    assert {11.0, 17.0, 17.6, 21.0} <= set(plastic["sdr"].dropna())
    assert {"cast_iron", "steel"} <= set(live["material"])
    assert (live["host"] == "iron").sum() >= 3
    assert (live["joint"] == "mechanical").sum() >= 3
    assert {"abandoned", "proposed", "live"} == set(town["mains"]["status"])
    assert {"hospital", "school", "care_home", "medical", "process"} <= set(town["customers"]["priority"])
    assert (town["customers"]["service_id"].str.contains(";")).sum() in (2, 3)
    assert town["regulators"]["max_outlet_mbar"].between(55, 60).all()
    heights = shapely.get_coordinates(live.geometry, include_z=True)[:, 2]
    assert 30 < np.ptp(heights) < 60


@pytest.mark.parametrize("layer", sorted(layer_specs()))
def test_words_and_columns_are_those_of_the_contract(layer: str) -> None:
    frame, columns = layers()[layer], layer_specs()[layer].columns
    assert set(frame.columns) - {"geometry"} <= {column.name for column in columns}
    for column in columns:
        if column.words and column.name in frame:
            assert set(frame[column.name].dropna()) <= set(column.words)


def test_ids_are_unique_and_addresses_name_one_customer_each() -> None:
    for layer in ("mains", "services", "customers", "regulators", "valves", "fittings"):
        assert layers()[layer]["id"].is_unique
    assert layers()["customers"]["address"].is_unique


def test_the_script_makes_the_same_town_again(tmp_path: Path) -> None:
    again = write_town(tmp_path / "again.gpkg")
    for name, frame in layers().items():
        assert_geodataframe_equal(gpd.read_file(again, layer=name), frame)
    # Another GDAL may lay out the file otherwise, but the same one writes the same bytes.
    assert write_town(tmp_path / "third.gpkg").read_bytes() == again.read_bytes()


def test_planted_findings_and_no_others() -> None:
    found = Counter(finding.code for finding in check_network(network()))
    assert not [f for f in check_network(network()) if f.severity.value == "error"]
    assert found == {
        "boundary-valve": 4,
        "no-demand": 3,
        "valve-state-unknown": 2,
        "valve-operability-unknown": 2,
        "unknown-service": 1,
        "fitting-on-no-main": 1,
        "fault-pressure-above-mop": 1,
        "near-miss": 1,
        "odd-year": 1,
        "valve-side-unclear": 1,
        "service-without-customer": 1,
    }


@cache
def walker() -> Walker:
    return Walker(dict(layers()), SCALE)


def _fed_by(station: str, opened: frozenset[str] = frozenset()) -> frozenset[str]:
    regulators = layers()["regulators"]
    walker().layers["regulators"] = regulators[regulators["id"] == station]
    return walker().walk([], [], opened=opened).fed


def test_every_customer_reaches_a_station_and_the_areas_are_not_joined() -> None:
    everybody = frozenset(layers()["customers"]["id"])
    west, north, east = (_fed_by(name) for name in ("RS-1", "RS-2", "RS-3"))
    assert west == north
    assert not west & east
    assert west | east == everybody
    assert min(len(west), len(east)) > 200


def test_each_boundary_valve_alone_would_join_the_areas() -> None:
    closed = layers()["valves"].query("state == 'closed'")
    assert len(closed) >= 3
    assert set(closed["operable"]) == {"yes", "no", "unknown"}
    everybody = frozenset(layers()["customers"]["id"])
    for valve in closed["id"]:
        assert _fed_by("RS-3", opened=frozenset({valve})) == everybody


def test_medium_pressure_never_joins_low_pressure() -> None:
    joined = network()
    part = components(joined)
    system = joined.nodes.system
    codes = {int(c) for c in np.unique(system)}
    assert len(codes) == 2
    one, other = (set(part[system == code].tolist()) for code in codes)
    assert not one & other
    mains = layers()["mains"]
    high = mains[mains["system"] == "MP"]
    near = mains[(mains["system"] == "LP") & (mains["status"] == "live")].distance(high.union_all()) < 8
    assert near.sum() > 10


def test_river_and_railway_are_crossed_by_mains() -> None:
    live = layers()["mains"].query("status == 'live' and system == 'LP'")
    barriers = layers()["keep_out"].geometry
    assert len(barriers) == 2
    for barrier in barriers:
        assert 1 <= live.intersects(barrier).sum() <= 3


def test_pressures_on_the_design_day() -> None:
    rules, town = read_rules(None), network()
    heat = gas_of(rules).gross_calorific_value_j_per_m3(METRIC_STANDARD)
    demand = customer_demand(town.customers, Window(), rules, heat)
    base = base_network(town, rules)
    flow = node_demand(town.customers, demand.flow_m3_per_s_std(), base.node_count)
    state = FlowSolver(base, flow_conditions(rules)).solve(flow)
    assert Counter(state.part_status)[PartStatus.SOLVED] == 2
    inlet = customer_pressure(town.customers, state.pressure_pa_gauge) / 100
    assert 23.0 < np.min(inlet) < 26.0
    assert np.max(inlet) < 33.0
    assert pd.Series(inlet).notna().all()
