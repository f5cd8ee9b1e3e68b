"""From the solved core to `FlowState`: spread over chains and branches, and judged part by part."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.grouping import sum_at
from netplan.graph.pruning import Branches
from netplan.hydraulics.connected_parts import ConnectedParts
from netplan.hydraulics.flow_network import FlowNetwork, FlowState, PartStatus, StationState
from netplan.hydraulics.linear_system import CoreMatrix
from netplan.hydraulics.newton import CoreProblem, CoreSolution
from netplan.hydraulics.nodal_demand import BranchFlows, NodeLoads
from netplan.hydraulics.prepared_network import Layout
from netplan.hydraulics.pressure_drop import SegmentDrops
from netplan.hydraulics.station_states import CAPPED, HOLDING, LOCKED

__all__ = ["CoreResult", "SolveInput", "WarmStart", "make_state"]


MOST_IMBALANCE_KG_PER_S: Final = 1e-8
"""Imbalance at a node beyond which a part counts as not converged [kg/s]."""
MOST_PRESSURE_ERROR_PA: Final = 1e-3
"""Error of a chain's drop beyond which a part counts as not converged [Pa]."""
_STATE = {HOLDING: StationState.HOLDING, LOCKED: StationState.LOCKED_UP, CAPPED: StationState.AT_CAPACITY}


