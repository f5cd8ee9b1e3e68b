"""Losses at both ends of every main, and best stops, beside networkx doing the obvious.

    python -m tests.benchmarks.screen_tables 30000 300000

Seconds of the processor. The obvious way takes each main out of the whole graph and finds the connected
components again; it is timed on some mains and said so, because for all it would not end.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import networkx as nx
import numpy as np

from netplan.network.model import Network
from netplan.rules import default_rules
from netplan.screening import ScreenSettings, lost_at_ends
from netplan.screening.bench import Bench
from netplan.screening.run import Districts
from tests.benchmarks.isolation_grids import isolation_grid

SOME = 200
OBVIOUS = 3


def _obvious(network: Network, mains: list[int]) -> list[int]:
    pieces, stations = network.pieces, set(network.stations.node.tolist())
    graph: Any = nx.MultiGraph()
    for row, ends in enumerate(zip(pieces.from_node.tolist(), pieces.to_node.tolist(), strict=True)):
        graph.add_edge(*ends, key=row)
    parts = [part for part in nx.connected_components(graph) if part & stations]
    before = {node for part in parts for node in part}
    at = [node for node in network.customers.attach_node.tolist() if node in before]
    lost = []
    for main in mains:
        rows = np.flatnonzero(pieces.pipe == main).tolist()
        edges = [(int(pieces.from_node[row]), int(pieces.to_node[row]), row) for row in rows]
        graph.remove_edges_from(edges)
        fed = {node for part in nx.connected_components(graph) if part & stations for node in part}
        lost.append(sum(node not in fed for node in at))
        for u, v, row in edges:
            graph.add_edge(u, v, key=row)
    return lost


def _row(size: int) -> str:
    network = isolation_grid(size)
    count = network.pipes.n_mains
    start = time.process_time()
    loss = lost_at_ends(network)
    ends_s = time.process_time() - start
    some = np.random.default_rng(1).choice(count, SOME, replace=False).tolist()
    district, rows = Districts(network, default_rules(), ScreenSettings(pressure=False))(0)
    bench = Bench(district)
    bench.row(0)
    start = time.process_time()
    for main in some:
        bench.row(rows[main])
    stops_ms = (time.process_time() - start) / SOME * 1e3
    few = some[:OBVIOUS]
    start = time.process_time()
    lost = _obvious(network, few)
    obvious_s = (time.process_time() - start) / OBVIOUS
    if lost != loss.customers[few].tolist():
        raise RuntimeError("the two ways differ")
    return (
        f"| {len(network.pieces):,} | {count:,} | {ends_s:.2f} | {obvious_s * count:,.0f} | {stops_ms:.2f} |"
    )


if __name__ == "__main__":
    head = [
        "pieces",
        "mains",
        "losses, all mains [s]",
        f"networkx, from {OBVIOUS} mains [s]",
        "stops [ms a main]",
    ]
    print(f"| {' | '.join(head)} |\n|{'---|' * len(head)}")  # noqa: T201
    for text in sys.argv[1:] or ["30000"]:
        print(_row(int(text)))  # noqa: T201
