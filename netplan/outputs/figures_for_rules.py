"""Figures at the conditions that rules or plans state: US flows and volumes at the base of the rules."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from netplan.core.units import convert
from netplan.outputs.number_format import Figures, figures_for_weather
from netplan.planfile.model import Plan

__all__ = ["figures_for_plan", "figures_for_rules"]


def figures_for_plan(units: Figures, *plans: Plan) -> Figures:
    """Return the figures that papers of plans are written in.

    Flows and volumes are at the US base of the first plan's rules, where they have one; air temperatures
    have digits that tell those planned for from the coldest held for.

    Parameters
    ----------
    units : Figures
    *plans : Plan
        What is read side by side.
    """
    rules = plans[0].rules if plans else {}
    return figures_for_weather(figures_for_rules(units, rules), *plans)


def figures_for_rules(units: Figures, rules: Mapping[str, Any]) -> Figures:
    """Return the figures with flows and volumes at the US base of rules; as they are without one.

    Parameters
    ----------
    units : Figures
    rules : mapping
        As `Rules.values` returns them and a plan holds them.
    """
    gas = rules.get("gas", {})
    celsius, mbar_abs = gas.get("us_base_temp_c"), gas.get("us_base_mbar_abs")
    if not units.is_us or celsius is None or mbar_abs is None:
        return units
    from netplan.reference.gas import METRIC_STANDARD, ReferenceConditions, gas_from_composition, named_gas

    psi = convert(float(mbar_abs), "mbar", "psi")
    name = f"{units.number('temperature', float(celsius)):g} °F, {psi:.6g} psia"
    base = ReferenceConditions(name, convert(float(celsius), "degC", "K"), float(mbar_abs) * 100.0)
    known = gas.get("composition")
    made = named_gas(str(gas.get("name"))) if known is None else gas_from_composition(known)
    share = made.density_kg_per_m3_at(METRIC_STANDARD) / made.density_kg_per_m3_at(base)
    return units.at_reference(name, share)
