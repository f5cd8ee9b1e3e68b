"""Stops, isolated zones, gas lost and purging."""

from __future__ import annotations

from typing import Final, Literal

from pydantic import Field

from netplan.planfile.model.plan_inputs import PlanElement
from netplan.planfile.numbers import (
    CapacityFlow,
    Degrees,
    Metres,
    Millimetres,
    Money,
    NeededFlow,
    NeededPressure,
    NeededSpeed,
    Pressure,
    Rounded1,
    Rounded2,
    Rounded3,
    Rounded6,
)

__all__ = [
    "LetBy",
    "NotNearer",
    "Purge",
    "PurgeLoad",
    "PurgePoint",
    "StationBehind",
    "Stop",
    "Tapping",
    "Vent",
    "VentComparison",
    "Zone",
    "ZonePipe",
]


class Tapping(PlanElement):
    """One hole in the main, at its chainage, with its outlet's nominal size [mm] (0: a barrier without)."""

    id: str = Field(default="", description="id of the tapping among the option's items; empty in old plans")
    role: Literal["zone_vent", "barrier", "vent", "gauge", "bypass", "purge_in"]
    main_id: str = ""
    chainage_m: Metres
    size_mm: Millimetres
    offset_m: Metres | None = Field(
        default=None,
        description="along the mains from the barrier nearest the work, positive away from the work",
    )

    fitting_m: Metres | None = Field(
        default=None,
        description="of a squeeze: along the main to the nearest fitting, joint, tee or end on record",
    )
    fitting: str = Field(default="", description="of a squeeze: what that is")
    mark_m: Metres | None = Field(
        default=None, description="of a squeeze: to the nearest earlier squeeze on record on the main"
    )
    count: int = Field(
        default=1,
        description="tappings of this size here, the others further on from the work, a tapping's clearance "
        "apart: one for each hose of a bypass",
    )

    def away_from(self, stop: Stop) -> float:
        """Return how far it lies from a stop's barrier nearest the work, positive away from the work [m]."""
        if self.offset_m is not None:
            return self.offset_m
        sign = 1.0 if stop.work_side == "from" else -1.0
        return sign * (self.chainage_m - stop.chainage_m)


class NotNearer(PlanElement):
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


class StationBehind(PlanElement):
    """A regulator station that a stop shuts in: it carries nothing while the stop is in.

    `inlet_counts`: its inlet valve shut and locked, and the space between vented, is a barrier behind the
    stop's own valve. `inlet_valve_id` is empty where the records name none.
    """

    station_id: str
    outlet_mbar: Pressure = Field(description="set outlet, gauge")
    fault_mbar: NeededPressure | None = Field(description="gauge, its highest pressure in a fault")
    inlet_valve_id: str = ""
    inlet_counts: bool
    why: str = Field(description="what says that the inlet counts, or what is missing")


class Stop(PlanElement):
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
        description="gauge, highest pressure in a station fault; null: no station reaches it as recorded"
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
    stays_shut: bool = Field(
        default=False, description="a valve recorded shut: it is locked as it is, and never opened"
    )
    shuts_in: tuple[StationBehind, ...] = Field(
        default=(), description="stations on the live side, with nobody left for them to feed"
    )
    withdraw_mbar: Pressure | None = Field(
        default=None,
        description="difference across it right before it is taken out, gas being back in the zone: the "
        "greatest of the hours checked, as solved; null where a side has no gas, and in old plans",
    )


class ZonePipe(PlanElement):
    """A length of pipe inside the zone."""

    layer: Literal["mains", "services"]
    pipe_id: str
    from_m: Metres
    to_m: Metres


class Zone(PlanElement):
    """A connected isolated zone; ends at the barrier nearest the work of each stop."""

    work: tuple[int, ...] = Field(description="indices into the plan's work")
    pipes: tuple[ZonePipe, ...]
    length_m: Metres
    internal_volume_m3: Rounded6 = Field(description="actual volume of the bores [m³]")


class VentComparison(PlanElement):
    """A published formula beside the tool's own figure."""

    formula: str
    volume_m3: Rounded6 = Field(description="at 15 °C, 101.325 kPa")
    own_m3: Rounded6
    reason: str


