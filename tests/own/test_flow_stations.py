"""Stations, sensing points, named states, valves of no length, single pipes: our own cases."""

from __future__ import annotations

import fluids
import numpy as np
import pytest

from netplan.core.errors import BadInputError, BadNetworkError, NotSolvedError
from netplan.hydraulics import (
    LIMITS,
    FlowLinks,
    FlowNetwork,
    FlowSolver,
    FlowState,
    PartStatus,
    StationState,
    ldl_solver,
    links_beyond,
    lu_solver,
    transition_allowance_pa,
)
from tests.support.flow_cases import CONDITIONS, M3H, ROUGHNESS_M, links, ring_six, solve

HOLDING, LOCKED, FULL = StationState.HOLDING, StationState.LOCKED_UP, StationState.AT_CAPACITY


def street(stations: list[tuple[int, float]], **more: object) -> FlowNetwork:
    """Return a street of five nodes, 200 m apart, 125 mm SDR 11."""
    return FlowNetwork(
        5,
        links([(0, 1), (1, 2), (2, 3), (3, 4)], [200.0] * 4, [0.1022] * 4),
        np.array([node for node, _ in stations]),
        np.array([pressure for _, pressure in stations]),
        **more,  # type: ignore[arg-type]
    )


def flows(state: FlowState) -> list[float]:
    """Return station flows [m³/h]."""
    return [float(value) / M3H for value in state.station_flow_m3_per_s_std]


class TestTwoStations:
    """25 and 21 mbar on one network."""

    def test_the_lower_one_never_takes_gas_in(self) -> None:
        network = street([(0, 2500.0), (4, 2100.0)])
        for total in (0.0, 5.0, 30.0, 80.0, 150.0, 220.0):
            state = solve(network, np.array([0.0, 0.3, 0.4, 0.3, 0.0]) * total * M3H, CONDITIONS)
            assert state.status is PartStatus.SOLVED
            assert state.station_state[0] is HOLDING
            assert min(flows(state)) >= 0.0
            assert sum(flows(state)) == pytest.approx(total, abs=1e-5)
            if state.station_state[1] is LOCKED:
                assert flows(state)[1] == 0.0
                assert state.pressure_pa_gauge[4] >= 2100.0
            else:
                assert state.pressure_pa_gauge[4] == pytest.approx(2100.0, abs=1e-6)

    def test_it_opens_when_the_pressure_has_sunk(self) -> None:
        network = street([(0, 2500.0), (4, 2100.0)])
        low = solve(network, np.array([0, 0, 10.0, 0, 0]) * M3H, CONDITIONS)
        high = solve(network, np.array([0, 0, 0, 0, 200.0]) * M3H, CONDITIONS)
        assert low.station_state == (HOLDING, LOCKED)
        assert high.station_state == (HOLDING, HOLDING)
        assert flows(high)[1] > 50.0

    def test_on_one_node_the_higher_goes_first(self) -> None:
        capacity = np.array([np.nan, 40.0]) * M3H
        both = street([(0, 2100.0), (0, 2500.0)], station_capacity_m3_per_s_std=capacity)
        small = solve(both, np.array([0, 0, 30.0, 0, 0]) * M3H, CONDITIONS)
        assert small.station_state == (LOCKED, HOLDING)
        assert small.pressure_pa_gauge[0] == pytest.approx(2500.0, abs=1e-6)
        large = solve(both, np.array([0, 0, 90.0, 0, 0]) * M3H, CONDITIONS)
        assert large.station_state == (HOLDING, FULL)
        assert flows(large) == pytest.approx([50.0, 40.0], abs=1e-4)
        assert large.pressure_pa_gauge[0] == pytest.approx(2100.0, abs=1e-6)


