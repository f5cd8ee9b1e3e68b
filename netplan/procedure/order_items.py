"""Items of the order: every thing whose state the steps change, with an id of its own.

Items are keyed by kind and id, as records of the network may bear an id such as T1 or H1 themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from netplan.planfile.model import Gauge, Option, OrderItem, PreparedFallback, Stop, Tapping
from netplan.procedure.order_item_building import SAME_M, inlet_id, items_of

__all__ = ["OrderItems", "order_items", "with_order_items"]


@dataclass(frozen=True)
class OrderItems:
    """The items of an option, looked up by what they are for.

    Parameters
    ----------
    all : tuple of OrderItem
        Each kind and id once.
    fallbacks : frozenset of str
        Ids of the prepared fallbacks.
    """

    all: tuple[OrderItem, ...]
    fallbacks: frozenset[str] = frozenset()

    @cached_property
    def _by_key(self) -> dict[tuple[str, str], OrderItem]:
        return {(item.kind, item.id): item for item in self.all}

    def find(self, kind: str, ident: str) -> OrderItem | None:
        """Return an item by its kind and id; None where there is none."""
        return self._by_key.get((kind, ident))

    def of(self, kind: str, owner: str, *roles: str) -> tuple[OrderItem, ...]:
        """Return the items of a kind that belong to one stop, fallback, feed, purge point or gauge."""
        return tuple(item for item in self.every(kind, *roles) if item.of == owner)

    def every(self, kind: str, *roles: str) -> tuple[OrderItem, ...]:
        """Return all items of a kind, of these roles alone where any is named, in their order."""
        return tuple(item for item in self.all if item.kind == kind and (not roles or item.role in roles))

    def barriers(self, stop: str) -> tuple[OrderItem, ...]:
        """Return the barriers of a stop or prepared fallback, the outer one first."""
        return self.of("barrier", stop)

    def tappings(self, owner: str, *roles: str) -> tuple[OrderItem, ...]:
        """Return the tappings of a stop, fallback, feed, purge point or gauge."""
        return self.of("tapping", owner, *roles)

    def tapping_at(self, main_id: str, chainage_m: float, *roles: str) -> OrderItem | None:
        """Return the first tapping at a place on a main, whatever it belongs to."""
        return next(
            (
                item
                for item in self.every("tapping", *roles)
                if item.main_id == main_id
                and item.chainage_m is not None
                and abs(item.chainage_m - chainage_m) <= SAME_M
            ),
            None,
        )

    def tapping_of_gauge(self, gauge: Gauge) -> OrderItem | None:
        """Return the tapping a gauge is on; None where it is read at a customer's meter."""
        if gauge.customer:
            return None
        at = (gauge.main_id, gauge.chainage_m)
        return self.tapping_at(*at, "gauge") or self.tapping_at(*at)

    def vent(self, stop: str) -> OrderItem | None:
        """Return the vent between the barriers of a stop or prepared fallback; None for a single barrier."""
        return next(iter(self.of("vent", stop, "between")), None)

    def zone_vent(self, owner: str) -> OrderItem | None:
        """Return the vent at a purge point, or the zone vent of a stop or fallback without one there."""
        return next(iter(self.of("vent", owner, "zone", "purge")), None)

    def zone_vents(self) -> tuple[OrderItem, ...]:
        """Return the vents of zones: at purge points and at stops without one, not those of fallbacks."""
        return tuple(item for item in self.every("vent", "zone", "purge") if item.of not in self.fallbacks)

    def zone_vents_at(self, stop: str) -> tuple[OrderItem, ...]:
        """Return the zone vents on the zone-vent tappings of a stop, those of purge points included."""
        tapped = {item.id for item in self.tappings(stop, "zone_vent")}
        return tuple(
            item
            for item in self.every("vent", "zone", "purge")
            if item.of == stop or (item.tapping_id and item.tapping_id in tapped)
        )

    def feed(self, ident: str) -> OrderItem | None:
        """Return a bypass or hose."""
        return next(iter(self.of("feed", ident, "bypass", "hose")), None)

    def opened(self, valve: str) -> OrderItem | None:
        """Return the feed that a boundary valve is once it is opened."""
        return next(iter(self.of("feed", valve, "opened valve")), None)

    def feed_end(self, feed: str, end: str) -> OrderItem | None:
        """Return the valve at an end, ``from`` or ``to``, of a bypass or hose."""
        return next(iter(self.of("valve", feed, f"feed end {end}")), None)

    def feed_vent(self, feed: str) -> OrderItem | None:
        """Return the stack of a bypass or hose."""
        return next(iter(self.of("vent", feed, "feed")), None)

    def tees(self, feed: str, end: str) -> tuple[OrderItem, ...]:
        """Return the tappings that an end of a bypass or hose is on: one for each of its hoses."""
        valve = self.feed_end(feed, end)
        first = self.find("tapping", valve.tapping_id) if valve else None
        if first is None:
            return ()
        return tuple(
            item
            for item in self.tappings(first.of, "bypass")
            if (item.main_id, item.chainage_m) == (first.main_id, first.chainage_m)
        )

    def valve(self, ident: str) -> OrderItem | None:
        """Return a valve by its id: of a stop or prepared fallback, a boundary, a station's inlet."""
        return self.find("valve", ident)

    def station_inlets(self, stop: Stop) -> tuple[OrderItem, ...]:
        """Return the inlet valves of the stations that a stop shuts in."""
        return tuple(item for one in stop.shuts_in if (item := self.valve(inlet_id(one))))

    def boundary(self, valve: str) -> OrderItem | None:
        """Return a boundary valve that is opened for the work."""
        return self.valve(valve)

    def gas_inlet(self, point: str) -> OrderItem | None:
        """Return the valve that lets gas in at a purge point."""
        return next(iter(self.of("valve", point, "gas inlet")), None)

    def air_inlet(self, point: str) -> OrderItem | None:
        """Return the valve that lets air in at a purge point."""
        return next(iter(self.of("valve", point, "air inlet")), None)

    def test_hose(self, stop: str) -> OrderItem | None:
        """Return the hose from the gauge outlet of a stop to the space between its barriers, or its zone."""
        return next(iter(self.of("valve", stop, "test hose")), None)

    def place(self, hole: str) -> OrderItem | None:
        """Return an excavation."""
        return self.find("place", hole)

    def meter(self, customer: str) -> OrderItem | None:
        """Return the meters of a customer."""
        return self.find("meter", customer)

    def meters_off(self) -> tuple[OrderItem, ...]:
        """Return the meters that are turned off, those of a stranded tail included."""
        return self.every("meter", "off", "tail")

    def part(self, ident: str) -> OrderItem | None:
        """Return a part such as the zone Z1."""
        return self.find("part", ident)

    def space(self, stop: str) -> OrderItem | None:
        """Return the space between the barriers of a stop."""
        return next(iter(self.of("part", stop, "space")), None)


