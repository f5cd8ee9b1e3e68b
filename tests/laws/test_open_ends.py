"""Laws of nodes open to the air: gas escapes at 0 mbar gauge, as if as much were drawn there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from netplan.core.errors import BadNetworkError
from netplan.hydraulics import FlowNetwork, FlowSolver, PartStatus, StationState, resolve_without_starved
from tests.support.flow_cases import CONDITIONS, M3H, Case, cases, imbalance, links, solve

SAME_PA = 0.02


def _opened(case: Case, node: int) -> FlowNetwork:
    return replace(case.network, open_node=np.array([node]))


def _free_node(case: Case, data: st.DataObject) -> int:
    free = sorted(set(range(case.network.node_count)) - set(case.network.station_node.tolist()))
    assume(free)
    return data.draw(st.sampled_from(free))


@settings(max_examples=150, deadline=None)
@given(cases(heights=True), st.data())
def test_what_escapes_is_a_draw_that_leaves_no_pressure(case: Case, data: st.DataObject) -> None:
    node = _free_node(case, data)
    state = solve(_opened(case, node), case.demand, CONDITIONS)
    escaping = state.open_flow_m3_per_s_std
    if state.part_status[state.node_part[node]] is not PartStatus.SOLVED:
        assert np.isnan(state.pressure_pa_gauge[node])
        return
    assert escaping[0] >= 0.0
    assert abs(state.pressure_pa_gauge[node]) <= 1e-3
    if StationState.AT_CAPACITY in state.station_state:
        return  # then a draw says nothing of the pressure; see below
    drawn = case.demand.copy()
    drawn[node] += escaping[0]
    same = solve(case.network, drawn, CONDITIONS)
    if same.part_status[same.node_part[node]] is PartStatus.SOLVED:
        moved = np.abs(same.pressure_pa_gauge - state.pressure_pa_gauge)[
            state.node_part == state.node_part[node]
        ]
        assert moved.max() <= SAME_PA


@settings(max_examples=100, deadline=None)
@given(cases(), st.data())
def test_mass_is_kept_and_warm_starts_do_not_matter(case: Case, data: st.DataObject) -> None:
    node = _free_node(case, data)
    network = _opened(case, node)
    cold = solve(network, case.demand, CONDITIONS)
    good = np.array([status is PartStatus.SOLVED for status in cold.part_status])[cold.node_part]
    assume(good.any())
    drawn = case.demand.copy()
    drawn[node] += np.nan_to_num(cold.open_flow_m3_per_s_std[0])
    left = imbalance(
        Case(case.network, drawn),
        np.nan_to_num(cold.flow_kg_per_s),
        np.nan_to_num(cold.station_flow_kg_per_s),
    )
    assert np.abs(left[good]).max() <= 2e-8
    shut = solve(case.network, case.demand, CONDITIONS)
    warm = solve(network, case.demand, CONDITIONS, warm=shut)
    assert [*warm.part_status] == [*cold.part_status]
    assert np.nanmax(np.abs(warm.pressure_pa_gauge[good] - cold.pressure_pa_gauge[good])) <= SAME_PA


def test_a_line_to_an_open_end_takes_what_the_drop_allows() -> None:
    # 100 m of 102.2 mm at 25 mbar: the same pipe drawn on until nothing is left.
    pipe = links([(0, 1)], [100.0], [0.1022])
    opened = solve(
        FlowNetwork(2, pipe, np.array([0]), np.array([2500.0]), open_node=np.array([1])),
        np.zeros(2),
        CONDITIONS,
    )
    escaping = float(opened.open_flow_m3_per_s_std[0])
    assert escaping > 0.0
    plain = FlowNetwork(2, pipe, np.array([0]), np.array([2500.0]))
    drawn = solve(plain, np.array([0.0, escaping]), CONDITIONS)
    assert drawn.pressure_pa_gauge[1] == pytest.approx(0.0, abs=1e-3)
    assert solve(plain, np.array([0.0, 1.001 * escaping]), CONDITIONS).below_zero is not None


def test_no_air_comes_in_at_an_open_end() -> None:
    # Nothing but the open end is left once the station is gone: no source.
    pipe = links([(0, 1), (1, 2)], [50.0, 50.0], [0.1022, 0.1022])
    network = FlowNetwork(3, pipe, np.array([0]), np.array([2500.0]), open_node=np.array([2]))
    solver = FlowSolver(network, CONDITIONS)
    demand = np.array([0.0, 5.0 * M3H, 0.0])
    solver.solve(demand)
    cut_off = solver.resolve(closed_links=[0])
    assert cut_off.part_status[cut_off.node_part[1]] is PartStatus.NO_SOURCE
    assert np.isnan(cut_off.pressure_pa_gauge[[1, 2]]).all()
    # A station that cannot even meet the demand lets no air make up for it.
    weak = solver.resolve(station_capacity_m3_per_s_std=np.array([4.0 * M3H]))
    assert weak.part_status[weak.node_part[1]] is PartStatus.DEMAND_NOT_MET


def test_a_station_at_capacity_leaves_the_open_end_the_rest() -> None:
    pipe = links([(0, 1), (1, 2)], [50.0, 50.0], [0.1022, 0.1022])
    network = FlowNetwork(
        3, pipe, np.array([0]), np.array([2500.0]), np.array([30.0 * M3H]), open_node=np.array([2])
    )
    state = solve(network, np.array([0.0, 5.0 * M3H, 0.0]), CONDITIONS).require_solved()
    assert state.open_flow_m3_per_s_std[0] / M3H == pytest.approx(25.0, abs=1e-4)
    assert state.pressure_pa_gauge[0] < 100.0


def test_who_lies_below_zero_draws_nothing() -> None:
    # A side street of 26 mm hangs on a main that is open 1 m further on.
    pipe = links([(0, 1), (1, 2), (1, 3)], [200.0, 1.0, 100.0], [0.1022, 0.1022, 0.026])
    network = FlowNetwork(4, pipe, np.array([0]), np.array([2500.0]), open_node=np.array([2]))
    solver = FlowSolver(network, CONDITIONS)
    demand = np.array([0.0, 0.0, 0.0, 8.0 * M3H])
    state, starved = resolve_without_starved(solver, demand)
    assert starved.tolist() == [False, False, False, True]
    assert state.require_solved().pressure_pa_gauge[3] == pytest.approx(state.pressure_pa_gauge[1])
    alone = solver.resolve(demand_m3_per_s_std=np.zeros(4))
    assert state.open_flow_m3_per_s_std[0] == pytest.approx(alone.open_flow_m3_per_s_std[0], rel=1e-9)
    _, nobody = resolve_without_starved(solver, np.zeros(4))
    assert not nobody.any()


def test_an_open_end_at_a_station_is_refused() -> None:
    with pytest.raises(BadNetworkError, match="open_node names the outlet of a station"):
        FlowNetwork(
            2, links([(0, 1)], [1.0], [0.1022]), np.array([0]), np.array([2500.0]), open_node=np.array([0])
        )


def test_a_station_lost_before_gives_what_it_must_again() -> None:
    pipe = links([(0, 1), (1, 2), (2, 3)], [50.0, 50.0, 50.0], [0.1022, 0.1022, 0.1022])
    network = FlowNetwork(4, pipe, np.array([0, 3]), np.array([2500.0, 2500.0]), open_node=np.array([2]))
    solver, demand = FlowSolver(network, CONDITIONS), np.array([0.0, 5.0 * M3H, 0.0, 0.0])
    both = solver.solve(demand).require_solved()
    lost = solver.resolve(station_capacity_m3_per_s_std=np.array([np.nan, 0.0])).require_solved()
    assert lost.station_flow_m3_per_s_std[1] == 0.0
    again = solver.resolve(warm=lost).require_solved()
    assert again.station_flow_m3_per_s_std == pytest.approx(both.station_flow_m3_per_s_std, rel=1e-6)