class TestCapacity:
    """A station gives a fixed flow beyond its capacity."""

    def test_the_outlet_sags(self) -> None:
        capacity = np.array([60.0, np.nan]) * M3H
        network = street([(0, 2500.0), (4, 2300.0)], station_capacity_m3_per_s_std=capacity)
        state = solve(network, np.array([0, 100.0, 0, 0, 0]) * M3H, CONDITIONS)
        assert state.station_state == (FULL, HOLDING)
        assert flows(state) == pytest.approx([60.0, 40.0], abs=1e-4)
        assert state.pressure_pa_gauge[0] < 2300.0

    def test_too_little_in_all_has_a_name_and_no_number(self) -> None:
        network = street([(0, 2500.0)], station_capacity_m3_per_s_std=np.array([60.0]) * M3H)
        state = solve(network, np.array([0, 0, 60.1, 0, 0]) * M3H, CONDITIONS)
        assert state.status is PartStatus.DEMAND_NOT_MET
        assert np.isnan(state.pressure_pa_gauge).all()
        assert np.isnan(state.flow_kg_per_s).all()
        assert np.isnan(state.station_flow_kg_per_s).all()
        assert state.station_state == (StationState.WITHOUT_NUMBERS,)
        with pytest.raises(NotSolvedError, match="demand not met in 1 part"):
            state.require_solved()
        just = solve(network, np.array([0, 0, 60.0, 0, 0]) * M3H, CONDITIONS)
        assert just.status is PartStatus.SOLVED


class TestSensingPoint:
    """A station holds the pressure at its sensing point, not at its outlet."""

    def test_one_station(self) -> None:
        network = street([(0, 2100.0)], station_sensing_node=np.array([3]))
        state = solve(network, np.array([0, 20.0, 30.0, 40.0, 10.0]) * M3H, CONDITIONS)
        assert state.pressure_pa_gauge[3] == pytest.approx(2100.0, abs=1e-6)
        assert state.pressure_pa_gauge[0] > 2100.0
        assert flows(state) == pytest.approx([100.0], abs=1e-6)
        assert state.station_state == (HOLDING,)

    def test_beside_a_station_that_senses_its_outlet(self) -> None:
        network = street([(0, 2300.0), (4, 2300.0)], station_sensing_node=np.array([2, -1]))
        state = solve(network, np.array([0, 60.0, 60.0, 60.0, 0]) * M3H, CONDITIONS)
        assert state.station_state == (HOLDING, HOLDING)
        assert state.pressure_pa_gauge[[2, 4]] == pytest.approx([2300.0, 2300.0], abs=1e-5)
        assert sum(flows(state)) == pytest.approx(180.0, abs=1e-4)

    def test_back_pressured_at_the_sensing_point_it_locks_up(self) -> None:
        network = street([(0, 2000.0), (4, 2500.0)], station_sensing_node=np.array([2, -1]))
        state = solve(network, np.array([0, 5.0, 5.0, 5.0, 0]) * M3H, CONDITIONS)
        assert state.station_state == (LOCKED, HOLDING)
        assert flows(state)[0] == 0.0

    def test_cut_off_it_has_a_name(self) -> None:
        network = street([(0, 2100.0), (4, 2100.0)], station_sensing_node=np.array([2, -1]))
        solver = FlowSolver(network, CONDITIONS)
        demand = np.array([0, 5.0, 5.0, 5.0, 0]) * M3H
        assert solver.solve(demand).status is PartStatus.SOLVED
        state = solver.resolve(closed_links=[1])
        assert state.status is PartStatus.SENSING_CUT_OFF
        assert np.isnan(state.pressure_pa_gauge[:2]).all()
        assert state.pressure_pa_gauge[4] == pytest.approx(2100.0, abs=1e-6)


