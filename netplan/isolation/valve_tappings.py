"""Where a valve that is a stop is tapped: its zone vent on the zone's side, its gauge on the live side.

Nothing is tapped in the valve itself. Both go on the mains that begin at its two ends, within the rules'
reach (``valve.tapping_reach_m``), clear of the valve, fittings, ends of mains and the work. Whether there is
room is a matter of the network and the work alone, not of the other stops of a cut, so that the cut can price
it. Where another stop stands on the same length, its tapping of the same kind on that side serves both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from netplan.core.constants import MM_PER_M
from netplan.isolation.blocked_lengths import BlockedLength, fittings_on, free_intervals
from netplan.isolation.cut_model import CutStop, CutTapping
from netplan.isolation.segment_geometry import SegmentGeometry, segment_geometry
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.work_segments import WorkSegments
from netplan.rules.outlets_by_diameter import no_outlet_words, tapping_mm
from netplan.rules.rule_set import StopMethod

if TYPE_CHECKING:
    from netplan.isolation.stop_placement import StopPlacement

__all__ = ["is_valve", "no_room_words", "valve_segments_at", "with_valve_tappings"]

_ZONE, _LIVE = "zone_vent", "gauge"


class _Place(NamedTuple):
    """A place on a length of main that begins at a valve: how far from it [m], and that length."""

    at_m: float
    run: SegmentGeometry


def is_valve(index: SegmentGraph, segment: int) -> bool:
    """Whether a segment is a valve."""
    return bool(index.network.pieces.valve[index.segment_pieces[index.segment_start[segment]]] >= 0)


def valve_segments_at(index: SegmentGraph, supernode: int) -> list[int]:
    """Return the valves that end at a supernode."""
    return [segment for segment in index.segments_at(supernode).tolist() if is_valve(index, segment)]


def no_room_words(
    placement: StopPlacement,
    geometry: SegmentGeometry,
    method: StopMethod,
    work: WorkSegments | None,
    *,
    with_words: bool,
) -> str | None:
    """Return why a valve has no room for its tappings; None where it has.

    Parameters
    ----------
    placement : StopPlacement
    geometry : SegmentGeometry
        The valve, from the zone's side outward.
    method : StopMethod
        The method of valves.
    work : WorkSegments or None
        The work, where it may be near.
    with_words : bool
        False: any text does.
    """
    index = placement.index
    tapped = _tapped(placement, int(index.network.pieces.valve[geometry.legs[0].piece]))
    for role, node in zip((_ZONE, _LIVE), _ends(index, geometry), strict=True):
        if _best(placement, method, role, _runs(index, geometry, node, work), tapped) is None:
            if not with_words:
                return ""
            name = index.network.valves.id[int(index.network.pieces.valve[geometry.legs[0].piece])]
            side, what = ("zone's", "zone vent") if role == _ZONE else ("live", "gauge")
            return (
                f"no room for the {what} of valve {name}: no place within "
                f"{placement.rules.valve.tapping_reach_m:g} m on its {side} side that can be tapped and is "
                "clear of fittings, ends of mains and the work"
            )
    return None


def with_valve_tappings(
    placement: StopPlacement,
    work: WorkSegments,
    stops: Sequence[CutStop],
    geometries: Sequence[SegmentGeometry],
    laid: Sequence[CutTapping] = (),
) -> list[CutStop]:
    """Return the stops of a cut with the tappings of its valves.

    Parameters
    ----------
    placement : StopPlacement
    work : WorkSegments
    stops : sequence of CutStop
        Valves have no tappings yet, all others have theirs.
    geometries : sequence of SegmentGeometry
        The segment of each, from the zone's side outward.
    laid : sequence of CutTapping, optional
        Tappings that are there besides, of stops that the cut does not have.
    """
    index, found = placement.index, list(stops)
    methods = {method.name: method for method in placement.rules.method}
    order = sorted(range(len(stops)), key=lambda row: (stops[row].pipe, stops[row].chainage_m))
    for row in order:
        stop, method = found[row], methods[stops[row].method]
        if stop.valve < 0:
            continue
        others = [*laid, *(tapping for other in found for tapping in other.tappings)]
        tapped = _tapped(placement, stop.valve)
        tappings = tuple(
            _tapping(placement, method, role, _runs(index, geometries[row], node, work), others, tapped)
            for role, node in zip((_ZONE, _LIVE), _ends(index, geometries[row]), strict=True)
        )
        found[row] = replace(stop, tappings=tappings)
    return found


def _tapped(placement: StopPlacement, valve: int) -> list[CutTapping]:
    """Return what the plan taps for something else; nothing that keeps off a valve that is ordered."""
    if valve in placement.barred.forced_valves:
        return []
    places = placement.barred.tapped
    return [CutTapping("tapped", pipe, at, 0.0, 0.0) for pipe, some in places.items() for at in some]


def _ends(index: SegmentGraph, geometry: SegmentGeometry) -> tuple[int, int]:
    """Return the nodes of a valve on the zone's side and on the live side."""
    leg, pieces = geometry.legs[0], index.network.pieces
    a, b = int(pieces.from_node[leg.piece]), int(pieces.to_node[leg.piece])
    return (a, b) if leg.sign > 0 else (b, a)


