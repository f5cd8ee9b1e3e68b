"""A `RingQuestion` whose cuts come from arrays that all questions share."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from netplan.core.arrays import Ints
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.group_flow import GroupFlow, GroupSide, SourceArc, price_of
from netplan.emergency.hit_places import HitPlace
from netplan.emergency.nearest_rings import NearestRings
from netplan.emergency.ring_graph import RingGraph
from netplan.emergency.ring_search import RingCut, RingQuestion, RingStopPlace
from netplan.graph.minimum_cut import INFINITE

__all__ = ["MainsQuestion", "SharedFlows", "hit_groups"]


class SharedFlows:
    """The arrays of one graph, by the longest stop that is allowed."""

    def __init__(self, tables: EmergencyTables, graph: RingGraph, *, valves_only: bool) -> None:
        self.tables, self.graph, self.valves_only = tables, graph, valves_only
        self._by_limit: dict[int, NearestRings] = {}

    def at_most(self, limit: int) -> NearestRings:
        """Return the rings for stops of at most so many seconds."""
        if limit not in self._by_limit:
            flow = GroupFlow(self.tables.network, self.graph, limit)
            firm = not self.valves_only and limit >= INFINITE
            self._by_limit[limit] = NearestRings(flow, self.graph, firm=firm)
        return self._by_limit[limit]


class MainsQuestion(RingQuestion):
    """One hit among many; `least_sum` finds the same ring as `RingQuestion` does.

    Parameters
    ----------
    flows : SharedFlows
    hit : HitPlace
        A main.
    """

    def __init__(self, flows: SharedFlows, hit: HitPlace) -> None:
        tables = flows.tables
        keep_away_m = tables.rules.emergency.keep_away_m
        super().__init__(tables, flows.graph, (hit,), keep_away_m, valves_only=flows.valves_only)
        self._flows = flows
        self._sides: list[tuple[RingCut, GroupSide]] = []

    def prices(self, limit: int = INFINITE) -> dict[int, int]:
        """Return the prices of the stops that the keep-away distance changes [price units]."""
        return {piece: self._priced(self.seconds_of(piece), limit) for piece in self.near}

    def sources(self, limit: int = INFINITE) -> list[SourceArc]:
        """Return the groups that the hit is joined to, and what parts it from each."""
        return [
            (
                self.graph.group.item(half.node),
                INFINITE if half.stop is None else self._priced(half.stop.seconds, limit),
            )
            for half in self.halves()
        ]

    @property
    def hit_pieces(self) -> frozenset[int]:
        """Pieces that the halves stand for."""
        return frozenset(half.piece for half in self.halves()) - {-1}

    def least_sum(
        self,
        failed: frozenset[int] = frozenset(),
        most_seconds: int | None = None,
        *,
        meters_per_minute: float | None = None,
    ) -> RingCut:
        """Return the ring of least sum of seconds, as `RingQuestion.least_sum` does."""
        if meters_per_minute is not None or failed:
            return super().least_sum(failed, most_seconds, meters_per_minute=meters_per_minute)
        limit = INFINITE if most_seconds is None else most_seconds
        side = self._flows.at_most(limit).least(self.sources(limit), self.prices(limit), self.hit_pieces)
        stops = sorted(self._stops(side.groups), key=lambda stop: (stop.piece, stop.chainage_m))
        chosen = np.zeros(len(self.graph.meters), dtype=np.bool_)
        chosen[side.groups] = True
        supplies = int(self.graph.supplies[side.groups].sum())
        inside = chosen[self.graph.group]
        cut = RingCut(tuple(stops), inside, sum(stop.seconds for stop in stops), supplies)
        self._sides.append((cut, side))
        return cut

    def side_of(self, cut: RingCut) -> GroupSide:
        """Return the groups inside a ring that this question returned."""
        return next(side for known, side in self._sides if known is cut)

    @staticmethod
    def _priced(seconds: int, limit: int) -> int:
        return INFINITE if seconds > limit else price_of(seconds)

    def _stops(self, groups: Ints) -> Iterator[RingStopPlace]:
        graph, pieces = self.graph, self.tables.network.pieces
        inside = set(groups.tolist())
        for half in self.halves():
            if graph.group.item(half.node) not in inside and half.stop is not None:
                stop = half.stop
                yield RingStopPlace(half.piece, stop.seconds, stop.method, stop.chainage_m)
        for group in hit_groups(graph, groups):
            for piece, other in graph.leaving(group):
                if other not in inside and not self.was_hit(piece):
                    inside_low = graph.group.item(pieces.from_node.item(piece)) == group
                    yield self.placed(piece, inside_low=inside_low)


def hit_groups(graph: RingGraph, groups: Ints) -> list[int]:
    """Return those of some groups that a piece leaves."""
    found: list[int] = groups[graph.start[groups + 1] > graph.start[groups]].tolist()
    return found
