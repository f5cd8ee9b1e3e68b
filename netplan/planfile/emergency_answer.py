"""The answer to an emergency as it stands in emergency.json: rings, who loses gas, what escapes.

Pressures are gauge, flows are m³/h at 15 °C and 101.325 kPa, lengths are metres in plan, minutes leave travel
out, unless a name says otherwise.
"""

from __future__ import annotations

from typing import Final, Literal

from pydantic import ConfigDict, Field

from netplan.planfile.model.plan_inputs import NetworkFacts, PlanElement, Provenance
from netplan.planfile.numbers import Metres, Millimetres, Pressure, Rounded1, Rounded2, Rounded6

__all__ = [
    "EMERGENCY_SCHEMA_NAME",
    "EmergencyAnswer",
    "EmergencyCustomer",
    "EmergencyStation",
    "EscapeFlow",
    "EscapeRange",
    "HitMain",
    "HitService",
    "LogEntry",
    "NearbyAddress",
    "NextRing",
    "NotifiedParty",
    "Ring",
    "RingOffset",
    "RingProof",
    "RingStop",
    "SolvedConditions",
    "SolvedRing",
    "SolvedRingState",
    "ValveRecord",
    "WeakMeter",
]

EMERGENCY_SCHEMA_NAME: Final[Literal["gas-netplan/emergency/1"]] = "gas-netplan/emergency/1"

RingKind = Literal["valves", "fastest"]
OffCause = Literal["in the ring", "cut off from every station", "on the service hit", "weak while it closes"]


class HitMain(PlanElement):
    """A live main that may be the one that was hit; all of them are shut until one is confirmed."""

    main_id: str
    chainage_m: Metres
    distance_m: Rounded1 = Field(description="from the place given to the main; 0 where the main was named")
    system: str
    street: str
    material: str
    od_mm: Millimetres
    set_outlet_mbar: Pressure | None = Field(
        description="greatest set outlet of the stations that feed it; null where none does"
    )
    confirmed: bool = Field(description="the main was named by whoever asked")
    x: Metres
    y: Metres
    lon: Rounded6
    lat: Rounded6


class HitService(PlanElement):
    """A live service within the location error: shut its curb valve, or the ring of its main."""

    service_id: str
    distance_m: Rounded1
    main_id: str = Field(description="the main it hangs on; empty where the records do not say")
    curb_valve: str = Field(description="id of the valve on it nearest the main; empty without one")
    curb_valve_usable: bool = Field(
        description="recorded as operable and open, not failed, and outside the keep-away distance"
    )
    curb_valve_distance_m: Rounded1 | None = Field(
        default=None, description="straight, from the hit on the service; null without one"
    )
    customers: tuple[str, ...] = Field(description="ids of all meter points that lose gas with it")


class RingOffset(PlanElement):
    """A straight distance from a stop to something that can be seen or found on the ground."""

    what: str
    distance_m: Rounded1
    x: Metres = Field(default=0.0, description="of what is measured from")
    y: Metres = 0.0


class ValveRecord(PlanElement):
    """What the records say of a valve, for the hand that turns it; empty or null where they do not."""

    turns_to_close: Rounded1 | None = None
    closing_direction: str = ""
    cover_type: str = ""
    last_operated: str = ""
    size_mm: Millimetres | None = None
    remark: str = ""


class RingStop(PlanElement):
    """One stop of a ring, in the order of shutting."""

    n: int
    main_id: str
    chainage_m: Metres
    valve_id: str = Field(description="empty where it is no valve")
    method: str
    kind: Literal["valve", "squeeze", "bag"]
    minutes: Rounded1
    crew: int = Field(description="which crew, from 1")
    begins_min: Rounded1
    ends_min: Rounded1
    place: str = Field(description="where it is, in words")
    offsets: tuple[RingOffset, ...] = ()
    distance_m: Rounded1 = Field(description="straight, from the hit")
    street: str
    od_mm: Millimetres
    material: str
    record: ValveRecord | None = None
    x: Metres
    y: Metres
    lon: Rounded6
    lat: Rounded6


class RingProof(PlanElement):
    """What is proven of the minutes of a ring: least recorded minutes, travel left out."""

    optimal: bool
    lower_bound_min: Rounded1 = Field(description="no ring of that kind takes less [min]")
    gap_min: Rounded1
    reason: str


class Ring(PlanElement):
    """One way to part what was hit from every station but those that have to be shut."""

    kind: RingKind
    aim: Literal["least minutes", "fewer meters off"] = "least minutes"
    stops: tuple[RingStop, ...]
    stations_to_shut: tuple[str, ...] = Field(
        description="ids of stations and injections that no stop parts from the hit"
    )
    do_first: tuple[str, ...]
    crews: int
    minutes: Rounded1 = Field(description="until the last stop is shut, by the crews given")
    minutes_sum: Rounded1 = Field(description="of all stops")
    proof: RingProof
    customers_off: tuple[str, ...]
    priority: tuple[str, ...]
    meters: int
    length_m: Metres = Field(description="length of mains inside")


