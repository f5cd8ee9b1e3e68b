"""The fallback solver of sparse equations gives what the usual one gives, over several towns and changes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from netplan.cli.sample import sample_network
from netplan.hydraulics import FlowLinks, FlowSolver, PartStatus, ldl_solver, lu_solver
from netplan.hydraulics.flow_case import base_network
from netplan.readers import read_network
from netplan.rules.read import default_rules
from tests.benchmarks.street_grid import street_grid
from tests.outside.test_flow_networks import town as schutterwald_town
from tests.support.flow_cases import CONDITIONS, M3H, Case

# The equations are solved to rounding by either; measured were 1.5e-11 Pa and 3e-16 kg/s.
SAME_PA = 1e-8
SAME_KG_PER_S = 1e-14


def _sample() -> Case:
    """Return the sample town, every customer drawing 0.4 m³/h."""
    network = read_network(sample_network())
    flow, customers = base_network(network, default_rules()), network.customers
    demand = np.bincount(customers.attach_node, minlength=flow.node_count) * 0.4 * M3H
    return Case(flow, np.asarray(demand, dtype=float))


def _grid(seed: int) -> Case:
    grid = street_grid(12, seed, service_m3_per_h=0.25)
    return Case(grid.network, grid.demand_m3_per_s_std)


TOWNS: dict[str, Callable[[], Case]] = {
    "sample": _sample,
    "Schutterwald": schutterwald_town,
    "grid 1": lambda: _grid(1),
    "grid 2": lambda: _grid(2),
    "grid 3": lambda: _grid(3),
}


@pytest.mark.parametrize("town", TOWNS)
def test_both_solvers_give_the_same_in_every_state(town: str) -> None:
    case = TOWNS[town]()
    solvers = [FlowSolver(case.network, CONDITIONS, linear_solver=one) for one in (ldl_solver, lu_solver)]
    before = [solver.solve(case.demand) for solver in solvers]
    assert before[0].status is PartStatus.SOLVED
    assert np.isfinite(before[0].pressure_pa_gauge).sum() > 0.9 * case.network.node_count
    carried = np.nan_to_num(np.abs(before[0].flow_kg_per_s))
    busy = np.argsort(-carried, kind="stable")[: max(4, carried.size // 8)]
    ends = np.flatnonzero(case.demand)[[0, -1]]
    bypass = FlowLinks(ends[:1], ends[1:], np.array([30.0]), np.array([0.05]), np.array([1e-5]))
    states = [before]
    for closed in (busy[:1], busy[-1:], busy[[1, len(busy) // 2]]):
        states.append([solver.resolve(closed_links=closed.tolist()) for solver in solvers])
        states.append(
            [solver.resolve(closed_links=closed.tolist(), added_links=bypass) for solver in solvers]
        )
    states.append([solver.resolve(demand_m3_per_s_std=0.3 * case.demand) for solver in solvers])
    for one, other in states:
        assert one.part_status == other.part_status
        assert (np.isnan(one.pressure_pa_gauge) == np.isnan(other.pressure_pa_gauge)).all()
        assert np.nanmax(np.abs(one.pressure_pa_gauge - other.pressure_pa_gauge)) <= SAME_PA
        assert np.nanmax(np.abs(one.flow_kg_per_s - other.flow_kg_per_s)) <= SAME_KG_PER_S
