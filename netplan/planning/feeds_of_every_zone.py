"""Whether any zone at all leaves a feed for a customer who loses every station wherever the stops are.

What every zone takes, the core, leaves that customer in a part without a station. Any other zone leaves it in
a part within that one, and stations reach no more. So every feed of every zone goes from what stations reach
after the core is out to that part. It has one feed, which carries at least what the customer alone draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Codes, Flags, Ints
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.feeds import Feed, FeedKind, FeedSize, feed_links
from netplan.feeds.constraint_margin import held_by_velocity
from netplan.feeds.feed_kinds import sizes_in_order
from netplan.hydraulics import FlowNetwork, FlowSolver
from netplan.network.vocabulary import Operable, ValveState
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext

__all__ = ["reason_against_every_feed"]

SLACK: Final = 1e-6
"""Share by which a bound has to be missed to be told apart from rounding (own) [-]."""
LEAST_MISSED_PA: Final = 1.0
"""Pressure by which one has to be (own) [Pa]."""


def reason_against_every_feed(
    context: PlanningContext, core: CutConnectivity, method_codes: Codes, customer: int
) -> str:
    """Return why no feed of any zone can serve a customer that the core strands; empty when one may.

    Parameters
    ----------
    context : PlanningContext
    core : CutConnectivity
        What is left with every zone's common nodes out.
    method_codes : uint8 array, shape (pieces, methods)
        Why each method is refused on the whole of each piece of main; 0 where it is not.
    customer : int
        Row of a customer that the core strands and does not isolate.
    """
    if context.request.network.beyond is not None:
        # A part of a network: what lies outside is not looked at.
        return ""
    owner, at = context.attachments
    lost = at[(owner == customer) & context.fed_before[at] & ~core.fed[at]]
    part = np.isin(core.part, core.part[lost]) & ~core.in_zone
    nodes, reach_m = context.request.network.nodes, context.request.rules.bypass.reach_m
    context.scope.check_valves(part)
    context.scope.check_within(nodes.x_m[part], nodes.y_m[part], reach_m * context.request.network.scale)
    if _has_valve(context, core, part):
        return ""
    hose_m, barred = _least_hose_m(context, core, part)
    has_bypass = _may_have_bypass(context, part, method_codes)
    if hose_m is None and not has_bypass:
        within = "no other live main lies" if barred else "no live main lies"
        reason = (
            f"no feed can reach it: {within} within reach of a hose (rule bypass.reach_m), no closed "
            "valve joins it to one, and no main towards it takes a stop with a bypass tee"
        )
    else:
        reason = _too_much(context, customer, lost, 0.0 if has_bypass or hose_m is None else hose_m)
    return "; ".join((reason, *(f"a hose may not be laid: {why}" for why in barred))) if reason else ""


def _has_valve(context: PlanningContext, core: CutConnectivity, part: Flags) -> bool:
    """Return whether a closed, operable valve joins a part to what stations reach."""
    network = context.request.network
    valves, pieces, nodes = network.valves, network.pieces, network.nodes
    usable = (valves.piece >= 0) & (valves.state == ValveState.CLOSED) & (valves.operable == Operable.YES)
    piece = valves.piece[usable]
    a, b = pieces.from_node[piece], pieces.to_node[piece]
    joins = (part[a] & core.fed[b]) | (part[b] & core.fed[a])
    return bool((joins & (nodes.system[a] == nodes.system[b])).any())


def _may_have_bypass(context: PlanningContext, part: Flags, method_codes: Codes) -> bool:
    """Return whether a stop with a bypass tee may stand on any main at a part."""
    pieces, index = context.request.network.pieces, context.index
    with_tee = [
        any(one.role == "bypass" for one in method.assembly) for method in context.request.rules.method
    ]
    # An assembly may reach over nodes within a segment: all pieces of those that touch the part count.
    segment = index.segment_of[np.flatnonzero(part[pieces.from_node] | part[pieces.to_node])]
    rows = np.flatnonzero(np.isin(index.segment_of, np.unique(segment[segment >= 0])))
    return bool((method_codes[rows][:, with_tee] == 0).any())


def _least_hose_m(
    context: PlanningContext, core: CutConnectivity, part: Flags
) -> tuple[float | None, tuple[str, ...]]:
    """Return a length that no hose to a part undercuts, slack included [m]; None where none reaches it.

    Returned besides: why mains of other pressure areas within reach may not give.
    """
    network, rules = context.request.network, context.request.rules
    pieces, nodes = network.pieces, network.nodes
    a, b = pieces.from_node, pieces.to_node
    is_main = (pieces.pipe < network.pipes.n_mains) & pieces.is_open & (pieces.to_m > pieces.from_m)
    fed = np.flatnonzero(is_main & part[a] & part[b])
    giving = is_main & core.fed[a] & core.fed[b] & np.isin(nodes.system[a], np.unique(nodes.system[a[fed]]))
    area = context.areas.of_node.astype(np.int64)
    fed_areas = np.unique(area[a[fed]]).tolist()
    rows = np.flatnonzero(giving)
    if not len(fed) or not len(rows):
        return None, ()
    why = {
        one: [context.areas.outlets_refused(one, other) for other in fed_areas]
        for one in np.unique(area[a[rows]]).tolist()
    }
    reach_m = rules.bypass.reach_m / rules.bypass.slack * network.scale
    lines, near = _lines(context, fed), _lines(context, rows)
    hits = shapely.STRtree(near).query(lines, predicate="dwithin", distance=reach_m * (1.0 + SLACK))
    area_of_hit = area[a[rows[hits[1]]]]
    barred = [one for one, reasons in why.items() if all(reasons)]
    reasons = dict.fromkeys(why[one][0] for one in barred if (area_of_hit == one).any())
    may_join = ~np.isin(area_of_hit, barred)
    if not may_join.any():
        return None, tuple(reasons)
    least = float(shapely.distance(lines[hits[0][may_join]], near[hits[1][may_join]]).min())
    return rules.bypass.slack * least / network.scale, tuple(reasons)


def _lines(context: PlanningContext, rows: Ints) -> NDArray[np.object_]:
    pieces = context.request.network.pieces
    return context.lines_between(pieces.pipe[rows], pieces.from_m[rows], pieces.to_m[rows])


@dataclass(frozen=True, slots=True)
class _Alone:
    """A customer on a hose or bypass by itself.

    Parameters
    ----------
    flow_m3_per_s_std : float
        What it draws [m³/s at 15 °C, 101.325 kPa].
    giving_pa_gauge : float
        The most there is at the giving end [Pa gauge].
    """

    flow_m3_per_s_std: float
    giving_pa_gauge: float


def _too_much(context: PlanningContext, customer: int, lost: Ints, least_m: float) -> str:
    """Return why no hose or bypass carries what a customer alone draws; empty when one may."""
    alone = _alone(context, customer, lost)
    if alone is None:
        return ""
    rules = context.request.rules
    feed = Feed(FeedKind.HOSE, "the feed", 0, 1, least_m)
    best_pa = -np.inf
    for size in sizes_in_order(feed, rules):
        velocity, left_pa = _through(context, size, alone)
        if held_by_velocity(size, velocity * (1.0 - SLACK), rules).holds:
            best_pa = max(best_pa, left_pa)
    needed_pa = context.required_pa_gauge
    if best_pa >= needed_pa - LEAST_MISSED_PA:
        return ""
    drawn = alone.flow_m3_per_s_std * SECONDS_PER_HOUR
    return (
        f"no hose or bypass carries the {drawn:.1f} m³/h that it draws alone from "
        f"{alone.giving_pa_gauge / PA_PER_MBAR:.1f} mbar (rules bypass.bores_mm, bypass.parallel_max, "
        "bypass.velocity_max_m_s)"
    )


def _alone(context: PlanningContext, customer: int, lost: Ints) -> _Alone | None:
    """Return what a customer draws at least in the hour it draws most; None where pressures have no bound.

    Drawing is shared among all its services that had gas, and its meters among the largest group there is:
    both only rise when fewer are left. Gas comes at no more than the highest set outlet.
    """
    network = context.request.network
    stations = network.stations
    senses_away = (stations.sensing_node >= 0) & (stations.sensing_node != stations.node)
    if (senses_away & (stations.node >= 0)).any() or (network.injections.node >= 0).any():
        return None
    if context.weak_before[customer]:
        # Nothing is asked of its pressure.
        return None
    heights = context.base.node_height_m
    if len(np.unique(heights[~np.isnan(heights)])) > 1 or len(np.unique(context.index.super_of[lost])) != 1:
        return None
    owner, at = context.attachments
    ways = int((context.fed_before[at] & (owner == customer)).sum())
    flows = [float(context.demand.flow_m3_per_s_std(hour)[customer]) for hour in context.hours]
    outlet = float(stations.outlet_pa_gauge[stations.node >= 0].max())
    return _Alone(max(flows) * len(lost) / ways, outlet)


def _through(context: PlanningContext, size: FeedSize, alone: _Alone) -> tuple[float, float]:
    """Return the velocity in hoses of a size [m/s] and what is left behind them [Pa gauge]; NaN without."""
    links = feed_links([size], context.request.rules)
    network = FlowNetwork(2, links, np.array([0]), np.array([alone.giving_pa_gauge]))
    state = FlowSolver(network, context.conditions).solve(np.array([0.0, alone.flow_m3_per_s_std]))
    gas = context.conditions.properties()
    pressure = alone.giving_pa_gauge + context.conditions.atmospheric_pressure_pa_abs
    mass = alone.flow_m3_per_s_std * gas.density_kg_per_m3_std / size.parallel
    velocity = mass * gas.pressure_per_density / pressure / (np.pi / 4.0 * size.bore_m**2)
    left = float(state.pressure_pa_gauge[1])
    return velocity, -np.inf if np.isnan(left) else left
