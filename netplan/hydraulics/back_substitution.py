"""From the solved core to every node and link: along the chains, then down the branches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats
from netplan.hydraulics.connected_parts import ConnectedParts
from netplan.hydraulics.layout import Layout

__all__ = ["BranchFlows", "PressureFlowField", "spread_core"]


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
        moved = np.flatnonzero(flow != known.flow)
        if moved.size:
            drop[moved], _ = layout.branch_law.take(moved).drop_and_slope(flow[moved])
        return BranchFlows(flow, drop)


@dataclass(frozen=True, slots=True, eq=False)
class PressureFlowField:
    """Levels of all joined nodes [Pa²] and flows of all live links [kg/s]."""

    level: Floats
    flow: Floats


def spread_core(
    layout: Layout,
    parts: ConnectedParts,
    junction_level: Floats,
    segment_flow: Floats,
    segment_drop: Floats,
    branch: BranchFlows,
) -> PressureFlowField:
    """Give every joined node its level and every live link its flow.

    Parameters
    ----------
    layout : Layout
        The network.
    parts : ConnectedParts
        What is cut: behind a closed segment the levels come from the chain's other end.
    junction_level : ndarray of float, shape (j,)
        Levels of the junctions [Pa²].
    segment_flow, segment_drop : ndarray of float, shape (s,)
        Flow along each segment [kg/s] and its drop [Pa²].
    branch : BranchFlows
        The branches.
    """
    chains, branches = layout.chains, layout.branches
    level = np.full(layout.size, np.nan)
    if chains.count:
        fallen = np.cumsum(segment_drop)
        base = junction_level[chains.start] + (fallen - segment_drop)[chains.first[:-1]]
        level[chains.node] = base[chains.chain_of] - fallen
        for chain in np.unique(chains.chain_of[parts.closed_segment]):
            low, high = int(chains.first[chain]), int(chains.first[chain + 1])
            cuts = parts.closed_segment[(parts.closed_segment >= low) & (parts.closed_segment < high)]
            last = int(cuts[-1])
            behind = slice(last + 1, high)
            rest = np.cumsum(segment_drop[behind][::-1])[::-1]
            level[chains.node[last : high - 1]] = junction_level[chains.end[chain]] + rest
    level[chains.junction] = junction_level
    branches.hand_down(level, branch.drop)

    flow = np.zeros(layout.live.size)
    flow[chains.link] = chains.sign * segment_flow
    outward = layout.from_node[branches.link] == branches.parent
    flow[branches.link] = np.where(outward, branch.flow, -branch.flow)
    return PressureFlowField(level, flow)
