"""The places of an issued plan on today's network: the same main and chainage, still at the same spot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.isolation.given_zone import GivenStop
from netplan.network.linear_reference import from_lon_lat, points_at
from netplan.network.model import Network
from netplan.network.work_part import WorkPart
from netplan.planfile.model import Option, Stop, WorkItem

__all__ = ["MainPlace", "PlacesToday", "main_place", "stops_today", "work_today"]

MOVED_M: Final = 0.25
"""How far a place may lie from that of the plan before the main counts as moved (own) [m]."""
END_M: Final = 0.005
"""How far beyond its end a chainage still counts as the end (own) [m]."""
OD_MM: Final = 0.1
"""How far outside diameters may lie apart, as plans state them (own) [mm]."""


@dataclass(frozen=True, slots=True)
class MainPlace:
    """A place on a main of today's network: row, chainage [m]; or why it is none."""

    pipe: int
    chainage_m: float
    why: str = ""


@dataclass(frozen=True, slots=True)
class PlacesToday:
    """The stops of a plan on today's network, and why some are none."""

    stops: tuple[GivenStop, ...]
    reasons: tuple[str, ...]


def main_place(
    network: Network, main_id: str, chainage_m: float, xy_m: tuple[float, float] | None
) -> MainPlace:
    """Return a place that a plan states on today's network.

    Parameters
    ----------
    network : Network
    main_id : str
    chainage_m : float
        [m].
    xy_m : (x, y) or None
        Where the plan has it, in today's working CRS [m]; None where that is not to be compared.
    """
    pipes = network.pipes
    row = pipes.id.find(main_id, 0, pipes.n_mains)
    if row < 0:
        gone = network.not_live.find(main_id) >= 0
        why = "recorded as not live" if gone else "not in the records"
        return MainPlace(-1, chainage_m, f"main {main_id} is {why} now")
    length_m = float(pipes.length_m[row])
    if chainage_m > length_m + END_M:
        why = f"main {main_id} is {length_m:.2f} m long now, {chainage_m:.2f} m is beyond it"
        return MainPlace(-1, chainage_m, why)
    at = min(chainage_m, length_m)
    if xy_m is not None:
        today = points_at(network, np.array([row]), np.array([at]))[0]
        away_m = float(np.hypot(today[0] - xy_m[0], today[1] - xy_m[1])) / network.scale
        if away_m > MOVED_M:
            where = f"its {at:.2f} m lies {away_m:.1f} m from the place of the plan"
            return MainPlace(-1, at, f"main {main_id} runs elsewhere now: {where}")
    return MainPlace(row, at)


def stops_today(network: Network, option: Option) -> PlacesToday:
    """Return the stops of an option on today's network."""
    found: list[GivenStop] = []
    reasons: list[str] = []
    # Longitude and latitude hold in every working CRS.
    xy = from_lon_lat(network, np.array([(stop.lon, stop.lat) for stop in option.stops]).reshape(-1, 2))
    for stop, place in zip(option.stops, xy, strict=True):
        here = main_place(network, stop.main_id, stop.chainage_m, (float(place[0]), float(place[1])))
        why, valve = here.why, -1
        if not why and stop.valve_id is not None:
            valve = network.valves.id.find(stop.valve_id)
            if valve < 0 or network.valves.piece[valve] < 0:
                why = f"valve {stop.valve_id} is not in the records now"
            elif int(network.valves.pipe[valve]) != here.pipe:
                why = f"valve {stop.valve_id} is recorded on another main now"
        why = why or _other_size(network, here.pipe, stop)
        if why:
            reasons.append(f"{stop.id}: {why}")
            continue
        found.append(
            GivenStop(stop.id, stop.method, here.pipe, here.chainage_m, stop.work_side == "from", valve)
        )
    return PlacesToday(tuple(found), tuple(reasons))


def _other_size(network: Network, pipe: int, stop: Stop) -> str:
    od_mm = float(network.pipes.od_m[pipe]) * MM_PER_M
    if abs(od_mm - stop.od_mm) <= OD_MM or stop.valve_id is not None:
        return ""
    return f"main {stop.main_id} has {od_mm:g} mm outside now, the plan has {stop.od_mm:g} mm"


def work_today(network: Network, work: Sequence[WorkItem]) -> tuple[WorkPart, ...]:
    """Return the work section of a plan, its ends at the ends of mains where they were rounded from them."""
    pipes = network.pipes
    parts = []
    for item in work:
        row = pipes.id.find(item.main_id, 0, pipes.n_mains)
        length_m = float(pipes.length_m[row]) if row >= 0 else item.to_m
        to_m = length_m if abs(item.to_m - length_m) <= 1e-3 else item.to_m
        parts.append(WorkPart(item.main_id, item.from_m, to_m))
    return tuple(parts)
