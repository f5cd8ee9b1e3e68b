"""Least price of a feed of a pendant component, from where its mains lie: for the choice of stops.

The cut adds, where a stop goes on the bridge to a component, the lesser of its interruption and this bound.
So it must never be above a real feed's price, and should be near it. Distances are straight, and the places
a hose may join are taken as generously as they can be:

* the component's end of a bypass lies on the bridge itself, where the stop is, or just beyond;
* its other end, and that of a hose, lies on a main that may keep its station once the work is out.

What loses every station with the work section alone can give nothing, whatever else is stopped.
"""

from __future__ import annotations

from collections import deque
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Ints
from netplan.feeds.feed_kinds import FeedKind
from netplan.feeds.feed_prices import feed_lower_bound_minor
from netplan.isolation.cut_model import PendantComponent
from netplan.network.linear_reference import lines_between
from netplan.network.model import Network
from netplan.network.topology import Adjacency, adjacency, components_without, station_nodes
from netplan.network.vocabulary import Operable, ValveState
from netplan.network.work_section import WorkSection
from netplan.rules.rule_set import Rules

__all__ = ["FeedPriceBound"]

Lines = NDArray[np.object_]

SEEN_M = 500.0
"""How far round the work mains are looked at; beyond it a bypass counts as this long."""
NEXT_PIECE_M = 10.0
"""How far beyond the bridge the tee of its stop may lie: more than any assembly is long."""


