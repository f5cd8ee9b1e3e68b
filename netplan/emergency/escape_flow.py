"""Gas escaping through a hole: an order of magnitude, as a range for each size of hole."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from netplan.core.constants import ATMOSPHERE_PA_ABS, MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.planfile import emergency_answer as model
from netplan.reference.gas import METRIC_STANDARD, Gas

__all__ = ["DISCHARGE_LEAST", "DISCHARGE_MOST", "ESCAPE_FORMULA", "escape_m3_per_s_std", "escape_range"]

DISCHARGE_LEAST: Final = 0.6
DISCHARGE_MOST: Final = 1.0
"""Discharge coefficients of a sharp-edged hole and of an open end without loss [-] (common practice)."""
ESCAPE_FORMULA: Final = (
    "Q = Cd A sqrt(2k/(k-1) p1 rho1 (r^(2/k) - r^((k+1)/k))) / rho_std; r = p2/p1, at least critical"
)
ESCAPE_SOURCE: Final = "orifice discharge of an ideal gas, common practice, from memory"
NOTE_SOLVED: Final = (
    "order of magnitude, at the pressure solved beside each hole while gas escapes; not for distances"
)
NOTE: Final = "order of magnitude, at the pressure beside the hole held up; not for distances"


def escape_m3_per_s_std(
    hole_m: float,
    pressure_pa_gauge: float,
    *,
    atmospheric_pa_abs: float,
    density_std_kg_per_m3: float,
    density_kg_per_m3_at_pa: float,
    isentropic_exponent: float = 1.3,
    discharge: float = DISCHARGE_LEAST,
) -> float:
    """Return the flow through a round hole [m³/s at 15 °C, 101.325 kPa].

    Parameters
    ----------
    hole_m : float
        Diameter [m].
    pressure_pa_gauge : float
        Beside the hole, at rest [Pa gauge]; not below zero.
    atmospheric_pa_abs : float
        Outside [Pa absolute].
    density_std_kg_per_m3 : float
        At 15 °C and 101.325 kPa [kg/m³].
    density_kg_per_m3_at_pa : float
        Beside the hole [kg/m³].
    isentropic_exponent : float
        Of the gas [-]; about 1.3 for natural gas (from memory).
    discharge : float
        Discharge coefficient [-].

    Notes
    -----
    Isentropic flow of an ideal gas to the narrowest section: p2/p1 not below the critical ratio
    (2/(k+1))^(k/(k-1)), beyond which the flow no longer grows with a lower p2.
    """
    if pressure_pa_gauge <= 0.0:
        return 0.0
    k, upstream = isentropic_exponent, pressure_pa_gauge + atmospheric_pa_abs
    ratio = max(atmospheric_pa_abs / upstream, (2.0 / (k + 1.0)) ** (k / (k - 1.0)))
    speed_head = 2.0 * k / (k - 1.0) * upstream * density_kg_per_m3_at_pa
    flux_kg_per_s_m2 = math.sqrt(speed_head * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k)))
    area_m2 = math.pi / 4.0 * hole_m**2
    return discharge * area_m2 * flux_kg_per_s_m2 / density_std_kg_per_m3


def escape_range(
    main_id: str,
    bore_m: float,
    holes_mm: tuple[float, ...],
    pressure_pa_gauge: float,
    gas: Gas,
    ground_k: float,
    *,
    held_pa: Mapping[tuple[float, float], float] = MappingProxyType({}),
    is_solved: bool = False,
) -> model.EscapeRange:
    """Return what escapes through each of some holes, and through the full bore.

    Parameters
    ----------
    main_id : str
    bore_m : float
        Of the main [m]: wider holes than this are left out.
    holes_mm : tuple of float
        Diameters [mm].
    pressure_pa_gauge : float
        Beside the hole before the hit [Pa gauge].
    gas : Gas
    ground_k : float
        Temperature of the gas [K].
    held_pa : mapping of (float, float) to float, optional
        Solved pressure beside a hole, by its size [mm] and its discharge coefficient [Pa gauge]; that before
        the hit, held up, where it is left out.
    is_solved : bool
        Whether the pressures are solved; else they are set outlets.
    """
    bore_mm = bore_m * MM_PER_M
    flows = []
    for hole_mm in (*(size for size in holes_mm if size < bore_mm), bore_mm):
        least, most = (
            escape_m3_per_s_std(
                hole_mm / MM_PER_M,
                beside_pa := held_pa.get((hole_mm, discharge), pressure_pa_gauge),
                atmospheric_pa_abs=ATMOSPHERE_PA_ABS,
                density_std_kg_per_m3=gas.density_kg_per_m3_at(METRIC_STANDARD),
                density_kg_per_m3_at_pa=gas.density_kg_per_m3(ground_k, beside_pa + ATMOSPHERE_PA_ABS),
                discharge=discharge,
            )
            * SECONDS_PER_HOUR
            for discharge in (DISCHARGE_LEAST, DISCHARGE_MOST)
        )
        flows.append(
            model.EscapeFlow(hole_mm=hole_mm, full_bore=hole_mm == bore_mm, least_m3h=least, most_m3h=most)
        )
    return model.EscapeRange(
        main_id=main_id,
        pressure_mbar=pressure_pa_gauge / PA_PER_MBAR,
        pressure_of="solved" if is_solved else "set outlet",
        flows=tuple(flows),
        formula=ESCAPE_FORMULA,
        source=ESCAPE_SOURCE,
        note=NOTE_SOLVED if held_pa else NOTE,
    )
