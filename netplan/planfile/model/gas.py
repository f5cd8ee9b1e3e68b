"""Gas lost and purging."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from netplan.planfile.model.part import Part
from netplan.planfile.numbers import (
    Metres,
    Millimetres,
    NeededFlow,
    NeededSpeed,
    Pressure,
    Rounded1,
    Rounded2,
    Rounded3,
    Rounded6,
)

__all__ = ["LetBy", "Purge", "PurgeLoad", "PurgePoint", "Vent", "VentComparison"]


class VentComparison(Part):
    """A published formula beside the tool's own figure."""

    formula: str
    volume_m3: Rounded6 = Field(description="at 15 °C, 101.325 kPa")
    own_m3: Rounded6
    reason: str


class LetBy(Part):
    """Gas that passes a stop through a stated leak path while it is in."""

    stop_id: str
    across_mbar: Pressure
    path: str
    flow_m3h: Rounded6


class Vent(Part):
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


class PurgePoint(Part):
    """Where a zone is purged from or to."""

    id: str
    main_id: str
    chainage_m: Metres
    role: Literal["feed", "vent"]
    order: int = Field(default=0, description="in which order vents are purged, from 1; 0 for a feed")
    minutes_out: Rounded1 | None = None
    minutes_in: Rounded1 | None = None
    stack_bore_mm: Millimetres | None = None
    note: str = ""


class PurgeLoad(Part):
    """What purging one zone in takes from the live network at least: the option holds with it.

    It may be taken at any of the stops; `nodes` are their numbers in plan.gpkg.
    """

    draw_m3h: Rounded6
    stops: tuple[str, ...]
    nodes: tuple[int, ...]


class Purge(Part):
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
    end_points: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
