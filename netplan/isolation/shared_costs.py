"""The runs at each supernode with their prices: worked out once, shared by all questions alike."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Final

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.bridge_costs import Bridge, Bridges
from netplan.isolation.cost_context import Ground
from netplan.isolation.model import FeedBound, SameFeed
from netplan.isolation.stranded_costs import Stranding

if TYPE_CHECKING:
    from netplan.isolation.capacity_table import CapacityTable

__all__ = ["Link", "Links", "Place", "links_of"]

_MOST_KEPT: Final = 50_000
"""Supernodes remembered at a time (own) [-]."""

_MOST_LINKS: Final = 2
"""Sets of links remembered at a time, one for each way of pricing what a stop strands (own) [-]."""

Link = tuple[int, int, bool, int, int, int, int, Bridge | None]
"""Run, supernode at its other end, whether this end is the run's a; then its arcs from here, which do not
hold where there is a `Bridge`."""

Place = tuple[int, tuple[int, ...], tuple[Link, ...]]
"""Price of a supernode in a zone [minor units] (`INFINITE`: it may not be), its customers attached elsewhere
too, and its runs; one that comes back to it appears twice."""


class Links:
    """The network under one set of prices, one feed bound and one set of kept customers.

    Parameters
    ----------
    ground : Ground
    feed_bound : callable or None
        None: tails add nothing.
    kept : frozenset of int
        Customers that may not go off.

    Attributes
    ----------
    kept_at : frozenset of int
        Supernodes where kept customers are attached.
    stranding : Stranding or None
    """

    def __init__(self, ground: Ground, feed_bound: FeedBound | None, kept: frozenset[int]) -> None:
        self._ground, self._index, self.kept, self._feed_bound = ground, ground.index, kept, feed_bound
        self.kept_at = ground.supernodes_of(kept)
        self.stranding = (
            Stranding(ground.index, ground.tails, ground.off_prefix, feed_bound, kept) if feed_bound else None
        )
        self._bridges = Bridges(ground, self.stranding)
        self._places: dict[int, Place] = {}

    @cached_property
    def table(self) -> CapacityTable | None:
        """What plain questions share; None where the bound does not say that many come."""
        if self.stranding is None or not isinstance(self._feed_bound, SameFeed):
            return None
        # Only here: what it compiles takes longer to load than a question without it.
        from netplan.isolation.capacity_table import CapacityTable

        barred = self._index.blocked > 0
        barred[list(self.kept_at)] = True
        stranded = self.stranding.by_run(self._feed_bound.price_minor)
        return CapacityTable(self._ground, self._bridges, stranded, barred)

    def at(self, supernode: int) -> Place:
        """Return what a zone at a supernode pays there, and what it leads to."""
        place = self._places.get(supernode)
        if place is None:
            if len(self._places) >= _MOST_KEPT:
                self._places.clear()
            place = self._places[supernode] = self._place(supernode)
        return place

    def barred(self, supernode: int) -> bool:
        """Whether a supernode may never be in a zone."""
        return self._index.blocked.item(supernode) > 0 or supernode in self.kept_at

    def _place(self, supernode: int) -> Place:
        index, ground = self._index, self._ground
        several: tuple[int, ...] = ()
        if ground.has_several[supernode]:
            customers = index.customers_at(supernode)
            several = tuple(customers[index.several[customers]].tolist())
        price = INFINITE if self.barred(supernode) else ground.node_minor.item(supernode)
        return price, several, tuple(self._link(run, supernode) for run in index.runs_at(supernode).tolist())

    def _link(self, run: int, near: int) -> Link:
        index = self._index
        a, b = index.run_a.item(run), index.run_b.item(run)
        at_a, far = (True, b) if a == near else (False, a)
        return (run, far, at_a, *self._bridges.arcs(run, at_a, 0, 0), self._bridges.at(run, near, far))


def links_of(ground: Ground, feed_bound: FeedBound | None, kept: frozenset[int]) -> Links:
    """Return links under these, from those kept with the ground where the same hold for every question."""
    if not (feed_bound is None or isinstance(feed_bound, SameFeed)):
        return Links(ground, feed_bound, kept)
    for links, key in ground.links:
        # The ground returns the same set for the same wish.
        if isinstance(links, Links) and key == feed_bound and links.kept is kept:
            return links
    links = Links(ground, feed_bound, kept)
    ground.links.insert(0, (links, feed_bound))
    del ground.links[_MOST_LINKS:]
    return links