def _runs(
    index: SegmentGraph, valve: SegmentGeometry, node: int, work: WorkSegments | None
) -> list[SegmentGeometry]:
    """Return the lengths of main that begin at an end of a valve; those of its own main first."""
    found: list[SegmentGeometry] = []
    near = {} if work is None else work.near_m
    here = int(index.super_of[node])
    for segment in dict.fromkeys(index.segments_at(here).tolist()):
        if is_valve(index, segment):
            continue
        if work is not None and segment in work.segments:
            parts = [part.geometry for part in work.remainders if part.segment == segment]
            found += [way for part in parts for way in (part, part.turned()) if not way.starts_at_work]
            continue
        ends = (near.get(int(end[segment]), float("inf")) for end in (index.segment_a, index.segment_b))
        whole = segment_geometry(index, segment).with_work_distances(*ends)
        found += [whole, whole.turned()]
    own = valve.legs[0].pipe
    starting = [
        run._replace(start_to_work_m=near.get(here, float("inf")))
        for run in found
        if run.length_m > 0.0 and _start(index, run) == node
    ]
    return sorted(starting, key=lambda run: (run.legs[0].pipe != own, run.legs[0].pipe, run.legs[0].piece))


def _start(index: SegmentGraph, run: SegmentGeometry) -> int:
    leg, pieces = run.legs[0], index.network.pieces
    return int((pieces.from_node if leg.sign > 0 else pieces.to_node)[leg.piece])


def _free(
    placement: StopPlacement, method: StopMethod, run: SegmentGeometry, others: Sequence[CutTapping]
) -> list[tuple[float, float]]:
    """Return where a length may be tapped for a valve at its start [m]; clear of other tappings too."""
    rules, index = placement.rules, placement.index
    od_m = float(index.network.pipes.od_m[run.legs[0].pipe])
    if no_outlet_words(rules, method, od_m * MM_PER_M):
        return []
    clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
    work_m = rules.clearance.work_m
    begin = max(clear, work_m - run.start_to_work_m)
    beyond = work_m if run.ends_at_work else max(clear, work_m - run.end_to_work_m)
    marks = [at for at, _ in fittings_on(index, run)]
    marks += [at for at, before, after in run.joints if not placement.joints.is_passed(before, after)]
    marks += [at for at, _ in _along(run, others)]
    barriers = [at for at, tapping in _along(run, others) if tapping.role == "barrier"]
    end_m = min([run.length_m - beyond, *barriers])
    spans = [(-1.0, begin), (end_m, run.length_m + 1.0), *((at - clear, at + clear) for at in marks)]
    blocks = [BlockedLength(low, high, "", "") for low, high in spans]
    blocks += placement.barred.areas(index.network, run)
    reach = rules.valve.tapping_reach_m
    return [(low, min(high, reach)) for low, high in free_intervals(run.length_m, blocks) if low <= reach]


def _along(run: SegmentGeometry, tappings: Sequence[CutTapping]) -> list[tuple[float, CutTapping]]:
    """Return the tappings on a length of main, each with its distance from the start [m]."""
    found = []
    for leg in run.legs:
        for tapping in tappings:
            at = leg.start_m + leg.sign * (tapping.chainage_m - leg.chainage_m)
            if tapping.pipe == leg.pipe and leg.start_m - 1e-9 <= at <= leg.end_m + 1e-9:
                found.append((at, tapping))
    return found


def _best(
    placement: StopPlacement,
    method: StopMethod,
    role: str,
    runs: Sequence[SegmentGeometry],
    others: Sequence[CutTapping],
) -> _Place | None:
    """Return the place nearest to the rules' offset, on the first length that has one."""
    wanted = abs(next(part.offset_m for part in method.assembly if part.role == role))
    for run in runs:
        free = _free(placement, method, run, others)
        places = [min(max(wanted, low), high) for low, high in free]
        if places:
            return _Place(min(places, key=lambda at: (abs(at - wanted), at)), run)
    return None


def _tapping(
    placement: StopPlacement,
    method: StopMethod,
    role: str,
    runs: Sequence[SegmentGeometry],
    others: Sequence[CutTapping],
    tapped: Sequence[CutTapping],
) -> CutTapping:
    place = _best(placement, method, role, runs, [*others, *tapped])
    if place is None:
        # Another stop takes the room: on that side its own tapping of this kind serves the valve too.
        same = [tapping for tapping in others if tapping.role == role]
        shared = [_Place(at, run) for run in runs for at, _ in _along(run, same)]
        place = min(shared, key=lambda one: one.at_m, default=None)
    place = place or _best(placement, method, role, runs, tapped)
    assert place is not None  # noqa: S101 - a valve without room is no candidate
    leg = place.run.leg_at(place.at_m)
    od_mm = float(placement.index.network.pipes.od_m[leg.pipe]) * MM_PER_M
    return CutTapping(
        role,
        leg.pipe,
        leg.chainage_within(place.at_m),
        tapping_mm(placement.rules, method, role, od_mm),
        -place.at_m if role == _ZONE else place.at_m,
    )
