"""How the zones of an option are purged: sources, equipment, flows, and whether the least flow is reached."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M, SECONDS_PER_HOUR
from netplan.core.units import rounded_down, rounded_up
from netplan.excavations import tee_elsewhere
from netplan.feeds import FeedKind
from netplan.gas import (
    DrawnNetwork,
    Equipment,
    PurgePlace,
    PurgePlan,
    PurgeSource,
    Supply,
    ZoneMains,
    natural_gas_figures_hold,
    purge_plan,
    unfed_purge_plan,
)
from netplan.graph.connected_components import component_labels
from netplan.isolation import CutStop, CutTapping
from netplan.planfile.naming import INERT_GAS_IN, THROUGH_THE_GAUGE
from netplan.planning.connectivity import demands_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.feeds_for_part import stops_of_bypass
from netplan.planning.final_network import FinalNetwork
from netplan.planning.purge_tee import purge_tee
from netplan.planning.stopped_network import StoppedNetwork
from netplan.reference.gas import Gas
from netplan.rules import Rules
from netplan.rules.outlets_by_diameter import outlet_at

__all__ = [
    "Purges",
    "below_least",
    "equipment_of",
    "gas_outlet",
    "is_reached",
    "needs_purge_tee",
    "purge_outlet",
    "tees_by_stop",
    "zone_purges",
]

Purges = list[tuple[PurgePlan, int]]
"""The plan of each connected part of the zones, and its lengths of main."""


@dataclass(frozen=True, slots=True, eq=False)
class _LiveNetwork:
    """The stopped network, the live one beside it, and what the live one can give."""

    stopped: StoppedNetwork
    hours: tuple[DrawnNetwork, ...]

    def supply(self, node: int) -> Supply:
        """Return what the hour of the greatest total gives at a node, where the other hours give it too."""
        first, *others = (hour.supply(node) for hour in self.hours)

        given = -math.inf

        def pressure(flow: float) -> float:
            nonlocal given
            at = first(flow)
            # What an hour gives it gives less of too.
            if flow > given and not math.isnan(at):
                if any(math.isnan(other(flow)) for other in others):
                    return math.nan
                given = flow
            return at

        return pressure


def equipment_of(rules: Rules) -> Equipment:
    """Return the rules' hoses and stacks; which of them fit an outlet, the purge looks at."""
    bypass, purge = rules.bypass, rules.purge
    return Equipment(
        feed_bores_m=tuple(bore / MM_PER_M for bore in bypass.bores_mm),
        stack_bores_m=tuple(bore / MM_PER_M for bore in purge.stack_bores_mm),
        stack_height_m=purge.stack_height_m,
        feed_loss=bypass.loss_coefficient,
        roughness_m=bypass.roughness_mm / MM_PER_M,
    )


def below_least(context: PlanningContext, plans: Purges) -> str:
    """Return why gas back in does not reach its least flow somewhere; empty where it does.

    Gas whose figures are not those of natural gas goes in behind inert gas alone and has no least flow.
    """
    if is_reached(plans, context.gas) is not False:
        return ""
    legs = [
        (place.flow_in_m3_per_s_std or 0.0, place.least_m3_per_s_std or 0.0)
        for plan, _ in plans
        for place in plan.places
        if place.slug_m3 is not None
    ]
    words = "no stop of a zone has gas behind it to purge with"
    if legs:
        flow, least = min(legs, key=lambda leg: leg[0] / leg[1] if leg[1] > 0.0 else 1.0)
        words = (
            f"{rounded_down(flow * SECONDS_PER_HOUR, 1):.1f} m³/h available for the purge in, "
            f"{rounded_up(least * SECONDS_PER_HOUR, 1):.1f} m³/h needed"
        )
    return f"{words} (rule purge.below_least)"


def zone_purges(context: PlanningContext, option: EvaluatedOption, final: FinalNetwork) -> Purges:
    """Return the plan of each connected part of the zones, and its lengths of main."""
    rules = context.request.rules
    live = _live_network(context, option, final)
    plans: Purges = []
    for mains, sources, others in _zones(context, option, live):
        if sources:
            plan = purge_plan(
                mains,
                sources,
                equipment_of(rules),
                context.conditions,
                volumes_out=rules.purge.volumes_out,
                volumes_in=rules.purge.volumes_in,
            )
            plans.append((_at_outlets(plan, option), len(mains)))
        else:
            plan = unfed_purge_plan(
                mains,
                others,
                context.conditions,
                volumes_out=rules.purge.volumes_out,
                volumes_in=rules.purge.volumes_in,
            )
            plans.append((_at_outlets(plan, option), len(mains)))
    return plans


