"""The segments at each supernode with their prices: worked out once, shared by all questions."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Final

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.cost_context import CostContext
from netplan.isolation.cut_model import FeedBound, SameFeed
from netplan.isolation.stranded_costs import BridgeCost, BridgeCosts, StrandedCosts

if TYPE_CHECKING:
    from netplan.isolation.capacity_table import CapacityTable

__all__ = ["PricedSegment", "PricedSupernode", "SharedCosts", "shared_costs_of"]

_MOST_KEPT: Final = 50_000
"""Supernodes remembered at a time (own) [-]."""

_MOST_SETS: Final = 2
"""Sets of shared costs remembered at a time, one for each way of pricing what a stop strands (own) [-]."""

PricedSegment = tuple[int, int, bool, int, int, int, int, BridgeCost | None]
"""Segment, supernode at its other end, whether this end is the segment's a; then its arcs from here, which do
not hold where there is a `BridgeCost`."""

PricedSupernode = tuple[int, tuple[int, ...], tuple[PricedSegment, ...]]
"""Price of a supernode in a zone [minor units] (`INFINITE`: it may not be), its customers attached elsewhere
too, and its segments; one that comes back to it appears twice."""


class SharedCosts:
    """The network under one set of prices, one feed bound and one set of kept customers.

    Parameters
    ----------
    costs : CostContext
    feed_bound : callable or None
        None: pendant components add nothing.
    kept : frozenset of int
        Customers that may not go off.

    Attributes
    ----------
    kept_at : frozenset of int
        Supernodes where kept customers are attached.
    stranding : StrandedCosts or None
    """

    def __init__(self, costs: CostContext, feed_bound: FeedBound | None, kept: frozenset[int]) -> None:
        self._costs, self._index, self.kept, self._feed_bound = costs, costs.index, kept, feed_bound
        self.kept_at = costs.supernodes_of(kept)
        self.stranding = (
            StrandedCosts(costs.index, costs.pendants, costs.off_prefix, feed_bound, costs.losing(kept))
            if feed_bound
            else None
        )
        self._bridges = BridgeCosts(costs, self.stranding)
        self._priced: dict[int, PricedSupernode] = {}

    @cached_property
    def table(self) -> CapacityTable | None:
        """What ordinary questions share; None where the bound does not say that many come."""
        if self.stranding is None or not isinstance(self._feed_bound, SameFeed):
            return None
        # Imported here: what it compiles takes longer to load than a question without it.
        from netplan.isolation.capacity_table import CapacityTable

        barred = self._index.blocked > 0
        barred[list(self.kept_at)] = True
        stranded = self.stranding.by_segment(self._feed_bound.price_minor)
        return CapacityTable(self._costs, self._bridges, stranded, barred)

    def at(self, supernode: int) -> PricedSupernode:
        """Return what a zone at a supernode pays there, and what it leads to."""
        priced = self._priced.get(supernode)
        if priced is None:
            if len(self._priced) >= _MOST_KEPT:
                self._priced.clear()
            priced = self._priced[supernode] = self._priced_supernode(supernode)
        return priced

    def barred(self, supernode: int) -> bool:
        """Whether a supernode may never be in a zone."""
        return self._index.blocked.item(supernode) > 0 or supernode in self.kept_at

    def _priced_supernode(self, supernode: int) -> PricedSupernode:
        index, costs = self._index, self._costs
        several: tuple[int, ...] = ()
        if costs.has_multi_attached[supernode]:
            customers = index.customers_at(supernode)
            several = tuple(customers[index.multi_attached[customers]].tolist())
        price = INFINITE if self.barred(supernode) else costs.node_minor.item(supernode)
        return (
            price,
            several,
            tuple(
                self._priced_segment(segment, supernode) for segment in index.segments_at(supernode).tolist()
            ),
        )

    def _priced_segment(self, segment: int, near: int) -> PricedSegment:
        index = self._index
        a, b = index.segment_a.item(segment), index.segment_b.item(segment)
        at_a, far = (True, b) if a == near else (False, a)
        return (
            segment,
            far,
            at_a,
            *self._bridges.arcs(segment, at_a, 0, 0),
            self._bridges.at(segment, near, far),
        )


def shared_costs_of(costs: CostContext, feed_bound: FeedBound | None, kept: frozenset[int]) -> SharedCosts:
    """Return the costs under these, from those kept with the context where they hold for every question."""
    if not (feed_bound is None or isinstance(feed_bound, SameFeed)):
        return SharedCosts(costs, feed_bound, kept)
    for shared, key in costs.shared_costs:
        # The context returns the same set for the same request.
        if isinstance(shared, SharedCosts) and key == feed_bound and shared.kept is kept:
            return shared
    shared = SharedCosts(costs, feed_bound, kept)
    costs.shared_costs.insert(0, (shared, feed_bound))
    del costs.shared_costs[_MOST_SETS:]
    return shared
