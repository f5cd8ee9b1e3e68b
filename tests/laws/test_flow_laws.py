"""Laws of steady flow on random networks, 1 cm stubs and 800 m pipes among them.

More examples: set FLOW_EXAMPLES, e.g. `FLOW_EXAMPLES=3000 python -m pytest tests/laws/test_flow_laws.py`.
"""

from __future__ import annotations

import os

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from netplan.hydraulics import (
    FlowConditions,
    FlowLinks,
    FlowNetwork,
    FlowSolver,
    PartStatus,
    StationState,
    lu_solver,
)
from netplan.reference.gas import named_gas
from tests.support.flow_cases import (
    BORES_M,
    CONDITIONS,
    LENGTHS_M,
    M3H,
    ROUGHNESS_M,
    Case,
    cases,
    imbalance,
    links,
    solve,
)
from tests.support.flow_reference import solve_by_trying
from tests.support.shares import at_least, seen

Floats = npt.NDArray[np.float64]

EXAMPLES = int(os.environ.get("FLOW_EXAMPLES", "60"))
checked = settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
PA = 1e-6


@at_least(solved=20)
@checked
@given(cases())
def test_mass_balances_and_stations_keep_their_rules(case: Case) -> None:
    state = solve(case.network, case.demand, CONDITIONS)
    assert PartStatus.NOT_CONVERGED not in state.part_status
    solved = ~np.isnan(state.pressure_pa_gauge)
    if solved.any():
        seen("solved")
    flow = np.nan_to_num(state.flow_kg_per_s)
    station = np.nan_to_num(state.station_flow_kg_per_s)
    assert np.abs(imbalance(case, flow, station)[solved]).max(initial=0.0) <= 1e-8
    density = CONDITIONS.properties().density_kg_per_m3_std
    for number, what in enumerate(state.station_state):
        if what is StationState.WITHOUT_NUMBERS:
            assert np.isnan(state.station_flow_kg_per_s[number])
            continue
        given_flow = state.station_flow_kg_per_s[number]
        limit = case.network.station_capacity_m3_per_s_std[number] * density
        here = state.pressure_pa_gauge[case.network.station_node[number]]
        aim = case.network.station_pressure_pa_gauge[number]
        assert given_flow >= 0.0
        assert np.isnan(limit) or given_flow <= limit + 1e-8
        if what is StationState.HOLDING:
            assert here == pytest.approx(aim, abs=PA)
        elif what is StationState.LOCKED_UP:
            assert given_flow == 0.0
            assert here >= aim - 1e-4
        else:
            assert given_flow == pytest.approx(limit, abs=1e-8)
            assert here <= aim + 1e-4


@checked
@given(cases())
def test_pressure_falls_along_the_flow(case: Case) -> None:
    state = solve(case.network, case.demand, CONDITIONS)
    net = case.network.links
    fall = state.pressure_pa_gauge[net.from_node] - state.pressure_pa_gauge[net.to_node]
    moves = np.abs(np.nan_to_num(state.flow_kg_per_s)) > 1e-7
    assert (np.sign(fall[moves]) * np.sign(state.flow_kg_per_s[moves]) >= 0).all()
    assert (state.flow_kg_per_s[~net.is_open] == 0).all()


@checked
@given(cases(), st.data())
def test_raising_a_demand_raises_no_pressure(case: Case, data: st.DataObject) -> None:
    before = solve(case.network, case.demand, CONDITIONS)
    node = data.draw(st.integers(0, case.network.node_count - 1))
    demand = case.demand.copy()
    demand[node] += data.draw(st.sampled_from([0.05, 1.0, 5.0])) * M3H
    after = solve(case.network, demand, CONDITIONS)
    both = ~np.isnan(before.pressure_pa_gauge) & ~np.isnan(after.pressure_pa_gauge)
    assert (after.pressure_pa_gauge[both] <= before.pressure_pa_gauge[both] + 1e-4).all()
    # What could not be supplied before cannot be with more.
    assert not (np.isnan(before.pressure_pa_gauge) & both).any()


