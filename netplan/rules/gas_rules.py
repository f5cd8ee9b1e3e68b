"""The rules' table of the gas: what it is, and the conditions at which US papers count it."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer, model_validator

from netplan.rules.rule_types import Celsius, Millibars, RulesTable, Share

__all__ = ["GasRules"]


class GasRules(RulesTable):
    """The gas: a named example gas, or mole fractions by component.

    ``us_base_temp_c`` [°C] and ``us_base_mbar_abs`` [mbar absolute], both or neither: the conditions that
    flows and volumes are shown at in US units. plan.json keeps those of 15 °C and 101.325 kPa.
    """

    name: str | None = None
    composition: dict[str, Share] | None = None
    ground_temp_c: Annotated[Celsius, Field(ge=-30, le=50)]
    us_base_temp_c: Annotated[Celsius, Field(ge=0, le=30)] | None = None
    us_base_mbar_abs: Annotated[Millibars, Field(ge=900, le=1100)] | None = None

    @model_validator(mode="after")
    def _one_of(self) -> GasRules:
        if (self.name is None) == (self.composition is None):
            raise ValueError("give either name or composition")
        if (self.us_base_temp_c is None) != (self.us_base_mbar_abs is None):
            raise ValueError("give both us_base_temp_c and us_base_mbar_abs, or neither")
        return self

    @model_serializer(mode="wrap")
    def _as_given(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Leave out a base that is not given: a plan in metric units says nothing of it."""
        return {
            key: value for key, value in handler(self).items() if value is not None or "us_base" not in key
        }
