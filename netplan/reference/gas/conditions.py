"""Conditions that gas volumes are counted at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from netplan.core.constants import ATMOSPHERE_PA_ABS, STANDARD_TEMPERATURE_K, ZERO_CELSIUS_K
from netplan.core.units import convert, factor

__all__ = ["METRIC_NORMAL", "METRIC_STANDARD", "US_STANDARD", "ReferenceConditions"]


@dataclass(frozen=True, slots=True)
class ReferenceConditions:
    """A temperature and an absolute pressure, with the name to print beside every volume.

    Parameters
    ----------
    name : str
        How it is written.
    temperature_k : float
        Temperature [K].
    pressure_pa_abs : float
        Pressure [Pa absolute].
    """

    name: str
    temperature_k: float
    pressure_pa_abs: float


METRIC_STANDARD: Final = ReferenceConditions("15 °C, 101.325 kPa", STANDARD_TEMPERATURE_K, ATMOSPHERE_PA_ABS)
"""Standard conditions of ISO 13443, which every flow and volume of this package is at."""

METRIC_NORMAL: Final = ReferenceConditions("0 °C, 101.325 kPa", ZERO_CELSIUS_K, ATMOSPHERE_PA_ABS)
"""Normal conditions, as used on the European continent."""

US_STANDARD: Final = ReferenceConditions(
    "60 °F, 14.73 psia", convert(60.0, "degF", "K"), 14.73 * factor("psi", "Pa")
)
"""The usual base of US gas measurement."""
