"""What a solver keeps prepared for other bores or other open links gives what preparing anew gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from netplan.hydraulics import FlowSolver, FlowState, PartStatus
from tests.benchmarks.street_grid import street_grid
from tests.support.flow_cases import CONDITIONS, Case

# A judgement of inlets allows 1e-6 Pa; the iteration ends at changes of 2e-9 kg/s. Measured were 7e-12 kg/s.
SAME_PA = 1e-6
SAME_KG_PER_S = 1e-10


def _grid(seed: int) -> Case:
    grid = street_grid(10, seed, service_m3_per_h=0.25)
    return Case(grid.network, grid.demand_m3_per_s_std)


def _same(found: FlowState, anew: FlowState) -> None:
    assert found.status is anew.status is PartStatus.SOLVED
    np.testing.assert_allclose(found.pressure_pa_gauge, anew.pressure_pa_gauge, rtol=0, atol=SAME_PA)
    np.testing.assert_allclose(found.flow_kg_per_s, anew.flow_kg_per_s, rtol=0, atol=SAME_KG_PER_S)


@pytest.mark.parametrize("seed", [1, 2])
def test_other_bores_on_a_kept_layout_give_what_a_new_one_gives(seed: int) -> None:
    case = _grid(seed)
    solver = FlowSolver(case.network, CONDITIONS)
    states = [solver.solve(case.demand)]
    links = case.network.links
    for share in (0.8, 0.9, 1.2, 1.1):
        network = case.network.with_links(replace(links, bore_m=share * links.bore_m))
        states.append(solver.prepared_for(network).solve(case.demand, warm=states[-1]))
        _same(states[-1], FlowSolver(network, CONDITIONS).solve(case.demand))
    least = [float(np.nanmin(state.pressure_pa_gauge)) for state in states]
    assert least[1] < least[2] < least[0] < least[4] < least[3]


def test_another_length_or_another_open_link_is_laid_out_anew() -> None:
    case = _grid(3)
    solver, links = FlowSolver(case.network, CONDITIONS), case.network.links
    busy = int(np.argmax(np.abs(solver.solve(case.demand).flow_kg_per_s)))
    longer = replace(links, length_m=np.where(np.arange(links.count) == busy, 3.0, 1.0) * links.length_m)
    for changed in (links, longer, links):
        network = case.network.with_links(changed)
        _same(
            solver.prepared_for(network).solve(case.demand),
            FlowSolver(network, CONDITIONS).solve(case.demand),
        )


def test_opened_links_under_several_demands_give_what_a_new_solver_gives() -> None:
    case = _grid(4)
    links = case.network.links
    carried = np.abs(FlowSolver(case.network, CONDITIONS).solve(case.demand).flow_kg_per_s)
    shut = np.argsort(-carried, kind="stable")[[40, 60, 80, 100, 120]]
    assert len(set(shut.tolist())) == 5
    is_open = links.is_open.copy()
    is_open[shut] = False
    solver = FlowSolver(case.network.with_links(replace(links, is_open=is_open)), CONDITIONS)
    solver.solve(case.demand)
    for share in (1.0, 0.7):
        # More of them than are kept, and each asked for again.
        for link in [*shut.tolist(), *shut.tolist()[::-1]]:
            found = solver.resolve(demand_m3_per_s_std=share * case.demand, opened_links=[link])
            now = is_open.copy()
            now[link] = True
            network = case.network.with_links(replace(links, is_open=now))
            anew = FlowSolver(network, CONDITIONS).solve(share * case.demand)
            np.testing.assert_allclose(
                found.pressure_pa_gauge, anew.pressure_pa_gauge, rtol=0, atol=SAME_PA, equal_nan=True
            )
