"""How an option's zones are purged, as it stands in a plan."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.units import rounded_down, rounded_up
from netplan.gas import (
    DrawnNetwork,
    Equipment,
    PurgePlace,
    PurgePlan,
    PurgeSource,
    Supply,
    ZoneMains,
    purge_plan,
)
from netplan.graph.connected_components import component_labels
from netplan.isolation import CutStop
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.connectivity import demands_after, kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.final_network import FinalNetwork, final_network, nodes_shown
from netplan.planning.stopped_network import StoppedNetwork
from netplan.rules import Rules

__all__ = ["below_least", "equipment_of", "purge_of"]


_THROUGH_A_VALVE = "through a hose round the valve, or the valve itself opened a little"


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
    """Return the hoses narrower than the rules' tapping, one as wide as it, and the rules' stacks."""
    bypass, purge = rules.bypass, rules.purge
    fits = {bore for bore in bypass.bores_mm if bore < bypass.tapping_bore_mm} | {bypass.tapping_bore_mm}
    return Equipment(
        feed_bores_m=tuple(bore / MM_PER_M for bore in sorted(fits)),
        stack_bores_m=tuple(bore / MM_PER_M for bore in purge.stack_bores_mm),
        stack_height_m=purge.stack_height_m,
        feed_loss=bypass.loss_coefficient,
        roughness_m=bypass.roughness_mm / MM_PER_M,
    )


def purge_of(context: PlanningContext, option: EvaluatedOption, final: FinalNetwork) -> model.Purge:
    """Return how the zones of an option are purged out of service and back in.

    The draw is solved in the state with all stops in and all feeds open; a draw that takes a kept meter
    inlet below what it must hold counts as one that the network cannot give.
    """
    plans = _plans(context, option, final)
    return _written(context, plans).model_copy(update={"loads": _loads(context, option, final)})


def below_least(context: PlanningContext, option: EvaluatedOption) -> str:
    """Return why gas back in does not reach its least flow somewhere; empty where it does.

    Gas whose figures are not those of natural gas goes in behind inert gas alone and has no least flow.
    """
    plans = _plans(context, option, final_network(context, option))
    if _reached(plans) is not False:
        return ""
    legs = [
        (place.flow_in_m3_per_s_std or 0.0, place.least_m3_per_s_std or 0.0)
        for plan, _ in plans
        if plan is not None
        for place in plan.places
        if place.slug_m3 is not None
    ]
    words = "no stop of a zone has gas behind it to purge with"
    if legs:
        flow, least = min(legs, key=lambda leg: leg[0] / leg[1] if leg[1] > 0.0 else 1.0)
        words = (
            f"{rounded_down(flow * SECONDS_PER_HOUR, 1):.1f} m³/h to be had for the purge in, "
            f"{rounded_up(least * SECONDS_PER_HOUR, 1):.1f} m³/h needed"
        )
    return f"{words} (rule purge.below_least)"


def _plans(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork
) -> list[tuple[PurgePlan | None, int]]:
    """Return the plan of each connected part of the zones, None without a live stop, and its lengths."""
    rules = context.request.rules
    live = _live_network(context, option, final)
    plans: list[tuple[PurgePlan | None, int]] = []
    for mains, sources in _zones(context, option, live):
        if sources and len(mains):
            plan = purge_plan(
                mains,
                sources,
                equipment_of(rules),
                context.conditions,
                volumes_out=rules.purge.volumes_out,
                volumes_in=rules.purge.volumes_in,
            )
            plans.append((_at_outlets(plan, option), len(mains)))
        elif len(mains):
            plans.append((None, len(mains)))
    return plans


def _loads(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork
) -> tuple[model.PurgeLoad, ...]:
    node = nodes_shown(context, final)[0][final.stopped.barrier_node]
    return tuple(
        model.PurgeLoad(
            draw_m3h=draw.flow_m3_per_s_std * SECONDS_PER_HOUR,
            stops=tuple(stop_id(stop) for stop in draw.stops),
            nodes=tuple(int(node[stop]) for stop in draw.stops),
        )
        for draw in option.draws
    )


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
) -> list[tuple[ZoneMains, list[PurgeSource]]]:
    """Return the mains and live stops of each connected part of the zones; services are left out."""
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
        )
        sources = []
        for k, stop in enumerate(stops):
            if label[stopped.flow.node_count + k] == part:
                at_pipe, chainage = _outlet(stop)
                supply = live.supply(int(stopped.barrier_node[k]))
                note = _THROUGH_A_VALVE if stop.valve >= 0 else ""
                if supply(0.0) > 0.0:
                    sources.append(PurgeSource(stopped.flow.node_count + k, at_pipe, chainage, supply, note))
        found.append((mains, sources))
    return found


def _outlet(stop: CutStop) -> tuple[int, float]:
    """Return where gas is let in or out at a stop: its zone vent, or the stop itself."""
    for tapping in stop.tappings:
        if tapping.role == "zone_vent":
            return tapping.pipe, tapping.chainage_m
    return stop.pipe, stop.chainage_m


def _at_outlets(plan: PurgePlan, option: EvaluatedOption) -> PurgePlan:
    """Move vents that stand at a stop to the outlet that is tapped there."""
    outlets = {(stop.pipe, round(stop.chainage_m, 6)): _outlet(stop) for stop in option.cut.stops}

    def moved(place: PurgePlace) -> PurgePlace:
        pipe, chainage = outlets.get((place.pipe, round(place.chainage_m, 6)), (place.pipe, place.chainage_m))
        return replace(place, pipe=pipe, chainage_m=chainage)

    return replace(plan, places=tuple(moved(place) for place in plan.places))


def _written(context: PlanningContext, plans: list[tuple[PurgePlan | None, int]]) -> model.Purge:
    purge, ids = context.request.rules.purge, context.request.network.pipes.id
    known = [plan for plan, _ in plans if plan is not None]
    blind = sum(lengths for plan, lengths in plans if plan is None)
    notes = dict.fromkeys(note for plan in known for note in plan.notes)
    if blind:
        notes[
            f"{blind} lengths of main in the zone have no stop with gas behind it: purge them with inert gas."
        ] = None
    places = [place for plan in known for place in plan.places]
    return model.Purge(
        volumes_out=purge.volumes_out,
        volumes_in=purge.volumes_in,
        least_velocity_m_s=_most([plan.least_velocity_m_s for plan in known]),
        least_flow_m3h=_times(_most([plan.least_flow_m3_per_s_std for plan in known]), SECONDS_PER_HOUR),
        minutes_out=_sum([plan.minutes_out for plan in known]),
        minutes_in=_sum([plan.minutes_in for plan in known]),
        medium="; ".join(dict.fromkeys(plan.medium for plan in known)),
        draw_m3h=_times(_most([plan.draw_m3_per_s_std for plan in known]), SECONDS_PER_HOUR),
        dip_mbar=_times(_most([plan.dip_pa for plan in known]), 1.0 / PA_PER_MBAR),
        points=tuple(
            model.PurgePoint(
                id=f"P{number}",
                main_id=ids[place.pipe],
                chainage_m=place.chainage_m,
                role=place.role,
                order=place.order,
                stack_bore_mm=_times(place.bore_m, MM_PER_M),
                minutes_out=place.minutes_out,
                minutes_in=place.minutes_in,
                note=place.note,
                least_m3h=_times(place.least_m3_per_s_std, SECONDS_PER_HOUR),
                flow_in_m3h=_times(place.flow_in_m3_per_s_std, SECONDS_PER_HOUR),
                slug_m3=place.slug_m3,
            )
            for number, place in enumerate(places, 1)
        ),
        reached=_reached(plans),
        end_points=tuple(dict.fromkeys(line for plan in known for line in plan.end_points)),
        notes=tuple(notes),
    )


def _reached(plans: list[tuple[PurgePlan | None, int]]) -> bool | None:
    """Return whether gas back in reaches its least flow everywhere; None where inert gas alone is used."""
    reached = [plan is not None and plan.reached for plan, _ in plans]
    return None if None in reached else all(reached)


def _most(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None and not np.isnan(value)]
    return max(known) if known and len(known) == len(values) else None


def _sum(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) if known and len(known) == len(values) else None


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
