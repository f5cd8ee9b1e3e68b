"""One option of a plan folder: its solved state, where each number stands, its gas, the drop along a pipe."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.constants import GRAVITY_M_PER_S2
from netplan.core.sources import How, source, sources
from netplan.explain.explanation_sheet import ExplanationSheet
from netplan.graph.connected_components import component_labels
from netplan.hydraulics import FlowConditions, friction_factor
from netplan.hydraulics.friction import LAMINAR_UP_TO_REYNOLDS, TURBULENT_FROM_REYNOLDS
from netplan.hydraulics.recorded_network import flow_conditions
from netplan.planfile import SolvedState
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import option_of_rank
from netplan.reference.gas import Gas
from netplan.rules import Rules, checked_rules, default_rules, default_rules_text

__all__ = [
    "AIR",
    "FLOW_SOURCES",
    "RecordedOption",
    "friction",
    "friction_words",
    "give_gas",
    "give_heights",
    "one_place",
    "recorded_option",
    "rule_bore_mm",
    "rule_origin",
    "source_line",
]


BORE_DIGIT_MM: Final = 0.0501
AIR = "conventional value of the standard atmosphere (source standard_atmosphere)"
FLOW_SOURCES = ("colebrook", "moody", "iso_6976", "wilke")


@dataclass(frozen=True, slots=True, eq=False)
class RecordedOption:
    """One option as it is on record: what plan.json says of it, and its solved state.

    Parameters
    ----------
    plan : Plan
    option : Option
    rules : Rules
        The rules it was planned by, as plan.json states them.
    state : SolvedState
    """

    plan: Plan
    option: Option
    rules: Rules
    state: SolvedState

    @property
    def conditions(self) -> FlowConditions:
        """Gas and ground temperature."""
        return flow_conditions(self.rules)

    @property
    def gas(self) -> Gas:
        """The gas of the rules."""
        return self.conditions.gas

    def height_m(self, node: int) -> float:
        """Return the height of a node [m]; NaN where it is not known."""
        nodes = self.state.nodes
        return float(nodes.at(nodes.height_m, np.array([node]))[0])

    def pressure_mbar(self, node: int) -> float:
        """Return the solved pressure at a node [mbar gauge]; NaN without gas."""
        nodes = self.state.nodes
        return float(nodes.at(nodes.pressure_mbar, np.array([node]))[0])

    def pressure_before_mbar(self, node: int) -> float:
        """Return the pressure before any stop at a node [mbar gauge]; NaN where there was none."""
        nodes = self.state.nodes
        return float(nodes.at(nodes.pressure_before_mbar, np.array([node]))[0])

    @property
    def place(self) -> str:
        """Where the option stands in plan.json."""
        return f"plan.json, option {self.option.rank}"


def recorded_option(plan: Plan, state: SolvedState) -> RecordedOption:
    """Put an option of a plan and its solved state together.

    Raises
    ------
    BadInputError
        When the plan has no such option, or its rules cannot be used.
    """
    option = option_of_rank(plan, state.option)
    return RecordedOption(plan, option, checked_rules(plan.rules, "plan.json: rules"), state)


def one_place(recorded: RecordedOption) -> dict[int, int]:
    """Return for every node the least node that open pieces without any length join it with."""
    pipes = recorded.state.pipes
    flat = (pipes.length_m == 0.0) & (pipes.loss_coefficient == 0.0) & pipes.is_open
    nodes = np.unique(np.concatenate([pipes.from_node, pipes.to_node, recorded.state.nodes.node]))
    a, b = (np.searchsorted(nodes, ends[flat]) for ends in (pipes.from_node, pipes.to_node))
    label, _ = component_labels(len(nodes), a, b)
    first: dict[int, int] = {}
    return {int(node): first.setdefault(int(label[row]), int(node)) for row, node in enumerate(nodes)}


def source_line(key: str) -> str:
    """Return a source as one line, its key first."""
    return f"{key}: {source(key).line()}"


def rule_bore_mm(recorded: RecordedOption, bore_mm: float) -> float:
    """Return the bore of the rules' list that plan.json states to 0.1 mm [mm]."""
    near = [bore for bore in recorded.rules.bypass.bores_mm if abs(bore - bore_mm) <= BORE_DIGIT_MM]
    return near[0] if len(near) == 1 else bore_mm