@dataclass(frozen=True, slots=True, eq=False)
class WarmStart:
    """What a later solution may start from."""

    layout: Layout
    through: Floats
    level: Floats
    drops: SegmentDrops
    loads: NodeLoads
    link_flow: Floats
    node_level: Floats
    base: float
    station_code: Ints
    station_flow: Floats

    def of_part(self, nodes: Ints, links: Ints, stations: Ints) -> WarmStart:
        """Return what is known of some nodes, links and stations, numbered by their places in these."""
        return replace(
            self,
            link_flow=self.link_flow[links],
            node_level=self.node_level[nodes],
            station_code=self.station_code[stations],
            station_flow=self.station_flow[stations],
        )

    def with_more(self, node_count: int, holding_kg_per_s: Floats) -> WarmStart:
        """Return the same with nodes added at the end, and with stations that hold and give so much."""
        missing = node_count - self.node_level.size
        return replace(
            self,
            node_level=np.concatenate([self.node_level, np.zeros(missing)]),
            station_code=np.concatenate([self.station_code, np.full(holding_kg_per_s.size, HOLDING)]),
            station_flow=np.concatenate([self.station_flow, holding_kg_per_s]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class SolveInput:
    """A prepared network, what is drawn from it, which of its live links are closed."""

    network: FlowNetwork
    layout: Layout
    matrix: CoreMatrix
    demand_m3_per_s_std: Floats
    density_std: float
    closed: Ints
    parts: ConnectedParts
    kept: WarmStart | None

    def same_layout(self) -> bool:
        """Whether the state to start from has the very same chains and branches."""
        return self.kept is not None and self.kept.layout is self.layout


@dataclass(frozen=True, slots=True, eq=False)
class CoreResult:
    """A core solution and what it was made from."""

    parts: ConnectedParts
    status: list[PartStatus]
    loads: NodeLoads
    problem: CoreProblem
    solution: CoreSolution
    drops: SegmentDrops
    base: float
    station_part: Ints


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
        cut = parts.closed_segment
        for chain in np.unique(chains.chain_of[cut]) if cut.size else ():
            low, high = int(chains.first[chain]), int(chains.first[chain + 1])
            cuts = cut[(cut >= low) & (cut < high)]
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


def make_state(given: SolveInput, raw: CoreResult) -> FlowState:
    """Spread a core solution over the network, judge it, and blank every number of a part that failed."""
    layout, network, parts = given.layout, given.network, raw.parts
    segment_flow, segment_drop = raw.drops.finish(raw.solution.through)
    segment_flow[parts.closed_segment] = 0.0
    every = spread_core(layout, parts, raw.solution.level, segment_flow, segment_drop, raw.loads.branch)
    gauge = _gauge(layout, every.level, raw.base)
    sunk = _judge(raw, gauge, _may_sink(given, raw))
    good_part = np.array([one is PartStatus.SOLVED for one in raw.status], dtype=bool)
    good = good_part[parts.label] if not good_part.all() else None
    if good is not None:
        gauge[~good] = np.nan
    station_flow = raw.problem.groups.station_flow(raw.solution.group_flow)
    good_station = good_part[raw.station_part]
    station_flow[~good_station] = np.nan
    # A holding station off by rounding gives nothing, not a little less than nothing.
    count = network.station_count
    station_flow[:count] = np.where(station_flow[:count] < 0.0, 0.0, station_flow[:count])
    link_flow = _link_flows(given, every, station_flow, good)
    escaping, station_flow, good_station = -station_flow[count:], station_flow[:count], good_station[:count]
    code = np.full(raw.problem.groups.member.size, -1, dtype=np.int64)
    taken = raw.problem.groups.member >= 0
    code[taken] = raw.solution.states[raw.problem.groups.member[taken]]
    kept = WarmStart(
        layout,
        raw.solution.through,
        raw.solution.level,
        raw.drops,
        raw.loads,
        link_flow,
        layout.at_given(every.level),
        raw.base,
        code[:count],
        station_flow,
    )
    return FlowState(
        pressure_pa_gauge=layout.at_given(gauge),
        flow_kg_per_s=link_flow,
        flow_m3_per_s_std=link_flow / given.density_std,
        station_flow_kg_per_s=station_flow,
        station_flow_m3_per_s_std=station_flow / given.density_std,
        station_state=tuple(
            _STATE[int(one)] if ok else StationState.WITHOUT_NUMBERS
            for one, ok in zip(code[:count], good_station, strict=True)
        ),
        node_part=layout.at_given(parts.label),
        part_status=tuple(raw.status),
        iterations=raw.solution.steps,
        core=kept,
        open_flow_m3_per_s_std=np.where(escaping < 0.0, 0.0, escaping) / given.density_std,
        below_zero=None if sunk is None else layout.at_given(sunk),
    )


def _gauge(layout: Layout, level: Floats, base: float) -> Floats:
    pressure = level + base
    pressure /= layout.columns.gas
    np.maximum(pressure, 0.0, out=pressure)
    np.sqrt(pressure, out=pressure)
    pressure -= layout.columns.air_pa_abs
    return pressure


def _may_sink(given: SolveInput, raw: CoreResult) -> Flags:
    """Return the joined nodes that may lie below zero gauge: those that draw nothing beside an open end.

    Down a hill from an opening the column of gas weighs less than that of the air outside.
    """
    layout, parts, network = given.layout, raw.parts, given.network
    if not network.open_node.size:
        return np.zeros(layout.size, dtype=bool)
    beside = np.zeros(parts.count, dtype=bool)
    beside[parts.label[layout.joined[network.open_node]]] = True
    drawn = sum_at(layout.joined, given.demand_m3_per_s_std, layout.size)
    return beside[parts.label] & ~(drawn > 0.0)


def _judge(raw: CoreResult, gauge: Floats, may_sink: Flags) -> Flags | None:
    """Name the parts whose solution does not hold; return where a demand that is not met falls below zero."""
    parts, problem, solution = raw.parts, raw.problem, raw.solution
    chains = problem.chains
    part_of_junction = parts.label[chains.junction]
    failed = np.zeros(parts.count, dtype=bool)
    put_in = problem.groups.spread(solution.group_flow, problem.load.size)
    imbalance = np.abs(problem.imbalance(solution.through, put_in))
    imbalance[problem.dead] = 0.0
    failed[part_of_junction[~(imbalance <= MOST_IMBALANCE_KG_PER_S)]] = True
    drop, _ = raw.drops.advance(solution.through, problem.before)
    fall = solution.level[chains.start] - solution.level[chains.end]
    most = 2.0 * np.sqrt(abs(raw.base)) * MOST_PRESSURE_ERROR_PA
    wrong = problem.open_chain & ~(np.abs(drop - fall) <= most)
    failed[part_of_junction[chains.start[wrong]]] = True
    if not solution.settled:
        restless = ~(np.abs(solution.change) <= MOST_IMBALANCE_KG_PER_S) & problem.open_chain
        failed[part_of_junction[chains.start[restless]]] = True
        if not failed.any():
            several = np.bincount(problem.groups.part, minlength=parts.count) > 1
            failed |= several
    below = ~(gauge >= -MOST_PRESSURE_ERROR_PA) & ~may_sink
    sunk, not_met = np.zeros(parts.count, dtype=bool), np.zeros(parts.count, dtype=bool)
    sunk[parts.label[below]] = True
    for part in np.flatnonzero(failed | sunk):
        if raw.status[part] is PartStatus.SOLVED:
            raw.status[part] = PartStatus.NOT_CONVERGED if failed[part] else PartStatus.DEMAND_NOT_MET
            not_met[part] = not failed[part]
    return below & not_met[parts.label] if not_met.any() else None


def _link_flows(
    given: SolveInput, every: PressureFlowField, station_flow: Floats, good: Flags | None
) -> Floats:
    layout, links = given.layout, given.network.links
    flow = np.zeros(links.count)
    flow[layout.live] = every.flow
    flow[layout.live[given.closed]] = 0.0
    if good is not None:
        opened = links.is_open.copy()
        opened[layout.live[given.closed]] = False
        flow[opened & ~good[layout.joined[links.from_node]]] = np.nan
    zero = layout.no_length.link
    if layout.no_length.tree is not None:
        # Without a failed part nothing is unknown.
        known = (flow, station_flow) if good is None else (np.nan_to_num(flow), np.nan_to_num(station_flow))
        flow[zero] = _zero_length_flows(given, *known, layout.no_length.tree)
        if good is not None:
            flow[zero[~good[layout.joined[links.from_node[zero]]]]] = np.nan
    return flow


def _zero_length_flows(given: SolveInput, flow: Floats, station_flow: Floats, tree: Branches) -> Floats:
    """Flows through links of no length, from the balance of their nodes; NaN where they form a ring."""
    network, links = given.network, given.network.links
    count = network.node_count
    need = given.demand_m3_per_s_std * given.density_std
    need = need + sum_at(links.from_node, flow, count)
    need -= sum_at(links.to_node, flow, count)
    need -= sum_at(np.concatenate([network.station_node, network.open_node]), station_flow, count)
    zero, proper = given.layout.no_length.link, given.layout.no_length.proper
    a = links.from_node[zero[proper]]
    toward = tree.gather_up(need)[tree.child]
    through = np.full(a.size, np.nan)
    through[tree.link] = np.where(a[tree.link] == tree.parent, toward, -toward)
    result = np.zeros(zero.size)
    result[proper] = through
    return result
