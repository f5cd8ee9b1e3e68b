"""What every zone holds: the work, and whatever no stop can part from it."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Ints
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.local_graph import SOURCE, LocalGraph

__all__ = ["zone_core"]


def zone_core(local: LocalGraph) -> Ints:
    """Return the network nodes that lie in every zone of a work section, ascending.

    From the work on along edges on which no stop can be made with the zone on their near side: no zone ends
    on one of them.

    Parameters
    ----------
    local : LocalGraph
        Round the work; it is explored as far as such edges lead.
    """
    found, waiting = {SOURCE}, [SOURCE]
    while waiting:
        node = waiting.pop()
        if local.supernode[node] >= 0 and local.barred(local.supernode[node]):
            continue
        local.explore(node)
        for edge in local.edges_at(node):
            at_u = edge.u == node
            other = edge.v if at_u else edge.u
            if other not in found and edge.cost(at_u) >= INFINITE:
                found.add(other)
                waiting.append(other)
    supernodes = {*local.work.supernodes, *(local.supernode[node] for node in found)}
    members = [local.index.members(supernode) for supernode in sorted(supernodes) if supernode >= 0]
    return np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *members])).astype(np.int64)
