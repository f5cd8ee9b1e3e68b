"""The figures of an option that can be explained, by name."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.core.errors import BadInputError
from netplan.explain.burden_figures import explain_burden, explain_relighting
from netplan.explain.demand_figures import explain_demand
from netplan.explain.explanation_sheet import Explanation
from netplan.explain.feed_figures import explain_drop, explain_flow, explain_velocity
from netplan.explain.gas_figures import explain_gas, explain_methane, explain_nitrogen, explain_purge
from netplan.explain.hours_figures import (
    explain_gas_back,
    explain_latest_cut,
    explain_off_from,
    explain_on_by,
)
from netplan.explain.pressure_figures import explain_pressure
from netplan.explain.recorded_option import recorded_option
from netplan.planfile import SolvedState
from netplan.planfile.model import Option, Plan

__all__ = ["FigureName", "explain", "figures_to_explain"]

_WHOLE = {
    "burden": explain_burden,
    "gas": explain_gas,
    "co2e": explain_methane,
    "purge-velocity": explain_purge,
    "purge-nitrogen": explain_nitrogen,
    "relighting": explain_relighting,
    "gas-back": explain_gas_back,
    "off-from": explain_off_from,
    "on-by": explain_on_by,
    "latest-cut": explain_latest_cut,
}
_OF_ONE = {
    "pressure": explain_pressure,
    "flow": explain_flow,
    "drop": explain_drop,
    "velocity": explain_velocity,
}


@dataclass(frozen=True, slots=True)
class FigureName:
    """A figure that can be explained.

    Parameters
    ----------
    name : str
        What it is asked for by, such as ``pressure:S1``.
    meaning : str
    stated : str
        What the plan says, with its unit.
    """

    name: str
    meaning: str
    stated: str


def figures_to_explain(option: Option) -> tuple[FigureName, ...]:
    """Return the figures of an option that can be explained."""
    rows = [
        FigureName("burden", "what ranks the options", f"{option.burden:.2f} {option.currency}"),
        FigureName("gas", "gas lost: line content and purge", f"{option.vent.total_m3} m³"),
        FigureName("co2e", "methane lost, as carbon dioxide", f"{option.vent.co2e_kg} kg CO2e"),
    ]
    if option.purge.least_velocity_m_s is not None:
        rows.append(
            FigureName("purge-velocity", "least purge velocity", f"{option.purge.least_velocity_m_s} m/s")
        )
    if option.purge.nitrogen_m3 is not None and all(
        point.slug_m3 is not None for point in option.purge.points if point.role == "vent"
    ):
        rows.append(
            FigureName("purge-nitrogen", "nitrogen ahead of the gas", f"{option.purge.nitrogen_m3:.3f} m³")
        )
    if any(customer.effect == "off" for customer in option.customers):
        rows.append(FigureName("relighting", "time the crew needs to relight", "steps of relighting"))
    rows += _hours(option)
    rows += [
        FigureName(f"pressure:{s.id}", f"live side of stop {s.id}", f"{s.pressure_mbar} mbar gauge")
        for s in option.stops
        if s.pressure_mbar is not None
    ]
    for bypass in option.bypasses:
        rows += [
            FigureName(f"flow:{bypass.id}", f"what {bypass.id} carries", f"{bypass.flow_m3h} m³/h"),
            FigureName(f"drop:{bypass.id}", f"pressure lost in {bypass.id}", f"{bypass.drop_mbar} mbar"),
            FigureName(f"velocity:{bypass.id}", f"velocity in {bypass.id}", f"{bypass.velocity_m_s} m/s"),
        ]
    return tuple(rows)


def _hours(option: Option) -> list[FigureName]:
    line = option.timeline
    if line is None:
        return []
    rows = [FigureName("gas-back", "gas back after the start", f"{line.gas_back_min} min")]
    if line.off_from_min is not None:
        rows.append(FigureName("off-from", "first meter off after the start", f"{line.off_from_min} min"))
    if line.relit_min is not None:
        rows.append(FigureName("on-by", "last meter relit after the start", f"{line.relit_min} min"))
    if line.latest_cut_min is not None:
        rows.append(
            FigureName("latest-cut", "latest time to cut", f"{line.latest_cut} ({line.latest_cut_min} min)")
        )
    return rows


def explain(plan: Plan, state: SolvedState, figure: str) -> Explanation:
    """Explain one figure of an option from its plan folder alone.

    Parameters
    ----------
    plan : Plan
        As read from plan.json.
    state : SolvedState
        The option's, as read from plan.gpkg.
    figure : str
        One of `figures_to_explain`; ``pressure:`` also takes the id of a kept
        customer, ``demand:`` that of any.

    Raises
    ------
    BadInputError
        When there is no such option or figure, or the folder lacks what it is explained from.
    """
    recorded = recorded_option(plan, state)
    kind, colon, ident = figure.partition(":")
    if not colon and kind in {row.name for row in figures_to_explain(recorded.option)}:
        return _WHOLE[kind](recorded)
    if colon and kind == "demand":
        return explain_demand(recorded, ident)
    if colon and kind in _OF_ONE:
        return _OF_ONE[kind](recorded, ident)
    known = ", ".join(row.name for row in figures_to_explain(recorded.option))
    raise BadInputError(
        f"{figure[:60]}: option {recorded.option.rank} has no such figure; choose one of {known}"
    )
