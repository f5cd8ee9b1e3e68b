"""Newton's method on squared pressure for the meshed core, stations changing state as it goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.chains import Chains
from netplan.hydraulics.layout import CorePattern
from netplan.hydraulics.linear import Factorisation
from netplan.hydraulics.segments import SegmentDrops
from netplan.hydraulics.stations import CAPPED, StationGroups, Switcher

__all__ = ["CoreProblem", "CoreSolution", "solve_core"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

FLOW_CHANGE_KG_PER_S = 2e-9
"""Largest change of any chain flow at which the iteration ends [kg/s]; it converges quadratically, so that
what is left is far smaller."""
_COARSE_FLOW_CHANGE_KG_PER_S = 1e-8
MOST_STEPS = 80
_SWITCH_WITHIN = 0.05
_DAMPED_ABOVE_KG_PER_S = 1e-6
_STEEPEST_END = 0.5
_SHORTEST_STEP = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class CoreProblem:
    """The meshed core with its loads.

    Parameters
    ----------
    chains, pattern
        Its shape.
    open_chain : ndarray of bool, shape (k,)
        Chains that carry gas through.
    before, drawn : ndarray of float
        Drawn before each segment, shape (s,), and over each chain, shape (k,) [kg/s].
    load : ndarray of float, shape (j,)
        Drawn at each junction [kg/s].
    dead : ndarray of bool, shape (j,)
        Junctions left out: no station, or a demand that cannot be met.
    groups : StationGroups
        The stations.
    """

    chains: Chains
    pattern: CorePattern
    open_chain: Bools
    before: Floats
    drawn: Floats
    load: Floats
    dead: Bools
    groups: StationGroups

    def imbalance(self, through: Floats, put_in: Floats) -> Floats:
        """Return what flows into each junction less what leaves it [kg/s]."""
        size = self.load.size
        arriving = np.bincount(self.chains.end, weights=through - self.drawn, minlength=size)
        leaving = np.bincount(self.chains.start, weights=through, minlength=size)
        return arriving - leaving - self.load + put_in


@dataclass(slots=True, eq=False)
class CoreSolution:
    """Where the iteration stands.

    Parameters
    ----------
    through : ndarray of float, shape (k,)
        Flow into each chain at its start [kg/s].
    level : ndarray of float, shape (j,)
        Squared pressure times the gas column, above the base [Pa²].
    group_flow : ndarray of float, shape (g,)
        Gas given by each station group [kg/s].
    states : ndarray of int, shape (g,)
        State of each group.
    steps : int
        Newton steps taken.
    change : ndarray of float, shape (k,)
        Last change of each chain's flow [kg/s].
    settled : bool
        Whether flows and station states came to rest.
    """

    through: Floats
    level: Floats
    group_flow: Floats
    states: Ints
    steps: int
    change: Floats
    settled: bool


class _Core:
    def __init__(self, problem: CoreProblem, factor: Factorisation, start: CoreSolution) -> None:
        self.problem = problem
        self.factor = factor
        self.through = start.through.copy()
        self.level = start.level.copy()
        self.switcher = Switcher(problem.groups, start.states if start.states.size else None)
        self.group_flow = start.group_flow.copy()
        self.arrange()

    def arrange(self) -> None:
        """Work out who holds what after the states have changed."""
        groups, states = self.problem.groups, self.switcher.states
        held = self.switcher.holding()
        self.fixed = self.problem.dead.copy()
        self.fixed[groups.sense[held]] = True
        self.level[groups.sense[held]] = groups.target[held]
        self.remote = held[groups.remote[held]]
        self.own = held[~groups.remote[held]]
        capped = states == CAPPED
        known = np.where(capped, groups.capacity, 0.0)
        known[self.remote] = self.group_flow[self.remote]
        self.group_flow = np.where(np.isfinite(known), known, 0.0)

    def _put_in(self, remote_flow: Floats | None = None) -> Floats:
        flow = self.group_flow.copy()
        flow[self.own] = 0.0
        if remote_flow is not None:
            flow[self.remote] = remote_flow
        return self.problem.groups.spread(flow, self.level.size)

    def step(self, drop: Floats, slope: Floats) -> Floats:
        """Take one full Newton step on flows and levels; return the new flows."""
        problem, chains = self.problem, self.problem.chains
        conductance = np.zeros(chains.count)
        np.divide(1.0, slope, out=conductance, where=problem.open_chain)
        fall = self.level[chains.start] - self.level[chains.end]
        through = self.through + conductance * (fall - drop)
        self.factor.update(problem.pattern.values(conductance, chains.start, chains.end, self.fixed))
        move = self._solve(problem.imbalance(through, self._put_in()))
        flow = through + conductance * (move[chains.start] - move[chains.end])
        if self.remote.size:
            move, flow = self._hold_remote(conductance, through, move, flow)
        self.level += move
        if self.own.size:
            lack = -problem.imbalance(flow, self._put_in())
            self.group_flow[self.own] = lack[problem.groups.sense[self.own]]
        return flow

    def _solve(self, right: Floats) -> Floats:
        right[self.fixed] = 0.0
        move = self.factor.solve(right)
        move[self.fixed] = 0.0
        return move

    def _hold_remote(
        self, conductance: Floats, through: Floats, move: Floats, flow: Floats
    ) -> tuple[Floats, Floats]:
        # A station that holds a distant junction gives just what leaves nothing over there.
        problem, chains, groups = self.problem, self.problem.chains, self.problem.groups
        sense = groups.sense[self.remote]
        reply = np.empty((self.remote.size, self.remote.size))
        moves, zero = [], np.zeros(chains.count)
        for column, group in enumerate(self.remote):
            unit = np.zeros(groups.count)
            unit[group] = 1.0
            put_in = groups.spread(unit, self.level.size)
            moves.append(self._solve(put_in.copy()))
            extra = conductance * (moves[-1][chains.start] - moves[-1][chains.end])
            arriving = np.bincount(chains.end, weights=extra, minlength=self.level.size)
            arriving -= np.bincount(chains.start, weights=extra, minlength=self.level.size)
            reply[:, column] = (arriving + put_in)[sense]
        left = problem.imbalance(flow, self._put_in())[sense]
        try:
            more = np.linalg.solve(reply, -left)
        except np.linalg.LinAlgError:
            return move, flow + zero * np.nan
        self.group_flow[self.remote] += more
        for amount, one in zip(more, moves, strict=True):
            move = move + amount * one
        return move, through + conductance * (move[chains.start] - move[chains.end])

    def sensed(self) -> Floats:
        return self.level[self.problem.groups.sense]


def solve_core(
    problem: CoreProblem,
    drops: SegmentDrops,
    factor: Factorisation,
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
    factor : Factorisation
        Of the core's pattern.
    start : CoreSolution
        Where to begin; its arrays are not changed.
    linear_first : bool
        Begin with a linear network in place of `start`'s flows.

    Returns
    -------
    CoreSolution
        With `settled` false when it did not converge.
    """
    core = _Core(problem, factor, start)
    feasible = False
    if linear_first:
        core.through[problem.open_chain] = 0.0
        core.through = core.step(*drops.linear(problem.before))
        feasible = True
    drops.place(core.through, problem.before)
    previous = np.inf
    change = np.full(problem.chains.count, np.inf)
    for number in range(1, MOST_STEPS + 1):
        drop, slope = drops.advance(core.through, problem.before)
        target = core.step(drop, slope)
        change = target - core.through
        largest = float(np.max(np.abs(change), initial=0.0))
        if not np.isfinite(largest):
            break
        damped = 1.0
        if feasible and not core.remote.size and largest > _DAMPED_ABOVE_KG_PER_S:
            damped = _damping(core, drops, change, -float(np.dot(slope, change * change)))
        core.through = core.through + damped * change
        feasible = True
        calm = largest <= FLOW_CHANGE_KG_PER_S or (
            largest <= _COARSE_FLOW_CHANGE_KG_PER_S and largest > 0.5 * previous
        )
        previous = largest
        scale = float(np.max(np.abs(core.through), initial=0.0))
        waits = core.switcher.one_by_one and not calm
        if (calm or largest <= _SWITCH_WITHIN * scale) and not waits:
            if core.switcher.switch(core.group_flow, core.sensed()):
                core.arrange()
                feasible = False
                previous = np.inf
                continue
            if calm:
                settled = not core.switcher.exhausted
                return _solution(core, number, change, settled)
    return _solution(core, MOST_STEPS, change, settled=False)


