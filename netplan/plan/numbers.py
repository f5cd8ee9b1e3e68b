"""Floats of plan.json: finite, rounded to stated digits, so that equal plans are equal bytes."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import AfterValidator, Field

__all__ = [
    "METRES_DIGITS",
    "Degrees",
    "Metres",
    "Millimetres",
    "Money",
    "Pressure",
    "Rounded1",
    "Rounded2",
    "Rounded3",
    "Rounded6",
]


def _rounded(digits: int) -> AfterValidator:
    # Adding zero turns -0.0 into 0.0: the same number must be the same bytes.
    return AfterValidator(lambda value: round(value, digits) + 0.0)


def _field(digits: int) -> object:
    return Field(allow_inf_nan=False, json_schema_extra={"digits": digits})


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
