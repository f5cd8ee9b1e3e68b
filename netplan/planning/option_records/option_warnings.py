"""What people must be told about an option beside its figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from netplan.core.arrays import Flags
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.units import rounded_down, rounded_up
from netplan.feeds import flow_changes, station_loads
from netplan.network.finding_log import listed
from netplan.network.model import Network
from netplan.planfile.model import InDoubt
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.network_scope import LoadedStation
from netplan.planning.option_records.customer_records import Relighting
from netplan.planning.stations_shut_in import ShutInStation, stations_at_stop
from netplan.planning.work_states import ROUNDING_PA
from netplan.planning.zone_purges import tees_by_stop

__all__ = [
    "doubt_warnings",
    "dust_warnings",
    "load_warnings",
    "services_without_customer_warnings",
    "warnings_of",
]


NOTABLE_RISE_PA = 200.0
"""Rise of a station's outlet that people are told of (own) [Pa]."""
_SINGULAR: Final = {"mains": "main", "services": "service", "valves": "valve", "customers": "customer"}
_PROVE: Final = "prove it before the first stop"
NOTABLE_LOAD: Final = 0.9
"""Share of its capacity from which a station's load is told of (own decision) [-]."""
NOTABLE_LENGTH_M: Final = 1.0
"""Least length of disturbed main that is told of (own decision) [m]."""
MAINS_NAMED: Final = 5


def warnings_of(
    context: PlanningContext,
    option: EvaluatedOption,
    relighting: Relighting | None,
    shut_in: tuple[ShutInStation, ...] = (),
) -> tuple[str, ...]:
    """Return the warnings of an option, in a fixed order; stops beside a station have their own."""
    network, rules = context.request.network, context.request.rules
    tees = tees_by_stop(option)
    found: list[str] = []
    for place, stop in enumerate(option.cut.stops):
        name = stop_id(place)
        if stop.valve >= 0 and not stations_at_stop(shut_in, place):
            test = (
                "test it for let-by before relying on it"
                if rules.valve.let_by_test
                else "no let-by test is set"
            )
            found.append(f"{name}: valve {network.valves.id[stop.valve]} is a single barrier; {test}")
        elif stop.valve < 0 and stop.barriers == 1:
            found.append(f"{name}: one barrier only, as the rules explicitly allow")
        if stop.bypass_elsewhere and place in tees:
            found.append(f"{name}: the bypass tee does not fit beside the stop; it goes on the next length")
        found.extend(f"{name}: {note}" for note in stop.provisional)
    found.extend(_recorded(network))
    severed = [network.customers.id[row] for row in option.cut.severed.tolist()]
    if severed:
        found.append(f"second service to be severed before the zone is gas-free: {', '.join(severed)}")
    found.extend(_stations_driven(context, option))
    found.extend(_relit_together(context, relighting))
    found.extend(load_warnings(context, option))
    found.extend(dust_warnings(context, option))
    dead = int((np.diff(network.customers.attach_start) == 0).sum()) + context.scope.outside.on_no_pipe
    if dead:
        found.append(
            f"{dead} customers lie on no pipe: those near the work are in doubt, the others are on no list"
        )
    weak = int(context.weak_before.sum()) + len(context.scope.outside.weak)
    if weak:
        found.append(f"{weak} customers are below the minimum with its margin before any stop is in")
    high = int(context.high_before.sum()) + len(context.scope.outside.high)
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
                "with the people who look after it whether it should sense at its outlet during the work"
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


def services_without_customer_warnings(services: Sequence[str]) -> tuple[str, ...]:
    """Return a warning that names services that the work touches and on which nobody is recorded."""
    if not services:
        return ()
    named = f"{'service' if len(services) == 1 else 'services'} {listed(services)}"
    warning = (
        f"no customer is recorded on {named}, cut off by the work or kept by a feed: whoever lives there "
        f"is on no list; visit the premises"
    )
    return (warning,)


