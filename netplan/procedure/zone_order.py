"""A zone as the order sees it: its parts, stops, vents, gauge and purge points, each an item of the order."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from netplan.planfile.model import Option, OrderItem, PurgePoint, Stop, ZoneGauge, ZonePart
from netplan.planfile.station_words import is_inlet_barrier
from netplan.procedure.order_item_building import SAME_M
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import ItemState, in_state

__all__ = ["ZoneOrder", "gauges_at", "live_mbar", "read_beside", "single_barrier", "zones_in_order"]


@dataclass(frozen=True, slots=True)
class ZoneOrder:
    """One zone of an option.

    Parameters
    ----------
    ident : str
        Its id, such as Z1.
    part : OrderItem or None
    cut_parts : tuple of OrderItem
        What it falls into at the cut.
    stops : tuple of Stop
        At its ends, in the order in which they are set.
    vents : tuple of OrderItem
        Vents of the zone, the one that its stack and the meter of let-by tests stand on first.
    gauge : ZoneGauge or None
    inlets, outlets : tuple of PurgePoint
        Where it is purged from, and to, in their order.
    inlet_of : mapping of str to PurgePoint
        The inlet that belongs to each outlet, by its id: a shut valve may part a zone, each part has its own.
    services : tuple of str
        Services with gas in them, by id.
    volume_m3 : float or None
        Of its bores [m³ actual].
    """

    ident: str
    part: OrderItem | None
    cut_parts: tuple[OrderItem, ...]
    stops: tuple[Stop, ...]
    vents: tuple[OrderItem, ...]
    gauge: ZoneGauge | None
    inlets: tuple[PurgePoint, ...]
    outlets: tuple[PurgePoint, ...]
    inlet_of: Mapping[str, PurgePoint]
    services: tuple[str, ...]
    volume_m3: float | None

    @property
    def stack(self) -> OrderItem | None:
        """The vent that its stack, and the meter of a let-by test, stand on."""
        return self.vents[0] if self.vents else None

    def inlet(self, outlet: PurgePoint | None) -> PurgePoint | None:
        """Return where an outlet is purged from; the first inlet where none belongs to it."""
        own = None if outlet is None else self.inlet_of.get(outlet.id)
        return own or next(iter(self.inlets), None)

    @property
    def gauge_ids(self) -> tuple[str, ...]:
        """Id of its gauge, where it has one."""
        return () if self.gauge is None else (self.gauge.id,)

    def with_parts(self, state: str) -> tuple[ItemState, ...]:
        """Return the zone and its cut parts in a state; before the cut the zone alone has one."""
        return in_state(state, self.part, *self.cut_parts)


def zones_in_order(case: OrderCase) -> tuple[ZoneOrder, ...]:
    """Return the zones of a case, in the order of the plan."""
    return tuple(_zone(case, part) for part in _zone_parts(case.option))


def _zone_parts(option: Option) -> Iterator[ZonePart]:
    """Yield the zones of an option; one with every stop and vent for a plan that lists no parts."""
    listed = [part for part in option.parts if part.role == "zone"]
    if listed:
        yield from listed
        return
    yield ZonePart(id="Z1", role="zone", zone=0, stops=tuple(stop.id for stop in option.stops))


def _zone(case: OrderCase, part: ZonePart) -> ZoneOrder:
    items, option = case.items, case.option
    gauge = next((one for one in option.zone_gauges if one.part_id == part.id), None)
    vents = [vent for vent in items.zone_vents() if not option.parts or vent.tapping_id in part.vents]
    # The gauge has an outlet of its own wherever there is another for the stack.
    vents.sort(key=lambda vent: gauge is not None and vent.tapping_id == gauge.tapping_id)
    of = {vent.of for vent in vents} | {vent.id for vent in vents}
    cut = (one for one in option.parts if one.role == "cut part" and one.zone == part.zone)
    return ZoneOrder(
        ident=part.id,
        part=items.part(part.id),
        cut_parts=tuple(item for one in cut if (item := items.part(one.id))),
        stops=tuple(stop for stop in case.stops if stop.id in part.stops),
        vents=tuple(vents),
        gauge=gauge,
        inlets=tuple(point for point in case.inlets() if point.id in of),
        outlets=tuple(point for point in case.vents() if point.id in of),
        inlet_of=_inlets_of_outlets(option, of),
        services=part.services,
        volume_m3=part.volume_m3,
    )


def _inlets_of_outlets(option: Option, ids: Collection[str]) -> dict[str, PurgePoint]:
    """Return the inlet of each outlet among some purge points: the one that stands before it in the plan."""
    found: dict[str, PurgePoint] = {}
    inlet: PurgePoint | None = None
    for point in option.purge.points:
        if point.role == "feed":
            inlet = point
        elif point.role == "vent" and inlet is not None and inlet.id in ids:
            found[point.id] = inlet
    return found


def live_mbar(stop: Stop) -> float | None:
    """Return the pressure behind a stop [mbar gauge]: what its inner barrier sees; None without gas there."""
    if is_inlet_barrier(stop):
        return stop.shuts_in[0].outlet_mbar
    return stop.pressure_mbar


def single_barrier(case: OrderCase, stop: Stop) -> OrderItem | None:
    """Return the only barrier of a stop; None for a double stop."""
    barriers = case.items.barriers(stop.id)
    return barriers[0] if len(barriers) == 1 else None


def gauges_at(case: OrderCase, stop: Stop) -> tuple[str, ...]:
    """Return the ids of the gauges on the gauge tapping of a stop."""
    places = [(t.main_id, t.chainage_m) for t in case.items.tappings(stop.id, "gauge")]
    return tuple(
        gauge.id
        for gauge in case.option.gauges
        if not gauge.customer
        and any(
            main == gauge.main_id and at is not None and abs(at - gauge.chainage_m) <= SAME_M
            for main, at in places
        )
    )


def read_beside(case: OrderCase, *hosed: Stop) -> tuple[str, ...]:
    """Return the ids of the gauges that are read while hoses hang on the gauge outlets of some stops."""
    taken = {ident for stop in hosed for ident in gauges_at(case, stop)}
    return tuple(ident for ident in case.gauge_ids if ident not in taken)
