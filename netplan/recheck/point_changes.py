"""Valves and stations that are others today than in the folder of a plan."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely

from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.network.model import Network
from netplan.network.vocabulary import ValveState
from netplan.planfile import PieceState, SolvedState
from netplan.planfile.model import Option
from netplan.recheck.found_change import FoundChange

__all__ = ["station_changes", "valve_changes"]

SAME: Final = 1e-6
"""What writing to a file and reading again may cost a figure (own) [mbar, m³/h]."""
MOVED_M: Final = 0.1


def valve_changes(network: Network, state: SolvedState, option: Option) -> Iterator[FoundChange]:
    """Yield valves on mains that are new, gone, or open where they were shut and the reverse.

    Whether a valve within the zone was open is not on record: it carries no gas either way.
    """
    pipes, valves = state.pipes, network.valves
    stays_shut = {stop.valve_id: stop.stays_shut for stop in option.stops if stop.valve_id is not None}
    opened = {one.valve_id for one in option.opened_valves}
    rows = [row for row, name in enumerate(pipes.valve_id) if name]
    recorded: dict[str, int] = {pipes.valve_id[row]: row for row in rows}
    for row in np.flatnonzero(valves.piece >= 0).tolist():
        name = valves.id[row]
        point = shapely.Point(float(valves.x_m[row]), float(valves.y_m[row]))
        now_shut = bool(valves.state[row] == ValveState.CLOSED)
        if name not in recorded:
            word = ValveState(int(valves.state[row])).word
            yield FoundChange("valves", name, f"new: {word}", point)
            continue
        was_shut = _was_shut(pipes.state[recorded[name]], name, stays_shut, opened)
        if was_shut is not None and was_shut != now_shut:
            words = ("open", "closed")
            what = f"{words[now_shut]} instead of {words[was_shut]}"
            yield FoundChange("valves", name, what, point, is_figure=True)
    there = {valves.id[row] for row in np.flatnonzero(valves.piece >= 0).tolist()}
    for name, row in recorded.items():
        if name not in there:
            at = pipes.line_xy_m[pipes.line_start[row]]
            yield FoundChange("valves", name, "not in the records any more, or on no main", shapely.Point(at))


def _was_shut(state: int, name: str, stays_shut: dict[str, bool], opened: set[str]) -> bool | None:
    if name in stays_shut:
        return stays_shut[name]
    if name in opened:
        return True
    if state == PieceState.ISOLATED:
        return None
    return bool(state == PieceState.CLOSED)


def station_changes(network: Network, state: SolvedState) -> Iterator[FoundChange]:
    """Yield stations that are new, gone, moved, or set, rated or able to give another flow or pressure."""
    stations, before = network.stations, state.stations
    recorded = {name: row for row, name in enumerate(before.station_id)}
    on_main = np.flatnonzero(stations.node >= 0).tolist()
    for row in on_main:
        name, node = stations.id[row], int(stations.node[row])
        point = shapely.Point(float(network.nodes.x_m[node]), float(network.nodes.y_m[node]))
        old = recorded.get(name)
        set_mbar = float(stations.outlet_pa_gauge[row]) / PA_PER_MBAR
        if old is None:
            yield FoundChange("regulators", name, f"new: set to {set_mbar:g} mbar", point)
            continue
        figures = (
            ("set outlet", set_mbar, float(before.outlet_mbar[old]), "mbar"),
            (
                "highest pressure in a fault",
                float(stations.max_outlet_pa_gauge[row]) / PA_PER_MBAR,
                float(before.max_outlet_mbar[old]),
                "mbar",
            ),
            (
                "capacity",
                float(stations.capacity_m3_per_s_std[row]) * SECONDS_PER_HOUR,
                float(before.capacity_m3h[old]),
                "m³/h",
            ),
        )
        words = [
            f"{what} {_number(now, unit)} instead of {_number(was, unit)}"
            for what, now, was, unit in figures
            if not _same(now, was)
        ]
        moved_m = (
            math.hypot(point.x - float(before.x_m[old]), point.y - float(before.y_m[old])) / network.scale
        )
        if moved_m > MOVED_M:
            words.append(f"moved by {moved_m:.1f} m")
        if words:
            is_figure = moved_m <= MOVED_M
            yield FoundChange("regulators", name, "; ".join(words), point, is_figure=is_figure)
    there = {stations.id[row] for row in on_main}
    for name, row in recorded.items():
        if name not in there:
            point = shapely.Point(float(before.x_m[row]), float(before.y_m[row]))
            yield FoundChange("regulators", name, "not in the records any more, or on no main", point)


def _same(one: float, other: float) -> bool:
    if math.isnan(one) or math.isnan(other):
        return math.isnan(one) and math.isnan(other)
    return abs(one - other) <= SAME


def _number(value: float, unit: str) -> str:
    return "not recorded" if math.isnan(value) else f"{value:g} {unit}"
