"""The work section laid over the segments of main: what it covers, and what is left beside it."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from netplan.isolation.cut_model import Stretch
from netplan.isolation.segment_geometry import SegmentGeometry, part_of, segment_geometry
from netplan.isolation.segment_graph import SegmentGraph
from netplan.network.work_section import WorkSection

__all__ = ["SegmentRemainder", "WorkSegments", "lay_work"]

TOUCH_M = 1e-6


@dataclass(frozen=True, slots=True)
class SegmentRemainder:
    """What is left of a segment beside the work: ends are supernodes, -1 for an end of the work itself."""

    segment: int
    a: int
    b: int
    geometry: SegmentGeometry


@dataclass(frozen=True, slots=True, eq=False)
class WorkSegments:
    """The work section over the network.

    Parameters
    ----------
    supernodes : tuple of int
        Supernodes in it, ascending.
    segments : frozenset of int
        Segments it touches.
    remainders : tuple of SegmentRemainder
        What is left of them.
    covered : tuple of (piece, Stretch, part of the work)
        What it covers, piece by piece.
    near_m : dict
        Distance from the work of supernodes within the work clearance [m].
    """

    supernodes: tuple[int, ...]
    segments: frozenset[int]
    remainders: tuple[SegmentRemainder, ...]
    covered: tuple[tuple[int, Stretch, int], ...]
    near_m: dict[int, float]


def lay_work(index: SegmentGraph, section: WorkSection, clearance_m: float) -> WorkSegments:
    """Lay a work section over the segments of main."""
    covered = _covered(index, section)
    by_segment: dict[int, list[tuple[int, Stretch]]] = {}
    for piece, stretch, _ in covered:
        by_segment.setdefault(index.segment_of.item(piece), []).append((piece, stretch))
    remainders: list[SegmentRemainder] = []
    inside: set[int] = set()
    for segment in sorted(by_segment):
        _lay_on_segment(index, segment, by_segment[segment], remainders, inside)
    near = _near(index, inside, remainders, frozenset(by_segment), clearance_m)
    return WorkSegments(tuple(sorted(inside)), frozenset(by_segment), tuple(remainders), covered, near)


def _covered(index: SegmentGraph, section: WorkSection) -> tuple[tuple[int, Stretch, int], ...]:
    pieces = index.network.pieces
    found = []
    for part in range(len(section)):
        pipe, low, high = section.pipe.item(part), section.from_m.item(part), section.to_m.item(part)
        rows = pieces.rows_of(pipe)
        here = slice(rows.start, rows.stop)
        for row, start, end in zip(
            rows, pieces.from_m[here].tolist(), pieces.to_m[here].tolist(), strict=True
        ):
            if end < low or start > high:
                continue
            if start == end:
                if low + TOUCH_M < start < high - TOUCH_M:
                    found.append((row, Stretch(pipe, start, end), part))
                continue
            a, b = max(start, low), min(end, high)
            if b - a > TOUCH_M:
                a, b = (start if a - start < TOUCH_M else a), (end if end - b < TOUCH_M else b)
                found.append((row, Stretch(pipe, a, b), part))
    return tuple(found)


def _lay_on_segment(
    index: SegmentGraph,
    segment: int,
    covers: list[tuple[int, Stretch]],
    remainders: list[SegmentRemainder],
    inside: set[int],
) -> None:
    geometry = segment_geometry(index, segment)
    legs = {leg.piece: leg for leg in geometry.legs}
    spans = []
    for piece, stretch in covers:
        leg = legs[piece]
        a, b = (leg.start_m + leg.sign * (at - leg.chainage_m) for at in (stretch.from_m, stretch.to_m))
        spans.append((min(a, b), max(a, b)))
    merged: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if merged and low <= merged[-1][1] + TOUCH_M:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    a, b = index.segment_a.item(segment), index.segment_b.item(segment)
    edge = 0.0
    end: tuple[int, bool] = (a, False)
    if merged[0][0] <= TOUCH_M:
        inside.add(a)
    for low, high in merged:
        if low > edge + TOUCH_M:
            remainders.append(
                SegmentRemainder(segment, end[0], -1, part_of(geometry, edge, low, (end[1], True)))
            )
        edge, end = high, (-1, True)
    if edge < geometry.length_m - TOUCH_M:
        remainders.append(
            SegmentRemainder(segment, -1, b, part_of(geometry, edge, geometry.length_m, (True, False)))
        )
    else:
        inside.add(b)


def _near(
    index: SegmentGraph,
    inside: set[int],
    remainders: list[SegmentRemainder],
    touched: frozenset[int],
    within_m: float,
) -> dict[int, float]:
    """Return how far supernodes lie from the work, along the mains, where that is less than the clearance."""
    near: dict[int, float] = {}
    queue = [(0.0, node) for node in sorted(inside)]
    queue += [
        (remainder.geometry.length_m, max(remainder.a, remainder.b))
        for remainder in remainders
        if max(remainder.a, remainder.b) >= 0
    ]
    heapq.heapify(queue)
    pieces = index.network.pieces
    while queue:
        distance, node = heapq.heappop(queue)
        if distance >= within_m or near.get(node, np.inf) <= distance:
            continue
        near[node] = distance
        for segment in index.segments_at(node).tolist():
            if segment not in touched:
                rows = index.pieces_of(segment)
                length = float((pieces.to_m[rows] - pieces.from_m[rows]).sum())
                other = index.far_end(segment, node)
                heapq.heappush(queue, (distance + length, other))
    return near
