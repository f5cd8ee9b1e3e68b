"""Types of the rules' values: quantities by their unit, whole numbers, flags, and the table they stand in."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from netplan.core.errors import BadInputError, quoted
from netplan.core.units import quantity

__all__ = [
    "Celsius",
    "Diameters",
    "Flag",
    "KelvinStep",
    "Metres",
    "MetresPerSecond",
    "Millibars",
    "Millimetres",
    "Minutes",
    "Money",
    "Number",
    "Offset",
    "Roughnesses",
    "RulesTable",
    "Share",
    "Whole",
]


def _reader(unit: str) -> BeforeValidator:
    def read(value: object) -> float:
        try:
            return quantity(value, unit, "value")
        except BadInputError as error:
            raise ValueError(str(error)) from None

    return BeforeValidator(read)


def _whole(value: object) -> object:
    if isinstance(value, bool):
        raise ValueError(f"expected a whole number, got {str(value).lower()}; write a number")
    return value


def _yes_or_no(value: object) -> object:
    if not isinstance(value, bool):
        raise ValueError(f"expected true or false, got {quoted(value)}; write one of them")
    return value


Metres = Annotated[float, _reader("m"), Field(ge=0, le=10_000)]
Offset = Annotated[float, _reader("m"), Field(ge=-100, le=100)]
Millimetres = Annotated[float, _reader("mm"), Field(ge=0, le=5000)]
Roughnesses = Annotated[float, _reader("mm"), Field(ge=0, le=20)]
Millibars = Annotated[float, _reader("mbar"), Field(ge=0, le=100_000)]
Celsius = Annotated[float, _reader("degC"), Field(ge=-60, le=60)]
KelvinStep = Annotated[float, _reader("delta_degC"), Field(ge=0, le=30)]
Minutes = Annotated[float, _reader("min"), Field(ge=0, le=1440)]
MetresPerSecond = Annotated[float, _reader("m/s"), Field(gt=0, le=100)]
Number = Annotated[float, _reader("")]
Diameters = Annotated[float, _reader(""), Field(ge=0, le=100)]
Share = Annotated[float, _reader(""), Field(ge=0, le=1)]
Money = Annotated[float, _reader(""), Field(ge=0, le=1e9)]
Whole = Annotated[int, BeforeValidator(_whole)]
Flag = Annotated[bool, BeforeValidator(_yes_or_no)]


class RulesTable(BaseModel):
    """A table of the rules file: frozen, unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
