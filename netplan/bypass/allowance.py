"""What a service sees beyond the part's mean: a pressure allowance for small groups at the tails."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.demand.groups import uplift
from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.drop import drop_law
from netplan.hydraulics.model import FlowNetwork, FlowState
from netplan.rules.model import Rules

__all__ = ["local_peak_allowance_pa"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def local_peak_allowance_pa(
    network: FlowNetwork,
    state: FlowState,
    conditions: FlowConditions,
    meters: Floats,
    part_meters: Floats,
    rules: Rules,
) -> Floats:
    """Return how much lower each node may fall while the few customers behind it peak [Pa].

    Node demands carry the uplift of the whole part, so that they add up. At the end of a branch few meters
    are left and their own uplift is larger. Branch by branch the drop is worked out again with the flow
    raised to the uplift of the meters behind it; the differences add up towards the ends. Nodes of the
    meshed core, and the ways between stations, get 0.

    Parameters
    ----------
    network : FlowNetwork
    state : FlowState
        The network solved with the uplift of the parts.
    conditions : FlowConditions
    meters : float array, shape (nodes,)
        Meters that draw at each node.
    part_meters : float array, shape (nodes,)
        Meters of the part each node belongs to: what its demand's uplift was taken for.
    rules : Rules

    Returns
    -------
    float array, shape (nodes,)
        At least 0; NaN where the state has no pressure.
    """
    links = network.links
    rounds = _branches(network)
    behind = meters.astype(float).copy()
    allowance = np.zeros(network.node_count)
    steps: list[tuple[Ints, Ints, Ints, Floats]] = []
    for leaf, link, root in rounds:
        steps.append((leaf, link, root, behind[leaf].copy()))
        np.add.at(behind, root, behind[leaf])
    gas = conditions.properties()
    air = conditions.atmospheric_pressure_pa_abs
    for leaf, link, root, count in reversed(steps):
        flow = np.abs(state.flow_kg_per_s[link])
        ratio = np.maximum(uplift(count, rules) / uplift(np.maximum(part_meters[leaf], count), rules), 1.0)
        law = drop_law(
            links.length_m[link],
            links.bore_m[link],
            links.roughness_m[link],
            links.loss_coefficient[link],
            1.0,
            gas.pressure_per_density,
            gas.viscosity_pa_s,
        )
        more = law.drop_and_slope(flow * ratio)[0] - law.drop_and_slope(flow)[0]
        mean = state.pressure_pa_gauge[leaf] + air
        allowance[leaf] = allowance[root] + np.where(links.length_m[link] > 0, more / (2.0 * mean), 0.0)
    return np.where(np.isnan(state.pressure_pa_gauge), np.nan, allowance)


def _branches(network: FlowNetwork) -> list[tuple[Ints, Ints, Ints]]:
    """Peel leaves round by round: (leaf nodes, their links, the nodes at the other ends)."""
    links = network.links
    alive = np.flatnonzero(links.is_open & (links.from_node != links.to_node))
    ends = np.concatenate([links.from_node[alive], links.to_node[alive]])
    degree = np.bincount(ends, minlength=network.node_count)
    # The exclusive or of a leaf's open links is its one link.
    mark = np.zeros(network.node_count, dtype=np.int64)
    np.bitwise_xor.at(mark, ends, np.concatenate([alive, alive]))
    held = np.zeros(network.node_count, dtype=bool)
    held[network.station_node] = True
    rounds = []
    leaf = np.flatnonzero((degree == 1) & ~held)
    while leaf.size:
        link = mark[leaf]
        root = np.where(links.from_node[link] == leaf, links.to_node[link], links.from_node[link])
        # Two leaves on one link are a part without a station: the lower one stays.
        twin = (degree[root] == 1) & ~held[root] & (root < leaf)
        leaf, link, root = leaf[~twin], link[~twin], root[~twin]
        if not leaf.size:
            break
        rounds.append((leaf, link, root))
        degree[leaf] = 0
        np.subtract.at(degree, root, 1)
        np.bitwise_xor.at(mark, root, link)
        touched = np.unique(root)
        leaf = touched[(degree[touched] == 1) & ~held[touched]]
    return rounds