def doubt_warnings(in_doubt: Sequence[InDoubt]) -> tuple[str, ...]:
    """Return a warning for each doubtful record, those with priority customers first.

    Records of customers that only they themselves hang on share one warning, but for priority customers.
    """
    by_record: dict[tuple[str, str], list[InDoubt]] = {}
    for row in in_doubt:
        by_record.setdefault((row.layer, row.record_id), []).append(row)
    order = sorted(by_record, key=lambda key: (not any(r.priority for r in by_record[key]), key))
    own = [key for key in order if key[0] == "customers" and not by_record[key][0].priority]
    found = [_warning(key, by_record[key]) for key in order if key not in own]
    if own:
        named = ", ".join(record for _, record in own)
        found.append(
            f"records in doubt, customers {named}: how gas reaches them is not recorded or only assumed; "
            f"if it comes through what is cut off, they lose gas; {_PROVE}"
        )
    return tuple(found)


def _warning(key: tuple[str, str], rows: Sequence[InDoubt]) -> str:
    layer, record_id = key
    priority = [f"{row.priority.replace('_', ' ')} {row.id}" for row in rows if row.priority]
    number = f"{len(rows)} more customer{'s' if len(rows) > 1 else ''}"
    named = f", priority: {', '.join(priority)}" if priority else ""
    return (
        f"record in doubt, {_SINGULAR.get(layer, layer)} {record_id}: {number} would lose gas if it is "
        f"wrong{named}; {_PROVE}"
    )


def dust_warnings(context: PlanningContext, option: EvaluatedOption) -> list[str]:
    """Name the mains in which flow reverses, or gets clearly faster, with the stops in.

    Deposits that lay still for years may move and load filters, regulators and meters. Compared at the same
    worst hour, before any stop and with all stops and feeds in; see `netplan.feeds.velocity_changes`.
    """
    changes = flow_changes(context.base, context.before, option.final, context.conditions)
    found = []
    for words, which in (
        ("flow reverses", changes.is_reversed),
        ("flow is faster by half or more", changes.is_faster & ~changes.is_reversed),
    ):
        line = _mains(context, option, which)
        if line:
            found.append(f"{words} in {line}: watch downstream filters")
    return found


def _mains(context: PlanningContext, option: EvaluatedOption, which: Flags) -> str:
    network = context.request.network
    pieces, pipes = network.pieces, network.pipes
    rows = np.flatnonzero(which & ~option.reach.closed & (pieces.pipe < pipes.n_mains))
    length_m = np.bincount(
        pieces.pipe[rows], weights=pieces.to_m[rows] - pieces.from_m[rows], minlength=pipes.n_mains
    )
    if length_m.sum() < NOTABLE_LENGTH_M:
        return ""
    order = np.argsort(-np.round(length_m, 3), kind="stable")
    mains = [pipes.id[row] for row in order.tolist() if length_m[row] > 0.0]
    return f"{length_m.sum():.0f} m of main ({listed(mains, MAINS_NAMED)})"


def load_warnings(context: PlanningContext, option: EvaluatedOption) -> list[str]:
    """Name the stations whose load comes near their capacity with the stops in."""
    stations = context.request.network.stations
    placed = np.flatnonzero(stations.node >= 0)
    # The greatest of all hours; a station without a capacity has no load.
    before = np.max([station_loads(context.base, state) for state in context.before_by_hour], axis=0)
    after = np.max([station_loads(context.base, state) for state in option.work.states[-1].states], axis=0)
    loaded = [
        (LoadedStation(stations.id[row], share, float(stations.capacity_m3_per_s_std[row])), was)
        for row, share, was in zip(placed.tolist(), after.tolist(), before.tolist(), strict=True)
    ]
    loaded += [(station, station.share) for station in context.scope.outside.loaded]
    return [
        f"station {station.station_id} gives {rounded_up(station.share, 2):.0%} of its "
        f"{rounded_down(station.capacity_m3_per_s_std * SECONDS_PER_HOUR, 0):.0f} m³/h with the "
        f"stops in ({was:.0%} before): agree with the people who look after it"
        for station, was in sorted(loaded, key=lambda one: one[0].station_id)
        if station.share >= NOTABLE_LOAD
    ]
