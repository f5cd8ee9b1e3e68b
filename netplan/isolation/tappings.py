"""Where a stop is tapped: its own tappings, and its bypass tee on the next length where it does not fit."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.isolation.blocked_lengths import fittings_on
from netplan.isolation.cut_model import CutStop, CutTapping
from netplan.isolation.segment_geometry import SegmentGeometry
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.stop_placement import Choice, StopPlacement
from netplan.rules.outlets_by_diameter import bypass_outlet_mm, tapping_mm
from netplan.rules.rule_set import MethodKind

__all__ = ["tappings_of", "with_tee"]


def tappings_of(
    placement: StopPlacement, geometry: SegmentGeometry, choice: Choice
) -> tuple[tuple[CutTapping, ...], bool]:
    """Return the tappings of a stop, away from the work, and whether its bypass tee does not fit there."""
    rules = placement.rules
    method = rules.method[choice.method]
    found, elsewhere = [], False
    if method.kind is MethodKind.VALVE:  # beside it: see `valve_tappings`
        return (), False
    for part in sorted(method.assembly, key=lambda part: part.offset_m):
        at = choice.at_m + part.offset_m
        leg = geometry.leg_at(at)
        od_mm = float(placement.index.network.pipes.od_m[leg.pipe]) * MM_PER_M
        size_mm = tapping_mm(rules, method, part.role, od_mm)
        if part.role == "bypass" and not (size_mm and _tee_fits(placement, geometry, choice, at)):
            elsewhere = True
            continue
        found.append(CutTapping(part.role, leg.pipe, leg.chainage_within(at), size_mm, part.offset_m))
    return tuple(found), elsewhere


def _tee_fits(placement: StopPlacement, geometry: SegmentGeometry, choice: Choice, at_m: float) -> bool:
    """Whether a bypass tee may be tapped at a place: on the piece of the stop or the next one."""
    clear = placement.extent_of(choice, geometry).bypass_clear_m
    joints = placement.joints.impassable(geometry)
    taken = [place for place, _ in fittings_on(placement.index, geometry)] + joints
    taken += placement.barred.tapped_along(geometry)
    between = sum(min(choice.at_m, at_m) < joint < max(choice.at_m, at_m) for joint in joints)
    fits = at_m + clear <= geometry.length_m and all(abs(at_m - place) >= clear for place in taken)
    return fits and between <= 1


def with_tee(placement: StopPlacement, stop: CutStop, taken: Collection[int]) -> CutStop:
    """Return a stop with its bypass tee on the next length, where it fits; else the stop as it is.

    A main that the rules have no outlet for a bypass on gets no tee. The tee keeps the rules' clearance of
    tappings from the end of that length and from its fittings. Of several lengths the one of the stop's own
    main is taken, then the widest, then the first by id.

    Parameters
    ----------
    placement : StopPlacement
    stop : CutStop
        With `bypass_elsewhere` where the tee does not fit on its own piece, or no outlet for one does.
    taken : collection of int
        Pieces of zones and of stops: no tee goes there.
    """
    index, rules = placement.index, placement.rules
    method = next(m for m in rules.method if m.name == stop.method)
    part = next((part for part in method.assembly if part.role == "bypass"), None)
    if not stop.bypass_elsewhere or part is None:
        return stop
    network = index.network
    pieces, pipes = network.pieces, network.pipes
    found: list[tuple[bool, float, str, int, float]] = []
    for piece in _pieces_at(index, stop.live_node):
        pipe = int(pieces.pipe[piece])
        if piece in taken or not pieces.is_open[piece]:
            continue
        od_m = float(pipes.od_m[pipe])
        if not bypass_outlet_mm(rules, od_m * MM_PER_M):
            continue
        clear_m = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
        tapped = placement.barred.tapped.get(pipe, ())
        at_m = _first_clear_chainage_m(index, piece, stop.live_node, clear_m, tapped)
        if at_m is not None:
            found.append((pipe != stop.pipe, -od_m, pipes.id[pipe], piece, at_m))
    if not found:
        return stop
    *_, piece, at_m = min(found)
    at_start = int(pieces.from_node[stop.piece]) == stop.live_node
    own_end = float((pieces.from_m if at_start else pieces.to_m)[stop.piece])
    next_end = float(
        (pieces.from_m if int(pieces.from_node[piece]) == stop.live_node else pieces.to_m)[piece]
    )
    along = abs(own_end - stop.chainage_m) + abs(at_m - next_end)
    od_mm = float(pipes.od_m[pieces.pipe[piece]]) * MM_PER_M
    tee = CutTapping("bypass", int(pieces.pipe[piece]), at_m, bypass_outlet_mm(rules, od_mm), along)
    return replace(stop, tappings=(*stop.tappings, tee))


def _pieces_at(index: SegmentGraph, node: int) -> list[int]:
    """Return the pieces of mains that end at a node."""
    pieces = index.network.pieces
    segments = index.segments_at(int(index.super_of[node]))
    rows = {
        int(piece) for segment in np.unique(segments).tolist() for piece in index.pieces_of(segment).tolist()
    }
    if index.is_inner[node]:
        ends = np.flatnonzero((pieces.from_node == node) | (pieces.to_node == node)).tolist()
        rows |= {row for row in ends if index.segment_of[row] >= 0}
    return sorted(row for row in rows if node in (int(pieces.from_node[row]), int(pieces.to_node[row])))


def _first_clear_chainage_m(
    index: SegmentGraph, piece: int, node: int, clear_m: float, tapped: Collection[float]
) -> float | None:
    """Return the first chainage from a node on at which a tee is clear of ends, fittings, tappings [m]."""
    network = index.network
    pieces, fittings = network.pieces, network.fittings
    low, high = float(pieces.from_m[piece]), float(pieces.to_m[piece])
    rows = (
        np.flatnonzero(fittings.pipe == pieces.pipe[piece]) if len(fittings) else np.zeros(0, dtype=np.int64)
    )
    marks = [*fittings.chainage_m[rows].tolist(), *tapped]
    rising = int(pieces.from_node[piece]) == node
    at_m = low + clear_m if rising else high - clear_m
    for mark in sorted(marks, reverse=not rising):
        if abs(mark - at_m) < clear_m:
            at_m = mark + clear_m if rising else mark - clear_m
    inside = at_m <= high - clear_m if rising else at_m >= low + clear_m
    return at_m if inside else None