class TestNamedStates:
    """Parts of the network are judged one by one."""

    def test_a_stranded_part_does_not_spoil_the_rest(self) -> None:
        solver = FlowSolver(street([(0, 2500.0)]), CONDITIONS)
        solver.solve(np.array([0, 5.0, 5.0, 5.0, 5.0]) * M3H)
        state = solver.resolve(closed_links=[2])
        assert state.status is PartStatus.SOLVED
        assert state.part_status.count(PartStatus.NO_SOURCE) == 1
        assert _nodes_with(state, PartStatus.NO_SOURCE) == [3, 4]
        assert np.isnan(state.pressure_pa_gauge[3:]).all()
        assert np.isfinite(state.pressure_pa_gauge[:3]).all()
        assert flows(state) == pytest.approx([10.0])
        assert state.flow_kg_per_s[2] == 0.0
        assert np.isnan(state.flow_kg_per_s[3])

    def test_a_piece_between_two_stops_on_one_main(self) -> None:
        ring = FlowNetwork(
            6,
            links([(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 0)], [50.0] * 6, [0.1022] * 6),
            np.array([0]),
            np.array([2500.0]),
        )
        solver = FlowSolver(ring, CONDITIONS)
        solver.solve(np.array([0, 1.0, 2.0, 3.0, 4.0, 5.0]) * M3H)
        state = solver.resolve(closed_links=[1, 3])
        assert _nodes_with(state, PartStatus.NO_SOURCE) == [2, 3]
        assert flows(state) == pytest.approx([10.0])
        assert state.flow_m3_per_s_std[[0, 4, 5]] / M3H == pytest.approx([1.0, -4.0, -9.0])
        assert state.pressure_pa_gauge[5] > state.pressure_pa_gauge[4]

    def test_a_ring_without_a_station(self) -> None:
        network = FlowNetwork(
            5,
            links([(0, 1), (2, 3), (3, 4), (4, 2)], [50.0] * 4, [0.1] * 4),
            np.array([0]),
            np.array([2500.0]),
        )
        state = solve(network, np.full(5, 1.0 * M3H), CONDITIONS)
        assert _nodes_with(state, PartStatus.NO_SOURCE) == [2, 3, 4]

    def test_nothing_but_a_ring(self) -> None:
        ring = FlowNetwork(
            3, links([(0, 1), (1, 2), (2, 0)], [50.0] * 3, [0.1] * 3), np.zeros(0, np.int64), np.zeros(0)
        )
        state = solve(ring, np.zeros(3), CONDITIONS)
        assert state.status is PartStatus.NO_SOURCE
        assert np.isnan(state.pressure_pa_gauge).all()

    def test_no_station_at_all(self) -> None:
        network = FlowNetwork(2, links([(0, 1)], [10.0], [0.1]), np.zeros(0, np.int64), np.zeros(0))
        state = solve(network, np.zeros(2), CONDITIONS)
        assert state.status is PartStatus.NO_SOURCE
        assert np.isnan(state.pressure_pa_gauge).all()

    def test_below_zero_gauge_is_no_pressure(self) -> None:
        state = solve(street([(0, 2500.0)]), np.array([0, 0, 0, 0, 600.0]) * M3H, CONDITIONS)
        assert state.status is PartStatus.DEMAND_NOT_MET
        assert np.isnan(state.pressure_pa_gauge).all()

    def test_more_gas_put_in_than_drawn(self) -> None:
        state = solve(street([(0, 2500.0)]), np.array([0, 0, 3.0, 0, -5.0]) * M3H, CONDITIONS)
        assert state.status is PartStatus.GAS_NOT_TAKEN
        assert np.isnan(state.pressure_pa_gauge).all()

    def test_an_injection_that_is_taken(self) -> None:
        state = solve(street([(0, 2500.0)]), np.array([0, 0, 30.0, 0, -12.0]) * M3H, CONDITIONS)
        assert flows(state) == pytest.approx([18.0])
        assert state.pressure_pa_gauge[4] > state.pressure_pa_gauge[2]


