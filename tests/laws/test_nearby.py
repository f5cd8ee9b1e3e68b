"""A change solved from near is the change solved in the whole network.

More examples: set FLOW_EXAMPLES, e.g. `FLOW_EXAMPLES=3000 python -m pytest tests/laws/test_nearby.py`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from netplan.bypass import Tap, with_taps
from netplan.hydraulics import FlowLinks, FlowNetwork, FlowSolver, FlowState, PartStatus
from netplan.hydraulics.nearby import NearbySolver, nearby_solver
from netplan.hydraulics.outcome import Kept
from netplan.hydraulics.surroundings import Surroundings
from tests.benchmarks.street_grid import street_grid
from tests.flow_cases import CONDITIONS, M3H, Case, cases

Floats = npt.NDArray[np.float64]

EXAMPLES = int(os.environ.get("FLOW_EXAMPLES", "60"))
PA = 2e-3
"""Each of the two may err by a thousandth [Pa]."""


@dataclass(frozen=True)
class Town:
    """A street grid with a station every few blocks, solved as it stands."""

    network: FlowNetwork
    demand: Floats
    around: Surroundings


def surroundings(network: FlowNetwork, demand: Floats) -> Surroundings:
    solver = FlowSolver(network, CONDITIONS)
    around = Surroundings(solver)
    around.keep(demand, solver.solve(demand))
    return around


@pytest.fixture(scope="module")
def town() -> Town:
    grid = street_grid(80, seed=3, service_m3_per_h=0.6)
    side = np.arange(1, 81, 2)
    stations = (side[:, None] * 81 + side[None, :]).ravel()
    capacity = np.where(np.arange(stations.size) % 7 == 3, 20 * M3H, np.nan)
    network = replace(
        grid.network,
        station_node=stations,
        station_pressure_pa_gauge=np.full(stations.size, 2500.0),
        station_capacity_m3_per_s_std=capacity,
        station_sensing_node=np.full(stations.size, -1),
    )
    demand = grid.demand_m3_per_s_std
    return Town(network, demand, surroundings(network, demand))


def same(near: FlowState, whole: FlowState) -> None:
    """Compare two states of one network."""
    for name, error in (("pressure_pa_gauge", PA), ("flow_kg_per_s", 1e-6), ("station_flow_kg_per_s", 1e-6)):
        np.testing.assert_allclose(
            getattr(near, name), getattr(whole, name), rtol=0.0, atol=error, err_msg=name, equal_nan=True
        )
    assert near.station_state == whole.station_state
    assert near.status == whole.status
    for status in (PartStatus.SOLVED, PartStatus.NO_SOURCE, PartStatus.DEMAND_NOT_MET):
        assert near.nodes_with(status).tolist() == whole.nodes_with(status).tolist()


def closings(town: Town, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Return a few neighbouring links of main."""
    links = town.network.links
    mains = np.flatnonzero(links.bore_m > 0.03)
    first = int(rng.choice(mains))
    at = town.around.adjacency.outward(links.from_node[[first]], 12)
    near = np.unique(town.around.adjacency.links_at(at))
    return np.unique(rng.choice(near, size=int(rng.integers(1, 6))))


@pytest.mark.parametrize("seed", range(12))
def test_stops_and_meters_off_in_a_town(town: Town, seed: int) -> None:
    rng = np.random.default_rng(seed)
    solver = nearby_solver(town.around, town.network, first_nodes=2000)
    assert isinstance(solver, NearbySolver)
    closed = closings(town, rng)
    demand = town.demand.copy()
    ends = np.concatenate([town.network.links.from_node[closed], town.network.links.to_node[closed]])
    demand[ends] = 0.0
    demand[int(rng.choice(ends))] += 5 * M3H
    near = solver.resolve(demand_m3_per_s_std=demand, closed_links=closed.tolist())
    assert not isinstance(near.core, Kept), "it was solved as a whole"
    same(near, FlowSolver(town.network, CONDITIONS).resolve(demand_m3_per_s_std=demand, closed_links=closed))
    again = solver.resolve(demand_m3_per_s_std=demand, closed_links=closed.tolist()[:1], warm=near)
    whole = FlowSolver(town.network, CONDITIONS)
    same(again, whole.resolve(demand_m3_per_s_std=demand, closed_links=closed[:1]))


