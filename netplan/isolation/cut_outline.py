"""A found zone in figures: what it holds and what it costs, before its stops are laid out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.cut_enumeration import FoundZone
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_geometry import SegmentGeometry

__all__ = ["Outline", "Part", "outline_of"]

Part = tuple[int, int, float, float]
"""A length of pipe: piece row, pipe row, chainages [m]."""
_Spans = dict[int, list[tuple[float, float]]]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A cut in figures.

    Parameters
    ----------
    found : FoundZone
    shut_in_stations : tuple of int
        Stations that it leaves without a customer to feed.
    supernodes : tuple of int
        In its zones, ascending.
    segments, chains : tuple of int
        Segment of each stop, and its chain between junctions.
    methods : tuple of str
        Name of the method of each stop.
    parts : tuple of Part
        All lengths of pipe in its zones, services included, ascending.
    customers : int32 array
        Rows of the customers with an attachment in a zone, ascending.
    stops_minor, interruption_minor, gas_minor, stranded_minor, bound_minor : int
        As in `Cut` [minor units].
    """

    found: FoundZone
    shut_in_stations: tuple[int, ...]
    supernodes: tuple[int, ...]
    segments: tuple[int, ...]
    chains: tuple[int, ...]
    methods: tuple[str, ...]
    parts: tuple[Part, ...]
    customers: NDArray[np.int32]
    stops_minor: int
    interruption_minor: int
    gas_minor: int
    stranded_minor: int
    bound_minor: int

    @property
    def length_m(self) -> float:
        """Length of all pipes in the zones [m]."""
        return sum([to_m - from_m for _, _, from_m, to_m in self.parts])

    def volume_m3(self, bore_m: NDArray[np.float64]) -> float:
        """Return the geometric volume of all pipes in the zones [m³], from the bore of each pipe [m]."""
        parts = self.parts
        return sum(
            [0.25 * math.pi * bore_m.item(pipe) ** 2 * (to_m - from_m) for _, pipe, from_m, to_m in parts]
        )


def outline_of(local: LocalGraph, found: FoundZone, shut_in_stations: tuple[int, ...]) -> Outline:
    """Return a found zone in figures, with the stations it leaves without a customer to feed."""
    index, methods = local.index, local.placement.rules.method
    inside = sorted(
        {*local.work.supernodes, *(local.supernode[node] for node in found.zone if node != SOURCE)}
    )
    customers = _customers(local, inside)
    price = sum([choice.price_minor for _, _, choice in found.stops])
    interruption = sum(local.costs.off_minor[customers].tolist())
    stranded = sum([edge.stranded_u if at_u else edge.stranded_v for edge, at_u, _ in found.stops])
    return Outline(
        found=found,
        shut_in_stations=shut_in_stations,
        supernodes=tuple(inside),
        segments=tuple([edge.segment for edge, _, _ in found.stops]),
        chains=tuple([index.segment_chain.item(edge.segment) for edge, _, _ in found.stops]),
        methods=tuple([methods[choice.method].name for _, _, choice in found.stops]),
        parts=_parts(local, found, inside),
        customers=customers,
        stops_minor=price,
        interruption_minor=interruption,
        gas_minor=found.value_minor - price - interruption - stranded,
        stranded_minor=stranded,
        bound_minor=found.value_minor,
    )


def _customers(local: LocalGraph, inside: list[int]) -> NDArray[np.int32]:
    rows, start = local.index.customer_row, local.index.customer_start
    found: set[int] = set()
    for node in inside:
        found.update(rows[start.item(node) : start.item(node + 1)].tolist())
    return np.array(sorted(found), dtype=np.int32)


def _parts(local: LocalGraph, found: FoundZone, inside: list[int]) -> tuple[Part, ...]:
    pieces = local.index.network.pieces
    spans: _Spans = {}
    for piece, stretch, _ in local.work.covered:
        spans.setdefault(piece, []).append((stretch.from_m, stretch.to_m))
    for edge, at_u, choice in found.stops:
        _add(spans, local.geometry(edge, at_u), choice.at_m)
    for edge in found.inner:
        _add(spans, local.geometry(edge), math.inf)
    for supernode in inside:
        for piece in local.index.services_at(supernode).tolist():
            spans.setdefault(piece, []).append((pieces.from_m.item(piece), pieces.to_m.item(piece)))
    return tuple(
        (piece, pieces.pipe.item(piece), low, high)
        for piece, some in sorted(spans.items())
        for low, high in _joined(some)
    )


def _add(spans: _Spans, geometry: SegmentGeometry, until_m: float) -> None:
    """Add what lies on a segment up to a place."""
    for leg in geometry.legs:
        end = min(leg.end_m, until_m)
        if end > leg.start_m or (leg.start_m == leg.end_m and until_m > leg.start_m):
            a, b = leg.chainage(leg.start_m), leg.chainage(end)
            spans.setdefault(leg.piece, []).append((a, b) if a <= b else (b, a))


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return lengths of one piece, those that touch as one, ascending."""
    if len(spans) == 1:
        return spans
    joined: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if joined and low <= joined[-1][1] + 1e-9:
            joined[-1] = joined[-1][0], max(joined[-1][1], high)
        else:
            joined.append((low, high))
    return joined