@checked
@given(
    cases(most_stations=1, heights=True, capacities=False, closed=False), st.sampled_from(["light", "heavy"])
)
def test_still_gas_rises_or_falls_with_height(case: Case, weight: str) -> None:
    gas = named_gas("natural gas" if weight == "light" else "propane")
    state = solve(case.network, np.zeros(case.network.node_count), FlowConditions(gas))
    assert state.status is PartStatus.SOLVED
    assert np.abs(state.flow_kg_per_s).max(initial=0.0) <= 1e-8
    height, pressure = case.network.node_height_m, state.pressure_pa_gauge
    order = np.argsort(height, kind="stable")
    climb, change = np.diff(height[order]), np.diff(pressure[order])
    sign = 1.0 if weight == "light" else -1.0
    assert (sign * change[climb > 0] > 0).all()
    assert np.abs(change[climb == 0]).max(initial=0.0) < 1e-4


@at_least(found=15)
@checked
@given(cases(most_nodes=7, most_stations=2, closed=False))
def test_where_an_independent_solver_finds_a_solution_ours_does(case: Case) -> None:
    theirs = solve_by_trying(case.network, case.demand, CONDITIONS)
    state = solve(case.network, case.demand, CONDITIONS)
    if theirs is None or theirs.min() < 0.0:
        # Nothing to compare with: then a name, and numbers only together with "solved".
        assert np.isnan(state.pressure_pa_gauge).all() == (state.status is not PartStatus.SOLVED)
        return
    seen("found")
    assert state.status is PartStatus.SOLVED
    note(f"{theirs} {state.pressure_pa_gauge}")
    assert np.abs(theirs - state.pressure_pa_gauge).max() <= 0.1


@checked
@given(cases(), st.data())
def test_warm_is_exact_after_stops(case: Case, data: st.DataObject) -> None:
    solver = FlowSolver(case.network, CONDITIONS)
    solver.solve(case.demand)
    count = case.network.links.count
    out = sorted(set(data.draw(st.lists(st.integers(0, count - 1), max_size=4))))
    warm = solver.resolve(closed_links=out)
    is_open = case.network.links.is_open.copy()
    is_open[out] = False
    cold = solve(case.network.with_links(_with_open(case.network.links, is_open)), case.demand, CONDITIONS)
    _assert_same(warm.pressure_pa_gauge, cold.pressure_pa_gauge, 1e-5)
    _assert_same(warm.flow_kg_per_s, cold.flow_kg_per_s, 1e-8)
    assert sorted(warm.part_status) == sorted(cold.part_status)


@checked
@given(cases(), st.data())
def test_warm_is_exact_with_a_bypass_and_another_demand(case: Case, data: st.DataObject) -> None:
    solver = FlowSolver(case.network, CONDITIONS)
    solver.solve(case.demand)
    last = case.network.node_count - 1
    hose = links(
        [(data.draw(st.integers(0, last)), data.draw(st.integers(0, last)))],
        [data.draw(st.sampled_from(LENGTHS_M))],
        [data.draw(st.sampled_from(BORES_M))],
        loss=6.0,
    )
    out = data.draw(st.integers(0, case.network.links.count - 1))
    demand = case.demand * data.draw(st.sampled_from([0.0, 0.5, 1.0, 1.3]))
    warm = solver.resolve(closed_links=[out], added_links=hose, demand_m3_per_s_std=demand)
    is_open = np.append(case.network.links.is_open, True)
    is_open[out] = False
    joined = _with_open(case.network.links.joined_with(hose), is_open)
    cold = solve(case.network.with_links(joined), demand, CONDITIONS)
    _assert_same(warm.pressure_pa_gauge, cold.pressure_pa_gauge, 1e-5)
    _assert_same(warm.flow_kg_per_s, cold.flow_kg_per_s, 1e-8)


@checked
@given(cases(capacities=False))
def test_the_fallback_linear_solver_gives_the_same(case: Case) -> None:
    one = solve(case.network, case.demand, CONDITIONS)
    other = solve(case.network, case.demand, CONDITIONS, linear_solver=lu_solver)
    _assert_same(one.pressure_pa_gauge, other.pressure_pa_gauge, 1e-5)