class TestNoLength:
    """Open valves join their nodes exactly, and still show a flow."""

    def valve_street(self) -> FlowNetwork:
        return FlowNetwork(
            4,
            links([(0, 1), (1, 2), (2, 3)], [100.0, 0.0, 100.0], [0.1022] * 3),
            np.array([0]),
            np.array([2500.0]),
        )

    def test_open(self) -> None:
        state = solve(self.valve_street(), np.array([0, 4.0, 5.0, 6.0]) * M3H, CONDITIONS)
        assert state.pressure_pa_gauge[1] == state.pressure_pa_gauge[2]
        assert state.flow_m3_per_s_std / M3H == pytest.approx([15.0, 11.0, 6.0])

    def test_closing_it_parts_its_nodes(self) -> None:
        solver = FlowSolver(self.valve_street(), CONDITIONS)
        solver.solve(np.array([0, 4.0, 5.0, 6.0]) * M3H)
        state = solver.resolve(closed_links=[1])
        assert _nodes_with(state, PartStatus.NO_SOURCE) == [2, 3]
        assert flows(state) == pytest.approx([4.0])
        again = solver.resolve()
        assert flows(again) == pytest.approx([15.0])

    def test_two_side_by_side_leave_their_flow_open(self) -> None:
        network = FlowNetwork(
            3,
            links([(0, 1), (1, 2), (1, 2)], [100.0, 0.0, 0.0], [0.1] * 3),
            np.array([0]),
            np.array([2500.0]),
        )
        state = solve(network, np.array([0, 0, 6.0]) * M3H, CONDITIONS)
        assert np.isnan(state.flow_kg_per_s[1:]).all()
        assert np.isfinite(state.pressure_pa_gauge).all()

    def test_a_valve_opened_later(self) -> None:
        shut = self.valve_street().links
        closed = FlowLinks(
            shut.from_node,
            shut.to_node,
            shut.length_m,
            shut.bore_m,
            shut.roughness_m,
            shut.loss_coefficient,
            np.array([True, False, True]),
        )
        solver = FlowSolver(self.valve_street().with_links(closed), CONDITIONS)
        assert flows(solver.solve(np.array([0, 4.0, 5.0, 6.0]) * M3H)) == pytest.approx([4.0])
        assert flows(solver.resolve(opened_links=[1])) == pytest.approx([15.0])


def test_adding_a_pipe_can_lower_the_least_pressure() -> None:
    # Own counter-example to "more pipe, more pressure".
    ends = [(0, 1), (1, 2), (0, 3)]
    network = FlowNetwork(
        4, links(ends, [300.0, 250.0, 300.0], [0.1022, 0.0514, 0.0736]), np.array([0]), np.array([2500.0])
    )
    solver = FlowSolver(network, CONDITIONS)
    before = solver.solve(np.array([0, 0, 22.0, 55.0]) * M3H)
    after = solver.resolve(added_links=links([(1, 3)], [20.0], [0.1022]))
    assert before.status is after.status is PartStatus.SOLVED
    assert after.pressure_pa_gauge.min() < before.pressure_pa_gauge.min() - 1.0
    assert after.pressure_pa_gauge[3] > before.pressure_pa_gauge[3]


def test_unknown_heights_drive_nothing_round_a_ring() -> None:
    ends = [(0, 1), (1, 2), (2, 3), (3, 0)]
    height = np.array([100.0, np.nan, 110.0, 105.0])
    network = FlowNetwork(
        4,
        links(ends, [90.0, 100.0, 100.0, 100.0], [0.1022] * 4),
        np.array([0]),
        np.array([2500.0]),
        node_height_m=height,
    )
    state = solve(network, np.zeros(4), CONDITIONS)
    assert np.abs(state.flow_kg_per_s).max() < 1e-9
    assert state.pressure_pa_gauge[1] == pytest.approx(2500.0, abs=1e-4)
    assert state.pressure_pa_gauge[2] > state.pressure_pa_gauge[3] > 2500.0


def test_both_linear_solvers_on_the_ring() -> None:
    one = solve(ring_six().network, ring_six().demand, CONDITIONS, linear_solver=ldl_solver)
    other = solve(ring_six().network, ring_six().demand, CONDITIONS, linear_solver=lu_solver)
    assert one.pressure_pa_gauge == pytest.approx(other.pressure_pa_gauge, abs=1e-7)


class TestBadInput:
    """Bad input is refused in one line."""

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"length_m": [-1.0]}, "length below 0"),
            ({"bore_m": [0.0]}, "bore not above 0"),
            ({"bore_m": [float("nan")]}, "bore not above 0"),
            ({"roughness_m": [0.2]}, "roughness missing"),
            ({"loss_coefficient": [-1.0]}, "loss coefficient below 0"),
            ({"to_node": [1, 2]}, "to_node has 2 rows for 1 links"),
        ],
    )
    def test_links(self, change: dict[str, list[float]], words: str) -> None:
        good = {"from_node": [0], "to_node": [1], "length_m": [10.0], "bore_m": [0.1], "roughness_m": [7e-6]}
        with pytest.raises(BadNetworkError, match=words):
            FlowLinks(**{key: np.array(value) for key, value in (good | change).items()})

    def test_network(self) -> None:
        with pytest.raises(BadNetworkError, match="station_node names no node"):
            street([(7, 2500.0)])
        with pytest.raises(BadNetworkError, match="station pressure not above 0"):
            street([(0, float("nan"))])

    def test_demand_and_links_asked_for(self) -> None:
        solver = FlowSolver(street([(0, 2500.0)]), CONDITIONS)
        with pytest.raises(BadInputError, match="demand has 2 rows for 5 nodes"):
            solver.solve(np.zeros(2))
        with pytest.raises(BadInputError, match="demand of node 1 is not a finite number"):
            solver.solve(np.array([0, np.nan, 0, 0, 0]))
        with pytest.raises(BadInputError, match="does not exist"):
            solver.resolve(closed_links=[9])


