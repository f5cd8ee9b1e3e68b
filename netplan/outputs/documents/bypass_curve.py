"""The curves of a bypass: pressure lost against flow, for the planned bore and those next to it."""

from __future__ import annotations

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR, ZERO_CELSIUS_K
from netplan.feeds import Feed, FeedKind, FeedSize, drop_curve
from netplan.hydraulics import FlowConditions
from netplan.outputs.charts import chart_svg, drop_chart
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Bypass, Plan
from netplan.reference.gas import gas_from_composition, named_gas
from netplan.rules import checked_rules

__all__ = ["bypass_curve"]

_NEIGHBOURS = 2


def bypass_curve(plan: Plan, bypass: Bypass, units: Figures) -> str:
    """Return the drop against flow of a bypass as SVG, with the planned point.

    The curves are those of the hose's law alone, at the planned pressure of its giving end; the network
    around it is not solved anew.
    """
    rules = checked_rules(plan.rules, "plan.json: rules")
    gas = named_gas(rules.gas.name) if rules.gas.name else gas_from_composition(rules.gas.composition or {})
    conditions = FlowConditions(gas, ZERO_CELSIUS_K + plan.conditions.ground_temp_c)
    feed = Feed(FeedKind(bypass.kind), bypass.id, 0, 1, bypass.length_m)
    bores = sorted({*rules.bypass.bores_mm, bypass.bore_mm})
    own = bores.index(bypass.bore_mm)
    curves = [
        drop_curve(
            FeedSize(feed, bore / MM_PER_M, bypass.parallel),
            bypass.pressure_from_mbar * PA_PER_MBAR,
            conditions,
            rules,
            points=121,
        )
        for bore in bores[max(own - _NEIGHBOURS, 0) : own + _NEIGHBOURS + 1]
    ]
    figure = drop_chart(
        curves, bypass.flow_m3h / SECONDS_PER_HOUR, bypass.drop_mbar * PA_PER_MBAR, units, bypass.id
    )
    return chart_svg(figure).decode("utf-8")
