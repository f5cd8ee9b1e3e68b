"""Regulator stations: holding, locked up or at capacity, and how they change between the three.

A node open to the air is a group of its own: it holds 0 Pa gauge by taking gas, and is at capacity, which is
nothing, where it would have to give some.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.grouping import sum_at

__all__ = ["CAPPED", "HOLDING", "LOCKED", "StationGroups", "Switcher", "group_stations"]


HOLDING, LOCKED, CAPPED = 0, 1, 2
"""States of a group."""

FLOW_TOLERANCE_KG_PER_S = 1e-9
PRESSURE_TOLERANCE_PA2 = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class StationGroups:
    """Stations that hold the same set pressure at the same junction act as one.

    Parameters
    ----------
    member : ndarray of int, shape (s,)
        Group of each station taken part; -1 for one left out.
    outlet : ndarray of int, shape (s,)
        Outlet junction of each station.
    share : ndarray of float, shape (s,)
        Share of its group's flow [-].
    sense : ndarray of int, shape (g,)
        Junction where each group holds its pressure.
    target : ndarray of float, shape (g,)
        Squared set pressure, times the gas column, above the base [Pa²].
    capacity : ndarray of float, shape (g,)
        The most each can give [kg/s]; inf without limit.
    remote : ndarray of bool, shape (g,)
        Whether an outlet lies away from the junction it holds.
    part : ndarray of int, shape (g,)
        Part of the network each group is in.
    least : ndarray of float, shape (g,)
        The least each can give: 0; -inf for a node open to the air, which takes gas [kg/s].
    """

    member: Ints
    outlet: Ints
    share: Floats
    sense: Ints
    target: Floats
    capacity: Floats
    remote: Flags
    part: Ints
    least: Floats

    @property
    def count(self) -> int:
        """Number of groups."""
        return int(self.sense.size)

    def spread(self, group_flow: Floats, size: int) -> Floats:
        """Return what groups put in at each of `size` junctions [kg/s]."""
        taken = self.member >= 0
        flow = self.share[taken] * group_flow[self.member[taken]]
        return sum_at(self.outlet[taken], flow, size)

    def station_flow(self, group_flow: Floats) -> Floats:
        """Return the flow of each station [kg/s]; NaN for those left out."""
        flow = np.full(self.member.size, np.nan)
        taken = self.member >= 0
        flow[taken] = self.share[taken] * group_flow[self.member[taken]]
        return flow


def group_stations(
    outlet: Ints,
    sense: Ints,
    target: Floats,
    capacity: Floats,
    part: Ints,
    taken: Flags,
    least: Floats,
) -> StationGroups:
    """Group the stations that take part.

    Within a group the flow is shared in proportion to capacity or, where one has no limit, equally among
    those without: the equations of flow leave it open.
    """
    member = np.full(outlet.size, -1, dtype=np.int64)
    use = np.flatnonzero(taken)
    # Groups by junction, then pressure, each headed by its first station.
    order = use[np.lexsort((target[use], sense[use]))]
    heads = np.ones(order.size, dtype=bool)
    heads[1:] = (np.diff(sense[order]) != 0) | (np.diff(target[order]) != 0.0)
    member[order] = np.cumsum(heads) - 1
    head = order[heads]
    count = head.size
    unlimited = np.isinf(capacity[use])
    free = np.bincount(member[use], weights=unlimited, minlength=count)
    finite = np.where(unlimited, 0.0, capacity[use])
    total = np.bincount(member[use], weights=finite, minlength=count)
    share = np.zeros(outlet.size)
    of = member[use]
    alone = np.bincount(of, minlength=count)
    share[use] = np.where(
        free[of] > 0,
        unlimited / np.maximum(free[of], 1.0),
        np.where(
            total[of] > 0, finite / np.where(total[of] > 0, total[of], 1.0), 1.0 / np.maximum(alone[of], 1)
        ),
    )
    away = np.bincount(of, weights=outlet[use] != sense[use], minlength=count) > 0
    return StationGroups(
        member,
        outlet,
        share,
        sense[head],
        target[head],
        np.where(free > 0, np.inf, total),
        away,
        part[head],
        least[head],
    )


class Switcher:
    """Decides which groups change their state, so that none takes gas in or gives more than it can.

    All offenders change at once. That nearly always comes to rest in a few rounds; where a state comes up
    again the switcher `is_cycling`, and the careful method takes over.

    Parameters
    ----------
    groups : StationGroups
        The stations.
    states : ndarray of int, shape (g,), optional
        HOLDING, LOCKED or CAPPED at the start; default all holding.
    """

    def __init__(self, groups: StationGroups, states: Ints | None = None) -> None:
        self._groups = groups
        self.states = np.full(groups.count, HOLDING) if states is None else states.copy()
        self._settle_rivals()
        for part in self._parts_without_holder():
            here = np.flatnonzero(groups.part == part)
            self.states[here[int(np.argmax(groups.target[here]))]] = HOLDING
        self._settle_rivals()
        self._seen = {self.states.tobytes()}
        self.is_cycling = False

    def switch(self, group_flow: Floats, sensed: Floats) -> bool:
        """Change states by the flows [kg/s] and by the squared pressure at the sensing junctions [Pa²].

        Returns
        -------
        bool
            Whether any state changed; when it did not, either all is well or the switcher is cycling.
        """
        groups, states = self._groups, self.states
        gap = sensed - groups.target
        holds = states == HOLDING
        backwards = holds & (group_flow < groups.least - FLOW_TOLERANCE_KG_PER_S)
        beyond = holds & (group_flow > groups.capacity + FLOW_TOLERANCE_KG_PER_S)
        opens = (states == LOCKED) & (gap < -PRESSURE_TOLERANCE_PA2)
        recovers = (states == CAPPED) & (gap > PRESSURE_TOLERANCE_PA2)
        if not (backwards | beyond | opens | recovers).any():
            return False
        before = states.copy()
        states[backwards] = LOCKED
        states[beyond] = CAPPED
        states[opens | recovers] = HOLDING
        self._settle_rivals()
        for part in self._parts_without_holder():
            self._choose_holder(part, before, backwards, gap)
        key = states.tobytes()
        self.is_cycling = key in self._seen
        self._seen.add(key)
        return not self.is_cycling

    def _parts_without_holder(self) -> Ints:
        # A part in which nobody holds has no pressure level: somebody must.
        part, holds = self._groups.part, self.states == HOLDING
        without = set(part[~holds].tolist()) - set(part[holds].tolist())
        return np.array(sorted(without), dtype=np.int64)

    def _choose_holder(self, part: int, before: Ints, backwards: Flags, gap: Floats) -> None:
        groups, states = self._groups, self.states
        here = np.flatnonzero(groups.part == part)
        capped = here[before[here] == CAPPED]
        shut = here[before[here] == LOCKED]
        if backwards[here].any() and capped.size:
            # Too much is forced in: one of those at capacity gives less.
            chosen = capped[int(np.argmax(groups.target[capped]))]
        elif shut.size:
            chosen = shut[int(np.argmin(gap[shut]))]
        else:
            chosen = here[int(np.argmax(groups.target[here]))]
        states[chosen] = HOLDING

    def _settle_rivals(self) -> None:
        # Of several groups that would hold different pressures at one junction, the highest does.
        groups = self._groups
        held = np.flatnonzero(self.states == HOLDING)
        order = held[np.argsort(-groups.target[held], kind="stable")]
        taken: set[int] = set()
        for group in order:
            junction = int(groups.sense[group])
            if junction in taken:
                self.states[group] = LOCKED
            taken.add(junction)
