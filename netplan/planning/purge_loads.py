"""Gas for purging in comes from the live side: a load on the network while the stops are still in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.feeds import Draw
from netplan.gas import actual_per_standard, least_flow_m3_per_s, natural_gas_figures_hold
from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut, CutStop, CutZone
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext

__all__ = ["PurgeDraw", "live_nodes", "purge_draws"]


SAME_M = 1e-6
"""Chainages nearer than this are one place (own) [m]."""
ROUND_PA = 3
"""Decimals to which pressures of taps are compared, so that their order does not hang on the last bit."""


@dataclass(frozen=True, slots=True)
class PurgeDraw:
    """What purging one zone in takes from the live network.

    Parameters
    ----------
    stops : tuple of int
        Stops it may be taken at, those with the highest pressure behind them first.
    flow_m3_per_s_std : float
        [m³/s at 15 °C, 101.325 kPa].
    """

    stops: tuple[int, ...]
    flow_m3_per_s_std: float

    def at(self, node: NDArray[np.integer[Any]]) -> tuple[Draw, ...]:
        """Return the draw at each of the stops, whose live sides are at `node`, one a stop of the cut."""
        return tuple(Draw(int(node[stop]), self.flow_m3_per_s_std) for stop in self.stops)


def live_nodes(cut: Cut) -> NDArray[np.int64]:
    """Return the node of the network on the live side of each stop of a cut."""
    return np.array([stop.live_node for stop in cut.stops], dtype=np.int64)


def purge_draws(
    context: PlanningContext, cut: Cut, reach: CutConnectivity, pressure_pa_gauge: Floats
) -> tuple[PurgeDraw, ...]:
    """Return the draw of every zone of a cut.

    It is what the least purge velocity takes in the zone's widest main, twice that where its mains hold a
    loop that fills from both sides (the source of the velocity stands with `netplan.gas`). A crew lets
    no less in, because gas and air would slide over each other. It may choose the stop it taps, among those
    that have a regulator station behind them whatever feeds are laid. Gas that is purged through inert gas
    only draws nothing, nor does one that the rules' ``purge.draw_is_load`` leaves out.

    Parameters
    ----------
    context, cut, reach
        The zones and what they cut off.
    pressure_pa_gauge : float array, shape (network nodes,)
        With all stops in and no feed [Pa gauge].
    """
    if not (context.request.rules.purge.draw_is_load and natural_gas_figures_hold(context.gas)):
        return ()
    found = []
    for zone in cut.zones:
        flow = _flow(context, zone)
        live = [
            k
            for k, stop in enumerate(cut.stops)
            if reach.fed[stop.live_node]
            and np.isfinite(pressure_pa_gauge[stop.live_node])
            and (len(cut.zones) == 1 or _bounds(stop, zone))
        ]
        if flow > 0.0 and live:
            at = [round(float(pressure_pa_gauge[cut.stops[k].live_node]), ROUND_PA) for k in live]
            order = sorted(range(len(live)), key=lambda i: (-at[i], live[i]))
            found.append(PurgeDraw(tuple(live[i] for i in order), flow))
    return tuple(found)


def _bounds(stop: CutStop, zone: CutZone) -> bool:
    if stop.zone_node >= 0:
        return bool(np.isin(stop.zone_node, zone.nodes))
    return any(
        part.pipe == stop.pipe
        and min(abs(part.from_m - stop.chainage_m), abs(part.to_m - stop.chainage_m)) <= SAME_M
        for part in zone.pieces
    )


def _flow(context: PlanningContext, zone: CutZone) -> float:
    """Return the draw of a zone [m³/s at 15 °C, 101.325 kPa]; services are purged apart."""
    network, conditions = context.request.network, context.conditions
    pieces, pipes = network.pieces, network.pipes
    mains = [part for part in zone.pieces if part.pipe < pipes.n_mains and pieces.is_open[part.piece]]
    if not mains:
        return 0.0
    widest = float(pipes.bore_m[[part.pipe for part in mains]].max())
    ends: dict[tuple[int, float], int] = {}
    links = []
    for part in mains:
        whole = pieces.from_m[part.piece], pieces.to_m[part.piece]
        nodes = int(pieces.from_node[part.piece]), int(pieces.to_node[part.piece])
        # An end short of the piece's own is at a stop, and nothing else is joined there.
        keys = [
            (node, -1.0) if abs(at - end) <= SAME_M else (-1 - part.piece, at)
            for node, at, end in zip(nodes, (part.from_m, part.to_m), whole, strict=True)
        ]
        links.append([ends.setdefault(key, len(ends)) for key in keys])
    ends_of = np.array(links, dtype=np.int64).T
    _, parts = component_labels(len(ends), ends_of[0], ends_of[1])
    has_loop = len(links) - len(ends) + parts > 0
    least = least_flow_m3_per_s(widest, conditions.gas) / actual_per_standard(conditions)
    return least * (2.0 if has_loop else 1.0)
