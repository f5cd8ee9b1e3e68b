"""Least purge velocity and flow, at which gas and air do not slide over each other, and how long it takes."""

from __future__ import annotations

import math

from netplan.core.constants import GRAVITY_M_PER_S2, SECONDS_PER_HOUR
from netplan.core.errors import BadInputError, OutsideValidityError
from netplan.reference.gas import Gas
from netplan.reference.purge_figures import purge_figure

__all__ = ["least_flow_m3_per_s", "least_velocity_m_s", "minutes_to_purge", "natural_gas_figures_hold"]


def natural_gas_figures_hold(gas: Gas) -> bool:
    """Return whether velocities and end points of natural gas hold for this gas.

    They do not for gas with more than 10 % hydrogen by volume, nor for gas much lighter or heavier than
    natural gas (relative density outside 0.5 to 0.8): such gas is purged through inert gas only.
    """
    light, heavy = purge_figure("relative_density_low"), purge_figure("relative_density_high")
    return (
        gas.hydrogen_fraction <= purge_figure("hydrogen_limit")
        and light <= gas.relative_density_ideal() <= heavy
    )


def least_velocity_m_s(bore_m: float, gas: Gas) -> float:
    """Return the least purge velocity in a bore, max(0.6 m/s, 0.5 √(g D)) [m/s actual].

    Parameters
    ----------
    bore_m : float
        Bore > 0 [m].
    gas : Gas
        Natural gas; the figures hold for nothing else.

    Raises
    ------
    OutsideValidityError
        For hydrogen-rich gas and gas of another density.
    BadInputError
        For an impossible bore.

    Notes
    -----
    Source: purge_velocity, a model from memory; the operator's own table governs.
    """
    if not bore_m > 0.0:
        raise BadInputError(f"purge: bore {bore_m:g} m is not above 0; correct the record")
    if not natural_gas_figures_hold(gas):
        raise OutsideValidityError(
            f"purge: the least velocity of natural gas does not hold for {gas.name} "
            f"({gas.hydrogen_fraction:.0%} hydrogen, relative density {gas.relative_density_ideal():.2f}); "
            "purge through inert gas by the operator's procedure"
        )
    return max(
        purge_figure("least_velocity_m_s"), purge_figure("froude") * math.sqrt(GRAVITY_M_PER_S2 * bore_m)
    )


def least_flow_m3_per_s(bore_m: float, gas: Gas) -> float:
    """Return the flow at the least purge velocity in a bore [m³/s actual]; Raises as `least_velocity_m_s`."""
    return least_velocity_m_s(bore_m, gas) * math.pi / 4.0 * bore_m * bore_m


def minutes_to_purge(volume_m3: float, volumes: float, flow_m3_per_s: float) -> float:
    """Return how long a purge takes [min].

    Parameters
    ----------
    volume_m3 : float
        Volume of the bore that is swept [m³ actual].
    volumes : float
        How many times it is driven through [-].
    flow_m3_per_s : float
        Flow > 0 [m³/s actual].
    """
    if not flow_m3_per_s > 0.0:
        raise BadInputError("purge: no flow, no end; raise the flow or purge with inert gas")
    return volumes * volume_m3 / flow_m3_per_s / SECONDS_PER_HOUR * 60.0
