"""The possible feeds of one deficient part of an option: its own stops, mains near it, valves at its edge."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.feeds import Feed, bypass_feeds, valve_feeds
from netplan.feeds.possible_feeds import (
    BoundaryValve,
    BypassEnd,
    HoseWay,
    apart_m,
    bypass_pairs,
    hose_ways,
)
from netplan.feeds.tappable_lengths import MainLines
from netplan.isolation import Cut
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.planfile.naming import stop_id
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.deficient_parts import DeficientPart
from netplan.planning.stopped_network import StoppedNetwork, live_tee
from netplan.planning.tee_room import outlet_of_tee, tees_at_stop

__all__ = [
    "WELL_FED",
    "bypass_refused",
    "bypass_ways",
    "hose_length_m",
    "hose_ways_of",
    "main_lines",
    "stops_of_bypass",
    "tee_places",
    "valve_ways",
]


WELL_FED = 0
ELSEWHERE = -1
RISE_PA = 10.0
"""Least difference of pressure between two places for a hose between them to help a weak part (own) [Pa]."""
MOST_HOSES = 4


def tee_places(network: Network, cut: Cut) -> tuple[Ints, Floats, Floats]:
    """Return main row, chainage [m] and coordinates [m] of the bypass tee of every stop."""
    tees = [live_tee(stop) or (stop.pipe, stop.chainage_m) for stop in cut.stops]
    pipe = np.array([tee[0] for tee in tees], dtype=np.int64)
    chainage = np.array([tee[1] for tee in tees], dtype=float)
    return pipe, chainage, points_at(network, pipe, chainage)


def bypass_ways(
    context: PlanningContext,
    cut: Cut,
    stopped: StoppedNetwork,
    part: DeficientPart,
    pressure_pa_gauge: Floats,
    *,
    straight: bool = False,
) -> tuple[Feed, ...]:
    """Return the bypasses across the zone that can feed the part.

    With `straight` every route is taken as the straight line, which none is shorter than.
    """
    rules, routes = context.request.rules, context.hose_routes
    return tuple(
        feed
        for ends in _tees_to_join(context, cut, stopped, part, pressure_pa_gauge)
        for feed in bypass_feeds(ends, 1, rules, routes=routes, straight=straight)
    )


def bypass_refused(
    context: PlanningContext,
    cut: Cut,
    stopped: StoppedNetwork,
    part: DeficientPart,
    pressure_pa_gauge: Floats,
) -> str:
    """Return why the shortest bypass to a part without any may not be laid; empty where no tee is."""
    rules, routes = context.request.rules, context.hose_routes
    tees = _tees_to_join(context, cut, stopped, part, pressure_pa_gauge)
    pairs = [pair for ends in tees for pair in bypass_pairs(ends, 1, rules)]
    if not pairs:
        return ""
    giving, fed = min(pairs, key=lambda pair: (round(apart_m(*pair), 6), pair[0].label, pair[1].label))
    why = routes.refusal((giving.x_m, giving.y_m), (fed.x_m, fed.y_m), rules)
    return f"bypass {giving.label}>{fed.label}: {why}"


def _tees_to_join(
    context: PlanningContext,
    cut: Cut,
    stopped: StoppedNetwork,
    part: DeficientPart,
    pressure_pa_gauge: Floats,
) -> list[list[BypassEnd]]:
    """Return tees of stops that give and that are fed: any of those that give may feed any of the others."""
    _, _, xy = tee_places(context.request.network, cut)
    at = pressure_pa_gauge[:, stopped.tee_node]
    inside = [bool(part.nodes[stop.live_node]) for stop in cut.stops]
    # A valve has no bypass tee, nor has a stop on a main that no outlet for one fits.
    usable = [i for i, stop in enumerate(cut.stops) if live_tee(stop) is not None]

    def tees(giving: list[int], fed: list[int]) -> list[BypassEnd]:
        return [
            BypassEnd(
                stop_id(i),
                int(stopped.tee_node[i]),
                float(xy[i, 0]),
                float(xy[i, 1]),
                label,
                outlet_of_tee(cut.stops[i]),
                tees_at_stop(context.request.network, context.request.rules, cut.stops[i]),
            )
            for some, label in ((giving, WELL_FED), (fed, 1))
            for i in some
        ]

    if not part.weak:
        giving = [i for i in usable if not inside[i] and np.isfinite(at[0, i])]
        return [tees(giving, [i for i in usable if inside[i]])]
    return [tees([i], [j]) for i in usable for j in usable if (at[:, i] > at[:, j] + RISE_PA).any()]


def hose_length_m(context: PlanningContext, giving_xy: Floats, fed_xy: Floats) -> float | None:
    """Return the length of a hose between two tees by the rule of bypasses [m]; None where none may be laid.

    Parameters
    ----------
    context : PlanningContext
    giving_xy, fed_xy : float array, shape (2,)
        Places of the tees in the working CRS [m].
    """
    ends = [
        BypassEnd(stop_id(i), i, float(xy[0]), float(xy[1]), label)
        for i, (xy, label) in enumerate(((giving_xy, WELL_FED), (fed_xy, 1)))
    ]
    found = bypass_feeds(ends, 1, context.request.rules, routes=context.hose_routes)
    return found[0].length_m if found else None


def stops_of_bypass(label: str) -> tuple[int, int]:
    """Return the places in the cut of the stops that a bypass of this label joins, the giving one first."""
    giving, fed = (int(name.removeprefix("S")) - 1 for name in label.split(">"))
    return giving, fed


def hose_ways_of(
    context: PlanningContext,
    reach: CutConnectivity,
    stopped: StoppedNetwork,
    part: DeficientPart,
    pressure_pa_gauge: Floats,
    *,
    straight: bool = False,
) -> tuple[tuple[HoseWay, ...], tuple[str, ...]]:
    """Return the cheapest hoses from live mains of the same system to mains of the part.

    Only mains of areas that the stations allow to be joined with that of the part count, so that a nearer
    main of another pressure does not take the place of one that will do. Returned besides: why hoses within
    reach from other areas may not be laid. With `straight` every route is taken as the straight line, which
    none is shorter than.
    """
    network, rules = context.request.network, context.request.rules
    if not rules.bypass.from_other_mains:
        return (), ()
    links, nodes = stopped.flow.links, network.nodes
    count = len(nodes)
    pipe = network.pieces.pipe[stopped.piece]
    ends_known = (links.from_node < count) & (links.to_node < count)
    usable = (
        (pipe < network.pipes.n_mains) & links.is_open & ~stopped.in_zone & (links.length_m > 0) & ends_known
    )
    rows = np.flatnonzero(usable)
    a, b = links.from_node[rows], links.to_node[rows]
    fed_rows = rows[part.nodes[a] & part.nodes[b]]
    if not len(fed_rows):
        return (), ()
    # A weak part without a solution has no pressure at all: any live main then lies above it.
    known = pressure_pa_gauge[:, :count]
    low_pa = np.where(part.nodes & ~np.isnan(known), known, np.inf).min(axis=1, keepdims=True)
    low_pa = np.where(part.weak & np.isfinite(low_pa), low_pa, -np.inf)
    strong = reach.fed & ~part.nodes & (known > low_pa + RISE_PA).any(axis=0)
    margin = rules.bypass.reach_m * network.scale
    ends = np.concatenate([links.from_node[fed_rows], links.to_node[fed_rows]])
    x, y = nodes.x_m[ends], nodes.y_m[ends]
    span = np.ptp(x) + np.ptp(y) + margin
    context.scope.check_within(x, y, margin)
    near = (
        strong[a]
        & strong[b]
        & (np.abs(nodes.x_m[a] - x.mean()) <= span)
        & (np.abs(nodes.y_m[a] - y.mean()) <= span)
        & (nodes.system[a] == nodes.system[ends[0]])
    )
    giving_rows, area = rows[near], context.areas.of_node
    giving_area, fed_area = area[links.from_node[giving_rows]], area[links.from_node[fed_rows]]
    found: list[HoseWay] = []
    refused: dict[str, None] = {}
    for fed in np.unique(fed_area).tolist():
        why = {one: context.areas.outlets_refused(one, fed) for one in np.unique(giving_area).tolist()}
        groups = [("", [one for one, reason in why.items() if not reason])]
        groups += [(reason, [one]) for one, reason in why.items() if reason]
        for reason, areas in groups:
            ways = _hose_ways_between(
                context,
                stopped,
                giving_rows[np.isin(giving_area, areas)],
                fed_rows[fed_area == fed],
                most=1 if reason else MOST_HOSES,
                straight=straight,
            )
            if not reason:
                found += ways
            elif ways:
                refused[reason] = None
    per_m, ramp = rules.price.hose_per_m, rules.price.ramp
    found.sort(
        key=lambda way: (
            round(per_m * way.length_m + ramp * way.crossings, 2),
            round(way.length_m, 6),
            way.giving.link,
            way.fed.link,
        )
    )
    # What keeps to the streets goes before what does not.
    kept = [way for way in found if not way.is_over_open_ground] or found
    return tuple(kept[:MOST_HOSES]), tuple(refused)


def _hose_ways_between(
    context: PlanningContext, stopped: StoppedNetwork, giving: Ints, fed: Ints, *, most: int, straight: bool
) -> tuple[HoseWay, ...]:
    """Return the cheapest hoses between links of the stopped network; zones with the same ones share them."""
    drawn = sha256()
    for rows in (giving, fed):
        for values in (rows, stopped.piece[rows], stopped.from_m[rows], stopped.to_m[rows]):
            drawn.update(values.tobytes())
    return context.once(
        "hoses",
        (straight, most, len(giving), drawn.digest()),
        lambda: hose_ways(
            main_lines(context, stopped, giving),
            main_lines(context, stopped, fed),
            context.request.rules,
            routes=context.hose_routes,
            most=most,
            straight=straight,
        ),
    )


def main_lines(context: PlanningContext, stopped: StoppedNetwork, rows: Ints) -> MainLines:
    """Return links of the stopped network as lengths of main that a hose may be tapped into."""
    pipes, pieces = context.request.network.pipes, context.request.network.pieces
    pipe = pieces.pipe[stopped.piece[rows]]
    lines = context.lines_between(pipe, stopped.from_m[rows], stopped.to_m[rows])
    return MainLines(
        rows, lines, pipes.od_m[pipe], _fittings_on(context.request.network, stopped, rows, pipe)
    )


def _fittings_on(
    network: Network, stopped: StoppedNetwork, rows: Ints, pipe: NDArray[np.integer[Any]]
) -> tuple[tuple[float, ...], ...]:
    """Return how far along each length the recorded fittings of its main stand [m]."""
    fittings = network.fittings
    first, last = (np.searchsorted(fittings.pipe, pipe, side=side) for side in ("left", "right"))
    return tuple(
        tuple((fittings.chainage_m[a:b] - stopped.from_m[row]).tolist())
        for a, b, row in zip(first, last, rows, strict=True)
    )


def valve_ways(context: PlanningContext, reach: CutConnectivity, part: DeficientPart) -> tuple[Feed, ...]:
    """Return the closed boundary valves whose opening feeds the part."""
    network = context.request.network
    context.scope.check_valves(part.nodes)
    valves, pieces, nodes = network.valves, network.pieces, network.nodes
    found: list[BoundaryValve] = []
    for row in np.flatnonzero((valves.piece >= 0) & (valves.state == ValveState.CLOSED)).tolist():
        piece = int(valves.piece[row])
        ends = int(pieces.from_node[piece]), int(pieces.to_node[piece])
        sides = [1 if part.nodes[n] else WELL_FED if reach.fed[n] else ELSEWHERE for n in ends]
        found.append(
            BoundaryValve(
                label=valves.id[row],
                link=piece,
                from_node=ends[0],
                to_node=ends[1],
                from_part=sides[0],
                to_part=sides[1],
                is_closed=True,
                is_operable=bool(valves.operable[row] == Operable.YES),
                same_system=bool(nodes.system[ends[0]] == nodes.system[ends[1]]),
            )
        )
    return valve_feeds(found, 1)
