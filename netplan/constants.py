"""Physical constants and reference conditions, each with its source.

Plain floats in SI base units, for inner loops. `SOURCE_OF` says where each comes from; a test fails on a
constant without an entry or with an unknown key.
"""

from __future__ import annotations

from typing import Final

GAS_CONSTANT_J_PER_MOL_K: Final = 8.314462618
"""Molar gas constant [J/(mol K)]."""

GRAVITY_M_PER_S2: Final = 9.80665
"""Standard gravity [m/s²]."""

ATMOSPHERE_PA_ABS: Final = 101_325.0
"""Standard atmosphere, and the pressure of the reference conditions [Pa absolute]."""

ZERO_CELSIUS_K: Final = 273.15
"""0 °C [K]."""

STANDARD_TEMPERATURE_K: Final = 288.15
"""Temperature of the reference conditions, 15 °C [K]."""

PA_PER_MBAR: Final = 100.0
"""Pascals in a millibar [Pa/mbar]."""

SECONDS_PER_HOUR: Final = 3600.0
"""Seconds in an hour [s/h]."""

MM_PER_M: Final = 1000.0
"""Millimetres in a metre [mm/m]."""

SOURCE_OF: Final = {
    "GAS_CONSTANT_J_PER_MOL_K": "si",
    "GRAVITY_M_PER_S2": "standard_gravity",
    "ATMOSPHERE_PA_ABS": "standard_atmosphere",
    "ZERO_CELSIUS_K": "si",
    "STANDARD_TEMPERATURE_K": "iso_13443",
    "PA_PER_MBAR": "si",
    "SECONDS_PER_HOUR": "si",
    "MM_PER_M": "si",
}