@pytest.mark.parametrize("seed", range(6))
def test_new_nodes_hoses_and_opened_links(town: Town, seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    stopped = closings(town, rng)
    tapped, node, _ = with_taps(town.network, [Tap(int(stopped[0]), 0.3), Tap(int(stopped[-1]), 0.8)])
    hose = FlowLinks(
        node[:1], node[-1:], np.array([12.0]), np.array([0.051]), np.array([1e-5]), np.array([6.0])
    )
    is_open = tapped.links.is_open.copy()
    is_open[stopped] = False
    network = tapped.with_links(replace(tapped.links, is_open=is_open).joined_with(hose))
    demand = np.concatenate([town.demand, np.zeros(network.node_count - town.network.node_count)])
    demand[-1] = 2 * M3H
    solver = nearby_solver(town.around, network, first_nodes=2000)
    assert isinstance(solver, NearbySolver)
    near = solver.solve(demand)
    assert not isinstance(near.core, Kept), "it was solved as a whole"
    whole = FlowSolver(network, CONDITIONS)
    same(near, whole.solve(demand))
    opened = stopped[:1].tolist()
    same(
        solver.resolve(opened_links=opened, closed_links=[network.links.count - 1]),
        whole.resolve(opened_links=opened, closed_links=[network.links.count - 1]),
    )
    other = solver.prepared_for(network.with_links(replace(network.links, is_open=tapped_open(network))))
    same(other.solve(demand), FlowSolver(other.network, CONDITIONS).solve(demand))


def tapped_open(network: FlowNetwork) -> npt.NDArray[np.bool_]:
    """Return every link open."""
    return np.ones(network.links.count, dtype=bool)


def test_what_reaches_the_rim_is_looked_at_farther_out(town: Town) -> None:
    solver = nearby_solver(town.around, town.network, first_nodes=60)
    assert isinstance(solver, NearbySolver)
    demand = town.demand.copy()
    demand[0] += 40 * M3H
    near = solver.resolve(demand_m3_per_s_std=demand)
    assert not isinstance(near.core, Kept), "it was solved as a whole"
    assert near.core.window.nodes.size > 200
    same(near, FlowSolver(town.network, CONDITIONS).solve(demand))


def test_a_colder_day_is_solved_as_a_whole(town: Town) -> None:
    solver = nearby_solver(town.around, town.network, first_nodes=2000)
    state = solver.resolve(demand_m3_per_s_std=1.1 * town.demand)
    assert isinstance(state.core, Kept)
    same(state, FlowSolver(town.network, CONDITIONS).solve(1.1 * town.demand))


def test_nothing_changed_is_the_state_as_it_stands(town: Town) -> None:
    solver = nearby_solver(town.around, town.network, first_nodes=2000)
    (_, standing, moved) = town.around.nearest(town.demand) or pytest.fail("nothing kept")
    assert not moved.size
    assert solver.resolve(demand_m3_per_s_std=town.demand) is standing


def beads(one: Case, copies: int) -> Case:
    """Return copies of a network, each joined to the next by a long and narrow pipe."""
    net, places = one.network, np.arange(copies)
    links = FlowLinks(
        *(
            np.concatenate([net.links.from_node + k * net.node_count for k in places]),
            np.concatenate([net.links.to_node + k * net.node_count for k in places]),
        ),
        *(
            np.tile(getattr(net.links, name), copies)
            for name in ("length_m", "bore_m", "roughness_m", "loss_coefficient", "is_open")
        ),
    )
    between = np.arange(copies - 1) * net.node_count
    links = links.joined_with(
        FlowLinks(
            between,
            between + net.node_count,
            np.full(copies - 1, 300.0),
            np.full(copies - 1, 0.05),
            np.full(copies - 1, 7e-6),
        )
    )
    network = FlowNetwork(
        copies * net.node_count,
        links,
        np.concatenate([net.station_node + k * net.node_count for k in places]),
        np.tile(net.station_pressure_pa_gauge, copies),
        np.tile(net.station_capacity_m3_per_s_std, copies),
    )
    return Case(network, np.tile(one.demand, copies))


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
@given(cases(most_nodes=14, one_set_pressure=True), st.data())
def test_random_networks(one: Case, data: st.DataObject) -> None:
    case = beads(one, 8)
    around = surroundings(case.network, case.demand)
    solver = nearby_solver(around, case.network, first_nodes=data.draw(st.integers(1, 20)))
    count = one.network.links.count
    closed = data.draw(st.sets(st.integers(0, count - 1), max_size=3))
    demand = case.demand.copy()
    for node in data.draw(st.sets(st.integers(0, one.network.node_count - 1), max_size=2)):
        demand[node] = data.draw(st.sampled_from([0.0, 1.0, 4.0])) * M3H
    near = solver.resolve(demand_m3_per_s_std=demand, closed_links=closed)
    whole = FlowSolver(case.network, CONDITIONS).resolve(demand_m3_per_s_std=demand, closed_links=closed)
    event("near" if not isinstance(near.core, Kept) else "whole")
    np.testing.assert_allclose(
        near.pressure_pa_gauge, whole.pressure_pa_gauge, rtol=0.0, atol=PA, equal_nan=True
    )
    assert near.status == whole.status
