"""Which way gas runs through a zone, and in which order its ends are purged.

Every end of a branch keeps its air until something is let out there, so each needs a purge point of its
own. Only mains are handed in: a zone is never purged through services or meters.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError

__all__ = ["PurgeLeg", "PurgeTree", "ZoneMains", "purge_tree"]


_NONE = -1


@dataclass(frozen=True, slots=True, eq=False)
class ZoneMains:
    """The mains of one isolated zone, cut at its stops; services left out.

    Parameters
    ----------
    from_node, to_node : int arrays, shape (n,)
        Any node numbers; ends at a stop are nodes too.
    length_m, bore_m, roughness_m : float arrays, shape (n,)
        Length ≥ 0, bore > 0, roughness ≥ 0 [m].
    pipe : int array, shape (n,)
        Row of the main each interval lies on.
    from_m, to_m : float arrays, shape (n,)
        Chainages at from_node and to_node [m].
    outlet_m : float array, shape (n,), optional
        Widest outlet for a stack on each interval, by nominal size [m]; 0 where none can be made. Without it
        any stack fits.
    outlet_at_m : dict
        Outlet of the zone vent at the nodes of stops [m], in place of that of the interval.
    """

    from_node: Ints
    to_node: Ints
    length_m: Floats
    bore_m: Floats
    roughness_m: Floats
    pipe: Ints
    from_m: Floats
    to_m: Floats
    outlet_m: Floats | None = None
    outlet_at_m: Mapping[int, float] = field(default_factory=dict)

    def outlet_of(self, leg: PurgeLeg) -> float:
        """Return the outlet that the vent of a leg stands on [m]; infinite where none is given."""
        if leg.node in self.outlet_at_m:
            return self.outlet_at_m[leg.node]
        return math.inf if self.outlet_m is None else float(self.outlet_m[leg.swept[-1]])

    def __len__(self) -> int:
        return len(self.length_m)


@dataclass(frozen=True, slots=True)
class PurgeLeg:
    """One purge: from the feed to one vent.

    Parameters
    ----------
    node : int
        Node of the vent; -1 where two fronts meet inside an interval of a loop.
    pipe : int
        Row of the main the vent is on.
    chainage_m : float
        Its chainage [m].
    swept : tuple of int
        Intervals that get their gas by this leg, from the feed outwards.
    before : tuple of int
        Intervals on the way that have gas already.
    distance_m : float
        From the feed to the vent [m].
    meets : bool
        True where gas arrives from both sides of a loop.
    """

    node: int
    pipe: int
    chainage_m: float
    swept: tuple[int, ...]
    before: tuple[int, ...]
    distance_m: float
    meets: bool = False


@dataclass(frozen=True, slots=True)
class PurgeTree:
    """The legs in the order they are purged, and the intervals that gas from this feed never reaches."""

    legs: tuple[PurgeLeg, ...]
    unreached: tuple[int, ...]


def purge_tree(mains: ZoneMains, feed_node: int) -> PurgeTree:
    """Return how a zone is purged from one node.

    The longest run goes first; then the ends whose branch leaves the purged part nearest to the feed.
    Every interval that the feed reaches is swept by exactly one leg.

    Parameters
    ----------
    mains : ZoneMains
    feed_node : int
        Where gas comes in.

    Raises
    ------
    BadInputError
        When the feed is on none of the mains.
    """
    if feed_node not in mains.from_node and feed_node not in mains.to_node:
        raise BadInputError(
            f"purge: node {feed_node} is on no main of the zone; feed it from one of its stops"
        )
    distance, parent = _nearest_ways(mains, feed_node)
    tree = set(parent.values())
    reached = [
        row
        for row in range(len(mains))
        if int(mains.from_node[row]) in distance or int(mains.to_node[row]) in distance
    ]
    ends = _ends(mains, feed_node, distance, parent, [row for row in reached if row not in tree])
    legs: list[PurgeLeg] = []
    purged: set[int] = set()
    while ends:
        chosen = min(ends, key=lambda end: _rank(end, purged, mains, first=not legs))
        ends.remove(chosen)
        swept = tuple(row for row in chosen.swept if row not in purged)
        before = tuple(row for row in chosen.swept if row in purged)
        purged.update(swept)
        legs.append(
            PurgeLeg(
                chosen.node, chosen.pipe, chosen.chainage_m, swept, before, chosen.distance_m, chosen.meets
            )
        )
    return PurgeTree(tuple(legs), tuple(sorted(set(range(len(mains))) - purged)))


def _nearest_ways(mains: ZoneMains, feed: int) -> tuple[dict[int, float], dict[int, int]]:
    """Return each node's distance from the feed and the interval it is reached by, ties by row."""
    touching: dict[int, list[tuple[int, int]]] = {}
    for row in range(len(mains)):
        a, b = int(mains.from_node[row]), int(mains.to_node[row])
        touching.setdefault(a, []).append((row, b))
        touching.setdefault(b, []).append((row, a))
    distance: dict[int, float] = {}
    parent: dict[int, int] = {}
    queue: list[tuple[float, int, int]] = [(0.0, _NONE, feed)]
    while queue:
        far, row, node = heapq.heappop(queue)
        if node in distance:
            continue
        distance[node] = far
        if row != _NONE:
            parent[node] = row
        for next_row, other in touching[node]:
            if other not in distance:
                heapq.heappush(queue, (far + float(mains.length_m[next_row]), next_row, other))
    return distance, parent


