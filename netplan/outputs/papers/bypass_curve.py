"""The curves of a bypass: pressure lost against flow, for each bore of the rules' list."""

from __future__ import annotations

import numpy as np

from netplan.bypass import Feed, FeedKind, FeedSize, drop_curve
from netplan.constants import ZERO_CELSIUS_K
from netplan.hydraulics.conditions import FlowConditions
from netplan.outputs.figures import Figures
from netplan.outputs.papers.chart import Curve, chart_svg
from netplan.plan.model import Bypass, Plan
from netplan.reference.gas import gas_from_composition, named_gas
from netplan.rules import Rules
from netplan.units import factor

__all__ = ["bypass_curve"]

_SECONDS_PER_HOUR = 3600.0
_PA_PER_MBAR = 100.0
_MM_PER_M = 1000.0


def bypass_curve(plan: Plan, bypass: Bypass, units: Figures) -> str:
    """Return the drop against flow of a bypass as SVG: each bore of the rules, and the planned point.

    The curves are those of the hose's law alone, at the planned pressure of its giving end; the network
    around it is not solved anew.
    """
    rules = Rules.model_validate(plan.rules)
    gas = named_gas(rules.gas.name) if rules.gas.name else gas_from_composition(rules.gas.composition or {})
    conditions = FlowConditions(gas, ZERO_CELSIUS_K + plan.conditions.ground_temp_c)
    flow = factor("m**3", units.kind("flow").shown.split("/")[0]) * _SECONDS_PER_HOUR
    drop = factor("mbar", units.kind("pressure").shown) / _PA_PER_MBAR
    feed = Feed(FeedKind(bypass.kind), bypass.id, 0, 1, bypass.length_m)
    curves = []
    bores = sorted({*rules.bypass.bores_mm, bypass.bore_mm})
    own = bores.index(bypass.bore_mm)
    for bore_mm in bores[max(own - 2, 0) : own + 2]:
        size = FeedSize(feed, bore_mm / _MM_PER_M, bypass.parallel)
        line = drop_curve(size, bypass.pressure_from_mbar * _PA_PER_MBAR, conditions, rules, points=121)
        name = f"{f'{bypass.parallel} × ' if bypass.parallel > 1 else ''}{units.size(bore_mm)}"
        curves.append(
            Curve(name, line.flow_m3_per_s_std * flow, line.drop_pa * drop, bore_mm == bypass.bore_mm)
        )
    x, y = bypass.flow_m3h * flow / _SECONDS_PER_HOUR, bypass.drop_mbar * drop * _PA_PER_MBAR
    chosen = next(curve for curve in curves if curve.strong)
    x_end = min(max(2.2 * x, 1e-3), max(float(chosen.x[-1]), 1.1 * x))
    y_end = max(2.5 * y, float(np.nanmax(np.where(chosen.x <= x_end, chosen.y, 0.0))) * 1.15, 1e-3)
    axes = (f"flow, {units.kind('flow').sign} at 15 °C, 101.325 kPa", f"drop, {units.kind('pressure').sign}")
    return chart_svg(curves, (x, y), axes, (x_end, y_end))
