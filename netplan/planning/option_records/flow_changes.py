"""What the stops disturb in the mains that stay live: dust stirred up, stations near their capacity."""

from __future__ import annotations

from typing import Final

import numpy as np

from netplan.core.arrays import Flags
from netplan.core.constants import SECONDS_PER_HOUR
from netplan.core.units import rounded_down, rounded_up
from netplan.feeds import flow_changes, station_loads
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.outside_summary import LoadedStation

__all__ = ["dust_warnings", "load_warnings"]


NOTABLE_LOAD: Final = 0.9
"""Share of its capacity from which a station's load is told of (own decision) [-]."""
NOTABLE_LENGTH_M: Final = 1.0
"""Least length of disturbed main that is told of (own decision) [m]."""
MAINS_NAMED: Final = 5


def dust_warnings(context: PlanningContext, option: EvaluatedOption) -> list[str]:
    """Name the mains whose gas runs the other way or clearly faster with the stops in.

    Deposits that lay still for years may move and load filters, regulators and meters. Compared at the same
    worst hour, before any stop and with all stops and feeds in; see `netplan.feeds.velocity_changes`.
    """
    changes = flow_changes(context.base, context.before, option.final, context.conditions)
    found = []
    for words, which in (
        ("gas runs the other way", changes.is_reversed),
        ("gas runs faster by half or more", changes.is_faster & ~changes.is_reversed),
    ):
        line = _mains(context, option, which)
        if line:
            found.append(f"{words} in {line}: deposits may be stirred up; watch filters and meters behind")
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
    mains = [row for row in order.tolist() if length_m[row] > 0.0]
    named = ", ".join(pipes.id[row] for row in mains[:MAINS_NAMED])
    more = f" and {len(mains) - MAINS_NAMED} more" if len(mains) > MAINS_NAMED else ""
    return f"{length_m.sum():.0f} m of main ({named}{more})"


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
    loaded += [(station, station.share) for station in context.rest.loaded]
    return [
        f"station {station.station_id} gives {rounded_up(station.share, 2):.0%} of its "
        f"{rounded_down(station.capacity_m3_per_s_std * SECONDS_PER_HOUR, 0):.0f} m³/h with the "
        f"stops in ({was:.0%} before): agree with the people who look after it"
        for station, was in sorted(loaded, key=lambda one: one[0].station_id)
        if station.share >= NOTABLE_LOAD
    ]
