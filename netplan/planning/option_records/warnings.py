"""What people must be told about an option beside its figures."""

from __future__ import annotations

import numpy as np

from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down, rounded_up
from netplan.network.model import Network
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.flow_changes import dust_warnings, load_warnings
from netplan.planning.option_records.relighting import ROUNDING_PA, Relighting
from netplan.planning.stopped_network import live_tee

__all__ = ["warnings_of"]

NOTABLE_RISE_PA = 200.0
"""Rise of a station's outlet that people are told of (own) [Pa]."""


def warnings_of(
    context: PlanningContext, option: EvaluatedOption, relighting: Relighting | None
) -> tuple[str, ...]:
    """Return the warnings of an option, in a fixed order."""
    network, rules = context.request.network, context.request.rules
    found: list[str] = []
    for place, stop in enumerate(option.cut.stops):
        name = stop_id(place)
        if stop.valve >= 0:
            test = (
                "test it for let-by before relying on it"
                if rules.valve.let_by_test
                else "no let-by test is set"
            )
            found.append(f"{name}: valve {network.valves.id[stop.valve]} is a single barrier; {test}")
        elif stop.barriers == 1:
            found.append(f"{name}: one barrier only, by explicit rule")
        if stop.bypass_elsewhere:
            where = (
                "it goes on the next length" if live_tee(stop) else "nor on the next length: no bypass here"
            )
            found.append(f"{name}: the bypass tee does not fit beside the stop; {where}")
        found.extend(f"{name}: {note}" for note in stop.provisional)
    found.extend(_recorded(network))
    severed = [network.customers.id[row] for row in option.cut.severed.tolist()]
    if severed:
        found.append(f"second service to be severed before the zone is gas-free: {', '.join(severed)}")
    found.extend(_stations_driven(context, option))
    found.extend(_relit_together(context, relighting))
    found.extend(load_warnings(context, option))
    found.extend(dust_warnings(context, option))
    dead = int((np.diff(network.customers.attach_start) == 0).sum()) + context.rest.on_no_pipe
    if dead:
        found.append(
            f"{dead} customers lie on no pipe: those near the work are in doubt, the others are on no list"
        )
    weak = int(context.weak_before.sum()) + len(context.rest.weak)
    if weak:
        found.append(f"{weak} customers are below the minimum with its margin before any stop is in")
    high = int(context.high_before.sum()) + len(context.rest.high)
    if high:
        found.append(
            f"{high} customers are above the highest allowed pressure (rule pressure.maximum_mbar) before "
            "any stop is in"
        )
    if np.isnan(context.base.node_height_m).all():
        found.append("heights are not recorded: pressures leave them out")
    return tuple(dict.fromkeys(found))


def _relit_together(context: PlanningContext, relighting: Relighting | None) -> list[str]:
    """Say what relighting all at once would do where the network does not hold it."""
    if relighting is None or relighting.all_at_once_pa_gauge >= context.required_pa_gauge - ROUNDING_PA:
        return []
    least = relighting.all_at_once_pa_gauge / PA_PER_MBAR
    lowest = (
        f"takes the lowest meter inlet to {rounded_down(least, 1):.1f} mbar"
        if np.isfinite(least)
        else "has no solution"
    )
    words = f"relighting {relighting.customers} customers together {lowest}: "
    if relighting.holds:
        return [f"{words}relight at most {relighting.together} at once, with time between"]
    return [f"{words}not even {relighting.together} at once hold; relight in hours of lower demand"]


def _stations_driven(context: PlanningContext, option: EvaluatedOption) -> list[str]:
    """Name stations that raise their outlet because their sensing point is fed by a longer way."""
    stations, found = context.request.network.stations, []
    before, after = context.before.pressure_pa_gauge, option.final.pressure_pa_gauge
    for row in np.flatnonzero((stations.node >= 0) & (stations.sensing_node >= 0)).tolist():
        rise = float(after[stations.node[row]] - before[stations.node[row]])
        if rise > NOTABLE_RISE_PA:
            more = rounded_up(rise / PA_PER_MBAR, 1)
            outlet = rounded_up(float(after[stations.node[row]]) / PA_PER_MBAR, 1)
            found.append(
                f"station {stations.id[row]} would raise its outlet by {more:.1f} mbar to "
                f"{outlet:.1f} mbar to hold its remote sensing point: agree "
                "with the people who look after it whether it senses at its outlet during the work"
            )
    return found


def _recorded(network: Network) -> list[str]:
    found = []
    if "services" not in network.recorded:
        found.append(
            "services are not recorded: lists hold all recorded customers, pressures leave services out"
        )
    if "sensing_points" not in network.recorded:
        found.append(
            "sensing points are not recorded: stations are taken to sense at their outlet; confirm on site"
        )
    return found
