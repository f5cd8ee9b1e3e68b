"""Stops, places refused nearer to the work, and zones, as they stand in a plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.core.constants import MM_PER_M, PA_PER_MBAR
from netplan.excavations import tee_elsewhere
from netplan.isolation import Cut, CutStop, CutTapping
from netplan.network.linear_reference import lon_lat, points_at, volumes_m3
from netplan.network.model import Network
from netplan.network.vocabulary import Surface
from netplan.planfile import model
from netplan.planfile.naming import INERT_GAS_IN, THROUGH_THE_GAUGE, stop_id
from netplan.planfile.numbers import METRES_DIGITS
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import in_currency
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.nearest_fittings import nearest_fitting, nearest_mark_m
from netplan.planning.pressure_areas import PressureAreas
from netplan.planning.purge_tee import purge_tee
from netplan.planning.rank import Ranking
from netplan.planning.stations_shut_in import ShutInStation, barriers_of, stations_at_stop
from netplan.planning.zone_purges import needs_purge_tee, purge_outlet, tees_by_stop
from netplan.rules import Rules

__all__ = ["nearer_of", "own_purge_tees", "stops_of", "tappings_of", "zones_of"]


NO_STATION = "no station reaches it as recorded: no fault pressure to rate it for"
"""Said of a stop that no station can send gas to."""
SAME_M = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""


def _known(value: float, factor: float) -> float | None:
    return None if math.isnan(value) else float(value) * factor


def stops_of(
    network: Network,
    rules: Rules,
    option: EvaluatedOption,
    areas: PressureAreas,
    pressure_pa_gauge: Floats,
    holes: tuple[str, ...],
    bypasses: Sequence[model.Bypass] = (),
    purge_points: Sequence[model.PurgePoint] = (),
    nearer: tuple[tuple[model.NotNearer, ...], ...] = (),
    shut_in: tuple[ShutInStation, ...] = (),
) -> tuple[model.Stop, ...]:
    """Return the stops of an option.

    Parameters
    ----------
    network : Network
    rules : Rules
    option : EvaluatedOption
    areas : PressureAreas
        For the highest fault pressure that reaches each stop in any state of the work, feeds in.
    pressure_pa_gauge : float array, shape (stops,)
        Pressure at the live side of each barrier nearest the work, all stops in [Pa gauge]; NaN without gas.
    holes : tuple of str
        The excavation that each stop is in.
    bypasses : sequence of model.Bypass, optional
        A stop's bypass tee is tapped, and written down, where one of these hangs on it.
    purge_points : sequence of PurgePoint, optional
        Or where gas back in is taken from it.
    nearer : tuple of tuple of NotNearer, optional
        For each stop the places nearer to the work, and why the stop is not there.
    shut_in : tuple of ShutInStation, optional
        Stations that the stops shut in.
    """
    cut = option.cut
    barriers = barriers_of(option, shut_in, rules)
    pipe = np.array([stop.pipe for stop in cut.stops], dtype=np.int64)
    xy = points_at(network, pipe, np.array([stop.chainage_m for stop in cut.stops]))
    degrees = lon_lat(network, xy)
    pipes = network.pipes
    methods = {method.name: method for method in rules.method}
    tees = tees_by_stop(option)
    own_tees = own_purge_tees(network, rules, option, purge_points)
    found = []
    for place, stop in enumerate(cut.stops):
        row = stop.pipe
        pressure = float(pressure_pa_gauge[place])
        fault = _known(areas.stop_fault_pa_gauge(stop, option.joins), 1.0 / PA_PER_MBAR)
        found.append(
            model.Stop(
                id=stop_id(place),
                method=stop.method,
                kind=stop.kind,
                barriers=2 if barriers[place] == 2 else 1,
                main_id=pipes.id[row],
                chainage_m=stop.chainage_m,
                valve_id=network.valves.id[stop.valve] if stop.valve >= 0 else None,
                x=float(xy[place, 0]),
                y=float(xy[place, 1]),
                lon=float(degrees[place, 0]),
                lat=float(degrees[place, 1]),
                street=pipes.street[row],
                surface=Surface(int(pipes.surface[row])).word,
                od_mm=float(pipes.od_m[row]) * MM_PER_M,
                wall_mm=_known(float(pipes.wall_m[row]), MM_PER_M),
                bore_mm=float(pipes.bore_m[row]) * MM_PER_M,
                pressure_mbar=_known(pressure, 1.0 / PA_PER_MBAR),
                fault_pressure_mbar=fault or None,
                work_side=stop.work_side,
                tappings=(
                    *(
                        tapping.model_copy(update={"count": tees.get(place, 1)})
                        if tapping.role == "bypass"
                        else tapping
                        for tapping, t in zip(
                            tappings_of(network, stop.tappings, stop.kind), stop.tappings, strict=True
                        )
                        if t.role != "bypass"
                        or _has_bypass(network, (t.pipe, t.chainage_m), bypasses)
                        or _feeds_purge(network, stop, purge_points)
                    ),
                    *tappings_of(network, [own_tees[place]] if place in own_tees else []),
                ),
                hole_id=holes[place],
                price=in_currency(stop.price_minor),
                minutes=methods[stop.method].minutes,
                reason=_with_rating(stop, fault, methods[stop.method].rating_mbar),
                confidence="provisional" if stop.provisional else "recorded",
                confidence_note="; ".join(stop.provisional),
                not_nearer=nearer[place] if nearer else (),
                stays_shut=stop.valve >= 0 and not bool(network.pieces.is_open[stop.piece]),
                shuts_in=tuple(_behind(network, one) for one in stations_at_stop(shut_in, place)),
            )
        )
    return tuple(found)


def _is_at(network: Network, place: tuple[int, float], main_id: str, chainage_m: float) -> bool:
    pipe, at = place
    return main_id == network.pipes.id[pipe] and abs(chainage_m - at) <= SAME_M


def _has_bypass(network: Network, tee: tuple[int, float], bypasses: Sequence[model.Bypass]) -> bool:
    ends = (end for one in bypasses if one.kind == "bypass" for end in (one.from_, one.to))
    return any(_is_at(network, tee, end.main_id, end.chainage_m) for end in ends)


def _feeds_purge(network: Network, stop: CutStop, points: Sequence[model.PurgePoint]) -> bool:
    """Return whether gas back in goes round a stop from its bypass tee."""
    return tee_elsewhere(stop) is None and _is_gas_inlet(network, stop, points)


def _is_gas_inlet(network: Network, stop: CutStop, points: Sequence[model.PurgePoint]) -> bool:
    """Return whether gas back in goes in at the zone vent of a stop, from its live side."""
    outlet = purge_outlet(stop)
    return any(
        _is_at(network, outlet, point.main_id, point.chainage_m)
        for point in points
        if point.role == "feed" and point.note not in (INERT_GAS_IN, THROUGH_THE_GAUGE)
    )


def own_purge_tees(
    network: Network, rules: Rules, option: EvaluatedOption, points: Sequence[model.PurgePoint]
) -> dict[int, CutTapping]:
    """Return the outlets that gas back in is taken from where no bypass tee is free, by place of the stop.

    Parameters
    ----------
    network : Network
    rules : Rules
    option : EvaluatedOption
    points : sequence of model.PurgePoint
        Where the option's zones are purged.
    """
    tees, found = tees_by_stop(option), {}
    for place, stop in enumerate(option.cut.stops):
        count = tees.get(place, 0)
        if needs_purge_tee(stop, count) and _is_gas_inlet(network, stop, points):
            own = purge_tee(network, rules, option.cut.stops, place, count)
            if own is not None:
                found[place] = own
    return found


def tappings_of(
    network: Network, tappings: Sequence[CutTapping], kind: str = ""
) -> tuple[model.Tapping, ...]:
    """Return tappings as they stand in a plan, in order away from the work.

    Those of a stop of the `kind` ``squeeze`` say how far each squeeze is from fittings and earlier squeezes.
    """
    return tuple(
        model.Tapping(
            **(_clearances(network, t) if kind == "squeeze" and t.role == "barrier" else {}),
            role=t.role,
            main_id=network.pipes.id[t.pipe],
            chainage_m=t.chainage_m,
            size_mm=t.size_mm,
            offset_m=t.offset_m,
        )
        for t in tappings
    )


def _clearances(network: Network, squeeze: CutTapping) -> dict[str, Any]:
    distance_m, words = nearest_fitting(network, squeeze.pipe, squeeze.chainage_m)
    return {
        "fitting_m": distance_m,
        "fitting": words,
        "mark_m": nearest_mark_m(network, squeeze.pipe, squeeze.chainage_m),
    }


def _behind(network: Network, one: ShutInStation) -> model.StationBehind:
    stations = network.stations
    return model.StationBehind(
        station_id=stations.id[one.row],
        outlet_mbar=float(stations.outlet_pa_gauge[one.row]) / PA_PER_MBAR,
        fault_mbar=_known(float(stations.max_outlet_pa_gauge[one.row]), 1.0 / PA_PER_MBAR),
        inlet_valve_id=stations.inlet_valve[one.row],
        inlet_counts=one.inlet_counts,
        why=one.why,
    )


def _with_rating(stop: CutStop, fault_mbar: float | None, rating_mbar: float) -> str:
    """Return why a stop is where it is, with the pressure it is rated for where any can arrive."""
    if fault_mbar == 0.0:
        return f"{stop.reason}; {NO_STATION}"
    if stop.valve >= 0 or fault_mbar is None:
        return stop.reason
    return f"{stop.reason}, fault pressure {fault_mbar:g} mbar within the rating {rating_mbar:g} mbar"


def zones_of(network: Network, cut: Cut) -> tuple[model.Zone, ...]:
    """Return the isolated zones of a cut, with true lengths and the actual volume of the bores."""
    n_mains = network.pipes.n_mains
    zones = []
    for zone in cut.zones:
        pipe = np.array([part.pipe for part in zone.pieces], dtype=np.int64)
        low = np.array([part.from_m for part in zone.pieces])
        high = np.array([part.to_m for part in zone.pieces])
        spans = _joined(pipe, low, high)
        zones.append(
            model.Zone(
                work=zone.work,
                pipes=tuple(
                    model.ZonePipe(
                        layer="mains" if p < n_mains else "services",
                        pipe_id=network.pipes.id[p],
                        from_m=a,
                        to_m=b,
                    )
                    for p, a, b in spans
                    if round(b, METRES_DIGITS) > round(a, METRES_DIGITS)
                ),
                length_m=float((high - low).sum()),
                internal_volume_m3=float(volumes_m3(network, pipe, low, high).sum()),
            )
        )
    return tuple(zones)


def _joined(pipe: NDArray[np.int64], low: Floats, high: Floats) -> list[tuple[int, float, float]]:
    """Join the pieces of one pipe that follow each other."""
    spans: list[tuple[int, float, float]] = []
    for p, a, b in sorted(zip(pipe.tolist(), low.tolist(), high.tolist(), strict=True)):
        if spans and spans[-1][0] == p and a <= spans[-1][2] + 1e-9:
            spans[-1] = (p, spans[-1][1], max(spans[-1][2], b))
        elif b > a:
            spans.append((p, a, b))
    return spans


def nearer_of(
    context: PlanningContext, ranking: Ranking, option: EvaluatedOption
) -> tuple[tuple[model.NotNearer, ...], ...]:
    """Return, for each stop of an option, the lengths nearer to the work that were refused or dearer."""
    pipes = context.request.network.pipes
    return tuple(
        tuple(
            model.NotNearer(
                main_id=pipes.id[refusal.pipe],
                from_m=refusal.from_m,
                to_m=refusal.to_m,
                method=refusal.method,
                side=refusal.side,
                code=refusal.code,
                reason=refusal.words,
            )
            for refusal in of_stop
        )
        for of_stop in ranking.search.not_nearer(option.cut)
    )
