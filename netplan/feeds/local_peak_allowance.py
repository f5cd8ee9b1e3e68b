"""What a meter sees beyond its part's mean: a pressure allowance for the few customers at a branch's end."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.graph.pruning import Branches, prune_branches
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork, FlowState
from netplan.hydraulics.pressure_drop import drop_law

__all__ = ["branch_roots", "local_peak_allowance_pa"]


def local_peak_allowance_pa(
    network: FlowNetwork,
    state: FlowState,
    conditions: FlowConditions,
    drawn_m3_per_s_std: Floats,
    meters: Floats,
    share: Callable[[Floats], Floats],
    *,
    held: Ints | None = None,
) -> Floats:
    """Return how much lower each node may fall while the few customers behind it peak [Pa].

    Node demands carry uplift and diversity of the whole part that is fed together, so that they add up. At
    the end of a branch few meters are left, and few reach a larger share of their own peaks at once. Branch
    by branch the drop is worked out again with what the meters behind it draw by themselves; the differences
    add up towards the ends. Nodes of the meshed core, and the ways between stations, get 0.

    Parameters
    ----------
    network : FlowNetwork
    state : FlowState
        The network solved with uplift and diversity of the parts.
    conditions : FlowConditions
    drawn_m3_per_s_std : float array, shape (nodes, kinds)
        What the meters of each kind draw at each node without uplift and diversity, margins included
        [m³/s at 15 °C, 101.325 kPa].
    meters : float array, shape (nodes, kinds)
        Their numbers.
    share : callable
        Turns numbers of meters, shape (n, kinds), into what so many reach together of what they draw
        without uplift and diversity [-].
    held : int array, optional
        Nodes that end no branch, besides those of stations.

    Returns
    -------
    float array, shape (nodes,)
        At least 0; NaN where the state has no pressure.
    """
    branches, links = _branches(network, held)
    ends = zip(branches.rounds[:-1], branches.rounds[1:], strict=True)
    rounds = [(branches.child[a:b], links[branches.link[a:b]], branches.parent[a:b]) for a, b in ends]
    drawn, count = drawn_m3_per_s_std.copy(), meters.astype(float).copy()
    allowance = np.zeros(network.node_count)
    local: list[Floats] = []
    for leaf, _, root in rounds:
        local.append((drawn[leaf] * share(count[leaf])).sum(axis=1))
        np.add.at(drawn, root, drawn[leaf])
        np.add.at(count, root, count[leaf])
    gas = conditions.properties()
    for (leaf, link, root), peak in zip(reversed(rounds), reversed(local), strict=True):
        flow = np.abs(state.flow_kg_per_s[link])
        more = _squares_more(network.links, link, flow, peak * gas.density_kg_per_m3_std, conditions)
        mean = state.pressure_pa_gauge[leaf] + conditions.atmospheric_pressure_pa_abs
        allowance[leaf] = allowance[root] + more / (2.0 * mean)
    return np.where(np.isnan(state.pressure_pa_gauge), np.nan, allowance)


def _squares_more(
    links: FlowLinks, link: Ints, flow: Floats, peak: Floats, conditions: FlowConditions
) -> Floats:
    """Return by how much the difference of squared pressures rises with a peak above the flow [Pa²]."""
    gas = conditions.properties()
    law = drop_law(
        links.length_m[link],
        links.bore_m[link],
        links.roughness_m[link],
        links.loss_coefficient[link],
        1.0,
        gas.pressure_per_density,
        gas.viscosity_pa_s,
    )
    return law.drop_and_slope(np.maximum(flow, peak))[0] - law.drop_and_slope(flow)[0]


def branch_roots(network: FlowNetwork, held: Ints | None = None) -> Ints:
    """Return for each node where its branch begins: a node of the meshed core, or one of a station.

    Parameters
    ----------
    network : FlowNetwork
    held : int array, optional
        Nodes that end no branch, besides those of stations.
    """
    return _branches(network, held)[0].root


def _branches(network: FlowNetwork, held: Ints | None) -> tuple[Branches, Ints]:
    """Return the branches of the open links, and which links these are."""
    links = network.links
    is_open = np.flatnonzero(links.is_open & (links.from_node != links.to_node))
    stays = np.zeros(network.node_count, dtype=bool)
    stays[network.station_node] = True
    stays[np.zeros(0, dtype=np.int64) if held is None else held] = True
    return prune_branches(
        network.node_count, links.from_node[is_open], links.to_node[is_open], stays
    ), is_open
