"""Places where no stop may go: keep-out areas, what the planner forbids, what the plan taps already."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.isolation.blocked_lengths import BlockedLength
from netplan.isolation.cut_model import Orders, Stretch
from netplan.isolation.segment_geometry import SegmentGeometry, SegmentLeg
from netplan.isolation.stop_methods import StopExtent
from netplan.network.model import Network

__all__ = ["KeepOutAreas", "StopExclusions", "keep_out_areas", "stop_exclusions"]

BEYOND_M = 5.0
"""How far beyond a leg an area may still keep an assembly off it (own) [m]."""


ORDERED_M = 0.01
"""How far round a stop that is ordered nothing tapped keeps it off (own) [m]."""


Span = tuple[float, float, str]


@dataclass(frozen=True, slots=True, eq=False)
class KeepOutAreas:
    """Areas nobody may dig in (shapely, working CRS), with their reasons.

    Parameters
    ----------
    shapes : tuple of shapely geometries
    reasons : tuple of str
    spans : dict
        What they take of each pipe asked for so far: from and to [m], and the reason.
    """

    shapes: tuple[Any, ...] = ()
    reasons: tuple[str, ...] = ()
    spans: dict[int, tuple[Span, ...]] = field(default_factory=dict)
    tree: Any = None

    def on(self, network: Network, pipe: int) -> tuple[Span, ...]:
        """Return the lengths of a pipe inside areas [m], with the reasons."""
        if self.tree is None:
            return ()
        if pipe not in self.spans:
            self.spans[pipe] = tuple(self._found_on(network, pipe))
        return self.spans[pipe]

    def may_touch(self, network: Network, pipe: int) -> bool:
        """Whether the bounding box of a pipe meets that of an area."""
        return self.tree is not None and bool(len(self.tree.query(_box(network, pipe))))

    def _found_on(self, network: Network, pipe: int) -> Iterator[Span]:
        near = sorted(int(row) for row in self.tree.query(_box(network, pipe)))
        if not near:
            return
        pipes = network.pipes
        line = shapely.linestrings(pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]])
        for row in near:
            for part in shapely.get_parts(shapely.intersection(line, self.shapes[row])).tolist():
                ends = shapely.get_coordinates(part)
                if len(ends):
                    at = shapely.line_locate_point(line, shapely.points(ends)) / network.scale
                    yield float(at.min()), float(at.max()), self.reasons[row]


def keep_out_areas(shapes: tuple[Any, ...], reasons: tuple[str, ...]) -> KeepOutAreas:
    """Return areas ready to be asked."""
    tree = shapely.STRtree(np.array(shapes, dtype=object)) if shapes else None
    return KeepOutAreas(shapes, reasons, tree=tree)


@dataclass(frozen=True, slots=True, eq=False)
class StopExclusions:
    """What keeps stops off.

    Parameters
    ----------
    recorded, ordered : KeepOutAreas
        On record, and barred by the planner.
    lengths : dict
        Forbidden lengths by pipe.
    valves : frozenset of int
        Forbidden valves.
    tapped : dict
        Places tapped for something else [m], by pipe.
    forced : dict
        Places of the stops that are ordered [m], by pipe: what is tapped does not keep these off.
    forced_valves : frozenset of int
        Valves that are ordered.
    """

    recorded: KeepOutAreas = KeepOutAreas()
    ordered: KeepOutAreas = KeepOutAreas()
    lengths: dict[int, tuple[Stretch, ...]] = field(default_factory=dict)
    valves: frozenset[int] = frozenset()
    tapped: dict[int, tuple[float, ...]] = field(default_factory=dict)
    forced: dict[int, tuple[float, ...]] = field(default_factory=dict)
    forced_valves: frozenset[int] = frozenset()

    def tapped_along(self, geometry: SegmentGeometry) -> list[float]:
        """Return the places of a segment that are tapped for something else [m]."""
        return _places_along(self.tapped, geometry)

    def tapped_blocks(self, geometry: SegmentGeometry, extent: StopExtent) -> list[BlockedLength]:
        """Return where the tappings of the plan keep an assembly off, zone at the start."""
        ordered = sorted(_places_along(self.forced, geometry))
        words = "too near to another tapping of the plan"
        blocks = []
        for place in self.tapped_along(geometry):
            low, high = place - extent.far_m, place - extent.near_m
            for stop in ordered:
                if low < stop + ORDERED_M and stop - ORDERED_M < high:
                    blocks.append(BlockedLength(low, stop - ORDERED_M, "tapped", words))
                    low = stop + ORDERED_M
            blocks.append(BlockedLength(low, high, "tapped", words))
        return [block for block in blocks if block.low_m < block.high_m]

    def blocks(self, network: Network, geometry: SegmentGeometry, extent: StopExtent) -> list[BlockedLength]:
        """Return what bars places of a segment, zone at its start."""
        blocks = []
        for leg in geometry.legs:
            valve = int(network.pieces.valve[leg.piece])
            if valve in self.valves:
                blocks.append(
                    BlockedLength(
                        -1.0,
                        geometry.length_m + 1.0,
                        "forbidden",
                        f"valve {network.valves.id[valve]} is forbidden by order",
                    )
                )
            for length in self.lengths.get(leg.pipe, ()):
                low, high = _along(leg, length.from_m, length.to_m)
                if high >= leg.start_m - 1e-9 and low <= leg.end_m + 1e-9:
                    blocks.append(
                        BlockedLength(
                            max(low, leg.start_m) - 1e-6,
                            min(high, leg.end_m) + 1e-6,
                            "forbidden",
                            "forbidden by order",
                        )
                    )
        return blocks + self.areas(network, geometry, extent.least_m, extent.most_m)

    def areas(
        self, network: Network, geometry: SegmentGeometry, least_m: float = 0.0, most_m: float = 0.0
    ) -> list[BlockedLength]:
        """Return what areas bar of a segment to something that reaches from `least_m` to `most_m` [m]."""
        return [
            BlockedLength(low - most_m - 1e-6, high - least_m + 1e-6, "keep-out", f"keep out: {reason}")
            for leg in geometry.legs
            for low, high, reason in self._areas_on(network, leg)
        ]

    def touches(self, network: Network, pieces: NDArray[np.int32]) -> bool:
        """Whether an order may concern any of some pieces of main."""
        pipes, valves = network.pieces.pipe[pieces], network.pieces.valve[pieces]
        if any(int(valve) in self.valves for valve in valves) or any(
            int(pipe) in self.lengths or int(pipe) in self.tapped for pipe in pipes
        ):
            return True
        return any(self.ordered.may_touch(network, int(pipe)) for pipe in np.unique(pipes))

    def _areas_on(self, network: Network, leg: SegmentLeg) -> Iterator[Span]:
        spans = (*self.recorded.on(network, leg.pipe), *self.ordered.on(network, leg.pipe))
        for from_m, to_m, reason in spans:
            low, high = _along(leg, from_m, to_m)
            if high >= leg.start_m - BEYOND_M and low <= leg.end_m + BEYOND_M:
                yield low, high, reason


def _box(network: Network, pipe: int) -> Any:
    pipes = network.pipes
    coords = pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]]
    return shapely.box(*coords.min(axis=0), *coords.max(axis=0))


def _places_along(places: dict[int, tuple[float, ...]], geometry: SegmentGeometry) -> list[float]:
    return [
        at
        for leg in geometry.legs
        for chainage in places.get(leg.pipe, ())
        if leg.start_m - 1e-6 <= (at := _along(leg, chainage, chainage)[0]) <= leg.end_m + 1e-6
    ]


def _along(leg: SegmentLeg, from_m: float, to_m: float) -> tuple[float, float]:
    a, b = (leg.start_m + leg.sign * (at - leg.chainage_m) for at in (from_m, to_m))
    return (a, b) if a <= b else (b, a)


def stop_exclusions(network: Network, orders: Orders, recorded: KeepOutAreas | None = None) -> StopExclusions:
    """Return what the network's keep-out areas and the planner's orders bar.

    Parameters
    ----------
    network : Network
    orders : Orders
    recorded : KeepOutAreas, optional
        The network's own areas, where they were asked before: every question meets the same ones.
    """
    lengths: dict[int, tuple[Stretch, ...]] = {}
    for length in orders.forbid:
        lengths[length.pipe] = (*lengths.get(length.pipe, ()), length)
    own = recorded or keep_out_areas(
        tuple(network.keep_out.geometry.tolist()), tuple(network.keep_out.reason)
    )
    ordered = keep_out_areas(tuple(orders.keep_out), ("by order",) * len(orders.keep_out))
    return StopExclusions(
        own,
        ordered,
        lengths,
        frozenset(orders.forbid_valves),
        _by_pipe(orders.tapped),
        _by_pipe(orders.force),
        frozenset(orders.force_valves),
    )


def _by_pipe(places: tuple[Stretch, ...]) -> dict[int, tuple[float, ...]]:
    found: dict[int, tuple[float, ...]] = {}
    for one in places:
        found[one.pipe] = (*found.get(one.pipe, ()), one.from_m)
    return found
