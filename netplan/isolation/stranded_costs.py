"""What a stop on a bridge strands for certain: the lesser of its interruption and any feed."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.cost_context import CostContext
from netplan.isolation.cut_model import FeedBound, PendantComponent
from netplan.isolation.pendant_components import PendantComponents, SubtreeInterval
from netplan.isolation.segment_edges import Arcs, arcs_of
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.work_segments import WorkSegments

__all__ = ["BridgeCost", "BridgeCosts", "StrandedCosts", "WorkPositions"]


class StrandedCosts:
    """Prices pendant components, whatever the work; the caller sees that the work stands on none of them.

    Parameters
    ----------
    index : SegmentGraph
    pendants : PendantComponents
    off_prefix : int64 array
        Running sum over the preorder of `pendants` of the price of the customers there who had gas before any
        stop [minor units].
    feed_bound : callable
        The caller's lower bound on any feed that serves a pendant component.
    kept : frozenset of int
        Customers that may not go off and had gas before any stop.
    """

    def __init__(
        self,
        index: SegmentGraph,
        pendants: PendantComponents,
        off_prefix: NDArray[np.int64],
        feed_bound: FeedBound,
        kept: frozenset[int],
    ) -> None:
        self._index, self._pendants, self._off_prefix, self._feed_bound = (
            index,
            pendants,
            off_prefix,
            feed_bound,
        )
        self._kept = kept
        table = index.network.customers
        self._kept_positions = sorted(
            int(pendants.position[index.super_of[table.attach_node[table.attach_start[row]]]])
            for row in kept
            if not index.multi_attached[row] and table.attach_start[row] < table.attach_start[row + 1]
        )

    def span(self, segment: int, near: int, far: int) -> SubtreeInterval | None:
        """Return what a stop on `segment` strands beyond `far`; None where nobody would miss it."""
        span = self._pendants.beyond(segment, near, far)
        if span is None or not self._pendants.sourceless(span):
            return None
        return span if span.total(self._off_prefix) or self._must_feed(span) else None

    def price(self, segment: int, near: int, far: int, span: SubtreeInterval) -> int:
        """Return what a stop on `segment` strands at least beyond `far` [minor units]."""
        interruption, must_feed = span.total(self._off_prefix), self._must_feed(span)
        feed = self._feed_bound(self._component(segment, near, far, span, interruption, must_feed))
        if must_feed:
            return INFINITE if feed is None else feed
        return interruption if feed is None else min(interruption, feed)

    def by_segment(self, feed_minor: int | None) -> Ints:
        """Return what stops strand at least on all segments at once, for one bound on every feed.

        Parameters
        ----------
        feed_minor : int or None
            [minor units]; None: no feed can.

        Returns
        -------
        int64 array, shape (segments, 2)
            With the zone at the segment's a, and at its b [minor units]; 0 where nobody is stranded.
        """
        pendants, index = self._pendants, self._index
        far = np.flatnonzero(pendants.bridge)
        segment, near, root = pendants.tree_segment[far], pendants.parent[far], pendants.root[far]
        kept = np.searchsorted(
            np.array(self._kept_positions, dtype=np.int64), np.arange(len(pendants.preorder) + 1)
        )

        def priced(sources: Ints, off: Ints, must_feed: Ints) -> Ints:
            price = off if feed_minor is None else np.minimum(off, feed_minor)
            price = np.where(must_feed > 0, INFINITE if feed_minor is None else feed_minor, price)
            return np.where(sources == 0, price, 0)

        prefixes = (pendants.sources, self._off_prefix, kept)
        beyond, whole = (
            [
                prefix[pendants.position[node] + pendants.size[node]] - prefix[pendants.position[node]]
                for prefix in prefixes
            ]
            for node in (far, root)
        )
        behind = [of_all - of_component for of_all, of_component in zip(whole, beyond, strict=True)]
        found = np.zeros((len(index.segment_a), 2), dtype=np.int64)
        at_a = (index.segment_a[segment] == near).astype(np.int64)
        found[segment, 1 - at_a], found[segment, at_a] = priced(*beyond), priced(*behind)
        return found

    def kept_on(self, span: SubtreeInterval) -> list[int]:
        """Return the customers of a pendant component that may not go off and hang on it alone, ascending."""
        index, preorder = self._index, self._pendants.preorder
        there = {
            int(row)
            for low, high in span.ranges
            for node in preorder[low:high]
            for row in index.customers_at(int(node))
        }
        return sorted(row for row in there & self._kept if not index.multi_attached[row])

    def _must_feed(self, span: SubtreeInterval) -> bool:
        kept = self._kept_positions
        return any(bisect_left(kept, low) < bisect_left(kept, high) for low, high in span.ranges)

    def _component(
        self, segment: int, near: int, far: int, span: SubtreeInterval, interruption: int, must_feed: bool
    ) -> PendantComponent:
        index, preorder = self._index, self._pendants.preorder
        piece = int(index.pieces_of(segment)[0])

        def customers() -> NDArray[np.int32]:
            nodes = np.concatenate([preorder[low:high] for low, high in span.ranges])
            rows = [index.customers_at(int(node)) for node in nodes]
            found = np.concatenate(rows) if rows else np.zeros(0, np.int32)
            return np.unique(found[~index.multi_attached[found]]).astype(np.int32)

        return PendantComponent(
            piece=piece,
            near_node=int(index.members(near)[0]),
            far_node=int(index.members(far)[0]),
            interruption_minor=interruption,
            must_feed=must_feed,
            customers=customers,
        )


class WorkPositions:
    """Where a work section stands in the preorder of `PendantComponents`.

    Parameters
    ----------
    index : SegmentGraph
    pendants : PendantComponents
    work : WorkSegments

    Attributes
    ----------
    every_position : list of int
        Positions of its supernodes and of the ends of its segments.
    """

    def __init__(self, index: SegmentGraph, pendants: PendantComponents, work: WorkSegments) -> None:
        self._index, self._pendants, self._work = index, pendants, work
        self.every_position = self._positions(work.segments)

    def beside(self, segment: int) -> list[int]:
        """Return the positions that lie on one side or the other of a segment."""
        return (
            self._positions(self._work.segments - {segment})
            if segment in self._work.segments
            else self.every_position
        )

    def _positions(self, segments: frozenset[int]) -> list[int]:
        index, position = self._index, self._pendants.position
        nodes = {
            node
            for segment in segments
            for node in (index.segment_a.item(segment), index.segment_b.item(segment))
        }
        return [position.item(node) for node in nodes.union(self._work.supernodes)]


class BridgeCost:
    """A segment that a pendant component hangs on: a stop costs more where it strands the pendant component.

    Parameters
    ----------
    prices : BridgeCosts
    segment, near, far : int
        Segment, and supernodes at its ends.
    spans : tuple of SubtreeInterval or None
        The pendant components beyond `far`, and beyond `near`.

    Attributes
    ----------
    number : int
        Of the arc from near to far: even from the segment's a, odd from its b.
    """

    __slots__ = ("_all", "_prices", "far", "near", "number", "segment", "spans")

    def __init__(
        self,
        prices: BridgeCosts,
        segment: int,
        near: int,
        far: int,
        spans: tuple[SubtreeInterval | None, SubtreeInterval | None],
    ) -> None:
        self._all, self.segment, self.near, self.far, self.spans = prices, segment, near, far, spans
        self.number = prices.number(segment, near)
        self._prices: dict[tuple[bool, bool], tuple[Arcs, int, int]] = {}

    def priced(self, work: list[int]) -> tuple[Arcs, int, int]:
        """Return the arcs from `near` to `far`, and what stops with the zone at near and at far strand.

        Parameters
        ----------
        work : list of int
            Where the work stands in the preorder of `PendantComponents`: a component that it stands on is not
            stranded.
        """
        beyond, behind = self.spans
        key = (
            beyond is not None and not beyond.holds_any(work),
            behind is not None and not behind.holds_any(work),
        )
        found = self._prices.get(key)
        if found is None:
            found = self._prices[key] = self._all.priced(self, *key)
        return found


class BridgeCosts:
    """The segments of a network with what stops on them strand.

    Parameters
    ----------
    costs : CostContext
    stranding : StrandedCosts or None
        None: pendant components add nothing.
    """

    def __init__(self, costs: CostContext, stranding: StrandedCosts | None) -> None:
        self._costs, self._index, self.stranding = costs, costs.index, stranding

    def at(self, segment: int, near: int, far: int) -> BridgeCost | None:
        """Return a segment as the bridge it is; None where a stop on it strands nobody."""
        if self.stranding is None or not self._costs.pendants.is_bridge.item(segment):
            return None
        spans = (self.stranding.span(segment, near, far), self.stranding.span(segment, far, near))
        return BridgeCost(self, segment, near, far, spans) if spans != (None, None) else None

    def arcs(self, segment: int, at_a: bool, beyond: int, behind: int) -> Arcs:
        """Return a segment as arcs from one end; `beyond` and `behind`: what stops strand [minor units]."""
        out_a, out_b = self._costs.price_segment(segment)
        extra_a, extra_b = (beyond, behind) if at_a else (behind, beyond)
        forward, reverse, pay_a, pay_b = arcs_of(
            min(out_a + extra_a, INFINITE),
            min(out_b + extra_b, INFINITE),
            self._costs.segments.gas_minor.item(segment),
        )
        return (forward, reverse, pay_a, pay_b) if at_a else (reverse, forward, pay_b, pay_a)

    def number(self, segment: int, near: int) -> int:
        """Return the number of the arc along a segment from one of its ends."""
        return 2 * segment + (self._index.segment_a.item(segment) != near)

    def priced(self, bridge: BridgeCost, beyond: bool, behind: bool) -> tuple[Arcs, int, int]:
        """Return what `BridgeCost.priced` does, where what hangs beyond and behind it is stranded or not."""
        segment, near, far = bridge.segment, bridge.near, bridge.far
        at_a = self._index.segment_a.item(segment) == near
        outs = self._costs.price_segment(segment) if at_a else self._costs.price_segment(segment)[::-1]
        there = self._stranded(segment, near, far, bridge.spans[0]) if beyond and outs[0] < INFINITE else 0
        here = self._stranded(segment, far, near, bridge.spans[1]) if behind and outs[1] < INFINITE else 0
        return self.arcs(segment, at_a, there, here), there, here

    def _stranded(self, segment: int, near: int, far: int, span: SubtreeInterval | None) -> int:
        if span is None or self.stranding is None:
            return 0
        return self.stranding.price(segment, near, far, span)
