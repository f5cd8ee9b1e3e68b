"""Who is lost when a main is cut at its two ends, the two obvious ways: networkx and pandas, main by main."""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
import pandas as pd

from netplan.network.model import Network

__all__ = ["lost_by_networkx", "lost_by_pandas"]


def lost_by_networkx(network: Network, mains: list[int]) -> list[int]:
    """Return the customers lost with each main: the main out of the whole graph, its components found again."""
    pieces, stations = network.pieces, set(network.stations.node.tolist())
    graph: Any = nx.MultiGraph()
    for row, ends in enumerate(zip(pieces.from_node.tolist(), pieces.to_node.tolist(), strict=True)):
        graph.add_edge(*ends, key=row)
    before = {node for part in nx.connected_components(graph) if part & stations for node in part}
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


def lost_by_pandas(network: Network, mains: list[int]) -> list[int]:
    """Return the customers lost with each main: supply spread from end to end by merges, with it and without."""
    pieces = network.pieces
    one_way = pd.DataFrame({"near": pieces.from_node, "far": pieces.to_node, "pipe": pieces.pipe})
    other_way = one_way.rename(columns={"near": "far", "far": "near"})
    ends = pd.concat([one_way, other_way], ignore_index=True)
    at = pd.Series(network.customers.attach_node)
    before = at.isin(_fed(ends, network))
    return [int((before & ~at.isin(_fed(ends[ends["pipe"] != main], network))).sum()) for main in mains]


def _fed(ends: pd.DataFrame, network: Network) -> pd.Series[int]:
    """Return the nodes that supply reaches: the ends of what is joined to those reached last, until none is new."""
    reached = pd.DataFrame({"near": network.stations.node}).drop_duplicates()
    last = reached
    while len(last):
        met = last.merge(ends, on="near")[["far"]].drop_duplicates().rename(columns={"far": "near"})
        last = met[~met["near"].isin(reached["near"])]
        reached = pd.concat([reached, last], ignore_index=True)
    return reached["near"]
