"""Solving the core with stations that change state: a quick way, and a careful one that always ends."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.hydraulics.linear_system import CoreMatrix
from netplan.hydraulics.newton import MOST_STEPS, Core, CoreProblem, CoreSolution, is_steady
from netplan.hydraulics.pressure_drop import SegmentDrops
from netplan.hydraulics.station_states import (
    CAPPED,
    FLOW_TOLERANCE_KG_PER_S,
    HOLDING,
    LOCKED,
    PRESSURE_TOLERANCE_PA2,
    StationGroups,
    Switcher,
)

__all__ = ["solve_core"]


_SWITCH_WITHIN = 0.05


def solve_core(
    problem: CoreProblem,
    drops: SegmentDrops,
    matrix: CoreMatrix,
    start: CoreSolution,
    *,
    linear_first: bool,
) -> CoreSolution:
    """Solve the core.

    Parameters
    ----------
    problem : CoreProblem
        Shape, loads, stations.
    drops : SegmentDrops
        Drops of the chains; left evaluated near the solution.
    matrix : CoreMatrix
        Of the core.
    start : CoreSolution
        Where to begin; its arrays are not changed.
    linear_first : bool
        Begin with a linear network in place of `start`'s flows.

    Returns
    -------
    CoreSolution
        With `settled` false when it did not converge.
    """
    core = Core(problem, drops, matrix, start)
    switcher = Switcher(problem.groups, start.states if start.states.size else None)
    core.arrange(switcher.states)
    feasible = False
    if linear_first:
        core.begin_linear()
        feasible = True
    drops.place(core.through, problem.before)
    previous = np.inf
    for _ in range(MOST_STEPS):
        largest = core.advance(feasible=feasible)
        if not np.isfinite(largest):
            break
        feasible = True
        settles = is_steady(largest, previous, core.left)
        previous = largest
        scale = float(np.abs(core.through).max(initial=0.0))
        if settles or largest <= _SWITCH_WITHIN * scale:
            if switcher.switch(core.group_flow, core.sensed()):
                core.arrange(switcher.states)
                feasible, previous = False, np.inf
                continue
            if switcher.is_cycling:
                return _solve_carefully(core)
            if settles:
                return core.solution(settled=True)
    return core.solution(settled=False)


def _solve_carefully(core: Core) -> CoreSolution:
    """Keep every group between nothing and capacity, and let one after the other hold its pressure.

    The flows of stations that sense their own outlet minimise a convex function within these bounds. Each
    step goes down it, at most as far as the first bound; so no state can come up again.
    """
    groups = core.problem.groups
    states = _full_by_pressure(core.problem)
    core.arrange(states)
    core.begin_linear()
    core.drops.place(core.through, core.problem.before)
    previous = np.inf
    for _ in range(MOST_STEPS * (2 + groups.count)):
        blocked = np.zeros(groups.count, dtype=bool)
        largest = core.advance(feasible=True, longest=lambda given: _to_first_bound(core, given, blocked))  # noqa: B023
        if not np.isfinite(largest):
            break
        if blocked.any():
            is_full = core.group_flow[blocked] > 0.5 * groups.capacity[blocked]
            states[blocked] = np.where(is_full | (groups.least[blocked] < 0.0), CAPPED, LOCKED)
            core.arrange(states)
            previous = np.inf
            continue
        if is_steady(largest, previous, core.left):
            worst = _worst(groups, states, core)
            if worst is None:
                return core.solution(settled=True)
            states[worst] = HOLDING
            core.arrange(states)
            previous = np.inf
            continue
        previous = largest
    return core.solution(settled=False)


def _full_by_pressure(problem: CoreProblem) -> Ints:
    """Return states with which each part gets just what it draws: the highest set pressure is full first.

    Then one group of each part holds, those above it are at capacity, those below locked up.
    """
    groups = problem.groups
    states = np.full(groups.count, LOCKED)
    for part in np.unique(groups.part):
        here = np.flatnonzero(groups.part == part)
        order = here[np.argsort(-groups.target[here], kind="stable")]
        spare = np.cumsum(groups.capacity[order])
        holder = min(int(np.searchsorted(spare, problem.part_drawn[part])), order.size - 1)
        states[order[:holder]] = CAPPED
        states[order[holder]] = HOLDING
    states[(groups.least < 0.0) & (states == LOCKED)] = CAPPED
    return states


def _to_first_bound(core: Core, given: Floats, blocked: Flags) -> float:
    """Return the part of the step until the first holding group meets a bound; mark that group."""
    groups = core.problem.groups
    held = np.flatnonzero(core.states == HOLDING)
    alone = np.bincount(groups.part[held], minlength=int(groups.part.max()) + 1)[groups.part[held]] == 1
    held = held[~alone]
    move = core.group_flow[held] - given[held]
    spare = np.full(held.size, np.inf)
    down = move < -FLOW_TOLERANCE_KG_PER_S
    up = move > FLOW_TOLERANCE_KG_PER_S
    spare[down] = np.maximum(given[held][down] - groups.least[held][down], 0.0) / -move[down]
    spare[up] = np.maximum(groups.capacity[held][up] - given[held][up], 0.0) / move[up]
    if not held.size or spare.min() >= 1.0:
        return 1.0
    first = int(np.argmin(spare))
    blocked[held[first]] = True
    return float(spare[first])


def _worst(groups: StationGroups, states: Ints, core: Core) -> int | None:
    """Return the group not holding that most wants to give more, or less, than it may not; None if none."""
    gap = core.sensed() - groups.target
    wants = ((states == LOCKED) & (gap < -PRESSURE_TOLERANCE_PA2)) | (
        (states == CAPPED) & (gap > PRESSURE_TOLERANCE_PA2)
    )
    if not wants.any():
        return None
    return int(np.argmax(np.where(wants, np.abs(gap), -1.0)))
