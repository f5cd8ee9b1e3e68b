"""Where on a segment a stop can be made, by which method, and where best."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.blocked_lengths import (
    BlockedLength,
    Ends,
    FeasibleInterval,
    Joints,
    blocked_by_ends,
    blocked_by_fittings,
    ends_of,
    feasible_interval,
    free_intervals,
)
from netplan.isolation.segment_geometry import SegmentGeometry, segment_geometry
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.stop_exclusions import StopExclusions
from netplan.isolation.stop_methods import (
    MethodRefusal,
    StopExtent,
    fault_pressures,
    method_codes,
    piece_fault_pressure,
    refused_words,
    stop_extent,
)
from netplan.isolation.stop_prices import stop_price_minor, unobstructed_segments
from netplan.isolation.valve_tappings import no_room_words
from netplan.isolation.work_segments import WorkSegments
from netplan.rules.rule_set import MethodKind, Rules

__all__ = ["Choice", "StopPlacement"]


@dataclass(frozen=True, slots=True)
class Choice:
    """A method at its best place on a segment, zone at the segment's start.

    `cost_minor` is what the cut pays: the stop and the gas of the segment up to it [minor units].
    """

    cost_minor: int
    price_minor: int
    gas_minor: int
    method: int
    at_m: float


class StopPlacement:
    """Positions on segments for one set of rules and orders; remembers what it has worked out.

    Parameters
    ----------
    index : SegmentGraph
    rules : Rules
    gas_minor_per_m3 : float
        Price of the gas of a cubic metre of pipe [minor units].
    barred : StopExclusions
        Keep-out areas and lengths forbidden by order.
    like : StopPlacement, optional
        Another one for the same index and rules, whose table of refusals serves here too.
    """

    def __init__(
        self,
        index: SegmentGraph,
        rules: Rules,
        gas_minor_per_m3: float,
        barred: StopExclusions,
        like: StopPlacement | None = None,
    ) -> None:
        self.index, self.rules, self.gas_minor_per_m3, self.barred = index, rules, gas_minor_per_m3, barred
        self._like = like
        self._choices: dict[tuple[int, bool], tuple[Choice, ...]] = {}
        self.extent = lru_cache(maxsize=1024)(self._extent)
        self.price = lru_cache(maxsize=4096)(self._price)
        self.offers = lru_cache(maxsize=4096)(self._offers)

    def _extent(self, method: int, od_m: float) -> StopExtent:
        return stop_extent(self.rules, self.rules.method[method], od_m)

    def _price(self, method: int, od_m: float, surface: int) -> int:
        return stop_price_minor(self.rules, self.rules.method[method], od_m, surface)

    def extent_of(self, choice: Choice, geometry: SegmentGeometry) -> StopExtent:
        """Return how far the assembly of a stop on a segment reaches."""
        return self.extent(choice.method, self.index.network.pipes.od_m.item(geometry.legs[0].pipe))

    def gas_minor(self, volume_m3: float) -> int:
        """Return the price of the gas of a volume of pipe, as one rounded element [minor units]."""
        return round(self.gas_minor_per_m3 * volume_m3)

    @cached_property
    def table(self) -> tuple[NDArray[np.uint8], NDArray[np.float64], NDArray[np.bool_]]:
        """Codes of the methods (`codes`), fault pressures [Pa gauge; NaN: unknown], and mop standing in.

        All by piece; the last says where the greatest operating pressure of the main stands in for the fault
        pressure of a station.
        """
        if self._like is not None:
            return self._like.table
        index = self.index
        mains = np.flatnonzero(index.segment_of >= 0)
        codes = np.zeros((len(index.segment_of), len(self.rules.method)), dtype=np.uint8)
        fault = np.full(len(index.segment_of), np.nan)
        stands_in = np.zeros(len(index.segment_of), dtype=np.bool_)
        fault[mains], stands_in[mains] = piece_fault_pressure(index, mains, *fault_pressures(index))
        codes[mains] = method_codes(index, self.rules, mains, fault[mains])
        return codes, fault, stands_in

    @cached_property
    def joints(self) -> Joints:
        """Which ends of mains count as joints."""
        if self._like is not None:
            return self._like.joints
        network, rules = self.index.network, self.rules
        widest_m = float(network.pipes.od_m[: network.pipes.n_mains].max(initial=0.0))
        extents = [stop_extent(rules, method, widest_m) for method in rules.method]
        farthest_m = max(max(-extent.near_m, extent.far_m) for extent in extents)
        return Joints(network, rules.clearance.through_record_joints, farthest_m)

    @cached_property
    def unobstructed(self) -> NDArray[np.bool_]:
        """Which segments are unobstructed (see `stop_prices`), whatever the planner orders."""
        return (
            self._like.unobstructed
            if self._like is not None
            else unobstructed_segments(self.index, self.barred)
        )

    def is_unobstructed(self, segment: int) -> bool:
        """Whether a segment is unobstructed, and no order concerns it."""
        if not self.unobstructed.item(segment):
            return False
        return self._like is None or not self.barred.touches(
            self.index.network, self.index.pieces_of(segment)
        )

    @property
    def codes(self) -> NDArray[np.uint8]:
        """Why each method is refused on the whole of each piece of main (`method_codes`), by piece."""
        return self.table[0]

    def fault_pa_gauge(self, piece: int) -> float:
        """Return the greatest pressure at a piece in a station fault [Pa gauge]; NaN where unknown."""
        return float(self.table[1][piece])

    def mop_stands_in(self, piece: int) -> bool:
        """Whether a station records no fault pressure, so that the main's own limit counts at a piece."""
        return bool(self.table[2][piece])

    def segment_choices(self, segment: int, zone_at_a: bool) -> tuple[Choice, ...]:
        """Return each method's best place on a whole segment, cheapest first."""
        key = (segment, zone_at_a)
        if key not in self._choices:
            geometry = segment_geometry(self.index, segment)
            geometry = geometry if zone_at_a else geometry.turned()
            self._choices[key] = self.choices(geometry, unobstructed=self.is_unobstructed(segment))
        return self._choices[key]

    def choices(
        self,
        geometry: SegmentGeometry,
        at_m: float | None = None,
        *,
        unobstructed: bool = False,
        work: WorkSegments | None = None,
    ) -> tuple[Choice, ...]:
        """Return each method's best place on a segment with the zone at its start, cheapest first.

        Parameters
        ----------
        at_m : float, optional
            Take this place alone (a stop forced by order).
        unobstructed : bool
            Whether only its ends keep off a method that it allows.
        work : WorkSegments, optional
            The work, where it may be near: it keeps off the tappings of a valve.
        """
        if unobstructed and at_m is None and len(geometry.legs) == 1 and not self.joints.near(geometry):
            return self._nearest(geometry)
        codes = [self.codes[leg.piece].tolist() for leg in geometry.legs]
        found = []
        for method, refused in enumerate(zip(*codes, strict=True)):
            if all(refused):
                continue
            free = (
                self._between_ends(geometry, method)
                if unobstructed and not any(refused)
                else self._free(geometry, method, work)
            )
            best = self._best(geometry, method, free, at_m)
            if best is not None:
                found.append(best)
        return tuple(sorted(found, key=_cheapest))

    def _nearest(self, geometry: SegmentGeometry) -> tuple[Choice, ...]:
        """Return the choices on one piece of an unobstructed segment: the nearest that fit."""
        pipes, (leg,), length_m = self.index.network.pipes, geometry.legs, geometry.length_m
        make = (pipes.od_m.item(leg.pipe), pipes.bore_m.item(leg.pipe), pipes.surface.item(leg.pipe))
        offers = self.offers(self.codes[leg.piece].tobytes(), make, ends_of(geometry))
        return tuple([choice for choice, interval in offers if choice.at_m <= interval.end(length_m)])

    def _offers(
        self, codes: bytes, make: tuple[float, float, int], ends: Ends
    ) -> tuple[tuple[Choice, FeasibleInterval], ...]:
        """Return each method's nearest place on one piece of any length, cheapest first, and its interval.

        Parameters
        ----------
        codes : bytes
            Why each method is refused, 0 where it is not.
        make : tuple
            Outside diameter, bore [m] and code of the surface.
        ends : Ends
        """
        od_m, bore_m, surface = make
        found = []
        for method, refused in enumerate(codes):
            if not refused:
                interval = self._interval(method, od_m, ends)
                found.append((self._choice(method, od_m, bore_m, surface, interval.start_m), interval))
        return tuple(sorted(found, key=lambda offer: _cheapest(offer[0])))

    def _choice(self, method: int, od_m: float, bore_m: float, surface: int, at_m: float) -> Choice:
        price = self.price(method, od_m, surface)
        gas = self.gas_minor(0.25 * math.pi * bore_m**2 * at_m)
        return Choice(price + gas, price, gas, method, at_m)

    def _best(
        self, geometry: SegmentGeometry, method: int, free: list[tuple[float, float]], at_m: float | None
    ) -> Choice | None:
        """Return the best place of a method in intervals of a segment."""
        pipes = self.index.network.pipes
        best: Choice | None = None
        for low, high in free:
            if at_m is not None:
                if not low - 1e-3 <= at_m <= high + 1e-3:
                    continue
                low = high = min(max(at_m, low), high)
            for leg in geometry.legs:
                at = max(low, leg.start_m)
                if at > min(high, leg.end_m) + 1e-9:
                    continue
                at = min(at, leg.end_m)
                make = (pipes.od_m.item(leg.pipe), pipes.bore_m.item(leg.pipe), pipes.surface.item(leg.pipe))
                choice = self._choice(method, *make, at)
                if best is None or (choice.cost_minor, choice.at_m) < (best.cost_minor, best.at_m):
                    best = choice
        return best

    def _free(
        self, geometry: SegmentGeometry, method: int, work: WorkSegments | None
    ) -> list[tuple[float, float]]:
        """Return the intervals of a segment that nothing keeps a method off."""
        return free_intervals(geometry.length_m, self.blocks(geometry, method, work, with_words=False))

    def _between_ends(self, geometry: SegmentGeometry, method: int) -> list[tuple[float, float]]:
        """Return what `_free` does on an unobstructed segment that allows the method on all its legs."""
        od_m = self.index.network.pipes.od_m.item(geometry.legs[0].pipe)
        interval = self._interval(method, od_m, ends_of(geometry))
        low, high = interval.start_m, interval.end(geometry.length_m)
        if low > high:
            return []
        blocks = self._by_joints(geometry, method, with_words=False)
        if not blocks:
            return [(low, high)]
        ends = [BlockedLength(-1.0, low, "", ""), BlockedLength(high, geometry.length_m + 1.0, "", "")]
        return free_intervals(geometry.length_m, blocks + ends)

    def _by_joints(self, geometry: SegmentGeometry, method: int, with_words: bool) -> list[BlockedLength]:
        if not geometry.joints or self.rules.method[method].kind is MethodKind.VALVE:
            return []
        od_m = self.index.network.pipes.od_m.item(geometry.legs[0].pipe)
        return self.joints.blocks(geometry, self.extent(method, od_m), with_words)

    def _interval(self, method: int, od_m: float, ends: Ends) -> FeasibleInterval:
        """Return what the ends of a segment leave, as `blocked_by_ends` does length by length."""
        return feasible_interval(ends, self.extent(method, od_m), self.rules.clearance.work_m)

    def blocks(
        self,
        geometry: SegmentGeometry,
        method: int,
        work: WorkSegments | None = None,
        *,
        with_words: bool = True,
    ) -> list[BlockedLength]:
        """Return everything that keeps a method off places of a segment, zone at its start.

        Without texts where only the places count: the texts cost more than the places.
        """
        kind = self.rules.method[method].kind
        od_m = float(self.index.network.pipes.od_m[geometry.legs[0].pipe])
        extent = self.extent(method, od_m)
        blocks = self._by_method(geometry, method, extent, with_words)
        if len(blocks) < len(geometry.legs):
            if kind is not MethodKind.VALVE:
                blocks += blocked_by_ends(geometry, extent, self.rules.clearance.work_m)
                blocks += blocked_by_fittings(self.index, geometry, self.rules.method[method], extent)
                blocks += self._by_joints(geometry, method, with_words)
                blocks += self.barred.tapped_blocks(geometry, extent)
            else:
                blocks += self._by_tappings(geometry, method, work, with_words)
            blocks += self.barred.blocks(self.index.network, geometry, extent)
        return blocks

    def _by_tappings(
        self, geometry: SegmentGeometry, method: int, work: WorkSegments | None, with_words: bool
    ) -> list[BlockedLength]:
        """Return what keeps a valve from being a stop: no room for its tappings."""
        rule = self.rules.method[method]
        words = no_room_words(self, geometry, rule, work, with_words=with_words)
        return (
            [] if words is None else [BlockedLength(-1.0, geometry.length_m + 1.0, "valve-tappings", words)]
        )

    def _by_method(
        self, geometry: SegmentGeometry, method: int, extent: StopExtent, with_words: bool
    ) -> list[BlockedLength]:
        blocks = []
        whole = len(geometry.legs) == 1
        for leg in geometry.legs:
            code = int(self.codes[leg.piece, method])
            if code:
                words = ""
                if with_words:
                    fault_pa = self.fault_pa_gauge(leg.piece)
                    words = refused_words(
                        self.index, self.rules, self.rules.method[method], leg.piece, code, fault_pa
                    )
                low = -1.0 if whole else leg.start_m - extent.most_m - 1e-6
                high = geometry.length_m + 1.0 if whole else leg.end_m - extent.least_m + 1e-6
                blocks.append(BlockedLength(low, high, MethodRefusal(code).code, words))
        return blocks


def _cheapest(choice: Choice) -> tuple[int, int]:
    """Return what choices on one segment are sorted by."""
    return choice.cost_minor, choice.method
