"""Where a bypass, a hose or an opened valve is possible: places, lengths and hose routes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from netplan.core.arrays import Floats, Ints
from netplan.feeds.feed_kinds import MOST_PARALLEL, Feed, FeedKind
from netplan.feeds.feed_links import Tap
from netplan.feeds.hose_routes import HoseRoute, HoseRoutes
from netplan.feeds.hose_search import HosePlaces, cheapest_hoses, straight_hoses
from netplan.feeds.tappable_lengths import ROUNDING_M, MainLines, rows_within, tappable_lengths
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules.rule_set import Rules

__all__ = [
    "BoundaryValve",
    "BypassEnd",
    "HoseWay",
    "apart_m",
    "bypass_feeds",
    "bypass_pairs",
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
    crossings : int
        Carriageways that it crosses.
    route : HoseRoute or None
        Where it lies.
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
    crossings: int = 0
    route: HoseRoute | None = None

    @property
    def is_over_open_ground(self) -> bool:
        """Whether it leaves the streets though some are near."""
        return self.route is not None and not self.route.along_streets


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
    routes: HoseRoutes,
    straight: bool = False,
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
        ``bypass.slack`` on the length of the route, at most ``bypass.reach_m``.
    routes : HoseRoutes
        Where they lie.
    straight : bool
        Take every route as the straight line, which none is shorter than.
    """
    found = []
    for giving, fed in bypass_pairs(ends, part, rules):
        if straight:
            length = rules.bypass.slack * apart_m(giving, fed) / routes.scale
            route, crossings = None, 0
        else:
            route = routes.route((giving.x_m, giving.y_m), (fed.x_m, fed.y_m), rules)
            if route is None:
                continue
            length, crossings = rules.bypass.slack * route.length_m, route.crossings
        if length <= rules.bypass.reach_m + ROUNDING_M:
            found.append(
                Feed(
                    FeedKind.BYPASS,
                    f"{giving.label}>{fed.label}",
                    giving.node,
                    fed.node,
                    length,
                    outlets_mm=(giving.outlet_mm, fed.outlet_mm),
                    tees=(giving.most_tees, fed.most_tees),
                    crossings=crossings,
                    route=route,
                )
            )
    return tuple(found)


def bypass_pairs(ends: Sequence[BypassEnd], part: int, rules: Rules) -> list[tuple[BypassEnd, BypassEnd]]:
    """Return the tees of every two stops that a bypass could join to feed a part, the giving one first.

    Tees too small for the narrowest hose join nothing.
    """
    narrowest = nominal_outlet_mm(rules.bypass.bores_mm[0])
    in_order = sorted((end for end in ends if end.outlet_mm >= narrowest), key=lambda end: end.label)
    return [(a, b) for a in in_order for b in in_order if a.part == 0 and b.part == part]


def apart_m(some: BypassEnd, other: BypassEnd) -> float:
    """Return the straight distance between two tees [m in the CRS]."""
    return float(np.hypot(some.x_m - other.x_m, some.y_m - other.y_m))


def hose_ways(
    giving: MainLines,
    fed: MainLines,
    rules: Rules,
    *,
    routes: HoseRoutes,
    most: int = 4,
    straight: bool = False,
) -> tuple[HoseWay, ...]:
    """Return the cheapest hoses between live mains and mains of a part, of one system, within reach.

    Both ends keep the rules' clearance of tappings from the ends of their piece, where tees are, and from
    recorded fittings, on mains with an outlet for the narrowest hose. What may be tapped is divided into
    lengths of at most `APART_M`; of every two lengths the two places nearest to each other may be joined. A
    hose is as long as its route over free ground times ``bypass.slack``, at most ``bypass.reach_m``. It goes
    over open ground only where no two places have a way along streets within reach. Of every two pieces the
    cheapest hose is taken, and of all these the cheapest: places are gone through by the straight line, until
    no later one can be cheaper than those found.

    Parameters
    ----------
    giving, fed : MainLines
        Live mains, and mains of the part; the caller keeps them to one system.
    routes : HoseRoutes
        Where they lie.
    most : int
        How many to return, cheapest first.
    straight : bool
        Take every route as the straight line, which none is shorter than.
    """
    reach = rules.bypass.reach_m * routes.scale / rules.bypass.slack
    near = rows_within(giving.line, fed.line, reach + ROUNDING_M)
    live, cut = (
        tappable_lengths(mains, rules, routes.scale, rows)
        for mains, rows in zip((giving, fed), near, strict=True)
    )
    if not len(live.rows) or not len(cut.rows):
        return ()
    from_rows, to_rows = shapely.STRtree(cut.lines).query(live.lines, predicate="dwithin", distance=reach)
    spans = shapely.shortest_line(live.lines[from_rows], cut.lines[to_rows])
    length = shapely.length(spans)
    links = giving.link[live.rows[from_rows]], fed.link[cut.rows[to_rows]]
    ends = shapely.get_coordinates(spans).reshape(-1, 4)
    order = np.lexsort((*ends.T, links[1], links[0], np.round(length, 6)))
    order = order[length[order] > 0.0]
    each = zip(links[0][order].tolist(), links[1][order].tolist(), ends[order].tolist(), strict=True)
    places = [HosePlaces(one, other, (at[0], at[1]), (at[2], at[3])) for one, other, at in each]
    found = (straight_hoses if straight else cheapest_hoses)(places, rules, routes, most)
    line_of = {
        int(link): line for some in (giving, fed) for link, line in zip(some.link, some.line, strict=True)
    }
    room = {place: (from_rows[i], to_rows[i]) for place, i in zip(places, order.tolist(), strict=True)}
    return tuple(
        _hose_way(place, route, rules, line_of, (live.outlet(room[place][0]), cut.outlet(room[place][1])))
        for place, route in found
    )


def _hose_way(
    place: HosePlaces,
    route: HoseRoute,
    rules: Rules,
    line_of: Mapping[int, Any],
    outlets: tuple[tuple[float, int], tuple[float, int]],
) -> HoseWay:
    start, stop = np.array(place.start), np.array(place.stop)
    return HoseWay(
        rules.bypass.slack * route.length_m,
        Tap(place.giving, _share(line_of[place.giving], start)),
        Tap(place.fed, _share(line_of[place.fed], stop)),
        *place.start,
        *place.stop,
        outlets_mm=tuple(size_mm for size_mm, _ in outlets),
        tees=tuple(count for _, count in outlets),
        crossings=route.crossings,
        route=route,
    )


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
            crossings=way.crossings,
            route=way.route,
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


def _share(line: Any, point: Floats) -> float:
    share = float(shapely.line_locate_point(line, shapely.Point(point), normalized=True))
    return min(max(share, 1e-9), 1.0 - 1e-9)
