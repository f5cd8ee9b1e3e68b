"""A network with other links open is prepared once for several demands, and solved as if it were new."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.reference.gas import named_gas

CONDITIONS = FlowConditions(named_gas("natural gas"), ground_temperature_k=283.15)
VALVE, OTHER_VALVE = 2, 5


def _network() -> FlowNetwork:
    """Return a ring with two open valves without length, fed at both ends."""
    links = FlowLinks(
        from_node=np.array([0, 1, 2, 3, 4, 5, 6]),
        to_node=np.array([1, 2, 3, 4, 5, 6, 0]),
        length_m=np.array([100.0, 80.0, 0.0, 60.0, 90.0, 0.0, 70.0]),
        bore_m=np.full(7, 0.0736),
        roughness_m=np.full(7, 7e-6),
    )
    return FlowNetwork(7, links, np.array([0, 4]), np.array([2700.0, 2650.0]))


DEMANDS = [np.array([0.0, 4e-3, 2e-3, 1e-3, 0.0, 3e-3, 1e-3]) * share for share in (1.0, 0.4, 1.3)]
CHANGES: list[dict[str, Any]] = [
    {"closed_links": [VALVE]},
    {"closed_links": [VALVE], "station_pressure_pa_gauge": np.array([2500.0, 2650.0])},
    {"closed_links": [VALVE], "station_capacity_m3_per_s_std": np.array([np.nan, 0.0])},
    {"closed_links": [OTHER_VALVE]},
    {"closed_links": [VALVE]},
    {"closed_links": [VALVE, OTHER_VALVE], "opened_links": [OTHER_VALVE, 0]},
]


def _new(changes: dict[str, Any]) -> FlowNetwork:
    network = _network()
    is_open = np.ones(7, dtype=bool)
    is_open[changes["closed_links"]] = False
    given = {name: value for name, value in changes.items() if name.startswith("station")}
    return replace(network.with_links(replace(network.links, is_open=is_open)), **given)


def test_changed_links_give_the_flow_of_a_network_made_so() -> None:
    solver = FlowSolver(_network(), CONDITIONS)
    solver.solve(DEMANDS[0])
    for changes in CHANGES:
        for demand in DEMANDS:
            again = solver.resolve(demand_m3_per_s_std=demand, **changes)
            fresh = FlowSolver(_new(changes), CONDITIONS).solve(demand)
            assert again.pressure_pa_gauge == pytest.approx(fresh.pressure_pa_gauge, abs=1e-4, nan_ok=True)
            assert again.flow_kg_per_s == pytest.approx(fresh.flow_kg_per_s, abs=1e-8, nan_ok=True)
            assert again.station_state == fresh.station_state


def test_several_demands_need_one_preparation(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[object] = []
    prepare = FlowSolver._prepare

    def counted(solver: FlowSolver, network: FlowNetwork) -> Any:
        made.append(network)
        return prepare(solver, network)

    monkeypatch.setattr(FlowSolver, "_prepare", counted)
    solver = FlowSolver(_network(), CONDITIONS)
    solver.solve(DEMANDS[0])
    for demand in DEMANDS:
        solver.resolve(demand_m3_per_s_std=demand, closed_links=[VALVE])
    solver.resolve(closed_links=[VALVE], station_pressure_pa_gauge=np.array([2500.0, 2650.0]))
    assert len(made) == 2
    solver.resolve(closed_links=[OTHER_VALVE])
    solver.resolve(closed_links=[VALVE])
    assert len(made) == 3
