"""Let-by: gas past a stop through a stated leak path, never a constant per hour."""

from __future__ import annotations

import math
from dataclasses import dataclass

from netplan.core.constants import ATMOSPHERE_PA_ABS, MM_PER_M
from netplan.core.errors import BadInputError
from netplan.reference.gas import METRIC_STANDARD, Gas
from netplan.reference.purge_figures import LeakPath, purge_figure

__all__ = ["LetByAllowance", "let_by_allowance", "slit_m3_per_s_std"]


@dataclass(frozen=True, slots=True)
class LetByAllowance:
    """Gas that passes one stop.

    Parameters
    ----------
    flow_m3_per_s_std : float
        Through the stated path [m³/s at 15 °C, 101.325 kPa].
    across_pa : float
        Pressure across the barrier on the live side [Pa]; the vent behind it is open all the time, so it
        sees the whole gauge pressure.
    path : str
        The leak path in words.
    """

    flow_m3_per_s_std: float
    across_pa: float
    path: str


def let_by_allowance(
    path: LeakPath, bore_m: float, live_pa_gauge: float, ground_temperature_k: float, gas: Gas
) -> LetByAllowance:
    """Return what passes a barrier through a stated path while the vent behind it is open.

    Parameters
    ----------
    path : LeakPath
        Gap, contact length and shape.
    bore_m : float
        Bore of the main, > 0 [m].
    live_pa_gauge : float
        Pressure on the live side, ≥ 0 [Pa gauge].
    ground_temperature_k : float
        Temperature of the gas [K].
    gas : Gas

    Raises
    ------
    BadInputError
        For an impossible bore or pressure.
    """
    width = math.pi * bore_m * (1.0 if path.round_the_bore else 0.5)
    flow = slit_m3_per_s_std(path.gap_m, width, path.contact_m, live_pa_gauge, ground_temperature_k, gas)
    words = (
        f"{path.words}: {path.gap_m * MM_PER_M:g} mm high, {width * MM_PER_M:.0f} mm wide, "
        f"{path.contact_m * MM_PER_M:g} mm long"
    )
    return LetByAllowance(flow, live_pa_gauge, words)


def slit_m3_per_s_std(
    gap_m: float,
    width_m: float,
    contact_m: float,
    across_pa: float,
    ground_temperature_k: float,
    gas: Gas,
) -> float:
    """Return the flow through a narrow slit into the open air [m³/s at 15 °C, 101.325 kPa].

    Δp = 12 μ L v / h² + K ρ v² / 2: viscous drag between two plates, and the losses at both ends.

    Parameters
    ----------
    gap_m, width_m, contact_m : float
        Height h, width and length L of the slit along the flow, ≥ 0 [m].
    across_pa : float
        Pressure across it, ≥ 0 [Pa].
    ground_temperature_k : float
        Temperature of the gas [K].
    gas : Gas

    Notes
    -----
    Density at the mean of both pressures: fair up to 100 mbar, where it moves by 5 %.
    """
    if not (min(gap_m, width_m, contact_m, across_pa) >= 0.0 and math.isfinite(across_pa)):
        raise BadInputError(
            "let-by: gap, width, length and pressure across must all be known and ≥ 0; correct them"
        )
    if gap_m == 0.0 or width_m == 0.0 or across_pa == 0.0:
        return 0.0
    density = gas.density_kg_per_m3(ground_temperature_k, ATMOSPHERE_PA_ABS + across_pa / 2.0)
    drag = 12.0 * gas.viscosity_pa_s(ground_temperature_k) * contact_m / (gap_m * gap_m)
    inertia = purge_figure("slit_loss") * density / 2.0
    # Positive root of inertia v² + drag v = Δp, in the form that does not cancel for small v.
    velocity = 2.0 * across_pa / (drag + math.sqrt(drag * drag + 4.0 * inertia * across_pa))
    return velocity * gap_m * width_m * density / gas.density_kg_per_m3_at(METRIC_STANDARD)
