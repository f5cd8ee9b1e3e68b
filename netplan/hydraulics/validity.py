"""Where a flow leaves the range that its equation holds for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.findings import Finding, Severity, in_order
from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.friction import LAMINAR_UP_TO_REYNOLDS, TURBULENT_FROM_REYNOLDS
from netplan.hydraulics.model import FlowNetwork, FlowState

__all__ = ["flow_findings", "state_findings"]

Floats = npt.NDArray[np.float64]

MOST_VELOCITY_M_PER_S: Final = 40.0
"""About a tenth of the speed of sound in natural gas: beyond, kinetic energy counts [m/s] (source: own)."""
MOST_PRESSURE_PA_GAUGE: Final = 1e5
"""Beyond, one value of Z is off by more than 0.25 % for natural gas [Pa gauge] (source: own)."""
MOST_RELATIVE_ROUGHNESS: Final = 0.05
"""End of the range of Colebrook's law [-] (source: colebrook)."""
TRANSITION_MATTERS_PA_PER_M: Final = 0.05
"""Friction gradient above which a flow between both regimes is worth a note [Pa/m] (source: own)."""

_LAYER: Final = "flow"


def flow_findings(
    names: Sequence[str],
    flow_kg_per_s: Floats,
    pressure_pa_gauge: Floats,
    bore_m: Floats,
    roughness_m: Floats,
    conditions: FlowConditions,
) -> list[Finding]:
    """Return findings for links whose flow, pressure or wall leaves the range of validity.

    Parameters
    ----------
    names : sequence of str
        What to call each link; links without a number (NaN) are passed over.
    flow_kg_per_s, pressure_pa_gauge, bore_m, roughness_m : ndarray of float, shape (m,)
        Flow [kg/s], lower end pressure [Pa gauge], bore and roughness [m].
    """
    gas = conditions.properties()
    density = (pressure_pa_gauge + conditions.atmospheric_pressure_pa_abs) / gas.pressure_per_density
    size = np.abs(flow_kg_per_s)
    with np.errstate(invalid="ignore"):
        velocity = size / density / (0.25 * math.pi * bore_m**2)
        reynolds = 4.0 * size / (math.pi * bore_m * gas.viscosity_pa_s)
        gradient = 0.04 / bore_m * 0.5 * density * velocity**2
        checks = (
            (
                velocity > MOST_VELOCITY_M_PER_S,
                "velocity-beyond-validity",
                Severity.WARNING,
                f"gas runs faster than {MOST_VELOCITY_M_PER_S:g} m/s",
                "the drop is understated; take a larger bore",
            ),
            (
                pressure_pa_gauge > MOST_PRESSURE_PA_GAUGE,
                "pressure-beyond-validity",
                Severity.WARNING,
                f"pressure is above {MOST_PRESSURE_PA_GAUGE / 1e5:g} bar gauge",
                "these equations are for low pressure; use them with care",
            ),
            (
                roughness_m / bore_m > MOST_RELATIVE_ROUGHNESS,
                "roughness-beyond-validity",
                Severity.WARNING,
                f"roughness is more than {MOST_RELATIVE_ROUGHNESS:g} of the bore",
                "check bore and roughness",
            ),
            (
                (reynolds > LAMINAR_UP_TO_REYNOLDS)
                & (reynolds < TURBULENT_FROM_REYNOLDS)
                & (gradient > TRANSITION_MATTERS_PA_PER_M),
                "flow-in-transition",
                Severity.NOTE,
                "flow lies between laminar and turbulent, where friction is a convention",
                "allow for a drop up to a third larger there",
            ),
        )
    return [
        Finding(code, _LAYER, names[int(row)], severity, what, mend)
        for hit, code, severity, what, mend in checks
        for row in np.flatnonzero(hit)
    ]


def state_findings(
    network: FlowNetwork, state: FlowState, conditions: FlowConditions, names: Sequence[str] | None = None
) -> tuple[Finding, ...]:
    """Return what leaves the range of validity in a whole network.

    Parameters
    ----------
    network, state, conditions
        The network, its solution and what it was solved with.
    names : sequence of str, optional
        What to call each link; default its number.
    """
    links = network.links
    ends = state.pressure_pa_gauge[np.stack([links.from_node, links.to_node])]
    named = [str(row) for row in range(links.count)] if names is None else names
    return in_order(
        flow_findings(
            named,
            state.flow_kg_per_s[: links.count],
            ends.min(axis=0),
            links.bore_m,
            links.roughness_m,
            conditions,
        )
    )
