"""Solving a prepared network once: parts and demand worked out, the core solved, the result judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.graph.grouping import sum_at
from netplan.hydraulics.active_set import solve_core
from netplan.hydraulics.connected_parts import ConnectedParts
from netplan.hydraulics.flow_network import FlowState, PartStatus
from netplan.hydraulics.flow_result import CoreResult, SolveInput, WarmStart, make_state
from netplan.hydraulics.newton import CoreProblem, CoreSolution
from netplan.hydraulics.nodal_demand import NodalDemand, nodal_demand, node_loads
from netplan.hydraulics.prepared_network import Layout
from netplan.hydraulics.pressure_drop import SegmentDrops
from netplan.hydraulics.station_states import CAPPED, HOLDING, group_stations

__all__ = ["solve_given"]


_FLOW_SLACK_KG_PER_S = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class _Stations:
    """Stations, then the nodes open to the air: these take any amount and give nothing."""

    outlet: Ints
    sense: Ints
    target: Floats
    capacity: Floats
    least: Floats
    part: Ints
    base: float


def _stations(given: SolveInput, parts: ConnectedParts) -> _Stations:
    network, layout = given.network, given.layout
    outlet_node = layout.joined[np.concatenate([network.station_node, network.open_node])]
    sense_node = layout.joined[np.concatenate([network.sensing_nodes(), network.open_node])]
    air, gas = layout.columns.air_pa_abs[sense_node], layout.columns.gas[sense_node]
    nothing = np.zeros(network.open_node.size)
    square = (np.concatenate([network.station_pressure_pa_gauge, nothing]) + air) ** 2 * gas
    # Levels count from the first station's, so that small differences keep their digits.
    base = float(square[0]) if square.size else 0.0
    capacity = np.concatenate([network.station_capacity_m3_per_s_std * given.density_std, nothing])
    return _Stations(
        layout.place[outlet_node],
        layout.place[sense_node],
        square - base,
        np.where(np.isnan(capacity), np.inf, capacity),
        np.concatenate([np.zeros(network.station_count), np.full(nothing.size, -np.inf)]),
        parts.label[outlet_node],
        base,
    )


def _judge_parts(
    parts: ConnectedParts, sense_part: Ints, stations: _Stations, demand: NodalDemand
) -> list[PartStatus]:
    """Return what can be said of each part before solving it."""
    count = parts.count
    stationed = np.bincount(stations.part[stations.least == 0.0], minlength=count) > 0
    capacity = sum_at(stations.part, stations.capacity, count)
    drawn = demand.per_part
    # The slack grows with the sum, whose own rounding does.
    slack = _FLOW_SLACK_KG_PER_S + 1e-12 * demand.size_per_part
    cut_off = np.zeros(count, dtype=bool)
    cut_off[stations.part[sense_part != stations.part]] = True
    status = [PartStatus.SOLVED] * count
    for hit, name in (
        (drawn > capacity + slack, PartStatus.DEMAND_NOT_MET),
        (drawn < -slack, PartStatus.GAS_NOT_TAKEN),
        (cut_off, PartStatus.SENSING_CUT_OFF),
        (~stationed, PartStatus.NO_SOURCE),
    ):
        for part in hit.nonzero()[0]:
            status[part] = name
    return status


def solve_given(given: SolveInput) -> FlowState:
    """Solve a prepared network for its demand, with some of its links closed.

    A part that cannot be solved is left out, named, and does not disturb the others.
    """
    network, layout = given.network, given.layout
    known = given.kept.loads if given.kept is not None and given.kept.layout is layout else None
    parts = given.parts
    stations = _stations(given, parts)
    demand = nodal_demand(
        layout, parts, given.demand_m3_per_s_std, given.density_std, None if known is None else known.demand
    )
    sense_part = parts.label[layout.joined[np.concatenate([network.sensing_nodes(), network.open_node])]]
    status = _judge_parts(parts, sense_part, stations, demand)
    dead_part = np.array([one is not PartStatus.SOLVED for one in status], dtype=bool)
    groups = group_stations(
        stations.outlet,
        stations.sense,
        stations.target,
        stations.capacity,
        stations.part,
        ~dead_part[stations.part],
        stations.least,
    )
    loads = node_loads(layout, demand, dead_part, known)
    dead = dead_part[parts.label[layout.chains.junction]]
    problem = CoreProblem(
        chains=layout.chains,
        open_chain=~parts.closed_chain & ~dead[layout.chains.start],
        before=loads.before,
        drawn=loads.over_chain,
        load=loads.at_junction,
        dead=dead,
        groups=groups,
        part_drawn=demand.per_part,
    )
    solution, drops = _solve_core(given, problem, parts, stations.base)
    raw = CoreResult(parts, status, loads, problem, solution, drops, stations.base, stations.part)
    return make_state(given, raw)


def _solve_core(
    given: SolveInput, problem: CoreProblem, parts: ConnectedParts, base: float
) -> tuple[CoreSolution, SegmentDrops]:
    kept = given.kept
    if kept is not None:
        start = _warm_start(given, kept, problem, parts, base)
        if np.isfinite(start.through).all() and np.isfinite(start.level).all():
            known = kept.drops.copy() if given.same_layout() else _fresh(given.layout)
            solution = solve_core(problem, known, given.matrix, start, linear_first=False)
            if solution.settled:
                return solution, known
    drops = _fresh(given.layout)
    start = _pinned(problem, parts, np.zeros(problem.chains.count), np.zeros(problem.load.size))
    return solve_core(problem, drops, given.matrix, start, linear_first=True), drops


def _fresh(layout: Layout) -> SegmentDrops:
    return SegmentDrops(layout.chain_law, layout.chains)


def _pinned(problem: CoreProblem, parts: ConnectedParts, through: Floats, level: Floats) -> CoreSolution:
    # Before a closed segment a chain draws from its start, behind it from its end; in between is nothing.
    chains = problem.chains
    through[~problem.open_chain] = 0.0
    closed = parts.closed_segment
    through[chains.chain_of[closed]] = problem.before[closed]
    return CoreSolution(
        through,
        level,
        np.zeros(problem.groups.count),
        np.zeros(0, np.int64),
        0,
        np.zeros(chains.count),
        settled=False,
    )


def _warm_start(
    given: SolveInput, kept: WarmStart, problem: CoreProblem, parts: ConnectedParts, base: float
) -> CoreSolution:
    layout, chains = given.layout, problem.chains
    if given.same_layout():
        start = _pinned(problem, parts, kept.through.copy(), kept.level.copy())
    else:
        link = layout.live[chains.link[chains.first[:-1]]]
        known = link < kept.link_flow.size
        through = np.zeros(chains.count)
        through[known] = kept.link_flow[link[known]]
        through *= chains.sign[chains.first[:-1]]
        node_level = np.zeros(layout.size)
        node_level[layout.joined] = _known_or_zero(kept.node_level + kept.base - base)
        start = _pinned(problem, parts, _known_or_zero(through), node_level[chains.junction])
    groups = problem.groups
    if kept.station_code.size == given.network.station_count:
        # Nodes open to the air begin as if they held; those of another network say nothing.
        member = groups.member[: kept.station_code.size]
        taken = member >= 0
        start.states = np.zeros(groups.count, dtype=np.int64)
        start.states[member[taken]] = np.maximum(kept.station_code[taken], 0)
        # One that was at its capacity then and has none now holds: it may not give without end.
        start.states[(start.states == CAPPED) & np.isinf(groups.capacity)] = HOLDING
        np.add.at(start.group_flow, member[taken], _known_or_zero(kept.station_flow[taken]))
    return start


def _known_or_zero(values: Floats) -> Floats:
    """Return values with 0 for each NaN: a tenth of what `numpy.nan_to_num` takes for a small network."""
    return np.where(np.isnan(values), 0.0, values)
