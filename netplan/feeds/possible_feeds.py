"""Where a bypass, a hose or an opened valve is possible: places, lengths and hose routes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import ops

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M
from netplan.feeds.feed_kinds import MOST_PARALLEL, Feed, FeedKind
from netplan.feeds.feed_links import Tap
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules.outlet_sizes import bypass_outlet_mm
from netplan.rules.rule_set import Rules

__all__ = [
    "BoundaryValve",
    "BypassEnd",
    "HoseWay",
    "MainLines",
    "bypass_feeds",
    "hose_feeds",
    "hose_ways",
    "valve_feeds",
]


@dataclass(frozen=True, slots=True)
class BypassEnd:
    """The bypass tee of a stop, on its live side.

    Parameters
    ----------
    label : str
        Id of the stop.
    node : int
        Node of the flow network at the tee.
    x_m, y_m : float
        Place in the working CRS [m].
    part : int
        Part of the network it lies in; 0 for the one that stations feed well.
    outlet_mm : float
        Nominal size of the tee's outlet [mm].
    most_tees : int
        Tees that there is room for beside each other, this one included.
    """

    label: str
    node: int
    x_m: float
    y_m: float
    part: int
    outlet_mm: float = math.inf
    most_tees: int = MOST_PARALLEL


@dataclass(frozen=True, slots=True, eq=False)
class MainLines:
    """Pieces of mains with their geometry.

    Parameters
    ----------
    link : int array, shape (k,)
        Link of the flow network, of the direction of the geometry.
    line : array of shapely LineStrings, shape (k,)
        Geometry in the working CRS [m].
    od_m : float array, shape (k,)
        Outside diameter [m], for the clearance of tappings.
    fittings_m : tuple of tuple of float, optional
        Distances of recorded fittings from the start of each line, along it [m]; none by default. One a
        little before or beyond a line claims its clearance too.
    """

    link: Ints
    line: NDArray[np.object_]
    od_m: Floats
    fittings_m: tuple[tuple[float, ...], ...] = ()

    def __len__(self) -> int:
        return len(self.link)


@dataclass(frozen=True, slots=True)
class HoseWay:
    """A hose from a live main to a main of the part, before its ends are nodes.

    Parameters
    ----------
    length_m : float
        Length of the hose, slack included [m].
    giving, fed : Tap
        Where it is tapped in.
    from_x_m, from_y_m, to_x_m, to_y_m : float
        Places of both ends [m].
    outlets_mm : tuple of float
        Nominal sizes of the outlets at both ends [mm].
    tees : tuple of int
        Tees that there is room for at both ends, one for each hose.
    """

    length_m: float
    giving: Tap
    fed: Tap
    from_x_m: float
    from_y_m: float
    to_x_m: float
    to_y_m: float
    outlets_mm: tuple[float, ...] = ()
    tees: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class BoundaryValve:
    """A valve that may be opened for the work.

    Parameters
    ----------
    label : str
        Id of the valve.
    link, from_node, to_node : int
        Its link and its nodes.
    from_part, to_part : int
        Parts on its sides; 0 for the one that stations feed well.
    is_closed, is_operable : bool
        Recorded closed, and known to be operable: an unknown one is not.
    same_system : bool
        Whether both sides are of one pressure system.
    """

    label: str
    link: int
    from_node: int
    to_node: int
    from_part: int
    to_part: int
    is_closed: bool
    is_operable: bool
    same_system: bool


def bypass_feeds(
    ends: Sequence[BypassEnd],
    part: int,
    rules: Rules,
    *,
    scale: float = 1.0,
    keep_out: Sequence[Any] = (),
) -> tuple[Feed, ...]:
    """Return the bypasses across the zone that can feed a part: from each live stop to each of the part's.

    None through an outlet that the narrowest hose of the rules is too wide for.

    Parameters
    ----------
    ends : sequence of BypassEnd
        Bypass tees of all stops of the zone.
    part : int
        The part to feed, not 0.
    rules : Rules
        ``bypass.slack`` on the straight distance.
    scale : float
        Planar length in the working CRS over true length [-].
    keep_out : sequence of shapely geometries
        Areas no hose may cross.
    """
    barred = _Barred(keep_out)
    return tuple(
        Feed(
            FeedKind.BYPASS,
            f"{giving.label}>{fed.label}",
            giving.node,
            fed.node,
            rules.bypass.slack * float(np.hypot(giving.x_m - fed.x_m, giving.y_m - fed.y_m)) / scale,
            outlets_mm=(giving.outlet_mm, fed.outlet_mm),
            tees=(giving.most_tees, fed.most_tees),
        )
        for giving in sorted(ends, key=lambda end: end.label)
        for fed in sorted(ends, key=lambda end: end.label)
        if giving.part == 0
        and fed.part == part
        and min(giving.outlet_mm, fed.outlet_mm) >= nominal_outlet_mm(rules.bypass.bores_mm[0])
        and not barred.crosses(shapely.LineString([(giving.x_m, giving.y_m), (fed.x_m, fed.y_m)]))
    )


def hose_ways(
    giving: MainLines,
    fed: MainLines,
    rules: Rules,
    *,
    scale: float = 1.0,
    keep_out: Sequence[Any] = (),
    most: int = 4,
) -> tuple[HoseWay, ...]:
    """Return the shortest hoses between live mains and mains of a part, of one system, within reach.

    Both ends keep the rules' clearance of tappings from the ends of their piece, where tees are, and from
    recorded fittings, on mains with an outlet for the narrowest hose. The length is the straight distance
    times ``bypass.slack``, at most ``bypass.reach_m``.

    Parameters
    ----------
    giving, fed : MainLines
        Live mains, and mains of the part; the caller keeps them to one system.
    scale : float
        Planar length in the working CRS over true length [-].
    keep_out : sequence of shapely geometries
        Areas no hose may cross.
    most : int
        How many to return, shortest first.
    """
    reach = rules.bypass.reach_m * scale / rules.bypass.slack
    near = _within(giving.line, fed.line, reach + ROUNDING_M)
    live, cut = (_trimmed(mains, rules, scale, rows) for mains, rows in zip((giving, fed), near, strict=True))
    if not len(live.rows) or not len(cut.rows):
        return ()
    from_rows, to_rows = shapely.STRtree(cut.lines).query(live.lines, predicate="dwithin", distance=reach)
    spans = shapely.shortest_line(live.lines[from_rows], cut.lines[to_rows])
    length = shapely.length(spans)
    order = np.lexsort((fed.link[cut.rows[to_rows]], giving.link[live.rows[from_rows]], np.round(length, 6)))
    barred = _Barred(keep_out)
    found: list[HoseWay] = []
    for i in order:
        if len(found) >= most:
            break
        if length[i] <= 0.0 or barred.crosses(spans[i]):
            continue
        start, stop = shapely.get_coordinates(spans[i])
        a, b = live.rows[from_rows[i]], cut.rows[to_rows[i]]
        found.append(
            HoseWay(
                rules.bypass.slack * float(length[i]) / scale,
                Tap(int(giving.link[a]), _share(giving.line[a], start)),
                Tap(int(fed.link[b]), _share(fed.line[b], stop)),
                float(start[0]),
                float(start[1]),
                float(stop[0]),
                float(stop[1]),
                (live.outlet_mm[from_rows[i]], cut.outlet_mm[to_rows[i]]),
                (live.most_tees[from_rows[i]], cut.most_tees[to_rows[i]]),
            )
        )
    return tuple(found)


def hose_feeds(ways: Sequence[HoseWay], giving_node: Ints, fed_node: Ints) -> tuple[Feed, ...]:
    """Return hoses as feeds, once `with_taps` has given nodes to their ends."""
    return tuple(
        Feed(
            FeedKind.HOSE,
            f"hose {way.giving.link}@{way.giving.share:.6f}>{way.fed.link}@{way.fed.share:.6f}",
            int(start),
            int(stop),
            way.length_m,
            outlets_mm=way.outlets_mm,
            tees=way.tees,
        )
        for way, start, stop in zip(ways, giving_node, fed_node, strict=True)
    )


def valve_feeds(valves: Sequence[BoundaryValve], part: int) -> tuple[Feed, ...]:
    """Return the boundary valves whose opening can feed a part.

    Whether the pressures on both sides go together is for the caller to say.

    Parameters
    ----------
    valves : sequence of BoundaryValve
    part : int
        The part to feed, not 0.
    """
    found = []
    for valve in sorted(valves, key=lambda v: v.label):
        if not (valve.is_closed and valve.is_operable and valve.same_system):
            continue
        if (valve.from_part, valve.to_part) == (0, part):
            ends = (valve.from_node, valve.to_node)
        elif (valve.from_part, valve.to_part) == (part, 0):
            ends = (valve.to_node, valve.from_node)
        else:
            continue
        found.append(Feed(FeedKind.VALVE, valve.label, *ends, valve_link=valve.link))
    return tuple(found)


ROUNDING_M = 1e-3
"""What a length cut out of a line may lie beside it (own) [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class _Trimmed:
    """What may be tapped: rows of mains, lines, and of each the outlet [mm] and how many tees fit."""

    rows: Ints
    lines: NDArray[np.object_]
    outlet_mm: list[float]
    most_tees: list[int]


def _within(some: NDArray[np.object_], others: NDArray[np.object_], distance: float) -> tuple[Ints, Ints]:
    """Return the rows of lines that have one of the others within a distance, of both."""
    if not len(some) or not len(others):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    rows, other_rows = shapely.STRtree(others).query(some, predicate="dwithin", distance=distance)
    return np.unique(rows), np.unique(other_rows)


def _trimmed(mains: MainLines, rules: Rules, scale: float, wanted: Ints) -> _Trimmed:
    """Return what may be tapped of the wanted rows of mains."""
    length = np.zeros(len(mains.line))
    length[wanted] = shapely.length(mains.line[wanted])
    keep = np.maximum(rules.clearance.fitting_m, rules.clearance.fitting_od * mains.od_m) * scale
    rows: list[int] = []
    found: list[Any] = []
    outlets: list[float] = []
    tees: list[int] = []
    narrowest = nominal_outlet_mm(rules.bypass.bores_mm[0])
    for row in np.flatnonzero(length > 2.0 * keep).tolist():
        outlet_mm = bypass_outlet_mm(rules, float(mains.od_m[row]) * MM_PER_M)
        if outlet_mm < narrowest:
            continue
        marks = [at * scale for at in mains.fittings_m[row]] if mains.fittings_m else []
        for low, high in _free(float(length[row]), float(keep[row]), marks):
            rows.append(row)
            found.append(ops.substring(mains.line[row], low, high))
            outlets.append(outlet_mm)
            tees.append(_tees(high - low, float(keep[row])))
    lines = np.empty(len(rows), dtype=object)
    lines[:] = found
    return _Trimmed(np.array(rows, dtype=np.int64), lines, outlets, tees)


def _tees(length: float, keep: float) -> int:
    """Return how many tees fit on a free length, so far from each other as from fittings."""
    return MOST_PARALLEL if keep <= 0.0 else min(1 + int(length / keep + 1e-9), MOST_PARALLEL)


def _free(length: float, keep: float, marks: Sequence[float]) -> list[tuple[float, float]]:
    """Return the lengths of a line that are clear of its ends and of marks on it."""
    free, low = [], keep
    for mark in sorted(marks):
        if mark - keep > low:
            free.append((low, min(mark - keep, length - keep)))
        low = max(low, mark + keep)
    return [(a, b) for a, b in [*free, (low, length - keep)] if b > a]


def _share(line: Any, point: Floats) -> float:
    share = float(shapely.line_locate_point(line, shapely.Point(point), normalized=True))
    return min(max(share, 1e-9), 1.0 - 1e-9)


class _Barred:
    """Areas that no hose may cross."""

    def __init__(self, areas: Sequence[Any]) -> None:
        self._tree = shapely.STRtree(np.asarray(areas, dtype=object)) if len(areas) else None

    def crosses(self, line: Any) -> bool:
        return self._tree is not None and len(self._tree.query(line, predicate="intersects")) > 0