class FeedPriceBound:
    """Bounds the price of feeding tails of one work section from below.

    Parameters
    ----------
    network : Network
    section : WorkSection
        The work section.
    rules : Rules
        Prices, slack, reach, clearances and assemblies.

    Notes
    -----
    Call it with a `PendantComponent`; it returns whole minor units of the rules' currency.
    """

    def __init__(self, network: Network, section: WorkSection, rules: Rules) -> None:
        self._network, self._rules = network, rules
        pieces = network.pieces
        pipe = pieces.pipe.astype(np.int64)
        self._work_from = np.full(len(pieces), np.inf)
        self._work_to = np.full(len(pieces), -np.inf)
        for row, low, high in zip(section.pipe, section.from_m, section.to_m, strict=True):
            over = (pipe == row) & (pieces.from_m < high) & (pieces.to_m > low)
            self._work_from[over] = np.minimum(self._work_from[over], np.maximum(low, pieces.from_m[over]))
            self._work_to[over] = np.maximum(self._work_to[over], np.minimum(high, pieces.to_m[over]))
        self._at_work: Flags = np.isfinite(self._work_from)
        clear = rules.clearance.work_m
        self._clear = {FeedKind.HOSE: clear, FeedKind.BYPASS: clear + _least_tee_m(rules)}
        self._known: dict[FeedKind, tuple[Lines, Ints, shapely.STRtree]] = {}

    def __call__(self, component: PendantComponent) -> int | None:
        """Return the bound for a pendant component [minor units]."""
        bridge = self._bridge(component)
        # With the work on the bridge, the component begins behind it; what lies before it may well give.
        work = np.flatnonzero(self._at_work[bridge])
        own = bridge[work[-1] :] if len(work) else bridge
        closed = {int(row) for row in own[:1]} if len(work) else {component.piece}
        inside = self._beyond(component.far_node, closed)
        scale = self._network.scale
        return feed_lower_bound_minor(
            self._rules,
            least_bypass_m=self._bypass_m(component, own, inside, closed) / scale,
            least_hose_m=self._hose_m(own, inside, closed) / scale,
            has_valve=self._has_valve(inside, own),
        )

    # The network round the work ---------------------------------------------------------------------------

    @cached_property
    def _may_give(self) -> Flags:
        """Nodes that may keep a station once the work section is out."""
        part = components_without(self._network, np.flatnonzero(self._at_work))
        return np.isin(part, part[station_nodes(self._network, injections=True)])

    @cached_property
    def _box(self) -> tuple[float, float, float, float]:
        """Least and greatest x and y that are looked at [m in the CRS]."""
        network, pieces, nodes = self._network, self._network.pieces, self._network.nodes
        work = np.flatnonzero(self._at_work)
        ends = np.concatenate([pieces.from_node[work], pieces.to_node[work]])
        reach = SEEN_M * network.scale
        x, y = nodes.x_m[ends], nodes.y_m[ends]
        return x.min() - reach, y.min() - reach, x.max() + reach, y.max() + reach

    @cached_property
    def _seen(self) -> Ints:
        """Pieces of mains near the work."""
        network, pieces, nodes = self._network, self._network.pieces, self._network.nodes
        x0, y0, x1, y1 = self._box
        near = (nodes.x_m >= x0) & (nodes.x_m <= x1) & (nodes.y_m >= y0) & (nodes.y_m <= y1)
        is_main = pieces.pipe < network.pipes.n_mains
        rows = is_main & (pieces.to_m > pieces.from_m) & (near[pieces.from_node] | near[pieces.to_node])
        return np.flatnonzero(rows)

    @cached_property
    def _line_of(self) -> dict[int, Any]:
        rows, pieces = self._seen, self._network.pieces
        lines = lines_between(self._network, pieces.pipe[rows], pieces.from_m[rows], pieces.to_m[rows])
        return dict(zip(rows.tolist(), lines, strict=True))

    def _giving(self, kind: FeedKind) -> tuple[Lines, Ints, shapely.STRtree]:
        """Return lines of mains that may give, the piece of each, and a tree of the lines."""
        if kind not in self._known:
            pieces, give = self._network.pieces, self._may_give
            some: list[tuple[int, Any]] = []
            for row in self._seen.tolist():
                ends = bool(give[pieces.from_node[row]]), bool(give[pieces.to_node[row]])
                if self._at_work[row]:
                    sides = zip((True, False), ends, strict=True)
                    some += [(row, self._beside_work(row, kind, low=low)) for low, may in sides if may]
                elif any(ends):
                    some.append((row, self._line_of[row]))
            some = [(row, line) for row, line in some if line is not None]
            lines = _lines([line for _, line in some])
            owner = np.array([row for row, _ in some], dtype=np.int64)
            self._known[kind] = lines, owner, shapely.STRtree(lines)
        return self._known[kind]

    def _beside_work(self, row: int, kind: FeedKind, *, low: bool) -> Any:
        """Return the part of a piece before or behind the work that a feed may join; None without any."""
        pieces, clear = self._network.pieces, self._clear[kind]
        start = pieces.from_m[row] if low else self._work_to[row] + clear
        stop = self._work_from[row] - clear if low else pieces.to_m[row]
        if stop - start <= 0.0:
            return None
        return lines_between(self._network, pieces.pipe[[row]], np.array([start]), np.array([stop]))[0]

    # One pendant component -------------------------------------------------------------------------------

    @cached_property
    def _neighbours(self) -> Adjacency:
        return adjacency(self._network)

    def _beyond(self, node: int, closed: set[int]) -> Flags:
        """Nodes joined to a node over open pieces but the closed ones."""
        inside = np.zeros(len(self._network.nodes), dtype=bool)
        inside[node] = True
        queue = [node]
        near = self._neighbours
        while queue:
            here = near.of(queue.pop())
            for other, piece in zip(near.neighbour[here].tolist(), near.piece[here].tolist(), strict=True):
                if piece not in closed and not inside[other]:
                    inside[other] = True
                    queue.append(other)
        return inside

    def _bridge(self, component: PendantComponent) -> Ints:
        """Pieces on the one way from the near to the far node, in that order."""
        near = self._neighbours
        came: dict[int, tuple[int, int]] = {component.far_node: (-1, -1)}
        queue = deque([component.far_node])
        while queue and component.near_node not in came:
            node = queue.popleft()
            here = near.of(node)
            for other, piece in zip(near.neighbour[here].tolist(), near.piece[here].tolist(), strict=True):
                if other not in came:
                    came[other] = (node, piece)
                    queue.append(other)
        found = []
        node = component.near_node
        while node in came and came[node][0] >= 0:
            node, piece = came[node]
            found.append(piece)
        return np.array(found or [component.piece], dtype=np.int64)

    def _bypass_m(self, component: PendantComponent, own: Ints, inside: Flags, closed: set[int]) -> float:
        """Least distance for a bypass [m in the CRS]: its end lies on the bridge or just beyond."""
        pieces, nodes = self._network.pieces, self._network.nodes
        away = np.hypot(nodes.x_m - nodes.x_m[component.far_node], nodes.y_m - nodes.y_m[component.far_node])
        close = inside & (away <= NEXT_PIECE_M * self._network.scale)
        seen = self._seen
        following = seen[close[pieces.from_node[seen]] | close[pieces.to_node[seen]]]
        rows = np.union1d(own, following[self._within(following, inside)])
        return self._distance(FeedKind.BYPASS, rows, inside, closed, SEEN_M * self._network.scale)

    def _hose_m(self, own: Ints, inside: Flags, closed: set[int]) -> float:
        """Least distance for a hose [m in the CRS]: it may join the component anywhere."""
        nodes = self._network.nodes
        x0, y0, x1, y1 = self._box
        x, y = nodes.x_m[inside], nodes.y_m[inside]
        if ((x < x0) | (x > x1) | (y < y0) | (y > y1)).any():
            return 0.0
        mains = self._seen[self._within(self._seen, inside)]
        reach = self._rules.bypass.reach_m * self._network.scale + 1.0
        return self._distance(FeedKind.HOSE, np.union1d(own, mains), inside, closed, reach)

    def _within(self, rows: Ints, inside: Flags) -> Flags:
        pieces = self._network.pieces
        return np.asarray(inside[pieces.from_node[rows]] & inside[pieces.to_node[rows]])

    def _distance(self, kind: FeedKind, rows: Ints, inside: Flags, closed: set[int], most: float) -> float:
        """Return the least distance from pieces of the component to mains that may give, at most `most`."""
        fed = _lines([line for row in rows.tolist() for line in self._fed_lines(row, kind, inside)])
        if not len(fed):
            return 0.0
        # What isn't looked at may lie right behind the edge: nothing is known beyond it.
        low_x, low_y, high_x, high_y = shapely.total_bounds(fed)
        x0, y0, x1, y1 = self._box
        edge = max(min(low_x - x0, low_y - y0, x1 - high_x, y1 - high_y), 0.0)
        most = min(most, edge)
        giving, owner, tree = self._giving(kind)
        if not len(giving):
            return most
        from_fed, hits = tree.query(fed, predicate="dwithin", distance=most)
        # The component gives nothing to itself, nor does the piece that its stop may be on.
        itself = self._within(owner[hits], inside)
        itself |= np.isin(owner[hits], [row for row in closed if not self._at_work[row]])
        from_fed, hits = from_fed[~itself], hits[~itself]
        if not len(hits):
            return most
        return float(shapely.distance(fed[from_fed], giving[hits]).min())

    def _fed_lines(self, row: int, kind: FeedKind, inside: Flags) -> list[Any]:
        if row not in self._line_of:
            return []
        if not self._at_work[row]:
            return [self._line_of[row]]
        pieces = self._network.pieces
        sides = ((True, int(pieces.from_node[row])), (False, int(pieces.to_node[row])))
        some = [self._beside_work(row, kind, low=low) for low, node in sides if inside[node]]
        return [line for line in some if line is not None]

    def _has_valve(self, inside: Flags, bridge: Ints) -> bool:
        pieces, valves = self._network.pieces, self._network.valves
        shut = np.flatnonzero(
            (valves.piece >= 0) & (valves.state == ValveState.CLOSED) & (valves.operable == Operable.YES)
        )
        reached = inside.copy()
        reached[pieces.from_node[bridge]] = True
        reached[pieces.to_node[bridge]] = True
        piece = valves.piece[shut]
        return bool((reached[pieces.from_node[piece]] | reached[pieces.to_node[piece]]).any())


def _lines(some: list[Any]) -> Lines:
    found = np.empty(len(some), dtype=object)
    found[:] = some
    return found


def _least_tee_m(rules: Rules) -> float:
    """Return the least length of main from the first tapping to the bypass tee [m], of all methods."""
    spans = [
        part.offset_m - min(other.offset_m for other in method.assembly)
        for method in rules.method
        for part in method.assembly
        if part.role == "bypass"
    ]
    return max(min(spans, default=0.0), 0.0)
