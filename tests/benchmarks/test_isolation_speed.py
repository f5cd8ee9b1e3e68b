"""Seconds for the best cut and for ten, on grids, beside networkx on the whole graph.

    python -m pytest tests/benchmarks/test_isolation_speed.py --benchmark-only
    python -m tests.benchmarks.test_isolation_speed 30000 270000 1000000

The second prints the table of docs/benchmarks/isolation.md: one run, choice alone after loading, processor time
of one thread and wall-clock time.
"""

from __future__ import annotations

import itertools
import sys
import time
from typing import Any

import networkx as nx
import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import Cut, IsolationProblem, SegmentGraph, cuts
from netplan.isolation.cost_context import cost_context_of
from netplan.isolation.segment_graph import segment_graph
from netplan.network.work_section import WorkSection
from netplan.rules.read_rules import default_rules
from tests.benchmarks.isolation_grids import isolation_grid, sections

RULES = default_rules()
GAS_MINOR_PER_M3 = 800.0


def listed(index: SegmentGraph, section: WorkSection, most: int) -> list[Cut]:
    """Return the first cuts of a section; none where it cannot be isolated."""
    problem = IsolationProblem(index.network, section, RULES, 9.0, GAS_MINOR_PER_M3)
    try:
        return list(itertools.islice(cuts(problem, index), most))
    except NoPlanError:
        return []


@pytest.mark.parametrize("most", [1, 10])
def test_cuts_on_a_grid(benchmark: Any, most: int) -> None:
    network = isolation_grid(30_000)
    index = segment_graph(network)
    drawn = sections(network, 40)
    listed(index, drawn[0], 1)
    found = benchmark(lambda: [listed(index, section, most) for section in drawn])
    assert all(len(one) == most for one in found)


def networkx_value(index: SegmentGraph, section: WorkSection) -> tuple[int, float]:
    """Return the least cut of the whole graph by networkx, and its wall-clock seconds.

    The work is taken as one whole main, so that no length of main is split.
    """
    costs = cost_context_of(index, RULES, 9.0, GAS_MINOR_PER_M3)
    segments = np.arange(len(index.segment_a))
    for segment in segments.tolist():
        costs.price_segment(segment)
    pieces = index.network.pieces
    rows = np.flatnonzero(pieces.pipe == section.pipe[0])
    merged = {
        int(index.super_of[node]) for row in rows for node in (pieces.from_node[row], pieces.to_node[row])
    }
    graph: nx.DiGraph[Any] = nx.DiGraph()
    gas = costs.segments.gas_minor.tolist()
    for segment, a, b in zip(
        segments.tolist(), index.segment_a.tolist(), index.segment_b.tolist(), strict=True
    ):
        u, v = ("work" if end in merged else end for end in (a, b))
        if u != v:
            _add(graph, u, v, int(costs.cost_a[segment]) - gas[segment] // 2)
            _add(graph, v, u, int(costs.cost_b[segment]) - (gas[segment] - gas[segment] // 2))
            _add(graph, u, "sink", gas[segment] // 2)
            _add(graph, v, "sink", gas[segment] - gas[segment] // 2)
    for node, price in enumerate(costs.node_minor.tolist()):
        _add(graph, "work" if node in merged else node, "sink", price)
    for node in np.flatnonzero(index.blocked).tolist():
        graph.add_edge(node, "sink")
    start = time.perf_counter()
    value, _ = nx.minimum_cut(graph, "work", "sink", flow_func=nx.algorithms.flow.boykov_kolmogorov)
    return int(value), time.perf_counter() - start


def _add(graph: nx.DiGraph[Any], u: Any, v: Any, capacity: int) -> None:
    if graph.has_edge(u, v):
        graph[u][v]["capacity"] += capacity
    else:
        graph.add_edge(u, v, capacity=capacity)


def whole_main(section: WorkSection, index: SegmentGraph) -> WorkSection:
    """Return the section widened to its whole main."""
    return WorkSection(section.pipe, np.zeros(1), index.network.pipes.length_m[section.pipe])


def table(sizes: list[int], count: int = 200) -> None:
    """Print seconds by size of grid."""
    for size in sizes:
        start = time.perf_counter()
        network = isolation_grid(size)
        made = time.perf_counter()
        index = segment_graph(network)
        drawn = sections(network, count)
        listed(index, drawn[0], 1)
        loaded = time.perf_counter()
        print(  # noqa: T201
            f"{len(network.pieces)} pipes: grid {made - start:.1f} s, index and prices {loaded - made:.2f} s"
        )
        for most in (1, 10):
            clocks = []
            for section in drawn:
                wall, cpu = time.perf_counter(), time.process_time()
                got = listed(index, section, most)
                clocks.append((time.process_time() - cpu, time.perf_counter() - wall))
                assert len(got) == most
            cpu_ms, wall_ms = (1000 * np.percentile(column, [50, 95]) for column in zip(*clocks, strict=True))
            print(  # noqa: T201
                f"  {most:2} cuts: processor {cpu_ms.round(1)} ms, wall clock {wall_ms.round(1)} ms (median, p95)"
            )
        if size <= 300_000:
            whole = whole_main(drawn[0], index)
            value, seconds = networkx_value(index, whole)
            print(f"  networkx minimum_cut, whole graph: {seconds:.2f} s, value {value}")  # noqa: T201


if __name__ == "__main__":
    table([int(float(size)) for size in sys.argv[1:]])