def rule_origin(rules: Rules, key: str) -> str:
    """Return where a rule's value comes from: the shipped rules' own source, or the operator's file.

    Parameters
    ----------
    rules : Rules
        Those of the plan.
    key : str
        ``"table.key"`` as in the rules file.
    """
    table, name = key.split(".")
    if getattr(getattr(rules, table), name) != getattr(getattr(default_rules(), table), name):
        return f"rule {key}, the operator's own; plan.json, rules"
    return f"rule {key} as shipped: {_shipped_note(table, name)}"


def _shipped_note(table: str, name: str) -> str:
    """Return the comment behind a key of the shipped rules, its source key spelt out where it is one."""
    inside = False
    for line in default_rules_text().splitlines():
        text = line.strip()
        if text.startswith("["):
            inside = text == f"[{table}]"
        elif inside and text.partition("=")[0].strip() == name:
            return _spelt_out(text.rpartition("# ")[2])
    return "without a note"


def _spelt_out(note: str) -> str:
    for key, known in sources().items():
        if f" {key}" in note and known.how not in (How.EXAMPLE, How.OWN):
            return f"{note} [{known.line()}]"
    return note


def give_gas(sheet: ExplanationSheet, recorded: RecordedOption) -> None:
    """Write down density, p/ρ and viscosity of the gas, and the air pressure."""
    gas = recorded.conditions.properties()
    name = recorded.rules.gas.name or "the rules' composition"
    of = f"{name}, rule gas.name or gas.composition"
    ground = f"{recorded.rules.gas.ground_temp_c:g} °C (rule gas.ground_temp_c)"
    sheet.given(
        "rho",
        gas.density_kg_per_m3_std,
        "kg/m³",
        "density at 15 °C, 101.325 kPa",
        f"{of}; table components.csv (source iso_6976)",
    )
    sheet.given(
        "e",
        gas.pressure_per_density,
        "J/kg",
        f"pressure over density, Z R T / M at {ground}",
        "table components.csv (source iso_6976); Z at air pressure",
    )
    sheet.given(
        "mu", gas.viscosity_pa_s, "Pa s", f"dynamic viscosity at {ground}", "sources viscosity_library, wilke"
    )
    sheet.given("air", recorded.conditions.atmospheric_pressure_pa_abs, "Pa absolute", "air pressure", AIR)


def give_heights(sheet: ExplanationSheet, recorded: RecordedOption) -> float:
    """Write down what heights need and return the height the air pressure is given at [m]."""
    heights = [recorded.height_m(int(node)) for node in recorded.state.stations.node]
    datum = next((height for height in heights if math.isfinite(height)), 0.0)
    sheet.given("g", GRAVITY_M_PER_S2, "m/s²", "gravity", "source standard_gravity")
    sheet.given(
        "e_air",
        recorded.conditions.air_pressure_per_density(),
        "J/kg",
        "pressure over density of the air outside, at ground temperature",
        "molar gas constant (source si), molar mass of dry air (source iso_6976)",
    )
    sheet.given(
        "h0", datum, "m", "height of that air pressure", "layer nodes, height_m of the first station with one"
    )
    return datum


def friction(reynolds: float, relative_roughness: float) -> float:
    """Return the Darcy friction factor."""
    if reynolds == 0.0:
        return 0.0
    return float(friction_factor(np.array([reynolds]), np.array([relative_roughness]))[0])


def friction_words() -> str:
    """Return how the friction factor is worked out."""
    return (
        f"f: 64 / Re up to Re {LAMINAR_UP_TO_REYNOLDS:g}; from Re {TURBULENT_FROM_REYNOLDS:g} the root of "
        "1/√f = −2 log10(k / (3.7 d) + 2.51 / (Re √f)), to be checked by putting it in; between them the "
        "cubic in Re that meets both in value and slope (sources moody, colebrook)"
    )
