"""Who is affected, what keeps them on, and until how cold."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from netplan.planfile.model.part import Part
from netplan.planfile.numbers import (
    CapacityFlow,
    ColdestAir,
    HeldPressure,
    Metres,
    Millimetres,
    Money,
    Pressure,
    Rounded2,
    Rounded3,
)

__all__ = ["AffectedCustomer", "Bypass", "OpenedValve", "Place", "WeatherLine"]


class AffectedCustomer(Part):
    """A customer whose supply is touched. `pressure_mbar` is at the meter inlet at the worst hour.

    `relit` is the place in the order in which those off are relit, from 1; `on_by` follows it.
    """

    id: str
    address: str
    effect: Literal["off", "kept"]
    cause: Literal["isolated", "stranded", "below minimum"]
    kept_by: str | None = None
    category: Literal["household", "business", "industry", "public"]
    priority: str
    meters: int
    pressure_mbar: HeldPressure | None = None
    off_from: str | None = None
    on_by: str | None = None
    relit: int | None = None


class Place(Part):
    """A place on a main."""

    main_id: str
    chainage_m: Metres
    x: Metres
    y: Metres


class Bypass(Part):
    """A temporary pipe or hose that feeds a stranded or weak part."""

    id: str
    kind: Literal["bypass", "hose"] = "bypass"
    from_: Place = Field(alias="from")
    to: Place
    flow_m3h: Rounded3
    bore_mm: Millimetres
    parallel: int
    length_m: Metres
    loss_coefficient: Rounded2
    drop_mbar: Pressure
    velocity_m_s: Rounded2 = Field(description="actual, at the upstream pressure")
    pressure_from_mbar: Pressure
    pressure_to_mbar: Pressure
    spare_m3h: CapacityFlow | None = Field(
        default=None, description="flow it could carry beyond, at the limits"
    )
    minimum_air_temp_c: ColdestAir | None = Field(description="coldest air it holds for; null: not found")
    customers: int = 0
    price: Money = 0.0
    note: str = ""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class WeatherLine(Part):
    """Until how cold an option holds with one choice of feed; null: not even in the warmest looked at."""

    feed: str = Field(description="id of the feed that is varied; empty for the option as planned")
    choice: str = Field(description="none, or a size such as 2 × 63 mm")
    coldest_air_temp_c: ColdestAir | None
    fails_by: str = Field(default="", description="what fails a step colder")


class OpenedValve(Part):
    """A boundary valve opened for the work."""

    valve_id: str
    flow_m3h: Rounded3
    price: Money = 0.0
