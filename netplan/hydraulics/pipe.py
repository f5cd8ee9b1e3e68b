"""One level pipe: drop for a flow, flow for a drop, bore for both.

Isothermal compressible Darcy flow: p1² - p2² = (16/π²) (Z R T/M) (f L/D + K) ṁ|ṁ| / D⁴ in absolute
pressures, with the friction factor of `netplan.hydraulics.friction`. It holds for steady flow below about a
tenth of the speed of sound (40 m/s) and up to 1 bar gauge; `pipe_findings` says when that is left.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from scipy.optimize import brentq

from netplan.errors import BadInputError, NotSolvedError
from netplan.findings import Finding, in_order
from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.drop import DropLaw, drop_law
from netplan.hydraulics.validity import flow_findings

__all__ = ["bore_for", "pipe_drop", "pipe_findings", "pipe_flow", "pipe_velocity"]

SMALLEST_BORE_M: Final = 1e-3
LARGEST_BORE_M: Final = 3.0
_TOLERANCE: Final = 1e-14


def _law(
    length_m: float, bore_m: float, roughness_m: float, loss_coefficient: float, conditions: FlowConditions
) -> DropLaw:
    for name, value, least in (
        ("length", length_m, 0.0),
        ("bore", bore_m, np.finfo(float).tiny),
        ("roughness", roughness_m, 0.0),
        ("loss coefficient", loss_coefficient, 0.0),
    ):
        if not (math.isfinite(value) and value >= least):
            raise BadInputError(f"pipe: {name} is {value}; give a number above 0")
    gas = conditions.properties()
    one = np.ones(1)
    return drop_law(
        one * length_m,
        one * bore_m,
        one * roughness_m,
        one * loss_coefficient,
        1.0,
        gas.pressure_per_density,
        gas.viscosity_pa_s,
    )


def _squares_apart(law: DropLaw, flow_kg_per_s: float) -> float:
    return float(law.drop_and_slope(np.array([flow_kg_per_s]))[0][0])


def pipe_drop(
    flow_m3_per_s_std: float,
    pressure_from_pa_gauge: float,
    length_m: float,
    bore_m: float,
    roughness_m: float,
    conditions: FlowConditions,
    *,
    loss_coefficient: float = 0.0,
) -> float:
    """Pressure lost along a pipe.

    Parameters
    ----------
    flow_m3_per_s_std : float
        Flow, + away from the end whose pressure is given [m³/s at 15 °C, 101.325 kPa].
    pressure_from_pa_gauge : float
        Pressure at that end [Pa gauge], 0 to 1 bar.
    length_m, bore_m, roughness_m : float
        Length ≥ 0, inner diameter > 0 and wall roughness ≥ 0 [m].
    conditions : FlowConditions
        Gas, temperature, air pressure.
    loss_coefficient : float
        Local losses on the velocity head in the bore [-].

    Returns
    -------
    float
        Pressure there less pressure at the other end [Pa]; below zero for a flow towards the given end.

    Raises
    ------
    NotSolvedError
        When the pipe cannot carry that flow down to a vacuum.
    """
    law = _law(length_m, bore_m, roughness_m, loss_coefficient, conditions)
    start = pressure_from_pa_gauge + conditions.atmospheric_pressure_pa_abs
    apart = _squares_apart(law, flow_m3_per_s_std * conditions.properties().density_kg_per_m3_std)
    if apart >= start * start:
        raise NotSolvedError(
            f"pipe: {flow_m3_per_s_std:.4g} m³/s does not pass {length_m:.4g} m of {bore_m:.4g} m bore; "
            "take a larger bore or a smaller flow"
        )
    return apart / (start + math.sqrt(start * start - apart))


def pipe_flow(
    pressure_from_pa_gauge: float,
    pressure_to_pa_gauge: float,
    length_m: float,
    bore_m: float,
    roughness_m: float,
    conditions: FlowConditions,
    *,
    loss_coefficient: float = 0.0,
) -> float:
    """Flow that a pipe carries between two pressures [m³/s at 15 °C, 101.325 kPa], + from the first.

    Parameters
    ----------
    pressure_from_pa_gauge, pressure_to_pa_gauge : float
        Pressures at its ends [Pa gauge].
    length_m, bore_m, roughness_m, conditions, loss_coefficient
        As for `pipe_drop`; length and loss coefficient not both 0.

    Raises
    ------
    BadInputError
        When the pipe has no resistance at all.
    """
    law = _law(length_m, bore_m, roughness_m, loss_coefficient, conditions)
    air = conditions.atmospheric_pressure_pa_abs
    apart = (pressure_from_pa_gauge + air) ** 2 - (pressure_to_pa_gauge + air) ** 2
    if apart == 0.0:
        return 0.0
    if length_m == 0.0 and loss_coefficient == 0.0:
        raise BadInputError("pipe: no length and no local loss leave the flow open; give one of them")
    size = _root(lambda flow: _squares_apart(law, flow) - abs(apart))
    return math.copysign(size, apart) / conditions.properties().density_kg_per_m3_std


def _root(excess: Callable[[float], float]) -> float:
    # Strictly increasing from below zero at no flow.
    high = 1e-6
    while excess(high) < 0.0:
        high *= 4.0
    return float(brentq(excess, 0.0, high, xtol=1e-18, rtol=_TOLERANCE, maxiter=300))


def bore_for(
    flow_m3_per_s_std: float,
    drop_pa: float,
    pressure_from_pa_gauge: float,
    length_m: float,
    roughness_m: float,
    conditions: FlowConditions,
    *,
    loss_coefficient: float = 0.0,
) -> float:
    """Bore with which a pipe loses just `drop_pa` at a flow [m].

    Parameters
    ----------
    flow_m3_per_s_std : float
        Flow, > 0 [m³/s at 15 °C, 101.325 kPa].
    drop_pa : float
        Drop allowed, > 0 and less than the absolute pressure [Pa].
    pressure_from_pa_gauge, length_m, roughness_m, conditions, loss_coefficient
        As for `pipe_drop`.

    Raises
    ------
    BadInputError
        When flow or drop is not above 0.
    NotSolvedError
        When no bore from 1 mm to 3 m does it.
    """
    start = pressure_from_pa_gauge + conditions.atmospheric_pressure_pa_abs
    if not (flow_m3_per_s_std > 0.0 and 0.0 < drop_pa < start):
        raise BadInputError(
            f"bore: flow {flow_m3_per_s_std} and drop {drop_pa} are not both above 0; correct them"
        )
    allowed = drop_pa * (2.0 * start - drop_pa)
    mass = flow_m3_per_s_std * conditions.properties().density_kg_per_m3_std

    def excess(log_bore: float) -> float:
        bore = math.exp(log_bore)
        rough = min(roughness_m, 0.05 * bore)
        law = _law(length_m, bore, rough, loss_coefficient, conditions)
        return math.log(_squares_apart(law, mass) / allowed)

    low, high = math.log(SMALLEST_BORE_M), math.log(LARGEST_BORE_M)
    if length_m == 0.0 and loss_coefficient == 0.0:
        return SMALLEST_BORE_M
    if excess(low) < 0.0 or excess(high) > 0.0:
        raise NotSolvedError(
            f"bore: none from 1 mm to 3 m carries {flow_m3_per_s_std:.4g} m³/s at {drop_pa:.4g} Pa over "
            f"{length_m:.4g} m; check flow and drop"
        )
    return math.exp(float(brentq(excess, low, high, xtol=1e-15, rtol=_TOLERANCE, maxiter=300)))


def pipe_velocity(
    flow_m3_per_s_std: float, pressure_pa_gauge: float, bore_m: float, conditions: FlowConditions
) -> float:
    """Mean velocity at a pressure [m/s], of the sign of the flow [m³/s at 15 °C, 101.325 kPa]."""
    gas = conditions.properties()
    density = (pressure_pa_gauge + conditions.atmospheric_pressure_pa_abs) / gas.pressure_per_density
    return flow_m3_per_s_std * gas.density_kg_per_m3_std / density / (0.25 * math.pi * bore_m**2)


def pipe_findings(
    flow_m3_per_s_std: float,
    pressure_pa_gauge: float,
    bore_m: float,
    roughness_m: float,
    conditions: FlowConditions,
    feature_id: str = "",
) -> tuple[Finding, ...]:
    """Return what leaves the range that the flow equation holds for, in one pipe."""
    gas = conditions.properties()
    one = np.ones(1)
    return in_order(
        flow_findings(
            [feature_id],
            one * flow_m3_per_s_std * gas.density_kg_per_m3_std,
            one * pressure_pa_gauge,
            one * bore_m,
            one * roughness_m,
            conditions,
        )
    )