def _way(mains: ZoneMains, parent: dict[int, int], node: int) -> tuple[int, ...]:
    """Return the intervals from the feed to a node."""
    rows: list[int] = []
    while node in parent:
        row = parent[node]
        rows.append(row)
        a, b = int(mains.from_node[row]), int(mains.to_node[row])
        node = a if node == b else b
    return tuple(reversed(rows))


def _ends(
    mains: ZoneMains, feed: int, distance: dict[int, float], parent: dict[int, int], chords: list[int]
) -> list[PurgeLeg]:
    inner = {feed}
    for row in set(parent.values()):
        a, b = int(mains.from_node[row]), int(mains.to_node[row])
        # The end of a tree interval that is not reached by it is the one nearer the feed.
        inner.add(a if parent.get(b) == row else b)
    for row in chords:
        inner.update((int(mains.from_node[row]), int(mains.to_node[row])))
    ends = []
    for node in sorted(set(distance) - inner):
        row = parent[node]
        at_start = int(mains.from_node[row]) == node
        ends.append(
            PurgeLeg(
                node=node,
                pipe=int(mains.pipe[row]),
                chainage_m=float(mains.from_m[row] if at_start else mains.to_m[row]),
                swept=_way(mains, parent, node),
                before=(),
                distance_m=distance[node],
            )
        )
    return ends + [_meeting(mains, distance, parent, row) for row in chords]


def _meeting(mains: ZoneMains, distance: dict[int, float], parent: dict[int, int], row: int) -> PurgeLeg:
    """Return the leg to the place in a loop where fronts from both sides meet."""
    a, b, length = int(mains.from_node[row]), int(mains.to_node[row]), float(mains.length_m[row])
    along = min(max((distance[b] - distance[a] + length) / 2.0, 0.0), length)
    share = along / length if length > 0.0 else 0.0
    ways = dict.fromkeys((*_way(mains, parent, a), *_way(mains, parent, b), row))
    return PurgeLeg(
        node=_NONE,
        pipe=int(mains.pipe[row]),
        chainage_m=float(mains.from_m[row] + share * (mains.to_m[row] - mains.from_m[row])),
        swept=tuple(ways),
        before=(),
        distance_m=distance[a] + along,
        meets=True,
    )


def _rank(
    leg: PurgeLeg, purged: set[int], mains: ZoneMains, *, first: bool
) -> tuple[float, float, int, float]:
    if first:
        return -leg.distance_m, 0.0, leg.pipe, leg.chainage_m
    leaves_at = sum(float(mains.length_m[row]) for row in leg.swept if row in purged)
    return leaves_at, leg.distance_m, leg.pipe, leg.chainage_m
