"""What is drawn at each node, and what that sends through branches and along chains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.grouping import sum_at
from netplan.hydraulics.connected_parts import ConnectedParts
from netplan.hydraulics.prepared_network import Layout

__all__ = ["BranchFlows", "NodalDemand", "NodeLoads", "nodal_demand", "node_loads"]


@dataclass(frozen=True, slots=True, eq=False)
class NodalDemand:
    """The demand by joined node and by part [kg/s].

    Parameters
    ----------
    given : ndarray of float
        The demand it was made from [m³/s at 15 °C, 101.325 kPa].
    label : ndarray of int
        The part of each joined node.
    at_node, per_part, size_per_part : ndarray of float
        Demand of each joined node, of each part, and the sum of its absolute values [kg/s].
    """

    given: Floats
    label: Ints
    at_node: Floats
    per_part: Floats
    size_per_part: Floats


@dataclass(frozen=True, slots=True, eq=False)
class BranchFlows:
    """Flow out to each branch node [kg/s] and the drop on the way [Pa²], kept for the next solution."""

    flow: Floats
    drop: Floats

    @staticmethod
    def of(layout: Layout, drawn: Floats, known: BranchFlows | None) -> BranchFlows:
        """Work out the branches, taking over drops from `known` where the flow is the same."""
        branches = layout.branches
        flow = branches.gather_up(drawn)[branches.child]
        if known is None:
            drop, _ = layout.branch_law.drop_and_slope(flow)
            return BranchFlows(flow, drop)
        drop = known.drop.copy()
        moved = (flow != known.flow).nonzero()[0]
        if moved.size:
            drop[moved], _ = layout.branch_law.take(moved).drop_and_slope(flow[moved])
        return BranchFlows(flow, drop)


@dataclass(frozen=True, slots=True, eq=False)
class NodeLoads:
    """What the solved parts draw [kg/s].

    Parameters
    ----------
    demand : NodalDemand
        The demand.
    dead_part : ndarray of bool
        Parts left out.
    at_junction : ndarray of float, shape (j,)
        Drawn at each junction and the branches on it.
    before : ndarray of float, shape (s,)
        Drawn along its chain before each segment.
    over_chain : ndarray of float, shape (k,)
        Drawn over each chain.
    branch : BranchFlows
        Flows and drops of the branches.
    """

    demand: NodalDemand
    dead_part: Flags
    at_junction: Floats
    before: Floats
    over_chain: Floats
    branch: BranchFlows


def nodal_demand(
    layout: Layout, parts: ConnectedParts, given: Floats, density_std: float, known: NodalDemand | None
) -> NodalDemand:
    """Sum the demand, or return `known` where demand and parts are the very same."""
    same_demand = known is not None and known.given is given
    if known is not None and same_demand and known.label is parts.label:
        return known
    if known is not None and same_demand and known.at_node.size == layout.size:
        at_node = known.at_node
    else:
        at_node = sum_at(layout.joined, given * density_std, layout.size)
    return NodalDemand(
        given,
        parts.label,
        at_node,
        sum_at(parts.label, at_node, parts.count),
        sum_at(parts.label, np.abs(at_node), parts.count),
    )


def node_loads(layout: Layout, demand: NodalDemand, dead_part: Flags, known: NodeLoads | None) -> NodeLoads:
    """Work out the loads, or return `known` where nothing has changed.

    `known` must be of the same layout.
    """
    if known is not None and known.demand is demand and np.array_equal(known.dead_part, dead_part):
        return known
    drawn = np.where(dead_part[demand.label], 0.0, demand.at_node) if dead_part.any() else demand.at_node
    load = sum_at(layout.branches.root, drawn, layout.size)
    before, over_chain = layout.chains.drawn_before(load)
    branch = BranchFlows.of(layout, drawn, None if known is None else known.branch)
    return NodeLoads(demand, dead_part, load[layout.chains.junction], before, over_chain, branch)