@checked
@given(cases(), st.randoms(use_true_random=False))
def test_order_of_links_and_nodes_does_not_matter(case: Case, random: object) -> None:
    network, demand = case.network, case.demand
    shuffle = random.shuffle  # type: ignore[attr-defined]
    nodes, rows = list(range(network.node_count)), list(range(network.links.count))
    shuffle(nodes)
    shuffle(rows)
    place, row = np.array(nodes), np.array(rows)
    turned = network.links
    moved = FlowNetwork(
        network.node_count,
        FlowLinks(
            place[turned.to_node[row]],
            place[turned.from_node[row]],
            turned.length_m[row],
            turned.bore_m[row],
            np.full(row.size, ROUGHNESS_M),
            np.zeros(row.size),
            turned.is_open[row],
        ),
        place[network.station_node],
        network.station_pressure_pa_gauge,
        network.station_capacity_m3_per_s_std,
    )
    elsewhere = np.empty_like(demand)
    elsewhere[place] = demand
    one, other = solve(network, demand, CONDITIONS), solve(moved, elsewhere, CONDITIONS)
    _assert_same(one.pressure_pa_gauge, other.pressure_pa_gauge[place], 1e-5)
    _assert_same(one.flow_kg_per_s[row], -other.flow_kg_per_s, 1e-8)


def _with_open(given_links: FlowLinks, is_open: npt.NDArray[np.bool_]) -> FlowLinks:
    return FlowLinks(
        given_links.from_node,
        given_links.to_node,
        given_links.length_m,
        given_links.bore_m,
        given_links.roughness_m,
        given_links.loss_coefficient,
        is_open,
    )


def _assert_same(one: Floats, other: Floats, limit: float) -> None:
    assert (np.isnan(one) == np.isnan(other)).all()
    assert np.nanmax(np.abs(one - other), initial=0.0) <= limit


@at_least(solved=15)
@checked
@given(cases(most_stations=1, capacities=False, closed=False), st.data())
def test_one_station_holds_any_sensing_point(case: Case, data: st.DataObject) -> None:
    network = case.network
    sensing = data.draw(st.integers(0, network.node_count - 1))
    remote = _with_sensing(network, [sensing])
    state = solve(remote, case.demand, CONDITIONS)
    assert state.status in (PartStatus.SOLVED, PartStatus.DEMAND_NOT_MET)
    seen(str(state.status))
    if state.status is PartStatus.SOLVED:
        assert state.pressure_pa_gauge[sensing] == pytest.approx(network.station_pressure_pa_gauge[0], abs=PA)
        assert np.abs(
            imbalance(case, np.nan_to_num(state.flow_kg_per_s), state.station_flow_kg_per_s)
        ).max() <= (1e-8)


@at_least(solved=15)
@checked
@given(cases(most_stations=3, capacities=True, closed=False), st.data())
def test_sensing_points_keep_their_rules_wherever_there_is_an_answer(case: Case, data: st.DataObject) -> None:
    # With distant sensing points a state of all stations need not exist: then a name and no numbers.
    network = case.network
    sensing = [
        data.draw(st.sampled_from([-1, data.draw(st.integers(0, network.node_count - 1))]))
        for _ in range(network.station_count)
    ]
    state = solve(_with_sensing(network, sensing), case.demand, CONDITIONS)
    seen(str(state.status))
    if state.status is not PartStatus.SOLVED:
        assert np.isnan(state.pressure_pa_gauge).all()
        return
    limit = network.station_capacity_m3_per_s_std * CONDITIONS.properties().density_kg_per_m3_std
    for number, what in enumerate(state.station_state):
        node = network.station_node[number] if sensing[number] < 0 else sensing[number]
        here, aim = state.pressure_pa_gauge[node], network.station_pressure_pa_gauge[number]
        flow = state.station_flow_kg_per_s[number]
        assert flow >= 0.0
        if what is StationState.HOLDING:
            assert here == pytest.approx(aim, abs=PA)
            assert np.isnan(limit[number]) or flow <= limit[number] + 1e-8
        elif what is StationState.LOCKED_UP:
            assert flow == 0.0
            assert here >= aim - 1e-4
        else:
            assert here <= aim + 1e-4
    assert (
        np.abs(imbalance(case, np.nan_to_num(state.flow_kg_per_s), state.station_flow_kg_per_s)).max() <= 1e-8
    )


def _with_sensing(network: FlowNetwork, sensing: list[int]) -> FlowNetwork:
    return FlowNetwork(
        network.node_count,
        network.links,
        network.station_node,
        network.station_pressure_pa_gauge,
        network.station_capacity_m3_per_s_std,
        np.array(sensing),
    )