class LetBy(PlanElement):
    """Gas that passes a stop through a stated leak path while it is in."""

    stop_id: str
    across_mbar: Pressure
    path: str
    flow_m3h: Rounded6


class Vent(PlanElement):
    """Gas lost to make the zone gas-free and to bring it back.

    Volumes at 15 °C, 101.325 kPa. `of_which_pressure_part_m3` is the part of the line content that leaves
    when the zone falls to atmospheric pressure; `purge_m3` is what is let go while gas is brought back,
    beyond the fill that stays; `drawn_m3` is what the live network gives for both. Let-by is an allowance
    apart, no part of the total.
    """

    line_content_m3: Rounded6
    of_which_pressure_part_m3: Rounded6
    purge_m3: Rounded6
    total_m3: Rounded6
    methane_kg: Rounded6
    co2e_kg: Rounded3
    reference: str
    gwp: str = ""
    drawn_m3: Rounded6 | None = None
    content_at: dict[str, Rounded6] = Field(default={}, description="line content at other references [m³]")
    co2e_by_gwp: dict[str, Rounded3] = Field(default={}, description="by published potentials [kg CO2e]")
    compared: tuple[VentComparison, ...] = ()
    let_by: tuple[LetBy, ...] = ()


SAME_FLOW_M3H: Final = 0.0025
"""Flows nearer than this are the same: one is rounded up to 0.001 m³/h, the other down (own)."""


class PurgePoint(PlanElement):
    """Where a zone is purged from or to."""

    id: str
    main_id: str
    chainage_m: Metres
    role: Literal["feed", "vent", "cut part"] = Field(
        description="where air or gas goes in; where it comes out; or the vent of a part between two cuts, "
        "beside the work, that no stop and no end of a main would vent"
    )
    order: int = Field(default=0, description="in which order vents are purged, from 1; 0 for a feed")
    minutes_out: Rounded1 | None = None
    minutes_in: Rounded1 | None = None
    stack_bore_mm: Millimetres | None = None
    outlet_mm: Millimetres | None = Field(
        default=None, description="nominal size of the outlet that hose or stack is joined to"
    )
    note: str = ""
    least_m3h: NeededFlow | None = Field(default=None, description="least flow on the way here, gas back in")
    flow_in_m3h: CapacityFlow | None = Field(default=None, description="flow that can be had, gas back in")
    slug_m3: Rounded3 | None = Field(
        default=None,
        description="nitrogen ahead of the gas, in the pipe [m³ actual], where the least flow is not reached",
    )

    @property
    def is_short(self) -> bool:
        """Whether the flow that can be had on the way here is below the least."""
        if self.slug_m3 is None or self.flow_in_m3h is None or self.least_m3h is None:
            return False
        return self.flow_in_m3h < self.least_m3h - SAME_FLOW_M3H


class PurgeLoad(PlanElement):
    """What purging one zone in takes from the live network at least: the option holds with it.

    It may be taken at any of the stops; `nodes` are their numbers in plan.gpkg.
    """

    draw_m3h: Rounded6
    stops: tuple[str, ...]
    nodes: tuple[int, ...]


class Purge(PlanElement):
    """Purging out of service and back in."""

    volumes_out: Rounded2
    volumes_in: Rounded2
    least_velocity_m_s: NeededSpeed | None = None
    least_flow_m3h: NeededFlow | None = None
    minutes_out: Rounded1 | None = None
    minutes_in: Rounded1 | None = None
    medium: str = Field(default="", description="what drives gas out, and what comes in after")
    draw_m3h: Rounded3 | None = Field(default=None, description="what the live side gives while purging in")
    dip_mbar: Pressure | None = Field(
        default=None, description="fall of pressure that makes in the live network"
    )
    loads: tuple[PurgeLoad, ...] = Field(default=(), description="the load it is in every hour of the window")
    points: tuple[PurgePoint, ...] = ()
    reached: bool | None = Field(
        default=None,
        description="whether gas back in reaches its least flow everywhere; null: inert gas alone",
    )
    end_points: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def nitrogen_m3(self) -> float | None:
        """Nitrogen ahead of the gas at all points together [m³ actual]; None where none is needed."""
        slugs = [point.slug_m3 for point in self.points if point.slug_m3 is not None]
        return sum(slugs) if slugs else None