class NextRing(PlanElement):
    """The ring that is ready in case valves of another fail to shut."""

    if_failed: tuple[str, ...]
    ring: Ring


class EmergencyCustomer(PlanElement):
    """A meter point that loses gas in one of the rings."""

    id: str
    address: str
    street: str
    number: str
    postcode: str
    category: str
    meters: int
    priority: str
    off_by: dict[RingKind, OffCause]
    x: Metres
    y: Metres


class NearbyAddress(PlanElement):
    """A meter point to check for gas first; the radius is no limit for evacuation."""

    customer_id: str
    address: str
    distance_m: Rounded1
    priority: str


class NotifiedParty(PlanElement):
    """Who is to be told, from how many meters without gas."""

    whom: str
    from_meters: int
    reached: dict[RingKind, bool]


class EmergencyStation(PlanElement):
    """A station or injection that the hit hangs on."""

    id: str
    kind: Literal["station", "injection"]
    distance_m: Rounded1
    set_outlet_mbar: Pressure | None
    inlet_valve: str = ""


class EscapeFlow(PlanElement):
    """What escapes through one hole, in order of magnitude."""

    hole_mm: Millimetres
    full_bore: bool
    least_m3h: Rounded1
    most_m3h: Rounded1


class EscapeRange(PlanElement):
    """Gas escaping: a range for each hole; not for distances."""

    main_id: str
    pressure_mbar: Pressure
    pressure_of: Literal["set outlet", "solved"]
    flows: tuple[EscapeFlow, ...]
    formula: str
    source: str
    note: str


class WeakMeter(PlanElement):
    """A meter outside the ring that falls below its minimum in some state, and so counts as off."""

    customer_id: str
    state: str
    pressure_mbar: Pressure | None = Field(description="null without gas")


class SolvedRingState(PlanElement):
    """A state while a ring closes, solved with the hit open to the air, or after it."""

    name: str
    shut: tuple[str, ...] = Field(description="stops that are shut, by valve id or place")
    escape_m3h: Rounded1 | None = Field(description="through the full bore; null once it is parted off")
    least_mbar: Pressure | None = Field(description="least inlet of the meters outside that have gas")
    below_minimum: int = Field(description="meter points outside that are below their minimum")
    stations_full_flow: tuple[str, ...]


class SolvedRing(PlanElement):
    """What the network outside does while a ring closes, and what could be kept."""

    kind: RingKind
    states: tuple[SolvedRingState, ...]
    weak: tuple[WeakMeter, ...]
    meters_weak: int
    may_be_fed: tuple[str, ...] = Field(description="lines: who a feed could keep on, and from where")
    not_solved: str = Field(default="", description="why there is no solution; empty where there is")


class SolvedConditions(PlanElement):
    """What the pressures rest on: the hour of the answer and its weather, and what an inlet must hold."""

    hour: str
    air_temp_c: Rounded2
    is_design_temperature: bool = Field(description="the rules' design temperature, none was given")
    ground_temp_c: Rounded2
    demand_total_m3h: Rounded1 = Field(description="drawn before the hit, the rules' margin included")
    required_mbar: Pressure = Field(description="least meter inlet, the rules' margin included")


class LogEntry(PlanElement):
    """One line of the log: when, and what was asked or answered."""

    at: str = Field(description="UTC, ISO 8601, to the second")
    revision: int
    what: str


class EmergencyAnswer(PlanElement):
    """All of emergency.json; every revision replaces the one before as a whole."""

    schema_: Literal["gas-netplan/emergency/1"] = Field(alias="schema", default=EMERGENCY_SCHEMA_NAME)
    revision: int
    governs: str = Field(description="what stands over this answer; said first everywhere")
    make_safe: tuple[str, ...]
    cautions: tuple[str, ...]
    network: NetworkFacts
    provenance: Provenance
    asked: str = Field(description="the place as it was given, as options of the command")
    lon: Rounded6
    lat: Rounded6
    location_error_m: Metres
    keep_away_m: Metres
    hits: tuple[HitMain, ...]
    services: tuple[HitService, ...]
    rings: tuple[Ring, ...]
    next_rings: tuple[NextRing, ...] = Field(
        default=(), description="for each valve of a ring assumed failed"
    )
    customers: tuple[EmergencyCustomer, ...]
    notify: tuple[NotifiedParty, ...]
    nearby: tuple[NearbyAddress, ...]
    nearby_m: Metres
    stations: tuple[EmergencyStation, ...]
    escape: tuple[EscapeRange, ...]
    solved: tuple[SolvedRing, ...] | None = Field(default=None, description="absent until solved")
    conditions: SolvedConditions | None = Field(default=None, description="of the pressures")
    failed_valves: tuple[str, ...] = ()
    doubts: tuple[str, ...] = Field(default=(), description="what is in doubt in the records, nearest first")
    log: tuple[LogEntry, ...]

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