def _live_network(context: PlanningContext, option: EvaluatedOption, final: FinalNetwork) -> _LiveNetwork:
    stopped, flow = final.stopped, final.flow
    inlets = kept_inlets(context, option.reach, option.gone)
    demands = demands_after(context, option.reach, option.gone, flow.node_count)
    solver = final.solver(context)
    return _LiveNetwork(
        stopped,
        tuple(DrawnNetwork(solver, demand, inlets.node, inlets.required_pa_gauge) for demand in demands),
    )


def _zones(
    context: PlanningContext, option: EvaluatedOption, live: _LiveNetwork
) -> list[tuple[ZoneMains, list[PurgeSource], list[PurgeSource]]]:
    """Return the mains of each connected part of the zones, its live stops, and where inert gas may go in.

    Services are left out. Inert gas goes in at the other stops or, without one, at ends of mains.
    """
    pipes, stopped, stops = context.request.network.pipes, live.stopped, option.cut.stops
    links = stopped.flow.links
    pipe = context.request.network.pieces.pipe[stopped.piece].astype(np.int64)
    ends = np.stack([links.from_node, links.to_node]).astype(np.int64)
    # Every stop gets an end of its own: past it the network is live and no way for a purge.
    for k, (link, node) in enumerate(zip(stopped.closes, stopped.barrier_node, strict=True)):
        ends[:, link] = np.where(ends[:, link] == node, stopped.flow.node_count + k, ends[:, link])
    rows = np.flatnonzero(stopped.in_zone & (pipe < pipes.n_mains) & links.is_open)
    if not len(rows):
        return []
    tees = tees_by_stop(option)
    count = stopped.flow.node_count + len(stops)
    label, _ = component_labels(count, ends[0, rows], ends[1, rows])
    found = []
    for part in dict.fromkeys(label[ends[0, rows]].tolist()):
        own = rows[label[ends[0, rows]] == part]
        mains = ZoneMains(
            from_node=ends[0, own],
            to_node=ends[1, own],
            length_m=links.length_m[own],
            bore_m=links.bore_m[own],
            roughness_m=links.roughness_m[own],
            pipe=pipe[own],
            from_m=stopped.from_m[own],
            to_m=stopped.to_m[own],
            outlet_m=_vent_outlets_m(context, pipe[own]),
            outlet_at_m={
                stopped.flow.node_count + k: _sizes_m(stop)["zone_vent"]
                for k, stop in enumerate(stops)
                if "zone_vent" in _sizes_m(stop)
            },
        )
        sources: list[PurgeSource] = []
        others: list[PurgeSource] = []
        for k, stop in enumerate(stops):
            if label[stopped.flow.node_count + k] == part:
                at_pipe, chainage = purge_outlet(stop)
                supply = live.supply(int(stopped.barrier_node[k]))
                outlet_m, note = _live_outlet(context, stops, k, tees.get(k, 0))
                node = stopped.flow.node_count + k
                if supply(0.0) > 0.0:
                    sources.append(PurgeSource(node, at_pipe, chainage, supply, note, outlet_m))
                else:
                    outlet_m = _sizes_m(stop).get("zone_vent", outlet_m)
                    others.append(PurgeSource(node, at_pipe, chainage, _no_gas, INERT_GAS_IN, outlet_m))
        found.append((mains, sources, others or _at_ends(mains)))
    return found


def _no_gas(_flow_m3_per_s_std: float) -> float:
    return 0.0


def _at_ends(mains: ZoneMains) -> list[PurgeSource]:
    """Return the ends of mains that end at no other main, as places to let inert gas in."""
    nodes, count = np.unique(np.concatenate([mains.from_node, mains.to_node]), return_counts=True)
    found = []
    for node in nodes[count == 1].tolist():
        row = int(np.flatnonzero((mains.from_node == node) | (mains.to_node == node))[0])
        chainage = mains.from_m if int(mains.from_node[row]) == node else mains.to_m
        outlet_m = 0.0 if mains.outlet_m is None else float(mains.outlet_m[row])
        pipe = int(mains.pipe[row])
        found.append(PurgeSource(node, pipe, float(chainage[row]), _no_gas, INERT_GAS_IN, outlet_m))
    return found


