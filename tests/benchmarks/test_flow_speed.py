"""Speed of the flow calculation beside pandapipes, in one run. Not timed in the test suite.

Run: python -m pytest tests/benchmarks/test_flow_speed.py --benchmark-only -s
The million-pipe grid and pandapipes on it take minutes; leave them out with -k "not 1M".
"""

from __future__ import annotations

import resource
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from netplan.hydraulics import FlowNetwork, FlowSolver, FlowState, PartStatus, ldl_solver, lu_solver
from tests.benchmarks.street_grid import street_grid
from tests.outside.test_flow_networks import town
from tests.support.flow_cases import CONDITIONS, solve
from tests.support.pandapipes_flow import answer_of, build, solve_net

Floats = npt.NDArray[np.float64]

BLOCKS = {"30k": 45, "270k": 136, "1M": 263}
SIZES = ["town", *BLOCKS]
SOLVERS = {"qdldl": ldl_solver, "scipy": lu_solver}
"""The usual factorisation, and the one where its library is not installed."""
SERVICE_M3_PER_H = 0.25
ROUNDS = {"town": 20, "30k": 10, "270k": 7, "1M": 3}
SAME_WITHIN_MBAR = 1e-3


@lru_cache(maxsize=1)
def case(size: str) -> tuple[FlowNetwork, Floats]:
    """Return network and demand [m³/s at 15 °C, 101.325 kPa]."""
    if size == "town":
        here = town()
        return here.network, here.demand
    grid = street_grid(BLOCKS[size], service_m3_per_h=SERVICE_M3_PER_H)
    return grid.network, grid.demand_m3_per_s_std


def busy_link(state: FlowState) -> int:
    """Return a main that carries more than seven eighths of all links do: a likely place for a stop."""
    flow = np.nan_to_num(np.abs(state.flow_kg_per_s))
    return int(np.argsort(-flow, kind="stable")[flow.size // 8])


@pytest.mark.parametrize("solver", SOLVERS)
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.benchmark(group="flow")
def test_cold(benchmark: Any, size: str, solver: str) -> None:
    """Prepare and solve from nothing."""
    network, demand = case(size)
    state = benchmark.pedantic(
        solve,
        (network, demand, CONDITIONS),
        {"linear_solver": SOLVERS[solver]},
        rounds=ROUNDS[size],
        warmup_rounds=1,
    )
    assert state.status is PartStatus.SOLVED
    benchmark.extra_info["pipes"] = network.links.count
    benchmark.extra_info["steps"] = state.iterations
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    benchmark.extra_info["peak_gib_of_the_run_so_far"] = round(peak, 2)


@pytest.mark.parametrize("solver", SOLVERS)
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.benchmark(group="flow")
def test_warm_after_one_stop(benchmark: Any, size: str, solver: str) -> None:
    """Solve again with one busy main closed; the answer is compared with one from nothing."""
    network, demand = case(size)
    prepared = FlowSolver(network, CONDITIONS, linear_solver=SOLVERS[solver])
    link = busy_link(prepared.solve(demand))
    state = benchmark.pedantic(
        prepared.resolve, kwargs={"closed_links": [link]}, rounds=ROUNDS[size], warmup_rounds=1
    )
    links = network.links
    is_open = links.is_open.copy()
    is_open[link] = False
    shut = type(links)(
        links.from_node,
        links.to_node,
        links.length_m,
        links.bore_m,
        links.roughness_m,
        links.loss_coefficient,
        is_open,
    )
    cold = solve(network.with_links(shut), demand, CONDITIONS)
    apart = float(np.nanmax(np.abs(state.pressure_pa_gauge - cold.pressure_pa_gauge))) / 100.0
    assert apart <= 1e-6
    benchmark.extra_info["steps"] = state.iterations
    benchmark.extra_info["mbar_from_cold"] = apart


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.benchmark(group="flow")
def test_pandapipes(benchmark: Any, size: str) -> None:
    """Solve by pandapipes with our friction law, tolerance 1e-8, and compare the pressures."""
    network, demand = case(size)
    net = build(network, demand, CONDITIONS)
    rounds = 1 if size in ("270k", "1M") else 3
    benchmark.pedantic(
        solve_net, (net,), {"same_law": True}, rounds=rounds, warmup_rounds=1 if rounds > 1 else 0
    )
    ours, theirs = solve(network, demand, CONDITIONS), answer_of(net)
    apart = float(np.nanmax(np.abs(ours.pressure_pa_gauge - theirs.pressure_pa_gauge))) / 100.0
    assert apart <= SAME_WITHIN_MBAR
    benchmark.extra_info["mbar_apart"] = apart
