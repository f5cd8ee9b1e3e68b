"""A station that gave all it had regulates again once less is drawn, also when solved from the state before (own)."""

from __future__ import annotations

import numpy as np
import pytest

from netplan.hydraulics import FlowNetwork, FlowSolver, StationState
from tests.support.flow_cases import CONDITIONS, M3H, links, solve

CAPACITY_M3H = 50.0


def _network() -> FlowNetwork:
    """Return 200 m of main with a large station at one end and a small one, set a little lower, at the other."""
    return FlowNetwork(
        3,
        links([(0, 1), (1, 2)], [100.0] * 2, [0.1022] * 2),
        np.array([0, 2]),
        np.array([4000.0, 3990.0]),
        station_capacity_m3_per_s_std=np.array([np.nan, CAPACITY_M3H]) * M3H,
    )


def _drawn(total_m3h: float) -> np.ndarray:
    return np.array([0.0, total_m3h, 0.0]) * M3H


def test_it_holds_its_pressure_again_when_less_is_drawn() -> None:
    solver = FlowSolver(_network(), CONDITIONS)
    high = solver.solve(_drawn(400.0))
    assert high.station_state[1] is StationState.AT_CAPACITY
    assert high.station_flow_m3_per_s_std[1] / M3H == pytest.approx(CAPACITY_M3H)
    low = solver.solve(_drawn(60.0), warm=high)
    assert low.station_state == (StationState.HOLDING, StationState.HOLDING)
    assert low.pressure_pa_gauge[2] == pytest.approx(3990.0, abs=1e-6)
    assert 0.0 < low.station_flow_m3_per_s_std[1] / M3H < CAPACITY_M3H
    cold = solve(_network(), _drawn(60.0), CONDITIONS)
    assert low.pressure_pa_gauge == pytest.approx(cold.pressure_pa_gauge, abs=1e-5)
