"""What the gas is, and the drop along a pipe: lines that several figures share."""

from __future__ import annotations

import math

import numpy as np

from netplan.core.constants import GRAVITY_M_PER_S2
from netplan.explain.recorded_option import RecordedOption
from netplan.explain.sheet import ExplanationSheet
from netplan.hydraulics import friction_factor
from netplan.hydraulics.friction import LAMINAR_UP_TO_REYNOLDS, TURBULENT_FROM_REYNOLDS

__all__ = ["AIR", "FLOW_SOURCES", "friction", "friction_words", "give_gas", "give_heights"]

AIR = "conventional value of the standard atmosphere (source standard_atmosphere)"
FLOW_SOURCES = ("colebrook", "moody", "iso_6976", "wilke")


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
