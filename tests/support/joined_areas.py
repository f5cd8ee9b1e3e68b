"""Whether feeds may join pressure areas, worked out the slow way for the oracle of whole plans."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import networkx as nx

from netplan.network.model import Network
from netplan.rules.rule_set import Rules

__all__ = ["may_join"]


def may_join(
    network: Network,
    rules: Rules,
    area: Mapping[int, int],
    joins: Iterable[tuple[int, int]],
    cut_off: set[int],
) -> bool:
    """Return whether stations, operating limits and meters allow some nodes to be joined before any stop.

    `area` gives the connected part of each node as recorded, `cut_off` the nodes of the parts that are fed.
    """
    stations, pieces, mop = network.stations, network.pieces, network.pipes.mop_pa_gauge
    outlets: dict[int, list[float]] = {one: [] for one in area.values()}
    reach: dict[int, float] = dict.fromkeys(outlets, 0.0)
    for row, node in enumerate(stations.node.tolist()):
        outlets[area[node]].append(float(stations.outlet_pa_gauge[row]))
        reach[area[node]] = max(reach[area[node]], float(stations.max_outlet_pa_gauge[row]))
    joined: nx.Graph[int] = nx.Graph()
    joined.add_nodes_from(outlets)
    for one, other in ((area[a], area[b]) for a, b in joins):
        joined.add_edge(one, other)
        if one == other:
            continue
        if not (outlets[one] and outlets[other]):
            return False
        apart = max(abs(most(outlets[one]) - most(outlets[other])) for most in (max, min))
        if apart > 100 * rules.pressure.outlet_difference_mbar:
            return False
    arrives = {
        one: max(reach[other] for other in group)
        for group in nx.connected_components(joined)
        for one in group
    }
    raised = {one for one in outlets if arrives[one] > reach[one]}
    if any(arrives[one] > 100 * rules.pressure.fault_maximum_mbar for one in raised):
        return False
    for row, pipe in enumerate(pieces.pipe.tolist()):
        ends = {int(pieces.from_node[row]), int(pieces.to_node[row])}
        if any(arrives[area[n]] > mop[pipe] for n in ends if area[n] in raised or ends <= cut_off):
            return False
    return True
