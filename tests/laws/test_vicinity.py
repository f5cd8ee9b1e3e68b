"""What closing pipes does within a vicinity is what it does in the whole network: nobody is missed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from netplan.demand import Window, customer_demand
from netplan.isolation.segment_graph import segment_graph
from netplan.isolation.stop_methods import fault_pressures
from netplan.network.model import Network
from netplan.network.station_pressures import set_outlet_pa_gauge
from netplan.network.subnetwork import BoundaryAffectedError, Subnetwork, merged_parts, subnetwork_of
from netplan.network.topology import components, fed_nodes
from netplan.planning.connectivity import reach_after
from netplan.planning.pressure_areas import pressure_areas
from netplan.rules import default_rules
from tests.support.varied_city import varied_city

HS_J_PER_M3 = 38.0e6


@pytest.fixture(scope="module")
def city() -> Network:
    return varied_city(6_000, seed=11)


def middle(network: Network) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    nodes = network.nodes
    return np.array([[np.median(nodes.x_m), np.median(nodes.y_m)]])


@pytest.fixture(scope="module")
def subnetwork(city: Network) -> Subnetwork:
    found = subnetwork_of(city, middle(city), 1_500)
    assert found is not None
    return found


def test_rows_are_those_of_the_whole(city: Network, subnetwork: Subnetwork) -> None:
    part, rows = subnetwork.network, subnetwork.rows
    assert (part.nodes.x_m == city.nodes.x_m[rows.node]).all()
    assert (rows.node[part.pieces.from_node] == city.pieces.from_node[rows.piece]).all()
    assert (part.pieces.from_m == city.pieces.from_m[rows.piece]).all()
    assert [part.customers.id[k] for k in range(0, len(part.customers), 97)] == [
        city.customers.id[int(rows.customer[k])] for k in range(0, len(part.customers), 97)
    ]
    assert (np.diff(part.customers.attach_start) == np.diff(city.customers.attach_start)[rows.customer]).all()
    assert (part.stations.sensing_node >= 0).tolist() == (
        city.stations.sensing_node[rows.station] >= 0
    ).tolist()


def test_it_holds_the_square_and_no_closed_valve_at_the_rim(city: Network, subnetwork: Subnetwork) -> None:
    inside = np.zeros(len(city.nodes), dtype=bool)
    inside[subnetwork.rows.node] = True
    west, south, east, north = subnetwork.box_m
    x, y = city.nodes.x_m, city.nodes.y_m
    assert inside[(x > west) & (x < east) & (y > south) & (y < north)].all()
    pieces = city.pieces
    crossing = inside[pieces.from_node] != inside[pieces.to_node]
    assert pieces.is_open[crossing].all()
    assert sorted(np.flatnonzero(crossing).tolist()) == sorted(subnetwork.rim_piece.tolist())
    with pytest.raises(BoundaryAffectedError):
        subnetwork.require_within(np.array([west + 1.0]), np.array([(south + north) / 2]), 5.0)


def test_a_dead_end_beyond_is_taken_in(city: Network, subnetwork: Subnetwork) -> None:
    beyond = subnetwork.network.beyond
    assert beyond is not None
    inside = np.zeros(len(city.nodes), dtype=bool)
    inside[subnetwork.rows.node] = True
    carries = city.pieces.is_open & ~inside[city.pieces.from_node] & ~inside[city.pieces.to_node]
    fed = fed_nodes(city, carries, injections=True)
    ends = np.concatenate([city.pieces.from_node, city.pieces.to_node])
    outer = np.concatenate([subnetwork.rim_piece, len(city.pieces) + subnetwork.rim_piece])
    assert fed[ends[outer]][~inside[ends[outer]]].all()


@pytest.mark.parametrize("seed", range(25))
def test_closing_pipes(city: Network, subnetwork: Subnetwork, seed: int) -> None:
    rng, part, rows = np.random.default_rng(seed), subnetwork.network, subnetwork.rows
    nodes, x_y = part.nodes, middle(city)[0]
    gap = np.maximum(np.abs(nodes.x_m - x_y[0]), np.abs(nodes.y_m - x_y[1]))
    reach = rng.uniform(60.0, 900.0)
    near = np.flatnonzero((gap[part.pieces.from_node] < reach) & (gap[part.pieces.to_node] < reach))
    closed = rng.choice(near, min(len(near), int(rng.integers(1, 120))), replace=False).astype(np.int32)
    zone = np.unique(part.pieces.from_node[closed[:3]])
    here = reach_after(part, closed, zone, fed_before=fed_nodes(part, injections=True))
    whole = reach_after(
        city,
        rows.piece[closed].astype(np.int32),
        rows.node[zone].astype(np.int32),
        fed_before=fed_nodes(city, injections=True),
    )
    np.testing.assert_array_equal(here.fed, whole.fed[rows.node])
    np.testing.assert_array_equal(here.isolated, whole.isolated[rows.customer])
    np.testing.assert_array_equal(here.stranded, whole.stranded[rows.customer])
    # Nobody beyond loses gas: what hangs on the vicinity alone is in it.
    lost = np.flatnonzero(whole.isolated | whole.stranded)
    assert np.isin(lost, rows.customer).all()
    # With whom each customer is fed: the same uplift, the same diversity.
    rules = default_rules()
    demand = customer_demand(city.customers, Window(None, None, None, None), rules, HS_J_PER_M3)
    beyond = part.beyond
    assert beyond is not None
    some = demand.of_some(rows.customer, subnetwork.customer_beyond, len(beyond.fault_pa_gauge))
    gone = whole.isolated | whole.stranded
    everywhere = demand.flow_m3_per_s_std(part=whole.groups(gone))
    np.testing.assert_allclose(
        some.flow_m3_per_s_std(part=here.groups(gone[rows.customer])), everywhere[rows.customer], rtol=1e-12
    )
    assert some.worst_hour == demand.worst_hour
    assert some.hours_to_check() == demand.hours_to_check()


def test_a_fault_is_heard_of_by_way_of_what_lies_beyond(subnetwork: Subnetwork) -> None:
    part, beyond = subnetwork.network, subnetwork.network.beyond
    assert beyond is not None
    # Cut off the station with the highest fault pressure from the rest of the vicinity, but for the rim.
    stations, node = part.stations, int(beyond.node[0])
    apart = replace(part, pieces=replace(part.pieces, is_open=np.zeros(len(part.pieces), dtype=bool)))
    high = replace(
        stations,
        node=np.full(len(stations), node, np.int32),
        max_outlet_pa_gauge=np.full(len(stations), 9_000.0),
    )
    index = segment_graph(replace(apart, stations=high))
    greatest, _ = fault_pressures(index)
    joined = beyond.node[beyond.part == beyond.part[0]]
    assert (greatest[index.part[joined]] == 9_000.0).all()


def test_how_high_stations_get(city: Network, subnetwork: Subnetwork) -> None:
    part = subnetwork.network
    for system in range(len(city.systems)):
        assert set_outlet_pa_gauge(part, system) == set_outlet_pa_gauge(city, system)
    (here, none_here), (there, none_there) = (fault_pressures(segment_graph(net)) for net in (part, city))
    of_part, of_city = segment_graph(part).part, segment_graph(city).part[subnetwork.rows.node]
    np.testing.assert_array_equal(here[of_part], there[of_city])
    np.testing.assert_array_equal(none_here[of_part], none_there[of_city])


def test_a_fault_of_a_station_beyond_the_rim(city: Network, subnetwork: Subnetwork) -> None:
    beyond = np.ones(len(city.stations), dtype=bool)
    beyond[subnetwork.rows.station] = False
    assert beyond.any()
    most = np.where(beyond, 9_000.0, city.stations.max_outlet_pa_gauge)
    raised = replace(city, stations=replace(city.stations, max_outlet_pa_gauge=most))
    again = subnetwork_of(raised, middle(raised), 1_500)
    assert again is not None
    np.testing.assert_array_equal(again.rows.station, subnetwork.rows.station)
    of_part, of_city = segment_graph(again.network), segment_graph(raised)
    here, there = fault_pressures(of_part)[0][of_part.part], fault_pressures(of_city)[0][of_city.part]
    np.testing.assert_array_equal(here, there[again.rows.node])
    assert (here == 9_000.0).any()


def test_the_operating_limit_of_a_main_beyond_the_rim(city: Network, subnetwork: Subnetwork) -> None:
    beyond = np.ones(len(city.pipes), dtype=bool)
    beyond[subnetwork.rows.pipe] = False
    limited = replace(city, pipes=replace(city.pipes, mop_pa_gauge=np.where(beyond, 5_000.0, 9_000.0)))
    again = subnetwork_of(limited, middle(limited), 1_500)
    assert again is not None
    assert again.network.beyond is not None
    rules, part = default_rules(), components(limited).astype(np.int64)
    near, boundary = merged_parts(components(again.network), again.network.beyond)
    here = pressure_areas(again.network, rules, near.astype(np.int64), boundary.astype(np.int64))
    there = pressure_areas(limited, rules, part, np.zeros(0, dtype=np.int64))
    least = here.least_mop_pa_gauge[near]
    np.testing.assert_array_equal(least, there.least_mop_pa_gauge[part][again.rows.node])
    assert (least == 5_000.0).any()
