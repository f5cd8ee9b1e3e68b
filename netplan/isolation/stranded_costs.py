"""What a stop strands for certain, priced at least at the lesser of its interruption and any feed."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from numpy.typing import NDArray

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.model import FeedBound, Tail
from netplan.isolation.pendant_components import Span, Tails
from netplan.isolation.segments import Index
from netplan.isolation.work_segments import Work

__all__ = ["Stranding", "WorkPlaces"]

Longs = NDArray[np.int64]


class Stranding:
    """Prices tails, whatever the work; that the work does not stand on one is for the caller to see.

    Parameters
    ----------
    index : Index
    tails : Tails
    off_prefix : int64 array
        Running sum over the order of `tails` of the price of the customers there [minor units].
    feed_bound : callable
        The caller's lower bound on any feed that serves a tail.
    kept : frozenset of int
        Customers that may not go off.
    """

    def __init__(
        self,
        index: Index,
        tails: Tails,
        off_prefix: NDArray[np.int64],
        feed_bound: FeedBound,
        kept: frozenset[int],
    ) -> None:
        self._index, self._tails, self._off_prefix, self._feed_bound = index, tails, off_prefix, feed_bound
        self._kept = kept
        table = index.network.customers
        self._kept_places = sorted(
            int(tails.place[index.super_of[table.attach_node[table.attach_start[row]]]])
            for row in kept
            if not index.several[row] and table.attach_start[row] < table.attach_start[row + 1]
        )

    def span(self, run: int, near: int, far: int) -> Span | None:
        """Return the tail beyond `far` that a stop on `run` strands; None where nobody would miss it."""
        span = self._tails.beyond(run, near, far)
        if span is None or not self._tails.sourceless(span):
            return None
        return span if span.total(self._off_prefix) or self._must_feed(span) else None

    def price(self, run: int, near: int, far: int, span: Span) -> int:
        """Return what a stop on `run` strands at least on the tail beyond `far` [minor units]."""
        interruption, must_feed = span.total(self._off_prefix), self._must_feed(span)
        feed = self._feed_bound(self._tail(run, near, far, span, interruption, must_feed))
        if must_feed:
            return INFINITE if feed is None else feed
        return interruption if feed is None else min(interruption, feed)

    def by_run(self, feed_minor: int | None) -> Longs:
        """Return what stops strand at least on all runs at once, for one bound on every feed.

        Parameters
        ----------
        feed_minor : int or None
            [minor units]; None: no feed can.

        Returns
        -------
        int64 array, shape (runs, 2)
            With the zone at the run's a, and at its b [minor units]; 0 where nobody is stranded.
        """
        tails, index = self._tails, self._index
        far = np.flatnonzero(tails.bridge)
        run, near, root = tails.tree_run[far], tails.parent[far], tails.root[far]
        kept = np.searchsorted(np.array(self._kept_places, dtype=np.int64), np.arange(len(tails.order) + 1))

        def priced(sources: Longs, off: Longs, must_feed: Longs) -> Longs:
            price = off if feed_minor is None else np.minimum(off, feed_minor)
            price = np.where(must_feed > 0, INFINITE if feed_minor is None else feed_minor, price)
            return np.where(sources == 0, price, 0)

        prefixes = (tails.sources, self._off_prefix, kept)
        beyond, whole = (
            [prefix[tails.place[node] + tails.size[node]] - prefix[tails.place[node]] for prefix in prefixes]
            for node in (far, root)
        )
        behind = [of_all - of_tail for of_all, of_tail in zip(whole, beyond, strict=True)]
        found = np.zeros((len(index.run_a), 2), dtype=np.int64)
        at_a = (index.run_a[run] == near).astype(np.int64)
        found[run, 1 - at_a], found[run, at_a] = priced(*beyond), priced(*behind)
        return found

    def kept_on(self, span: Span) -> list[int]:
        """Return the customers of a tail that may not go off and hang on it alone, ascending."""
        index, order = self._index, self._tails.order
        there = {
            int(row)
            for low, high in span.ranges
            for node in order[low:high]
            for row in index.customers_at(int(node))
        }
        return sorted(row for row in there & self._kept if not index.several[row])

    def _must_feed(self, span: Span) -> bool:
        kept = self._kept_places
        return any(bisect_left(kept, low) < bisect_left(kept, high) for low, high in span.ranges)

    def _tail(self, run: int, near: int, far: int, span: Span, interruption: int, must_feed: bool) -> Tail:
        index, order = self._index, self._tails.order
        piece = int(index.pieces_of(run)[0])

        def customers() -> NDArray[np.int32]:
            nodes = np.concatenate([order[low:high] for low, high in span.ranges])
            rows = [index.customers_at(int(node)) for node in nodes]
            found = np.concatenate(rows) if rows else np.zeros(0, np.int32)
            return np.unique(found[~index.several[found]]).astype(np.int32)

        return Tail(
            piece=piece,
            near_node=int(index.members(near)[0]),
            far_node=int(index.members(far)[0]),
            interruption_minor=interruption,
            must_feed=must_feed,
            customers=customers,
        )


class WorkPlaces:
    """Where a work section stands in the order of tails.

    Parameters
    ----------
    index : Index
    tails : Tails
    work : Work

    Attributes
    ----------
    all_of_it : list of int
        Places of its supernodes and of the ends of its runs.
    """

    def __init__(self, index: Index, tails: Tails, work: Work) -> None:
        self._index, self._tails, self._work = index, tails, work
        self.all_of_it = self._places(work.runs)

    def beside(self, run: int) -> list[int]:
        """Return the places that lie on one side or the other of a run."""
        return self._places(self._work.runs - {run}) if run in self._work.runs else self.all_of_it

    def _places(self, runs: frozenset[int]) -> list[int]:
        index, place = self._index, self._tails.place
        nodes = {node for run in runs for node in (index.run_a.item(run), index.run_b.item(run))}
        return [place.item(node) for node in nodes.union(self._work.supernodes)]
