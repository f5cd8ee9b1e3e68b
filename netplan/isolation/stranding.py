"""What a stop strands for certain, priced at least at the lesser of its interruption and any feed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.ground import Ground
from netplan.isolation.mincut import INFINITE
from netplan.isolation.model import FeedBound, Tail
from netplan.isolation.tails import Span
from netplan.isolation.work import Work

__all__ = ["Stranding"]


class Stranding:
    """Prices the tails of one problem.

    Parameters
    ----------
    ground : Ground
    feed_bound : callable
        The caller's lower bound on any feed that serves a tail.
    work : Work
    kept : frozenset of int
        Customers that may not go off.
    """

    def __init__(self, ground: Ground, feed_bound: FeedBound, work: Work, kept: frozenset[int]) -> None:
        self._ground, self._feed_bound, self._work = ground, feed_bound, work
        index, tails = ground.index, ground.tails
        ends = {int(node) for run in work.runs for node in (index.run_a[run], index.run_b[run])}
        self._work_places = {run: self._places_but(run) for run in work.runs}
        self._all_places = [int(tails.place[node]) for node in {*ends, *work.supernodes}]
        table = index.network.customers
        self._kept_places = [
            int(tails.place[index.super_of[table.attach_node[table.attach_start[row]]]])
            for row in sorted(kept)
            if not index.several[row] and table.attach_start[row] < table.attach_start[row + 1]
        ]

    def _places_but(self, run: int) -> list[int]:
        index, work, tails = self._ground.index, self._work, self._ground.tails
        nodes = {
            int(node) for other in work.runs - {run} for node in (index.run_a[other], index.run_b[other])
        }
        return [int(tails.place[node]) for node in {*nodes, *work.supernodes}]

    def __call__(self, run: int, far: int) -> int:
        """Return what a stop on `run`, zone at its other end, strands at least beyond `far` [minor units]."""
        index, tails = self._ground.index, self._ground.tails
        near = int(index.run_b[run] if index.run_a[run] == far else index.run_a[run])
        span = tails.beyond(run, near, far)
        places = self._work_places.get(run, self._all_places)
        if span is None or any(span.holds(place) for place in places) or not tails.sourceless(span):
            return 0
        interruption = span.total(self._ground.off_prefix)
        must_feed = any(span.holds(place) for place in self._kept_places)
        if not interruption and not must_feed:
            return 0
        feed = self._feed_bound(self._tail(run, near, far, span, interruption, must_feed))
        if must_feed:
            return INFINITE if feed is None else feed
        return interruption if feed is None else min(interruption, feed)

    def _tail(self, run: int, near: int, far: int, span: Span, interruption: int, must_feed: bool) -> Tail:
        index, tails = self._ground.index, self._ground.tails
        piece = int(index.pieces_of(run)[0])

        def customers() -> NDArray[np.int32]:
            nodes = np.concatenate([tails.order[low:high] for low, high in span.ranges])
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
