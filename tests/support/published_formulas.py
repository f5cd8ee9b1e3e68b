"""Published low-pressure formulas in their own units, to compare the program with; it uses none of them.

Each is a fit for its own range. The fuel gas code's, made for house lines, overstates the drop of a main:
459 Pa against 355 Pa by Darcy and Colebrook for 200 m³/h in 100 m of 102.2 mm bore (+29 %).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

__all__ = [
    "CODE_NATURAL_GAS",
    "CODE_PROPANE",
    "CodeGas",
    "code_flow_cfh",
    "code_flow_high_cfh",
    "mueller_flow_cfh",
    "pole_flow_m3_per_h",
    "renouard_drop_mbar",
    "spitzglass_flow_cfh",
]

_CODE_LOW: Final = 2313.0
_CODE_HIGH: Final = 2237.0
_CODE_BORE_POWER: Final = 2.623
_CODE_DROP_POWER: Final = 0.541
_SPITZGLASS: Final = 3550.0
_MUELLER: Final = 2971.0
_POLE: Final = 0.0071
_RENOUARD: Final = 23_200.0


@dataclass(frozen=True, slots=True)
class CodeGas:
    """Factors of the fuel gas code for a gas: `c_r` for viscosity and density, `y` for supercompression."""

    c_r: float
    y: float


CODE_NATURAL_GAS: Final = CodeGas(c_r=0.6094, y=0.9992)
"""Natural gas, specific gravity 0.60 (2018 International Fuel Gas Code, appendix A.4; unrounded constants from memory)."""
CODE_PROPANE: Final = CodeGas(c_r=1.2462, y=0.9910)
"""Undiluted propane, specific gravity 1.50 (2018 International Fuel Gas Code, appendix A.4; unrounded constants from memory)."""


def code_flow_cfh(
    bore_inch: float, drop_inch_water: float, length_ft: float, gas: CodeGas = CODE_NATURAL_GAS
) -> float:
    """Flow by the fuel gas code's low-pressure formula [ft³/h at 60 °F, 30 inHg].

    Q = 2313 D^2.623 (ΔH/(Cr L))^0.541, for inlets below 1.5 psi and small drops (2018 International Fuel Gas Code, appendix A.4; unrounded constants from memory).
    """
    return (
        _CODE_LOW
        * math.pow(bore_inch, _CODE_BORE_POWER)
        * math.pow(drop_inch_water / (gas.c_r * length_ft), _CODE_DROP_POWER)
    )


def code_flow_high_cfh(
    bore_inch: float,
    pressure_from_psi_abs: float,
    pressure_to_psi_abs: float,
    length_ft: float,
    gas: CodeGas = CODE_NATURAL_GAS,
) -> float:
    """Flow by the fuel gas code's formula for 1.5 psi and above [ft³/h at 60 °F, 30 inHg].

    Q = 2237 D^2.623 ((P1² - P2²) Y/(Cr L))^0.541 (2018 International Fuel Gas Code, appendix A.4; unrounded constants from memory).
    """
    apart = pressure_from_psi_abs**2 - pressure_to_psi_abs**2
    return (
        _CODE_HIGH
        * math.pow(bore_inch, _CODE_BORE_POWER)
        * math.pow(apart * gas.y / (gas.c_r * length_ft), _CODE_DROP_POWER)
    )


def spitzglass_flow_cfh(
    bore_inch: float, drop_inch_water: float, length_ft: float, specific_gravity: float
) -> float:
    """Flow by Spitzglass's low-pressure formula [ft³/h], up to 1 psi and bores of about 10 in.

    Q = 3550 √(D⁵ h / (S L (1 + 3.6/D + 0.03 D))) (constant 3550 from memory).
    """
    shape = 1.0 + 3.6 / bore_inch + 0.03 * bore_inch
    return _SPITZGLASS * math.sqrt(bore_inch**5 * drop_inch_water / (specific_gravity * length_ft * shape))


def mueller_flow_cfh(
    bore_inch: float, drop_inch_water: float, length_ft: float, specific_gravity: float
) -> float:
    """Flow by Mueller's low-pressure formula [ft³/h], smooth pipe, turbulent.

    Q = 2971 D^2.725 (h/L)^0.575 / S^0.425 (constant 2971 from memory).
    """
    return (
        _MUELLER
        * math.pow(bore_inch, 2.725)
        * math.pow(drop_inch_water / length_ft, 0.575)
        / math.pow(specific_gravity, 0.425)
    )


def pole_flow_m3_per_h(bore_mm: float, drop_mbar: float, length_m: float, relative_density: float) -> float:
    """Flow by Pole's formula [m³/h], up to 75 mbar: a constant friction factor (metric constant 0.0071 from memory).

    Q = 0.0071 √(d⁵ h / (s L)).
    """
    return _POLE * math.sqrt(bore_mm**5 * drop_mbar / (relative_density * length_m))


def renouard_drop_mbar(
    flow_m3_per_h: float, bore_mm: float, length_m: float, relative_density: float
) -> float:
    """Drop by Renouard's linear formula [mbar], flows at 0 °C, up to 50 mbar gauge (UNE 60621, constant 23200 from memory).

    ΔP = 23200 s L Q^1.82 / D^4.82, L in m; the flow over the bore below 150 (m³/h)/mm.
    """
    return _RENOUARD * relative_density * length_m * math.pow(flow_m3_per_h, 1.82) / math.pow(bore_mm, 4.82)
