"""Newton's method on squared pressure for the meshed core."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.chains import Chains
from netplan.graph.grouping import sum_at
from netplan.hydraulics.linear_system import CoreMatrix
from netplan.hydraulics.pressure_drop import SegmentDrops
from netplan.hydraulics.station_states import CAPPED, HOLDING, LOCKED, StationGroups

__all__ = ["MOST_STEPS", "Core", "CoreProblem", "CoreSolution", "is_steady"]


FLOW_CHANGE_KG_PER_S = 2e-9
"""Largest change of any chain flow at which the iteration ends [kg/s]; it converges quadratically, so that
what is left is far smaller."""
_COARSE_FLOW_CHANGE_KG_PER_S = 1e-8
_STEEP_FLOW_CHANGE_KG_PER_S = 5e-8
_STEEP_FALL = 0.01
_MOST_LEFT_KG_PER_S = 1e-9
MOST_STEPS = 80
_DAMPED_ABOVE_KG_PER_S = 1e-6
_STEEPEST_END = 0.5
_SHORTEST_STEP = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class CoreProblem:
    """The meshed core with its loads.

    Parameters
    ----------
    chains : Chains
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
    part_drawn : ndarray of float
        Drawn in each part of the network [kg/s].
    """

    chains: Chains
    open_chain: Flags
    before: Floats
    drawn: Floats
    load: Floats
    dead: Flags
    groups: StationGroups
    part_drawn: Floats

    def imbalance(self, through: Floats, put_in: Floats) -> Floats:
        """Return what flows into each junction less what leaves it [kg/s]."""
        size = self.load.size
        arriving = sum_at(self.chains.end, through - self.drawn, size)
        leaving = sum_at(self.chains.start, through, size)
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


class Core:
    """The iteration's own copy of where it stands, and one Newton step.

    Parameters
    ----------
    problem : CoreProblem
        Shape, loads, stations.
    drops : SegmentDrops
        Drops of the chains.
    matrix : CoreMatrix
        Of the core.
    start : CoreSolution
        Where to begin.
    """

    def __init__(
        self, problem: CoreProblem, drops: SegmentDrops, matrix: CoreMatrix, start: CoreSolution
    ) -> None:
        self.problem = problem
        self.drops = drops
        self.matrix = matrix
        self.through = start.through.copy()
        self.level = start.level.copy()
        self.group_flow = start.group_flow.copy()
        self.steps = 0
        self.left = 0.0
        """Imbalance that the linear system left in the last step, at most [kg/s]."""
        self.change = np.full(problem.chains.count, np.inf)

    def arrange(self, states: Ints) -> None:
        """Take over the states of the station groups: HOLDING, LOCKED or CAPPED, shape (g,)."""
        groups = self.problem.groups
        self.states = states.copy()
        held = np.flatnonzero(states == HOLDING)
        self.fixed = self.problem.dead.copy()
        self.fixed[groups.sense[held]] = True
        self.level[groups.sense[held]] = groups.target[held]
        self.remote = held[groups.remote[held]]
        self.own = held[~groups.remote[held]]
        self.group_flow[states == LOCKED] = 0.0
        self.group_flow[states == CAPPED] = groups.capacity[states == CAPPED]

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
        self.matrix.set(conductance, self.fixed)
        put_in = self._put_in()
        move = self.matrix.solve(problem.imbalance(through, put_in))
        self.left = self.matrix.left
        flow = through + conductance * (move[chains.start] - move[chains.end])
        if self.remote.size:
            move, flow = self._hold_remote(conductance, through, put_in, move, flow)
        self.level += move
        if self.own.size:
            lack = -problem.imbalance(flow, self._put_in())
            self.group_flow[self.own] = lack[problem.groups.sense[self.own]]
        return flow

    def _hold_remote(
        self, conductance: Floats, through: Floats, given: Floats, move: Floats, flow: Floats
    ) -> tuple[Floats, Floats]:
        # A station that holds a distant junction gives just what leaves nothing over there beside `given`.
        problem, chains, groups = self.problem, self.problem.chains, self.problem.groups
        sense = groups.sense[self.remote]
        reply = np.empty((self.remote.size, self.remote.size))
        moves, lefts, zero = [], [], np.zeros(chains.count)
        for column, group in enumerate(self.remote):
            unit = np.zeros(groups.count)
            unit[group] = 1.0
            put_in = groups.spread(unit, self.level.size)
            moves.append(self.matrix.solve(put_in.copy()))
            lefts.append(self.matrix.left)
            extra = conductance * (moves[-1][chains.start] - moves[-1][chains.end])
            arriving = sum_at(chains.end, extra, self.level.size)
            arriving -= sum_at(chains.start, extra, self.level.size)
            reply[:, column] = (arriving + put_in)[sense]
        left = problem.imbalance(flow, given)[sense]
        try:
            # The usual one station needs no solver.
            alone = left.size == 1 and reply[0, 0] != 0.0
            more = -left / reply[0] if alone else np.linalg.solve(reply, -left)
        except np.linalg.LinAlgError:
            return move, flow + zero * np.nan
        self.group_flow[self.remote] += more
        # What was left of a reply to 1 kg/s counts only for the amount that is sent.
        self.left += float(np.sum(np.abs(more) * lefts))
        for amount, one in zip(more, moves, strict=True):
            move = move + amount * one
        return move, through + conductance * (move[chains.start] - move[chains.end])

    def sensed(self) -> Floats:
        """Return the squared pressures the station groups regulate by [Pa²]."""
        return self.level[self.problem.groups.sense]

    def begin_linear(self) -> None:
        """Start from the flows of a linear network."""
        self.through[self.problem.open_chain] = 0.0
        self.through = self.step(*self.drops.linear(self.problem.before))

    def advance(self, *, feasible: bool, longest: Callable[[Floats], float] | None = None) -> float:
        """Take a Newton step, damped where that is needed.

        Parameters
        ----------
        feasible : bool
            Whether flows balance at every junction now, so that the step can be judged along its way.
        longest : callable, optional
            Given the group flows before, returns the part of the step that may be taken.

        Returns
        -------
        float
            Largest change of flow of the full step [kg/s].
        """
        drop, slope = self.drops.advance(self.through, self.problem.before)
        given = self.group_flow.copy()
        self.change = self.step(drop, slope) - self.through
        self.steps += 1
        largest = float(np.abs(self.change).max(initial=0.0))
        if not np.isfinite(largest):
            return largest
        part = 1.0 if longest is None else longest(given)
        if feasible and not self.remote.size and part * largest > _DAMPED_ABOVE_KG_PER_S:
            part *= _damping(self, part, -float(np.sum(slope * self.change * self.change)))
        self.through = self.through + part * self.change
        if part < 1.0:
            self.group_flow = given + part * (self.group_flow - given)
        return largest

    def solution(self, *, settled: bool) -> CoreSolution:
        """Return where it stands."""
        return CoreSolution(
            self.through, self.level, self.group_flow, self.states, self.steps, self.change, settled
        )


def is_steady(largest: float, previous: float, left: float) -> bool:
    """Whether the flows have come to rest, by the largest change of this step and the one before.

    At rest: a change that is nothing by itself, a small one that fell steeply (what is left is smaller
    still by the same step), or a small one that rounding keeps from falling further. Never while the
    linear system left an imbalance that counts.
    """
    if left > _MOST_LEFT_KG_PER_S:
        return False
    if largest <= FLOW_CHANGE_KG_PER_S:
        return True
    known = previous < np.inf
    steep = known and largest <= _STEEP_FLOW_CHANGE_KG_PER_S and largest <= _STEEP_FALL * previous
    return steep or (largest <= _COARSE_FLOW_CHANGE_KG_PER_S and largest > 0.5 * previous)


def _damping(core: Core, part: float, at_start: float) -> float:
    """Return how much of `part` of the step to go: all unless that climbs the far side of the valley.

    The flows of a network without remote sensing minimise a convex function, whose slope along the step is
    the sum of (drop - fall of level) x change; `at_start` is that slope at the start, below zero.
    """
    chains, live = core.problem.chains, core.problem.open_chain
    fall = core.level[chains.start] - core.level[chains.end]

    def slope_at(share: float) -> float:
        drop, _ = core.drops.advance(core.through + share * part * core.change, core.problem.before)
        return float(np.sum(((drop - fall) * core.change)[live]))

    low, high, at_low, at_high = 0.0, 1.0, at_start, slope_at(1.0)
    share, value = 1.0, at_high
    while value > _STEEPEST_END * abs(at_start) and high - low > _SHORTEST_STEP:
        share = low + (high - low) * min(0.9, max(0.1, -at_low / (at_high - at_low)))
        value = slope_at(share)
        if value > 0:
            high, at_high = share, value
        else:
            low, at_low = share, value
    return share
