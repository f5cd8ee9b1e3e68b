"""What the figures of a screen are called."""

from __future__ import annotations

from typing import Final

__all__ = ["CAUTION", "NAMES", "label"]

NAMES: Final = {
    "ends_customers": ("customers lost at its two ends", ""),
    "customers": ("customers without gas at the best stops", ""),
    "priority": ("priority customers among them", ""),
    "stranded": ("customers stranded", ""),
    "weak": ("customers below the least pressure", ""),
    "stops": ("stops", ""),
    "gas_m3": ("gas lost", "m³ at 15 °C, 101.325 kPa"),
    "burden_least": ("least burden", ""),
    "burden_without_feeds": ("burden without any feed", ""),
    "least_pressure_mbar": ("least pressure left", "mbar gauge"),
}
CAUTION: Final = (
    "Planning figures only, from lower bounds: no option was priced in full. No permit and no approved "
    "procedure; the operator's rules, local codes and licensed, competent people govern."
)


def label(figure: str, currency: str) -> str:
    """Return the name of a figure with its unit."""
    name, unit = NAMES[figure]
    unit = currency if figure.startswith("burden") else unit
    return f"{name} [{unit}]" if unit else name