def order_items(option: Option) -> OrderItems:
    """Return the lookup of the items of an option, made where it has none yet."""
    found = option.items or items_of(_with_tapping_ids(option))
    return OrderItems(found, frozenset(one.id for one in option.prepared_fallbacks))


def with_order_items(option: Option) -> Option:
    """Return an option with ids of its tappings and with all its items; the same if it has them."""
    if option.items:
        return option
    tapped = _with_tapping_ids(option)
    return tapped.model_copy(update={"items": items_of(tapped)})


def _with_tapping_ids(option: Option) -> Option:
    """Return the option with an id in every tapping that is a hole: of its stops, then of its fallbacks."""
    number = 1
    stops: list[Stop] = []
    for stop in option.stops:
        tappings, number = _numbered(stop.tappings, number)
        stops.append(stop.model_copy(update={"tappings": tappings}))
    prepared: list[PreparedFallback] = []
    for one in option.prepared_fallbacks:
        tappings, number = _numbered(one.tappings, number)
        prepared.append(one.model_copy(update={"tappings": tappings}))
    return option.model_copy(update={"stops": tuple(stops), "prepared_fallbacks": tuple(prepared)})


def _numbered(tappings: Sequence[Tapping], number: int) -> tuple[tuple[Tapping, ...], int]:
    """Return tappings with their ids from a number, and the number that comes next."""
    found = []
    for tapping in tappings:
        is_hole = tapping.size_mm > 0
        found.append(tapping.model_copy(update={"id": f"T{number}" if is_hole else ""}))
        number += tapping.count if is_hole else 0
    return tuple(found), number