def _solution(core: _Core, steps: int, change: Floats, settled: bool) -> CoreSolution:
    return CoreSolution(
        core.through, core.level, core.group_flow, core.switcher.states, steps, change, settled
    )


def _damping(core: _Core, drops: SegmentDrops, change: Floats, at_start: float) -> float:
    """Return how far along the step to go: all the way unless that climbs the far side of the valley.

    The flows of a network without remote sensing minimise a convex function, whose slope along the step is
    the sum of (drop - fall of level) x change; `at_start` is that slope at the start, below zero.
    """
    chains, live = core.problem.chains, core.problem.open_chain
    fall = core.level[chains.start] - core.level[chains.end]

    def slope_at(part: float) -> float:
        drop, _ = drops.advance(core.through + part * change, core.problem.before)
        return float(np.dot((drop - fall)[live], change[live]))

    low, high, at_low, at_high = 0.0, 1.0, at_start, slope_at(1.0)
    part, value = 1.0, at_high
    while value > _STEEPEST_END * abs(at_start) and high - low > _SHORTEST_STEP:
        part = low + (high - low) * min(0.9, max(0.1, -at_low / (at_high - at_low)))
        value = slope_at(part)
        if value > 0:
            high, at_high = part, value
        else:
            low, at_low = part, value
    return part
