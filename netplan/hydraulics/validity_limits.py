"""Where a flow leaves the range that the flow equations hold for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowLinks, FlowState
from netplan.hydraulics.friction import (
    LAMINAR_UP_TO_REYNOLDS,
    TURBULENT_FROM_REYNOLDS,
    friction_factor,
    turbulent_factor,
)

__all__ = ["LIMITS", "Limit", "links_beyond", "transition_allowance_pa"]


MOST_VELOCITY_M_PER_S: Final = 40.0
"""About a tenth of the speed of sound in natural gas: beyond, kinetic energy counts [m/s] (source: own)."""
MOST_PRESSURE_PA_GAUGE: Final = 1e5
"""Beyond, one value of Z is off by more than 0.25 % for natural gas [Pa gauge] (source: own)."""
MOST_RELATIVE_ROUGHNESS: Final = 0.05
"""End of the range of Colebrook's law [-] (source: colebrook)."""


@dataclass(frozen=True, slots=True)
class Limit:
    """An end of the range of validity.

    Parameters
    ----------
    code : str
    what, mend : str
        What is beyond it, and what to make of it, in words.
    """

    code: str
    what: str
    mend: str


LIMITS: Final = (
    Limit(
        "velocity-beyond-validity",
        f"gas runs faster than {MOST_VELOCITY_M_PER_S:g} m/s",
        "the drop is understated; take a larger bore",
    ),
    Limit(
        "pressure-beyond-validity",
        f"pressure is above {MOST_PRESSURE_PA_GAUGE / 1e5:g} bar gauge",
        "the equations are for low pressure; use these figures with care",
    ),
    Limit(
        "roughness-beyond-validity",
        f"roughness is more than {MOST_RELATIVE_ROUGHNESS:g} of the bore",
        "the drop is understated; check bore and roughness",
    ),
)


def links_beyond(links: FlowLinks, state: FlowState, conditions: FlowConditions) -> tuple[Flags, ...]:
    """Return for each of `LIMITS` which links are beyond it.

    Parameters
    ----------
    links : FlowLinks
    state : FlowState
        Solved on a network of these links; a link without a number is beyond no limit.
    conditions : FlowConditions
        What it was solved with.

    Returns
    -------
    tuple of bool arrays, shape (links,)
    """
    velocity, _ = _velocity_and_density(links, state, conditions)
    with np.errstate(invalid="ignore"):
        return (
            velocity > MOST_VELOCITY_M_PER_S,
            np.asarray(_pressure_pa_gauge(links, state) > MOST_PRESSURE_PA_GAUGE),
            # Friction counts where gas flows.
            (links.roughness_m > MOST_RELATIVE_ROUGHNESS * links.bore_m) & (velocity > 0.0),
        )


def transition_allowance_pa(links: FlowLinks, state: FlowState, conditions: FlowConditions) -> Floats:
    """Return how much more each link drops should its flow be turbulent where neither regime is sure [Pa].

    Between both regimes the friction factor is a convention, a smooth curve from one to the other. The most
    that is known of is that of turbulent flow.

    Parameters
    ----------
    links, state, conditions
        As for `links_beyond`.

    Returns
    -------
    float array, shape (links,)
        At least 0; 0 where the flow is laminar or turbulent, and without a number.
    """
    velocity, density = _velocity_and_density(links, state, conditions)
    with np.errstate(invalid="ignore"):
        reynolds = density * velocity * links.bore_m / conditions.properties().viscosity_pa_s
        row = np.flatnonzero((reynolds > LAMINAR_UP_TO_REYNOLDS) & (reynolds < TURBULENT_FROM_REYNOLDS))
    bore = links.bore_m[row]
    relative = links.roughness_m[row] / bore
    more = turbulent_factor(reynolds[row], relative) - friction_factor(reynolds[row], relative)
    allowance = np.zeros(links.count)
    allowance[row] = (
        np.maximum(more, 0.0) / bore * 0.5 * density[row] * velocity[row] ** 2 * links.length_m[row]
    )
    return allowance


def _pressure_pa_gauge(links: FlowLinks, state: FlowState) -> Floats:
    ends = state.pressure_pa_gauge[np.stack([links.from_node, links.to_node])]
    return np.asarray(ends.min(axis=0))


def _velocity_and_density(
    links: FlowLinks, state: FlowState, conditions: FlowConditions
) -> tuple[Floats, Floats]:
    """Return velocity [m/s] and density [kg/m³] at the end of lower pressure; NaN without a number."""
    pressure_pa_abs = _pressure_pa_gauge(links, state) + conditions.atmospheric_pressure_pa_abs
    density = pressure_pa_abs / conditions.properties().pressure_per_density
    size = np.abs(state.flow_kg_per_s[: links.count])
    return size / density / (np.pi / 4.0 * links.bore_m**2), density
