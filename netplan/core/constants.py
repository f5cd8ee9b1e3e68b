"""Physical constants and reference conditions, each with its source.

Plain floats in SI base units, for inner loops.
"""

from __future__ import annotations

from typing import Final

GAS_CONSTANT_J_PER_MOL_K: Final = 8.314462618
"""Molar gas constant [J/(mol K)] (source: si)."""

GRAVITY_M_PER_S2: Final = 9.80665
"""Standard gravity [m/s²] (source: standard_gravity)."""

ATMOSPHERE_PA_ABS: Final = 101_325.0
"""Standard atmosphere, pressure of the reference conditions [Pa absolute] (source: standard_atmosphere)."""

ZERO_CELSIUS_K: Final = 273.15
"""0 °C [K] (source: si)."""

STANDARD_TEMPERATURE_K: Final = 288.15
"""Temperature of the reference conditions, 15 °C [K] (source: iso_13443)."""

PA_PER_MBAR: Final = 100.0
"""Pascals in a millibar [Pa/mbar] (source: si)."""

MM_PER_INCH: Final = 25.4
"""Millimetres in an inch, exactly [mm/in] (source: si)."""

SECONDS_PER_HOUR: Final = 3600.0
"""Seconds in an hour [s/h] (source: si)."""

SECONDS_PER_MINUTE: Final = 60.0
"""Seconds in a minute [s/min] (source: si)."""

MINUTES_PER_HOUR: Final = 60.0
"""Minutes in an hour [min/h] (source: si)."""

HOURS_PER_DAY: Final = 24
"""Hours in a day [h/d] (source: si)."""

MM_PER_M: Final = 1000.0
M_PER_KM: Final = 1000.0
"""Millimetres in a metre [mm/m] (source: si)."""
