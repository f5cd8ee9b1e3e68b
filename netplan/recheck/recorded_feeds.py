"""The feeds of an issued plan on today's network: same ends, same length, same bore, same opened valves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags
from netplan.core.constants import MM_PER_M
from netplan.feeds import BypassEnd, Feed, FeedSize, Tap, bypass_feeds, valve_feeds
from netplan.feeds.possible_feeds import BoundaryValve, HoseWay
from netplan.feeds.tappable_lengths import tappable_lengths
from netplan.isolation import Cut
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.planfile.model import Bypass, Option, Place
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.feeds_for_part import WELL_FED, main_lines, tee_places
from netplan.planning.stopped_network import StoppedNetwork, live_tee
from netplan.planning.tee_room import outlet_of_tee, tees_at_stop
from netplan.recheck.recorded_places import main_place
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules import Rules

__all__ = ["GivenFeed", "given_feeds", "size_of"]

SAME_M: Final = 0.002
"""How far a tee may lie from its place in the plan, which is stated to the millimetre (own) [m]."""
LONGER_M: Final = 0.05
"""How much longer the way of a hose may be found today before its way counts as barred (own) [m]."""
BORE_DIGIT_MM: Final = 0.0501
OFF_LINE_M: Final = 0.005
"""How far a tee may lie beside the length that may be tapped (own) [m]."""


@dataclass(frozen=True, slots=True)
class GivenFeed:
    """A feed of the plan that can be laid or opened today.

    Parameters
    ----------
    id : str
        Its id in the plan.
    way : Feed or HoseWay
        A hose's ends are nodes only once it is tapped in.
    fed : tuple of int
        Nodes of the network on its fed side: it feeds the part that they lie in.
    bore_m : float
        [m]; 0 for a valve.
    parallel : int
        Hoses side by side.
    """

    id: str
    way: Feed | HoseWay
    fed: tuple[int, ...]
    bore_m: float = 0.0
    parallel: int = 1


def given_feeds(
    context: PlanningContext, fed_by_station: Flags, cut: Cut, stopped: StoppedNetwork, option: Option
) -> tuple[tuple[GivenFeed, ...], tuple[str, ...]]:
    """Return the feeds of an option, and why some cannot be laid or opened today.

    Parameters
    ----------
    context : PlanningContext
    fed_by_station : bool array, shape (nodes,)
        What stations still reach once the stops are in.
    cut : Cut
    stopped : StoppedNetwork
    option : Option
        Of the plan.
    """
    found: list[GivenFeed] = []
    reasons: list[str] = []
    for bypass in option.bypasses:
        answer = (
            _hose(context, stopped, bypass)
            if bypass.kind == "hose"
            else _bypass(context, cut, stopped, bypass)
        )
        if isinstance(answer, str):
            reasons.append(f"{bypass.kind} {bypass.id}: {answer}")
        else:
            found.append(answer)
    for valve in option.opened_valves:
        opened = _valve(context.request.network, fed_by_station, valve.valve_id)
        if isinstance(opened, str):
            reasons.append(opened)
        else:
            found.append(opened)
    return tuple(found), tuple(reasons)


def size_of(feed: Feed, given: GivenFeed) -> FeedSize:
    """Return a feed in the size that the plan gives it."""
    return FeedSize(feed, given.bore_m, given.parallel)


def _bore_m(rules: Rules, bore_mm: float) -> float:
    """Return the bore of the rules' list that a plan states to 0.1 mm, else as stated [m]."""
    near = [bore for bore in rules.bypass.bores_mm if abs(bore - bore_mm) <= BORE_DIGIT_MM]
    return (near[0] if len(near) == 1 else bore_mm) / MM_PER_M


def _too_wide(bypass: Bypass, outlets_mm: Sequence[float], tees: Sequence[int]) -> str:
    """Return why a size does not go through the outlets, or there is no room for as many tees."""
    if nominal_outlet_mm(bypass.bore_mm) > min(outlets_mm):
        return f"{bypass.bore_mm:g} mm does not go through its outlet of {min(outlets_mm):g} mm today"
    if bypass.parallel > min(tees):
        return f"there is room for {min(tees)} tees at one of its ends today, {bypass.parallel} are planned"
    return ""


def _length_m(bypass: Bypass, today_m: float) -> float | str:
    """Return the length of a hose: as planned; why not where its way is longer today."""
    if today_m > bypass.length_m + LONGER_M:
        return f"its route is blocked: the shortest is {today_m:.1f} m today, {bypass.length_m:.1f} m is "
        "planned"
    # A plan states lengths to the millimetre: what is the same is taken as it was.
    return today_m if abs(today_m - bypass.length_m) <= SAME_M else bypass.length_m


def _bypass(context: PlanningContext, cut: Cut, stopped: StoppedNetwork, bypass: Bypass) -> GivenFeed | str:
    network, rules = context.request.network, context.request.rules
    pipe, chainage, xy = tee_places(network, cut)
    places: list[int] = []
    for end in (bypass.from_, bypass.to):
        row = network.pipes.id.find(end.main_id, 0, network.pipes.n_mains)
        at = [
            i
            for i, stop in enumerate(cut.stops)
            if live_tee(stop) is not None and pipe[i] == row and abs(chainage[i] - end.chainage_m) <= SAME_M
        ]
        if not at:
            return f"no stop has its tee at {_words(end)} today"
        places.append(at[0])
    ends = [
        BypassEnd(
            stop_id(i),
            int(stopped.tee_node[i]),
            float(xy[i, 0]),
            float(xy[i, 1]),
            part,
            outlet_of_tee(cut.stops[i]),
            tees_at_stop(network, rules, cut.stops[i]),
        )
        for i, part in zip(places, (WELL_FED, 1), strict=True)
    ]
    too_wide = _too_wide(bypass, [end.outlet_mm for end in ends], [end.most_tees for end in ends])
    if too_wide:
        return too_wide
    ways = bypass_feeds(ends, 1, rules, routes=context.hose_routes)
    if not ways:
        start, stop = ((end.x_m, end.y_m) for end in ends)
        return f"it may not be laid: {context.hose_routes.refusal(start, stop, rules)}"
    length = _length_m(bypass, ways[0].length_m)
    if isinstance(length, str):
        return length
    feed = Feed(
        ways[0].kind,
        ways[0].label,
        ways[0].from_node,
        ways[0].to_node,
        length,
        outlets_mm=ways[0].outlets_mm,
        tees=ways[0].tees,
        crossings=ways[0].crossings,
        route=ways[0].route,
    )
    fed = (cut.stops[places[1]].live_node,)
    return GivenFeed(bypass.id, feed, fed, _bore_m(rules, bypass.bore_mm), bypass.parallel)


