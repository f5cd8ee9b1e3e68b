"""Stops and isolated zones."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from netplan.planfile.model.part import Part
from netplan.planfile.numbers import (
    Degrees,
    Metres,
    Millimetres,
    Money,
    NeededPressure,
    Pressure,
    Rounded1,
    Rounded6,
)

__all__ = ["NotNearer", "Stop", "Tapping", "Zone", "ZonePipe"]


class Tapping(Part):
    """One hole in the main, at its chainage, with the outlet size [mm] (0: a barrier without tapping)."""

    role: Literal["zone_vent", "barrier", "vent", "gauge", "bypass"]
    main_id: str = ""
    chainage_m: Metres
    size_mm: Millimetres
    offset_m: Metres | None = Field(
        default=None,
        description="along the mains from the barrier nearest the work, positive away from the work",
    )

    def away_from(self, stop: Stop) -> float:
        """Return how far it lies from a stop's barrier nearest the work, positive away from the work [m]."""
        if self.offset_m is not None:
            return self.offset_m
        sign = 1.0 if stop.work_side == "from" else -1.0
        return sign * (self.chainage_m - stop.chainage_m)


class NotNearer(Part):
    """A place nearer to the work, and why the stop is not there."""

    main_id: str
    from_m: Metres
    to_m: Metres
    method: str
    side: Literal["from", "to", ""] = Field(
        default="", description="on which side of a stop made there the zone would lie; empty in old plans"
    )
    code: str
    reason: str


class Stop(Part):
    """A point where the flow is stopped. `chainage_m` is the barrier nearest the work."""

    id: str
    method: str
    kind: Literal["bag", "squeeze", "valve"]
    barriers: Literal[1, 2]
    main_id: str
    chainage_m: Metres
    valve_id: str | None = None
    x: Metres
    y: Metres
    lon: Degrees
    lat: Degrees
    street: str = ""
    surface: str = "unknown"
    od_mm: Millimetres
    wall_mm: Millimetres | None
    bore_mm: Millimetres
    pressure_mbar: Pressure | None = Field(description="gauge, on the live side, after all stops are in")
    fault_pressure_mbar: NeededPressure | None = Field(
        description="gauge, the most it may see in a station fault"
    )
    work_side: Literal["from", "to"] = Field(description="on which side of chainage_m the zone lies")
    tappings: tuple[Tapping, ...] = ()
    hole_id: str
    price: Money
    minutes: Rounded1
    reason: str
    confidence: Literal["recorded", "provisional"]
    confidence_note: str = ""
    not_nearer: tuple[NotNearer, ...] = ()


class ZonePipe(Part):
    """A length of pipe inside the zone."""

    layer: Literal["mains", "services"]
    pipe_id: str
    from_m: Metres
    to_m: Metres


class Zone(Part):
    """A connected isolated zone; ends at the barrier nearest the work of each stop."""

    work: tuple[int, ...] = Field(description="indices into the plan's work")
    pipes: tuple[ZonePipe, ...]
    length_m: Metres
    internal_volume_m3: Rounded6 = Field(description="actual volume of the bores [m³]")
