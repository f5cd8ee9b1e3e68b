"""Quantities on the command line: a bare number in the unit that the help states, or one with its unit."""

from __future__ import annotations

from typing import Annotated, Final

import typer

from netplan.core.units import is_bare, quantity
from netplan.outputs.number_format import figures_of

__all__ = [
    "CHAINAGE",
    "DURATION",
    "LENGTH",
    "LON_LAT",
    "MAIN_CHAINAGE",
    "MAIN_FROM_TO",
    "PRESSURE",
    "SIZES",
    "TEMPERATURE",
    "AirTemp",
    "AirTempCelsius",
    "Hours",
    "air_temp_c",
    "air_temp_note",
    "degrees",
    "hours_of",
    "metres",
    "millibars",
    "millimetres",
]

CHAINAGE: Final = "CHAINAGE"
DURATION: Final = "DURATION"
LENGTH: Final = "LENGTH"
LON_LAT: Final = "LON,LAT"
MAIN_CHAINAGE: Final = "MAIN:CHAINAGE"
MAIN_FROM_TO: Final = "MAIN:FROM:TO"
PRESSURE: Final = "PRESSURE"
SIZES: Final = "SIZE,…"
TEMPERATURE: Final = "TEMPERATURE"

Hours = Annotated[
    str | None,
    typer.Option(metavar=DURATION, help="Length of the window [h], or with its unit: '540 min'."),
]
AirTemp = Annotated[
    str | None,
    typer.Option(
        metavar=TEMPERATURE,
        help="Air temperature of the window [°C; °F with --units us], or with its unit: '39 °F', '4 °C'.",
    ),
]
AirTempCelsius = Annotated[
    str | None,
    typer.Option(metavar=TEMPERATURE, help="Air temperature of the window [°C], or with its unit: '39 °F'."),
]

_PLAN_DIGITS: Final = 2
"""Digits of air temperatures in plan.json: what is planned for is what the plan states."""


def metres(text: str, option: str) -> float:
    """Read a length or chainage [m] of an option, such as ``"12"`` or ``"40 ft"``; bare metres always."""
    return quantity(text, "m", option)


def millimetres(text: str, option: str) -> float:
    """Read a size [mm] of an option, such as ``"63"`` or ``"2 in"``."""
    return quantity(text, "mm", option)


def millibars(text: str, option: str) -> float:
    """Read a gauge pressure [mbar] of an option, such as ``"19"`` or ``"7 inH2O"``."""
    return quantity(text, "mbar", option)


def degrees(text: str, option: str) -> float:
    """Read an angle [°] of an option."""
    return quantity(text, "degree", option)


def hours_of(text: str | None, option: str = "--hours") -> float | None:
    """Read a duration [h] of an option, such as ``"9"`` or ``"540 min"``; None where it is left out."""
    return None if text is None else quantity(text, "hour", option)


def air_temp_c(text: str | None, units: str = "metric", option: str = "--air-temp") -> float | None:
    """Read an air temperature, to 0.01 °C as plan.json states it; None where it is left out.

    Parameters
    ----------
    text : str or None
        Such as ``"4"``, ``"-12 °C"``, ``"39 °F"``.
    units : str
        ``us``: a bare number is °F; ``metric``: °C.
    option : str
        Its name, for the message.

    Returns
    -------
    float or None
        [°C].

    Raises
    ------
    BadInputError
        When it is no temperature, or the units are not known.
    """
    bare = "degF" if figures_of(units).name == "us" else "degC"
    return None if text is None else round(quantity(text, "degC", option, bare), _PLAN_DIGITS) + 0.0


def air_temp_note(text: str | None, units: str) -> str:
    """Return what is to be said of a bare air temperature that was read as °F; empty for any other."""
    celsius = air_temp_c(text, units)
    if text is None or celsius is None or units != "us" or not is_bare(text):
        return ""
    return (
        f"air temperature {text.strip()} °F ({figures_of('metric').temperature(celsius)}), "
        "read as °F because of --units us"
    )
