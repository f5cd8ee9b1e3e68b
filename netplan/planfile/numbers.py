"""Floats of plan.json: finite, rounded to stated digits, so that equal plans are equal bytes."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import AfterValidator, Field, JsonValue

from netplan.core.units import rounded_down, rounded_up

__all__ = [
    "METRES_DIGITS",
    "CapacityFlow",
    "ColdestAir",
    "Degrees",
    "HeldPressure",
    "Metres",
    "Millimetres",
    "Money",
    "NeededFlow",
    "NeededPressure",
    "NeededSpeed",
    "Pressure",
    "Rounded1",
    "Rounded2",
    "Rounded3",
    "Rounded6",
]


def _rounded(digits: int) -> AfterValidator:
    # Adding zero turns -0.0 into 0.0: the same number must be the same bytes.
    return AfterValidator(lambda value: round(value, digits) + 0.0)


_NOISE: Final = 1e-4
"""Share of the last digit that solving may cost a figure (own): 1e-5 Pa of a pressure, where 1e-6 Pa count as
rounding of a solution [-]."""


def _down(digits: int) -> AfterValidator:
    return AfterValidator(lambda value: rounded_down(value, digits, _NOISE))


def _up(digits: int) -> AfterValidator:
    return AfterValidator(lambda value: rounded_up(value, digits, _NOISE))


def _field(digits: int, rounded: str = "nearest") -> object:
    extra: dict[str, JsonValue] = {"digits": digits}
    return Field(
        allow_inf_nan=False, json_schema_extra=extra | ({} if rounded == "nearest" else {"rounded": rounded})
    )


Rounded1 = Annotated[float, _rounded(1), _field(1)]
Rounded2 = Annotated[float, _rounded(2), _field(2)]
Rounded3 = Annotated[float, _rounded(3), _field(3)]
Rounded6 = Annotated[float, _rounded(6), _field(6)]
METRES_DIGITS: Final = 3
Metres = Annotated[float, _rounded(METRES_DIGITS), _field(METRES_DIGITS)]
"""Lengths, chainages and coordinates [m], to the millimetre."""
Millimetres = Annotated[float, _rounded(1), _field(1)]
"""Bores, walls and sizes [mm], to 0.1 mm."""
Degrees = Annotated[float, _rounded(7), _field(7)]
"""Longitude and latitude [°], to about a centimetre."""
Pressure = Annotated[float, _rounded(3), _field(3)]
"""Pressures [mbar gauge], to 0.1 Pa."""
Money = Annotated[float, _rounded(2), _field(2)]
"""Money, in whole minor units of the plan's currency."""
HeldPressure = Annotated[float, _down(3), _field(3, "down")]
"""Pressures that are held or there to be used [mbar gauge]: never above the solved one."""
NeededPressure = Annotated[float, _up(3), _field(3, "up")]
"""Pressures at which to act, or that must be stood [mbar gauge]: never below the solved one."""
ColdestAir = Annotated[float, _up(2), _field(2, "up")]
"""Coldest air temperatures that something holds for [°C]: never colder than solved."""
CapacityFlow = Annotated[float, _down(3), _field(3, "down")]
"""Flows that something has to spare [m³/h at 15 °C, 101.325 kPa]: never above the solved one."""
NeededFlow = Annotated[float, _up(3), _field(3, "up")]
"""Least flows that are asked for [m³/h at 15 °C, 101.325 kPa]: never below."""
NeededSpeed = Annotated[float, _up(3), _field(3, "up")]
"""Least velocities that are asked for [m/s]: never below."""
