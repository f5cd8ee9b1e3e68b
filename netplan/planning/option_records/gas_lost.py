"""Gas lost by an option, as it stands in a plan."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.gas import LineContent, VentFigures, gap_content, line_content, vent_figures
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.reference.gas import METRIC_STANDARD, ReferenceConditions

__all__ = ["content_of", "figures_of", "gaps_of", "vent_of", "zone_pressures_pa_gauge"]


def zone_pressures_pa_gauge(
    context: PlanningContext, option: EvaluatedOption
) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return pipe row, length [m] and pressure [Pa gauge] of every length of pipe in the zones.

    The pressure is what the zone is locked in at: that of the all-on state before the stops.
    """
    pieces = context.request.network.pieces
    parts = [part for zone in option.cut.zones for part in zone.pieces]
    piece = np.array([part.piece for part in parts], dtype=np.int64)
    length = np.array([part.to_m - part.from_m for part in parts])
    before = context.before.pressure_pa_gauge
    one, other = before[pieces.from_node[piece]], before[pieces.to_node[piece]]
    # Where one end has no supply the other's pressure counts; without any there is none to lock in.
    pressure = (np.where(np.isnan(one), other, one) + np.where(np.isnan(other), one, other)) / 2
    return pieces.pipe[piece].astype(np.int64), length, np.nan_to_num(pressure)


def content_of(
    context: PlanningContext, option: EvaluatedOption, reference: ReferenceConditions = METRIC_STANDARD
) -> LineContent:
    """Return the gas in the zones and in the gaps of double stops, counted at reference conditions."""
    network = context.request.network
    pipe, length, pressure = zone_pressures_pa_gauge(context, option)
    kelvin = context.conditions.ground_temperature_k
    bore = network.pipes.bore_m[pipe]
    gap, gap_bore, at = gaps_of(context, option)
    return line_content(length, bore, pressure, kelvin, context.gas, reference) + gap_content(
        gap, gap_bore, at, kelvin, context.gas, reference
    )


def gaps_of(context: PlanningContext, option: EvaluatedOption) -> tuple[Floats, Floats, Floats]:
    """Return length [m], bore [m] and pressure [Pa gauge] of the gap of every double stop."""
    offsets = {
        m.name: [p.offset_m for p in m.assembly if p.role == "barrier"] for m in context.request.rules.method
    }
    rows = [
        (
            max(offsets[stop.method]) - min(offsets[stop.method]),
            float(context.request.network.pipes.bore_m[stop.pipe]),
            float(context.before.pressure_pa_gauge[stop.live_node]),
        )
        for stop in option.cut.stops
        if len(offsets[stop.method]) > 1
    ]
    columns = np.nan_to_num(np.array(rows, dtype=float).reshape(-1, 3))
    return columns[:, 0], columns[:, 1], columns[:, 2]


def figures_of(
    context: PlanningContext, option: EvaluatedOption, reference: ReferenceConditions = METRIC_STANDARD
) -> VentFigures:
    """Return what the work lets go, counted at reference conditions."""
    purge = context.request.rules.purge
    return vent_figures(
        content_of(context, option, reference),
        context.gas,
        volumes_in=purge.volumes_in,
        kg_co2e_per_kg=purge.gwp_methane,
    )


def vent_of(figures: VentFigures) -> model.Vent:
    """Return the figures as they stand in a plan."""
    return model.Vent(
        line_content_m3=figures.line_content_m3,
        of_which_pressure_part_m3=figures.pressure_part_m3,
        purge_m3=figures.purge_m3,
        total_m3=figures.total_m3,
        methane_kg=figures.methane_kg,
        co2e_kg=figures.co2e_kg,
        reference=figures.reference.name,
        gwp=figures.potential.line(),
    )
