"""Stations, sensing points, named states, valves of no length, single pipes: our own cases."""

from __future__ import annotations

import numpy as np
import pytest

from netplan.errors import BadInputError, BadNetworkError, NotSolvedError
from netplan.hydraulics import (
    FlowLinks,
    FlowNetwork,
    FlowSolver,
    FlowState,
    PartStatus,
    StationState,
    bore_for,
    ldl_solver,
    lu_solver,
    pipe_drop,
    pipe_findings,
    pipe_flow,
    pipe_velocity,
    solve,
    state_findings,
)
from tests.flow_cases import CONDITIONS, M3H, ROUGHNESS_M, links, ring_six

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
        assert [state.part_status[part] for part in state.parts_without_source] == [PartStatus.NO_SOURCE]
        assert list(state.nodes_with(PartStatus.NO_SOURCE)) == [3, 4]
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
        assert list(state.nodes_with(PartStatus.NO_SOURCE)) == [2, 3]
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
        assert list(state.nodes_with(PartStatus.NO_SOURCE)) == [2, 3, 4]

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
        assert list(state.nodes_with(PartStatus.NO_SOURCE)) == [2, 3]
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


class TestOnePipe:
    """Drop, flow and bore turn into each other."""

    @pytest.mark.parametrize("flow_m3h", [0.05, 5.0, 15.0, 60.0, 250.0])
    @pytest.mark.parametrize("loss", [0.0, 6.0])
    def test_round_trip(self, flow_m3h: float, loss: float) -> None:
        flow = flow_m3h * M3H
        drop = pipe_drop(flow, 2500.0, 120.0, 0.1022, ROUGHNESS_M, CONDITIONS, loss_coefficient=loss)
        back = pipe_flow(2500.0, 2500.0 - drop, 120.0, 0.1022, ROUGHNESS_M, CONDITIONS, loss_coefficient=loss)
        assert back == pytest.approx(flow, rel=1e-9)
        bore = bore_for(flow, drop, 2500.0, 120.0, ROUGHNESS_M, CONDITIONS, loss_coefficient=loss)
        assert bore == pytest.approx(0.1022, rel=1e-9)
        assert pipe_drop(
            -flow, 2500.0 - drop, 120.0, 0.1022, ROUGHNESS_M, CONDITIONS, loss_coefficient=loss
        ) == pytest.approx(-drop, rel=1e-9)

    def test_same_as_in_a_network(self) -> None:
        state = solve(street([(0, 2500.0)]), np.array([0, 0, 0, 0, 100.0]) * M3H, CONDITIONS)
        drop = pipe_drop(100.0 * M3H, 2500.0, 200.0, 0.1022, ROUGHNESS_M, CONDITIONS)
        assert 2500.0 - state.pressure_pa_gauge[1] == pytest.approx(drop, abs=1e-7)

    def test_what_it_refuses(self) -> None:
        with pytest.raises(NotSolvedError, match="take a larger bore"):
            pipe_drop(1.0, 2500.0, 1000.0, 0.03, ROUGHNESS_M, CONDITIONS)
        with pytest.raises(NotSolvedError, match="none from 1 mm to 3 m"):
            bore_for(1e5, 1.0, 2500.0, 1e5, ROUGHNESS_M, CONDITIONS)
        with pytest.raises(BadInputError, match="leave the flow open"):
            pipe_flow(2500.0, 2400.0, 0.0, 0.1, ROUGHNESS_M, CONDITIONS)
        with pytest.raises(BadInputError, match="bore is 0"):
            pipe_drop(0.01, 2500.0, 10.0, 0.0, ROUGHNESS_M, CONDITIONS)

    def test_findings_when_the_range_is_left(self) -> None:
        assert pipe_findings(100.0 * M3H, 2500.0, 0.1022, ROUGHNESS_M, CONDITIONS) == ()
        assert pipe_velocity(400.0 * M3H, 2500.0, 0.0514, CONDITIONS) > 40.0
        assert [
            finding.code for finding in pipe_findings(400.0 * M3H, 3e5, 0.0100, 6e-4, CONDITIONS, "hose 1")
        ] == ["pressure-beyond-validity", "roughness-beyond-validity", "velocity-beyond-validity"]
        assert [f.code for f in pipe_findings(5.5 * M3H, 2500.0, 0.0514, ROUGHNESS_M, CONDITIONS)] == [
            "flow-in-transition"
        ]

    def test_findings_of_a_network(self) -> None:
        case = ring_six()
        state = solve(case.network, case.demand, CONDITIONS)
        assert state_findings(case.network, state, CONDITIONS) == ()
        thin = FlowNetwork(2, links([(0, 1)], [1.0], [0.02]), np.array([0]), np.array([9e3]))
        fast = solve(thin, np.array([0, 60.0]) * M3H, CONDITIONS)
        assert [f.code for f in state_findings(thin, fast, CONDITIONS, ["hose"])] == [
            "velocity-beyond-validity"
        ]
