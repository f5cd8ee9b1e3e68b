"""The difference across each stop right before it is taken out, gas being back in its zone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.graph.connected_components import component_labels
from netplan.hydraulics import FlowState
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork
from netplan.planning.stopped_network import StoppedNetwork
from netplan.planning.zone_purges import purge_outlet

__all__ = ["parts_of_zone", "purge_inlets", "sides_of_stops", "with_withdrawal_differences"]

SAME_M = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""


def with_withdrawal_differences(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    stops: Sequence[model.Stop],
    points: Sequence[model.PurgePoint],
) -> tuple[model.Stop, ...]:
    """Return the stops with the greatest difference across each before it goes out, in any hour to check.

    The first stop of a part of the zone to go out has behind it the pressure of the live side where gas was
    let in; every later one has what comes past the stops that are out already. None where a side has no gas.
    """
    part = parts_of_zone(final.stopped, len(stops))
    inlets = purge_inlets(context, option, points)
    live, inside = sides_of_stops(context, option, final)
    states = {judged.name: judged.states for judged in option.work.states}
    found: dict[int, float] = {}
    reached: set[int] = set()
    for stop in reversed(option.work.order):
        before = states[f"{stop_id(stop)} in"]
        own = int(part[stop])
        other = inside[stop] if own in reached else next((live[k] for k in inlets if part[k] == own), -1)
        reached.add(own)
        if other >= 0:
            found[stop] = max(_difference(state, int(live[stop]), int(other)) for state in before)
    return tuple(
        stop.model_copy(update={"withdraw_mbar": _in_mbar(found.get(place, np.nan))})
        for place, stop in enumerate(stops)
    )


def _in_mbar(pressure_pa: float) -> float | None:
    return None if np.isnan(pressure_pa) else round(pressure_pa / PA_PER_MBAR, 3) + 0.0


def _difference(state: FlowState, one: int, other: int) -> float:
    return abs(float(state.pressure_pa_gauge[one] - state.pressure_pa_gauge[other]))


def parts_of_zone(stopped: StoppedNetwork, count: int) -> Ints:
    """Return for each stop the number of the connected part of the zones that lies behind it."""
    links = stopped.flow.links
    ends = np.stack([links.from_node, links.to_node]).astype(np.int64)
    # Every stop gets an end of its own: past it the network is live.
    for k, (link, node) in enumerate(zip(stopped.closes, stopped.barrier_node, strict=True)):
        ends[:, link] = np.where(ends[:, link] == node, stopped.flow.node_count + k, ends[:, link])
    inside = np.flatnonzero(stopped.in_zone & links.is_open)
    label, _ = component_labels(stopped.flow.node_count + count, ends[0, inside], ends[1, inside])
    return label[stopped.flow.node_count :].astype(np.int64)


def purge_inlets(
    context: PlanningContext, option: EvaluatedOption, points: Sequence[model.PurgePoint]
) -> list[int]:
    """Return the stops where gas is let in, by their places in the cut."""
    ids, found = context.request.network.pipes.id, []
    for place, stop in enumerate(option.cut.stops):
        pipe, chainage_m = purge_outlet(stop)
        if any(
            point.role == "feed"
            and point.main_id == ids[pipe]
            and abs(point.chainage_m - chainage_m) <= SAME_M
            for point in points
        ):
            found.append(place)
    return found


def sides_of_stops(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork
) -> tuple[list[int], list[int]]:
    """Return the nodes of the solved states on the live side of each stop and on that of the zone."""
    if option.fed is not None:
        links, live = final.flow.links, final.stopped.barrier_node.tolist()
        closes: Sequence[int] = final.stopped.closes
    else:
        links, live = context.base.links, [stop.live_node for stop in option.cut.stops]
        closes = [stop.piece for stop in option.cut.stops]
    ends = [(int(links.from_node[link]), int(links.to_node[link])) for link in closes]
    return live, [b if a == node else a for (a, b), node in zip(ends, live, strict=True)]
