"""Where to watch the pressure while the stops go in, and at which readings to stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.constants import PA_PER_MBAR
from netplan.network.place import nearest_chainage
from netplan.plan import model
from netplan.plan.desk import Desk
from netplan.plan.naming import gauge_id
from netplan.plan.priced import Priced

__all__ = ["gauges_of"]

REACH_M = 60.0
"""How far from the worst meter inlet its main may lie to be gauged (own) [m]."""


@dataclass(frozen=True, slots=True)
class _Spot:
    pipe: int
    chainage_m: float
    node: int


def gauges_of(desk: Desk, option: Priced) -> tuple[model.Gauge, ...]:
    """Return the gauges of an option: one on the live side of every stop, one at the worst kept inlet.

    Normal is the solved reading with meters off and no stop in yet. Warning is what the gauge reads when the
    worst kept inlet is down to the minimum with its margin, abort when it is down to the minimum: both taken
    as far below the gauge's own solved reading with all stops in as the inlet is above its limit there.
    """
    states = option.work.states
    first = next(judged for judged in states if judged.name == "meters off")
    last = states[-1]
    low = min(
        (judged.least_pa_gauge for judged in states if not np.isnan(judged.least_pa_gauge)), default=np.nan
    )
    rules = desk.request.rules.pressure
    room_pa = 0.0 if np.isnan(low) else max(low - desk.required_pa_gauge, 0.0)
    found = []
    for place, spot in enumerate(_spots(desk, option)):
        normal = float(first.state.pressure_pa_gauge[spot.node])
        after = min(
            float(judged.state.pressure_pa_gauge[spot.node])
            for judged in (first, last)
            if not np.isnan(judged.state.pressure_pa_gauge[spot.node])
        )
        warning = after - room_pa
        found.append(
            model.Gauge(
                id=gauge_id(place),
                main_id=desk.request.network.pipes.id[spot.pipe],
                chainage_m=spot.chainage_m,
                normal_mbar=normal / PA_PER_MBAR,
                warning_mbar=warning / PA_PER_MBAR,
                abort_mbar=warning / PA_PER_MBAR - rules.margin_mbar,
            )
        )
    return tuple(found)


def _spots(desk: Desk, option: Priced) -> list[_Spot]:
    network = desk.request.network
    final = option.final.pressure_pa_gauge
    first = next(
        judged for judged in option.work.states if judged.name == "meters off"
    ).state.pressure_pa_gauge
    spots: list[_Spot] = []
    for stop in option.cut.stops:
        if np.isnan(final[stop.live_node]) or np.isnan(first[stop.live_node]):
            continue  # a dead stub: no supply beyond the stop, nothing to read
        tapped = [t for t in stop.tappings if t.role == "gauge"]
        pipe, chainage = (tapped[0].pipe, tapped[0].chainage_m) if tapped else (stop.pipe, stop.chainage_m)
        spots.append(_Spot(pipe, chainage, stop.live_node))
    worst = option.work.states[-1].node
    if 0 <= worst < len(network.nodes):
        xy = np.array([[network.nodes.x_m[worst], network.nodes.y_m[worst]]])
        pipe_row, chainage_m, _ = nearest_chainage(network, xy, REACH_M)
        if pipe_row[0] >= 0:
            spots.append(_Spot(int(pipe_row[0]), float(chainage_m[0]), worst))
    return spots