def _sizes_m(stop: CutStop) -> dict[str, float]:
    """Return how wide a stop is tapped, by role [m]."""
    return {tapping.role: tapping.size_mm / MM_PER_M for tapping in stop.tappings}


def _vent_outlets_m(context: PlanningContext, pipe: Ints) -> Floats:
    """Return the widest outlet for a stack on each main [m]; 0 where the rules have none."""
    rules, od_m = context.request.rules, context.request.network.pipes.od_m[pipe]
    rows = [outlet_at(rules, od * MM_PER_M) for od in od_m.tolist()]
    return np.array([0.0 if row is None else row.zone_vent_mm for row in rows]) / MM_PER_M


def tees_by_stop(option: EvaluatedOption) -> dict[int, int]:
    """Return how many bypass tees are tapped at each stop that a bypass hangs on: one for each hose."""
    count: dict[int, int] = {}
    for feed in option.feeds:
        if feed is not None and feed.size.feed.kind is FeedKind.BYPASS:
            for place in stops_of_bypass(feed.size.feed.label):
                count[place] = count.get(place, 0) + feed.size.parallel
    return count


def needs_purge_tee(stop: CutStop, tees: int) -> bool:
    """Return whether no bypass tee is free in a stop's pit: none is there, or hoses of a bypass take it."""
    return tees > 0 or "bypass" not in _sizes_m(stop) or tee_elsewhere(stop) is not None


def _live_outlet(
    context: PlanningContext, stops: tuple[CutStop, ...], place: int, tees: int
) -> tuple[float, str]:
    """Return the narrower of the outlets that a hose round a stop joins [m], and what to mind there.

    On the live side it takes the bypass tee or, where none is free in the stop's pit, an outlet of its own;
    where there is no room for that, the outlet of the gauge.
    """
    stop = stops[place]
    tapping = gas_outlet(context, stops, place, tees)
    note = THROUGH_THE_GAUGE if tapping is None or tapping.role == "gauge" else ""
    ends = [_sizes_m(stop)["zone_vent"]] if "zone_vent" in _sizes_m(stop) else []
    ends += [] if tapping is None else [tapping.size_mm / MM_PER_M]
    row = np.array([stop.pipe], dtype=np.int64)
    outlet_m = min(ends, default=float(_vent_outlets_m(context, row)[0]))
    return outlet_m, note


def gas_outlet(
    context: PlanningContext, stops: tuple[CutStop, ...], place: int, tees: int
) -> CutTapping | None:
    """Return the outlet on the live side of a stop that gas goes back in from; None where it has none.

    Parameters
    ----------
    context : PlanningContext
    stops : tuple of CutStop
        All stops of the cut.
    place : int
        Which of them.
    tees : int
        Bypass tees that are tapped there for hoses.
    """
    role, stop = "bypass", stops[place]
    if needs_purge_tee(stop, tees):
        own = purge_tee(context.request.network, context.request.rules, stops, place, tees)
        if own is not None:
            return own
        role = "gauge"
    return next((tapping for tapping in stop.tappings if tapping.role == role), None)


def purge_outlet(stop: CutStop) -> tuple[int, float]:
    """Return where gas is let in or out at a stop: its zone vent, or the stop itself."""
    for tapping in stop.tappings:
        if tapping.role == "zone_vent":
            return tapping.pipe, tapping.chainage_m
    return stop.pipe, stop.chainage_m


def _at_outlets(plan: PurgePlan, option: EvaluatedOption) -> PurgePlan:
    """Move vents that stand at a stop to the outlet that is tapped there."""
    outlets = {(stop.pipe, round(stop.chainage_m, 6)): purge_outlet(stop) for stop in option.cut.stops}

    def moved(place: PurgePlace) -> PurgePlace:
        pipe, chainage = outlets.get((place.pipe, round(place.chainage_m, 6)), (place.pipe, place.chainage_m))
        return replace(place, pipe=pipe, chainage_m=chainage)

    return replace(plan, places=tuple(moved(place) for place in plan.places))


def is_reached(plans: Sequence[tuple[PurgePlan, int]], gas: Gas) -> bool | None:
    """Return whether gas back in reaches its least flow everywhere; None where inert gas alone is used."""
    if not natural_gas_figures_hold(gas):
        return None
    return all(bool(plan.reached) for plan, _ in plans)
