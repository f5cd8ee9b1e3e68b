"""The plan as it stands in plan.json: frozen, checked, and the one truth for its JSON Schema.

Pressures are gauge, flows are m³/h at 15 °C and 101.325 kPa, lengths are metres in plan, volumes inside
pipes are actual volumes, unless a name says otherwise.
"""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from netplan.plan.numbers import (
    Degrees,
    Metres,
    Millimetres,
    Money,
    Pressure,
    Rounded1,
    Rounded2,
    Rounded3,
    Rounded6,
)

SCHEMA_NAME: Final = "netplan/plan/1"

__all__ = [
    "SCHEMA_NAME",
    "AffectedCustomer",
    "Bypass",
    "Conditions",
    "Fallback",
    "Gauge",
    "Option",
    "Place",
    "Plan",
    "Pressures",
    "Proof",
    "Purge",
    "State",
    "Step",
    "Stop",
    "Vent",
    "WeatherLine",
    "WorkItem",
    "Zone",
]


class Part(BaseModel):
    """A part of a plan: frozen; keys this version does not know are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class NetworkFacts(Part):
    """Which network the plan is for."""

    content_sha256: str = Field(description="digest of the normalised layers sorted by id")
    counts: dict[str, int]
    crs: str = Field(description="working CRS of x and y")
    crs_note: str = ""
    length_scale: float = Field(description="projection scale that planar lengths were divided by [-]")


class Provenance(Part):
    """Where the plan comes from; left out of comparisons."""

    source: str
    versions: dict[str, str]
    created: str


class WorkItem(Part):
    """One length to be made gas-free."""

    main_id: str
    from_m: Metres
    to_m: Metres


class DemandPart(Part):
    """One part of the demand at the worst hour [m³/h]."""

    name: str
    customers: int
    flow_m3h: Rounded3


class Conditions(Part):
    """The window of the work and its weather."""

    start: str | None = Field(description="start of the window, ISO 8601 local time; null: any working day")
    hours: Rounded2
    air_temp_c: Rounded2
    ground_temp_c: Rounded2
    demand_total_m3h: Rounded3
    worst_hour: str = ""
    note: str = ""
    orders: tuple[str, ...] = Field(default=(), description="what the planner ordered, a line each")
    demand_parts: tuple[DemandPart, ...] = ()


class BurdenParts(Part):
    """The parts of the burden [currency]; they add up to it to the minor unit."""

    stops: Money
    interruption: Money
    feeds: Money
    gas: Money


class Proof(Part):
    """What is proven about the rank: no different option is cheaper beyond those listed."""

    optimal: bool
    lower_bound: Money
    gap: Money
    reason: str


class Tapping(Part):
    """One hole in the main, at its chainage, with the outlet size [mm] (0: a barrier without tapping)."""

    role: Literal["zone_vent", "barrier", "vent", "gauge", "bypass"]
    main_id: str = ""
    chainage_m: Metres
    size_mm: Millimetres


class NotNearer(Part):
    """A place nearer to the work, and why the stop is not there."""

    main_id: str
    from_m: Metres
    to_m: Metres
    method: str
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
    fault_pressure_mbar: Pressure | None = Field(description="gauge, the most it may see in a station fault")
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


class AffectedCustomer(Part):
    """A customer whose supply is touched. `pressure_mbar` is at the meter inlet at the worst hour."""

    id: str
    address: str
    effect: Literal["off", "kept"]
    cause: Literal["isolated", "stranded", "below minimum"]
    kept_by: str | None = None
    category: Literal["household", "business", "industry", "public"]
    priority: str
    meters: int
    pressure_mbar: Pressure | None = None
    off_from: str | None = None
    on_by: str | None = None


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
    spare_m3h: Rounded3 | None = Field(default=None, description="flow it could carry beyond, at the limits")
    minimum_air_temp_c: Rounded2 | None = Field(description="coldest air it holds for; null: not found")
    customers: int = 0
    price: Money = 0.0
    note: str = ""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class WeatherLine(Part):
    """Until how cold an option holds with one choice of feed; null: not even in the warmest looked at."""

    feed: str = Field(description="id of the feed that is varied; empty for the option as planned")
    choice: str = Field(description="none, or a size such as 2 × 63 mm")
    coldest_air_temp_c: Rounded2 | None
    fails_by: str = Field(default="", description="what fails a step colder")


class OpenedValve(Part):
    """A boundary valve opened for the work."""

    valve_id: str
    flow_m3h: Rounded3
    price: Money = 0.0


class LeastPressure(Part):
    """The least pressure of kept meter inlets and whose it is."""

    least_mbar: Pressure | None
    at: str


class Pressures(Part):
    """Least pressures before and after, and the customers that failed already before any stop."""

    before: LeastPressure
    after: LeastPressure
    weak_before: tuple[str, ...] = Field(default=(), description="customers below minimum before any stop")


class State(Part):
    """A state of the network on the way: after which step, how low, what each station gives [m³/h]."""

    after_step: str
    least_mbar: Pressure | None
    at: str
    station_flows_m3h: dict[str, Rounded3]


class Gauge(Part):
    """Where to watch the pressure while the stops go in [mbar gauge]."""

    id: str
    main_id: str
    chainage_m: Metres
    normal_mbar: Pressure
    warning_mbar: Pressure
    abort_mbar: Pressure


class FallbackUse(Part):
    """The stop to use instead."""

    valve_id: str | None = None
    main_id: str
    chainage_m: Metres
    method: str
    x: Metres
    y: Metres


class Fallback(Part):
    """What to do when a stop fails, how long that takes, and who then goes off as well."""

    stop_id: str
    failure: Literal["will not set", "lost during open work"]
    use: tuple[FallbackUse, ...]
    minutes: Rounded1 | None
    standby: tuple[str, ...]
    note: str = ""


class Step(Part):
    """One step of the work order: a draft for the operator's competent person."""

    n: int
    stage: str = Field(default="", description="which part of the order it belongs to")
    does: str
    uses: tuple[str, ...] = ()
    who: str
    hold: bool = Field(default=False, description="nobody goes on before the competent person says so")
    expect_mbar: Pressure | None = Field(default=None, description="pressure to be read [mbar gauge]")
    expect_at: str = Field(default="", description="id of the gauge, stop or customer it is read at")
    minutes: Rounded1 | None = None
    if_not: str = ""


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


