"""The runs at each supernode with their prices: worked out once, shared by all questions alike."""

from __future__ import annotations

from typing import Final

from netplan.isolation.ground import Ground
from netplan.isolation.mincut import INFINITE
from netplan.isolation.model import FeedBound, SameFeed
from netplan.isolation.stranding import Stranding
from netplan.isolation.tails import Span

__all__ = ["Arcs", "Bridge", "Link", "Links", "Place", "arcs_of", "links_of"]

_MOST_KEPT: Final = 400_000
"""Supernodes remembered at a time (own): some hundred megabytes [-]."""

_MOST_LINKS: Final = 2

Arcs = tuple[int, int, int, int]
"""Capacity from the first end to the second and back, what either end pays for being in the zone
[minor units]."""


def arcs_of(out_u: int, out_v: int, gas_minor: int) -> Arcs:
    """Return a run as arcs, from the least price of a stop with the zone at either end and its gas.

    The gas of a run wholly inside is shared by its ends. So that no arc becomes negative, no end pays more
    than a stop there costs.
    """
    gas = min(gas_minor, out_u + out_v)
    share = min(max(gas // 2, gas - out_v), out_u)
    return (
        out_u - share if out_u < INFINITE else INFINITE,
        out_v - gas + share if out_v < INFINITE else INFINITE,
        share,
        gas - share,
    )


class Bridge:
    """A run that a tail hangs on: a stop costs more where it strands the tail.

    Parameters
    ----------
    links : Links
    run, near, far : int
        Run, and supernodes at its ends.
    spans : tuple of Span or None
        The tails beyond `far`, and beyond `near`.
    """

    __slots__ = ("_links", "_prices", "far", "near", "run", "spans")

    def __init__(
        self, links: Links, run: int, near: int, far: int, spans: tuple[Span | None, Span | None]
    ) -> None:
        self._links, self.run, self.near, self.far, self.spans = links, run, near, far, spans
        self._prices: dict[tuple[bool, bool], tuple[Arcs, int, int]] = {}

    def priced(self, work: list[int]) -> tuple[Arcs, int, int]:
        """Return the arcs from `near` to `far`, and what stops with the zone at near and at far strand.

        Parameters
        ----------
        work : list of int
            Places of the work in the order of tails: a tail that it stands on is not stranded.
        """
        beyond, behind = self.spans
        key = (
            beyond is not None and not beyond.holds_any(work),
            behind is not None and not behind.holds_any(work),
        )
        found = self._prices.get(key)
        if found is None:
            found = self._prices[key] = self._links.bridge_arcs(self, *key)
        return found


Link = tuple[int, int, bool, int, int, int, int, Bridge | None]
"""Run, supernode at its other end, whether this end is the run's a; then `Arcs` from here, which do not hold
where there is a `Bridge`."""

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
        self._ground, self._index, self.kept = ground, ground.index, kept
        self.kept_at = ground.supernodes_of(kept)
        self.stranding = (
            Stranding(ground.index, ground.tails, ground.off_prefix, feed_bound, kept) if feed_bound else None
        )
        self._places: dict[int, Place] = {}

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
        bridge = None
        if self.stranding is not None:
            spans = (self.stranding.span(run, near, far), self.stranding.span(run, far, near))
            bridge = Bridge(self, run, near, far, spans) if spans != (None, None) else None
        return (run, far, at_a, *self._arcs(run, at_a, 0, 0), bridge)

    def _arcs(self, run: int, at_a: bool, beyond: int, behind: int) -> Arcs:
        out_a, out_b = self._ground.price_run(run)
        extra_a, extra_b = (beyond, behind) if at_a else (behind, beyond)
        forth, back, pay_a, pay_b = arcs_of(
            min(out_a + extra_a, INFINITE),
            min(out_b + extra_b, INFINITE),
            self._ground.runs.gas_minor.item(run),
        )
        return (forth, back, pay_a, pay_b) if at_a else (back, forth, pay_b, pay_a)

    def bridge_arcs(self, bridge: Bridge, beyond: bool, behind: bool) -> tuple[Arcs, int, int]:
        """Return what `Bridge.priced` does, where tails beyond it and behind it are stranded or not."""
        run, near, far = bridge.run, bridge.near, bridge.far
        at_a = self._index.run_a.item(run) == near
        outs = self._ground.price_run(run) if at_a else self._ground.price_run(run)[::-1]
        there = self._stranded(run, near, far, bridge.spans[0]) if beyond and outs[0] < INFINITE else 0
        here = self._stranded(run, far, near, bridge.spans[1]) if behind and outs[1] < INFINITE else 0
        return self._arcs(run, at_a, there, here), there, here

    def _stranded(self, run: int, near: int, far: int, span: Span | None) -> int:
        if span is None or self.stranding is None:
            return 0
        return self.stranding.price(run, near, far, span)


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
