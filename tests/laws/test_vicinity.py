"""What closing pipes does within a vicinity is what it does in the whole network: nobody is missed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from netplan.demand import Window, customer_demand
from netplan.isolation import build_index
from netplan.isolation.stop_methods import fault_pressures
from netplan.network.model import Network
from netplan.network.subnetwork import ReachesRimError, Vicinity, merged_parts, vicinity_of
from netplan.network.supply import set_outlet_pa_gauge
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
def vicinity(city: Network) -> Vicinity:
    found = vicinity_of(city, middle(city), 1_500)
    assert found is not None
    return found


def test_rows_are_those_of_the_whole(city: Network, vicinity: Vicinity) -> None:
    part, rows = vicinity.network, vicinity.rows
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


def test_it_holds_the_square_and_no_closed_valve_at_the_rim(city: Network, vicinity: Vicinity) -> None:
    inside = np.zeros(len(city.nodes), dtype=bool)
    inside[vicinity.rows.node] = True
    west, south, east, north = vicinity.box_m
    x, y = city.nodes.x_m, city.nodes.y_m
    assert inside[(x > west) & (x < east) & (y > south) & (y < north)].all()
    pieces = city.pieces
    crossing = inside[pieces.from_node] != inside[pieces.to_node]
    assert pieces.is_open[crossing].all()
    assert sorted(np.flatnonzero(crossing).tolist()) == sorted(vicinity.rim_piece.tolist())
    with pytest.raises(ReachesRimError):
        vicinity.require_within(np.array([west + 1.0]), np.array([(south + north) / 2]), 5.0)


def test_a_dead_end_beyond_is_taken_in(city: Network, vicinity: Vicinity) -> None:
    beyond = vicinity.network.beyond
    assert beyond is not None
    inside = np.zeros(len(city.nodes), dtype=bool)
    inside[vicinity.rows.node] = True
    carries = city.pieces.is_open & ~inside[city.pieces.from_node] & ~inside[city.pieces.to_node]
    fed = fed_nodes(city, carries, injections=True)
    ends = np.concatenate([city.pieces.from_node, city.pieces.to_node])
    outer = np.concatenate([vicinity.rim_piece, len(city.pieces) + vicinity.rim_piece])
    assert fed[ends[outer]][~inside[ends[outer]]].all()


@pytest.mark.parametrize("seed", range(25))
def test_closing_pipes(city: Network, vicinity: Vicinity, seed: int) -> None:
    rng, part, rows = np.random.default_rng(seed), vicinity.network, vicinity.rows
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
    some = demand.of_some(rows.customer, vicinity.customer_beyond, len(beyond.fault_pa_gauge))
    gone = whole.isolated | whole.stranded
    everywhere = demand.flow_m3_per_s_std(part=whole.groups(gone))
    np.testing.assert_allclose(
        some.flow_m3_per_s_std(part=here.groups(gone[rows.customer])), everywhere[rows.customer], rtol=1e-12
    )
    assert some.worst_hour == demand.worst_hour
    assert some.hours_to_check() == demand.hours_to_check()


def test_a_fault_is_heard_of_by_way_of_what_lies_beyond(vicinity: Vicinity) -> None:
    part, beyond = vicinity.network, vicinity.network.beyond
    assert beyond is not None
    # Cut off the station with the highest fault pressure from the rest of the vicinity, but for the rim.
    stations, node = part.stations, int(beyond.node[0])
    apart = replace(part, pieces=replace(part.pieces, is_open=np.zeros(len(part.pieces), dtype=bool)))
    high = replace(
        stations,
        node=np.full(len(stations), node, np.int32),
        max_outlet_pa_gauge=np.full(len(stations), 9_000.0),
    )
    index = build_index(replace(apart, stations=high))
    greatest, _ = fault_pressures(index)
    joined = beyond.node[beyond.part == beyond.part[0]]
    assert (greatest[index.part[joined]] == 9_000.0).all()


def test_how_high_stations_get(city: Network, vicinity: Vicinity) -> None:
    part = vicinity.network
    for system in range(len(city.systems)):
        assert set_outlet_pa_gauge(part, system) == set_outlet_pa_gauge(city, system)
    (here, none_here), (there, none_there) = (fault_pressures(build_index(net)) for net in (part, city))
    of_part, of_city = build_index(part).part, build_index(city).part[vicinity.rows.node]
    np.testing.assert_array_equal(here[of_part], there[of_city])
    np.testing.assert_array_equal(none_here[of_part], none_there[of_city])


def test_a_fault_of_a_station_beyond_the_rim(city: Network, vicinity: Vicinity) -> None:
    beyond = np.ones(len(city.stations), dtype=bool)
    beyond[vicinity.rows.station] = False
    assert beyond.any()
    most = np.where(beyond, 9_000.0, city.stations.max_outlet_pa_gauge)
    raised = replace(city, stations=replace(city.stations, max_outlet_pa_gauge=most))
    again = vicinity_of(raised, middle(raised), 1_500)
    assert again is not None
    np.testing.assert_array_equal(again.rows.station, vicinity.rows.station)
    of_part, of_city = build_index(again.network), build_index(raised)
    here, there = fault_pressures(of_part)[0][of_part.part], fault_pressures(of_city)[0][of_city.part]
    np.testing.assert_array_equal(here, there[again.rows.node])
    assert (here == 9_000.0).any()


def test_the_operating_limit_of_a_main_beyond_the_rim(city: Network, vicinity: Vicinity) -> None:
    beyond = np.ones(len(city.pipes), dtype=bool)
    beyond[vicinity.rows.pipe] = False
    limited = replace(city, pipes=replace(city.pipes, mop_pa_gauge=np.where(beyond, 5_000.0, 9_000.0)))
    again = vicinity_of(limited, middle(limited), 1_500)
    assert again is not None
    assert again.network.beyond is not None
    rules, part = default_rules(), components(limited).astype(np.int64)
    near, rim = merged_parts(components(again.network), again.network.beyond)
    here = pressure_areas(again.network, rules, near.astype(np.int64), rim.astype(np.int64))
    there = pressure_areas(limited, rules, part, np.zeros(0, dtype=np.int64))
    least = here.least_mop_pa_gauge[near]
    np.testing.assert_array_equal(least, there.least_mop_pa_gauge[part][again.rows.node])
    assert (least == 5_000.0).any()
