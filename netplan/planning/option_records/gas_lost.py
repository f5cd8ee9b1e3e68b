"""Gas lost by an option, as it stands in a plan, beside other ways of counting it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.gas import (
    LineContent,
    VentFigures,
    compared_with_regulation,
    gap_content,
    geometry_m3,
    leak_paths,
    let_by_allowance,
    line_content,
    vent_figures,
)
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.reference.gas import METRIC_NORMAL, METRIC_STANDARD, US_STANDARD, ReferenceConditions

__all__ = ["content_of", "figures_of", "full_vent_of", "gaps_of", "vent_of", "zone_pressures_pa_gauge"]


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


def full_vent_of(context: PlanningContext, option: EvaluatedOption) -> model.Vent:
    """Return what an option lets go, side by side with other ways of counting it."""
    figures = figures_of(context, option)
    return vent_of(figures).model_copy(
        update={
            "drawn_m3": round(figures.drawn_m3, 6),
            "content_at": {
                reference.name: round(content_of(context, option, reference).content_m3, 6)
                for reference in (METRIC_NORMAL, US_STANDARD)
            },
            "co2e_by_gwp": {name: round(kg, 3) for name, kg in figures.co2e_by_potential},
            "compared": _compared(context, option, figures),
            "let_by": _let_by(context, option),
        }
    )


def _compared(
    context: PlanningContext, option: EvaluatedOption, figures: VentFigures
) -> tuple[model.VentComparison, ...]:
    pipe, length, pressure = zone_pressures_pa_gauge(context, option)
    gap, gap_bore, at = gaps_of(context, option)
    bore = context.request.network.pipes.bore_m[pipe]
    volume = np.concatenate([geometry_m3(length, bore), geometry_m3(gap, gap_bore)])
    rows = compared_with_regulation(
        figures, volume, np.concatenate([pressure, at]), context.conditions.ground_temperature_k
    )
    return tuple(
        model.VentComparison(
            formula=row.formula, volume_m3=row.volume_m3, own_m3=row.own_m3, reason=row.reason
        )
        for row in rows
    )


def _let_by(context: PlanningContext, option: EvaluatedOption) -> tuple[model.LetBy, ...]:
    """Return the allowance of every stop with gas on its live side, through the path its kind is given."""
    found = []
    for place, stop in enumerate(option.cut.stops):
        live = float(option.final.pressure_pa_gauge[stop.live_node])
        if np.isnan(live) or live <= 0.0:
            continue
        bore = float(context.request.network.pipes.bore_m[stop.pipe])
        allowance = let_by_allowance(
            leak_paths()[stop.kind], bore, live, context.conditions.ground_temperature_k, context.gas
        )
        found.append(
            model.LetBy(
                stop_id=stop_id(place),
                across_mbar=allowance.across_pa / PA_PER_MBAR,
                path=allowance.path,
                flow_m3h=allowance.flow_m3_per_s_std * SECONDS_PER_HOUR,
            )
        )
    return tuple(found)