class Purge(Part):
    """Purging out of service and back in."""

    volumes_out: Rounded2
    volumes_in: Rounded2
    least_velocity_m_s: Rounded3 | None = None
    least_flow_m3h: Rounded3 | None = None
    minutes_out: Rounded1 | None = None
    minutes_in: Rounded1 | None = None
    medium: str = Field(default="", description="what drives gas out, and what comes in after")
    draw_m3h: Rounded3 | None = Field(default=None, description="what the live side gives while purging in")
    dip_mbar: Pressure | None = Field(
        default=None, description="fall of pressure that makes in the live network"
    )
    points: tuple[PurgePoint, ...] = ()
    end_points: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Option(Part):
    """One complete answer."""

    rank: int
    burden: Money
    burden_parts: BurdenParts
    currency: str
    proof: Proof
    stops: tuple[Stop, ...]
    zones: tuple[Zone, ...]
    customers: tuple[AffectedCustomer, ...]
    bypasses: tuple[Bypass, ...]
    opened_valves: tuple[OpenedValve, ...]
    pressures: Pressures
    vent: Vent
    purge: Purge
    gauges: tuple[Gauge, ...]
    fallback: tuple[Fallback, ...]
    steps: tuple[Step, ...]
    states: tuple[State, ...]
    weather: tuple[WeatherLine, ...] = ()
    warnings: tuple[str, ...]


class FindingRow(Part):
    """A data finding that touches the plan."""

    code: str
    layer: str
    feature_id: str
    severity: str
    what: str
    mend: str


class Plan(Part):
    """A plan: planning help, never a permit."""

    schema_: Literal["netplan/plan/1"] = Field(alias="schema", default=SCHEMA_NAME)
    caution: str
    network: NetworkFacts
    provenance: Provenance
    work: tuple[WorkItem, ...]
    conditions: Conditions
    rules: dict[str, Any]
    not_checked: tuple[str, ...]
    findings: tuple[FindingRow, ...] = ()
    options: tuple[Option, ...]

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
