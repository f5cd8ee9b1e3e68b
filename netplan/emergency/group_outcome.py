"""Meters without gas once a ring is shut, by groups of nodes: as `ring_outcome`, without a walk of all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.mains_question import hit_groups
from netplan.emergency.ring_graph import RingGraph

__all__ = ["GroupLoss", "GroupOutcome", "outside_groups"]


class GroupLoss(NamedTuple):
    """Meters that lose gas, inside the ring and cut off from every station, and the stations inside.

    ``stations`` are places in the list of all stations, then of all injections.
    """

    meters: int
    stations: tuple[int, ...]


class _Walk:
    """A search over groups from one side of a ring."""

    __slots__ = ("feeds", "frontier", "seen")

    def __init__(self, group: int) -> None:
        self.frontier, self.seen, self.feeds = [group], {group}, 0


class GroupOutcome:
    """Meters and stations of the groups of one graph.

    Parameters
    ----------
    tables : EmergencyTables
    graph : RingGraph
    """

    def __init__(self, tables: EmergencyTables, graph: RingGraph) -> None:
        network, self._graph, count = tables.network, graph, len(graph.meters)
        supply = np.concatenate([network.stations.node, network.injections.node])
        placed = np.flatnonzero(supply >= 0)
        self._stations: dict[int, list[int]] = {}
        for row, group in zip(placed.tolist(), graph.group[supply[placed]].tolist(), strict=True):
            self._stations.setdefault(group, []).append(row)
        self._feeds = np.bincount(graph.group[supply[placed]], minlength=count)
        part = np.zeros(count, dtype=np.int64)
        part[graph.group] = tables.part
        self._part = part
        n_parts = int(tables.part.max(initial=-1)) + 1
        self._feeds_of_part = np.bincount(tables.part[supply[placed]], minlength=n_parts)
        customers = network.customers
        owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
        at = customers.attach_node
        fed: Flags = self._feeds_of_part[tables.part[at]] > 0
        owner, group_of = owner[fed], graph.group[at[fed]]
        attachments = np.bincount(owner, minlength=len(customers))
        single = attachments[owner] == 1
        self._meters_of = customers.meters
        self._meters = np.bincount(group_of[single], customers.meters[owner[single]], count)
        self._several: dict[int, list[int]] = {}
        for row, group in zip(owner[~single].tolist(), group_of[~single].tolist(), strict=True):
            self._several.setdefault(group, []).append(row)

    def loss(self, groups: Ints, outside: Iterable[int], hit: frozenset[int]) -> GroupLoss:
        """Return what a ring takes.

        Parameters
        ----------
        groups : int64 array
            Inside the ring.
        outside : iterable of int
            Groups that a stop of the ring leads to.
        hit : frozenset of int
            Pieces that were hit: they are in the ring.
        """
        inside = set(groups.tolist())
        parted = self._parted(inside, groups, sorted(set(outside) - inside), hit)
        off = np.concatenate([groups, np.array(sorted(parted), dtype=np.int64)])
        meters = float(self._meters[off].sum())
        if self._several:
            rows = {row for group in (*inside, *parted) for row in self._several.get(group, ())}
            meters += sum(float(self._meters_of[row]) for row in sorted(rows))
        with_feed = groups[self._feeds[groups] > 0].tolist()
        return GroupLoss(
            int(meters), tuple(sorted(row for group in with_feed for row in self._stations[group]))
        )

    def _parted(self, inside: set[int], groups: Ints, starts: list[int], hit: frozenset[int]) -> set[int]:
        """Return the groups outside that no station or injection reaches any more, once fed before."""
        found: set[int] = set()
        by_part: dict[int, list[int]] = {}
        for group in starts:
            by_part.setdefault(self._part.item(group), []).append(group)
        for part, own in by_part.items():
            before = self._feeds_of_part.item(part)
            if not before:
                continue
            of_part = groups[self._part[groups] == part]
            found |= self._without(own, before - int(self._feeds[of_part].sum()), inside, hit)
        return found

    def _without(self, starts: list[int], left: int, inside: set[int], hit: frozenset[int]) -> set[int]:
        """Grow walks from all sides, the smallest first, until what is left has all the supplies left."""
        walks = [_Walk(group) for group in starts]
        owner = dict(zip(starts, walks, strict=True))
        for walk, group in zip(walks, starts, strict=True):
            walk.feeds = self._feeds.item(group)
        found: set[int] = set()
        ended_feeds = 0
        while walks:
            open_walks = [walk for walk in walks if not walk.feeds]
            if not open_walks or (len(walks) == 1 and left - ended_feeds > 0):
                return found
            walk = min(open_walks, key=lambda one: len(one.seen))
            met = self._step(walk, owner, inside, hit)
            if met is not None:
                for group in walk.seen:
                    owner[group] = met
                met.seen |= walk.seen
                met.frontier += walk.frontier
                walks.remove(walk)
            elif not walk.frontier:
                if not walk.feeds:
                    found |= walk.seen
                ended_feeds += walk.feeds
                walks.remove(walk)
        return found

    def _step(
        self, walk: _Walk, owner: dict[int, _Walk], inside: set[int], hit: frozenset[int]
    ) -> _Walk | None:
        """Take in what one group leads to; return the walk that is met."""
        group = walk.frontier.pop()
        for other in self._around(group, inside, hit):
            met = owner.get(other)
            if met is walk:
                continue
            if met is not None:
                walk.frontier.append(group)  # its other ways are still to be gone
                return met
            owner[other] = walk
            walk.seen.add(other)
            walk.frontier.append(other)
            walk.feeds += self._feeds.item(other)
        return None

    def _around(self, group: int, inside: set[int], hit: frozenset[int]) -> Iterator[int]:
        for piece, other in self._graph.leaving(group):
            if other not in inside and piece not in hit:
                yield other


def outside_groups(graph: RingGraph, groups: Ints) -> set[int]:
    """Return the groups that the pieces leaving some groups lead to, those groups left out."""
    inside = set(groups.tolist())
    return {other for group in hit_groups(graph, groups) for _, other in graph.leaving(group)} - inside