def _hose(context: PlanningContext, stopped: StoppedNetwork, bypass: Bypass) -> GivenFeed | str:
    network, rules = context.request.network, context.request.rules
    taps, xy, outlets, tees = [], [], [], []
    for end in (bypass.from_, bypass.to):
        tapped = _tapped(context, stopped, end)
        if isinstance(tapped, str):
            return tapped
        tap, place, outlet_mm, most = tapped
        taps.append(tap)
        xy.append(place)
        outlets.append(outlet_mm)
        tees.append(most)
    too_wide = _too_wide(bypass, outlets, tees)
    if too_wide:
        return too_wide
    route = context.hose_routes.route(xy[0], xy[1], rules)
    if route is None:
        return f"it may not be laid: {context.hose_routes.refusal(xy[0], xy[1], rules)}"
    length = _length_m(bypass, rules.bypass.slack * route.length_m)
    if isinstance(length, str):
        return length
    way = HoseWay(
        length,
        taps[0],
        taps[1],
        *xy[0],
        *xy[1],
        outlets_mm=tuple(outlets),
        tees=tuple(tees),
        crossings=route.crossings,
        route=route,
    )
    pieces, row = network.pieces, int(stopped.piece[taps[1].link])
    fed = (int(pieces.from_node[row]), int(pieces.to_node[row]))
    return GivenFeed(bypass.id, way, fed, _bore_m(rules, bypass.bore_mm), bypass.parallel)


def _tapped(
    context: PlanningContext, stopped: StoppedNetwork, end: Place
) -> tuple[Tap, tuple[float, float], float, int] | str:
    """Return where a hose is tapped in, its place [m], the outlet there [mm] and how many tees fit."""
    network, rules = context.request.network, context.request.rules
    here = main_place(network, end.main_id, end.chainage_m, None)
    if here.why:
        return here.why
    links = stopped.flow.links
    low, high = stopped.from_m, stopped.to_m
    on = (network.pieces.pipe[stopped.piece] == here.pipe) & links.is_open & (high > low)
    on &= (low - SAME_M <= here.chainage_m) & (here.chainage_m <= high + SAME_M)
    rows = np.flatnonzero(on & ~stopped.in_zone)
    if not len(rows):
        return f"{_words(end)} lies in the zone, or carries no gas, today"
    inside = np.minimum(here.chainage_m - low[rows], high[rows] - here.chainage_m)
    row = int(rows[np.argmax(inside)])
    xy = points_at(network, np.array([here.pipe]), np.array([here.chainage_m]))[0]
    lengths = tappable_lengths(
        main_lines(context, stopped, np.array([row])), rules, network.scale, np.array([0])
    )
    import shapely

    point = shapely.Point(xy)
    for place, line in enumerate(lengths.lines):
        if shapely.distance(line, point) <= OFF_LINE_M * network.scale:
            share = (here.chainage_m - float(low[row])) / float(high[row] - low[row])
            outlet_mm, most = lengths.outlet(place)
            tap = Tap(row, float(min(max(share, 1e-9), 1.0 - 1e-9)))
            return tap, (float(xy[0]), float(xy[1])), outlet_mm, most
    return f"no tee fits at {_words(end)} today: too near a fitting, tee or end"


def _valve(network: Network, fed_by_station: Flags, valve_id: str) -> GivenFeed | str:
    valves, pieces, nodes = network.valves, network.pieces, network.nodes
    row = valves.id.find(valve_id)
    if row < 0 or valves.piece[row] < 0:
        return f"valve {valve_id}, which the plan opens, is not in the records now"
    if valves.state[row] != ValveState.CLOSED:
        word = ValveState(int(valves.state[row])).word
        return f"valve {valve_id}, which the plan opens, is recorded {word} now"
    if valves.operable[row] != Operable.YES:
        return f"valve {valve_id}, which the plan opens, is not recorded as operable now"
    piece = int(valves.piece[row])
    ends = int(pieces.from_node[piece]), int(pieces.to_node[piece])
    if not fed_by_station[ends[0]]:
        ends = ends[::-1]
    feed = valve_feeds(
        [
            BoundaryValve(
                label=valve_id,
                link=piece,
                from_node=ends[0],
                to_node=ends[1],
                from_part=WELL_FED,
                to_part=1,
                is_closed=True,
                is_operable=True,
                same_system=bool(nodes.system[ends[0]] == nodes.system[ends[1]]),
            )
        ],
        1,
    )
    if not feed:
        return f"valve {valve_id}, which the plan opens, separates two pressure systems now"
    # Between two mains that both have gas it helps whichever part is weak.
    return GivenFeed(valve_id, feed[0], ends if fed_by_station[ends[1]] else (ends[1],))


def _words(place: Place) -> str:
    return f"main {place.main_id} {place.chainage_m:.2f} m"