class TestValidity:
    """What leaves the range that the equations hold for."""

    def beyond(self, network: FlowNetwork, drawn_m3h: list[float]) -> dict[str, list[int]]:
        state = solve(network, np.array(drawn_m3h) * M3H, CONDITIONS).require_solved()
        found = links_beyond(network.links, state, CONDITIONS)
        return {limit.code: np.flatnonzero(hit).tolist() for limit, hit in zip(LIMITS, found, strict=True)}

    def test_each_limit_by_itself(self) -> None:
        case = ring_six()
        state = solve(case.network, case.demand, CONDITIONS)
        assert not any(hit.any() for hit in links_beyond(case.network.links, state, CONDITIONS))
        # By hand: 60 m³/h at 15 °C, 101.325 kPa through 20 mm are 53 m/s, through 25 mm 34 m/s; the station
        # end of the wide pipe is at 1.2 bar, the other one at less than that.
        thin = FlowNetwork(
            3, links([(0, 1), (0, 2)], [0.2, 0.2], [0.02, 0.025]), np.array([0]), np.array([9e3])
        )
        assert self.beyond(thin, [0.0, 55.0, 55.0])["velocity-beyond-validity"] == [0]
        high = FlowNetwork(2, links([(0, 1)], [10.0], [0.1]), np.array([0]), np.array([1.2e5]))
        assert self.beyond(high, [0.0, 1.0]) == {
            "velocity-beyond-validity": [],
            "pressure-beyond-validity": [0],
            "roughness-beyond-validity": [],
        }
        rusty = FlowLinks(*(np.array([v]) for v in (0, 1, 5.0, 0.02, 1.2e-3)))
        rough = FlowNetwork(2, rusty, np.array([0]), np.array([2500.0]))
        assert self.beyond(rough, [0.0, 1.0])["roughness-beyond-validity"] == [0]
        assert self.beyond(rough, [0.0, 0.0])["roughness-beyond-validity"] == []

    @pytest.mark.parametrize("drawn_m3h", [0.5, 2.9, 4.6, 9.0])
    def test_allowance_between_laminar_and_turbulent(self, drawn_m3h: float) -> None:
        length, bore = 100.0, 0.0514
        pipe = FlowNetwork(2, links([(0, 1)], [length], [bore]), np.array([0]), np.array([2500.0]))
        state = solve(pipe, np.array([0.0, drawn_m3h]) * M3H, CONDITIONS)
        (allowance,) = transition_allowance_pa(pipe.links, state, CONDITIONS)
        gas = CONDITIONS.properties()
        mass = drawn_m3h * M3H * gas.density_kg_per_m3_std
        reynolds = 4.0 * mass / (np.pi * bore * gas.viscosity_pa_s)
        if not 2000.0 < reynolds < 4000.0:
            assert allowance == 0.0
            return
        # Darcy's law with the library's Colebrook factor in place of the convention.
        density = (101_325.0 + state.pressure_pa_gauge[1]) / gas.pressure_per_density
        velocity = mass / density / (np.pi / 4 * bore**2)
        turbulent = fluids.friction.Colebrook(reynolds, ROUGHNESS_M / bore) * length / bore
        drop = 2500.0 - state.pressure_pa_gauge[1]
        assert allowance == pytest.approx(turbulent * density / 2 * velocity**2 - drop, rel=0.02)
        assert allowance > 0.05 * drop


def _nodes_with(state: FlowState, status: PartStatus) -> list[int]:
    return [node for node, part in enumerate(state.node_part.tolist()) if state.part_status[part] is status]
