"""Gas lost by an option with everything beside it: other references, other potentials, formulas, let-by."""

from __future__ import annotations

import numpy as np

from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.gas import (
    VentFigures,
    compared_with_regulation,
    geometry_m3,
    leak_paths,
    let_by_allowance,
)
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.gas_lost import (
    content_of,
    figures_of,
    gaps_of,
    vent_of,
    zone_pressures_pa_gauge,
)
from netplan.reference.gas import METRIC_NORMAL, US_STANDARD

__all__ = ["full_vent_of"]


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
