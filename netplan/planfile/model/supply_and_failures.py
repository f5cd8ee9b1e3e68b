"""Who is affected and what feeds them, pressures, what may fail, and records in doubt."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from netplan.planfile.model.plan_inputs import PlanElement
from netplan.planfile.model.stops_and_gas import Tapping
from netplan.planfile.numbers import (
    CapacityFlow,
    ColdestAir,
    HeldPressure,
    Metres,
    Millimetres,
    Money,
    NeededPressure,
    Pressure,
    Rounded1,
    Rounded2,
    Rounded3,
    Rounded6,
)

__all__ = [
    "AffectedCustomer",
    "Bypass",
    "Fallback",
    "FallbackUse",
    "FeedMove",
    "FeedShut",
    "Gauge",
    "InDoubt",
    "LeastPressure",
    "Loss",
    "OpenedValve",
    "Place",
    "PreparedFallback",
    "Pressures",
    "State",
    "Trust",
    "TrustRow",
    "WeatherLine",
]


class AffectedCustomer(PlanElement):
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


class Place(PlanElement):
    """A place on a main."""

    main_id: str
    chainage_m: Metres
    x: Metres
    y: Metres


class Bypass(PlanElement):
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
    outlet_from_mm: Millimetres | None = Field(
        default=None, description="nominal size of the outlet of each hose's tee at its giving end"
    )
    outlet_to_mm: Millimetres | None = Field(default=None, description="the same at its fed end")
    most_parallel: int | None = Field(
        default=None,
        description="hoses side by side that there is room for tees of their own for",
    )
    spare_m3h: CapacityFlow | None = Field(
        default=None, description="flow it could carry beyond, at the limits"
    )
    minimum_air_temp_c: ColdestAir | None = Field(description="coldest air it holds for; null: not found")
    customers: int = 0
    price: Money = 0.0
    tees_price: Money = Field(
        default=0.0, description="excavations of its tees away from every stop, within the price"
    )
    note: str = ""
    route: tuple[tuple[Metres, Metres], ...] = Field(
        default=(),
        description="x and y of its ends and bends; length_m is bypass.slack times its length",
    )
    crossings: int = Field(default=0, description="carriageways that it crosses, each with a ramp")
    route_note: str = Field(default="", description="what is to be said of the route")

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    @property
    def outlets_mm(self) -> tuple[float, ...]:
        """Outlets at its two ends, by nominal size [mm]; empty in a plan that does not record them."""
        if self.outlet_from_mm is None or self.outlet_to_mm is None:
            return ()
        return self.outlet_from_mm, self.outlet_to_mm

    @property
    def course(self) -> tuple[tuple[float, float], ...]:
        """Its route, or both ends where an older plan has none."""
        return self.route or ((self.from_.x, self.from_.y), (self.to.x, self.to.y))


class WeatherLine(PlanElement):
    """Until how cold an option holds with one choice of feed; null: not even in the warmest looked at."""

    feed: str = Field(description="id of the feed that is varied; empty for the option as planned")
    choice: str = Field(description="none, or a size such as 2 × 63 mm")
    coldest_air_temp_c: ColdestAir | None
    fails_by: str = Field(
        default="", description="limit when colder, purge draw included where the rules count it"
    )


class OpenedValve(PlanElement):
    """A boundary valve opened for the work."""

    valve_id: str
    flow_m3h: Rounded3
    price: Money = 0.0


class LeastPressure(PlanElement):
    """The least pressure of kept meter inlets in any hour of the window, whose it is, and in which hour."""

    least_mbar: HeldPressure | None
    at: str
    hour: str = ""


class Pressures(PlanElement):
    """Least pressures before and after, and the customers that failed already before any stop."""

    before: LeastPressure
    after: LeastPressure
    with_local_peak: LeastPressure | None = Field(
        default=None,
        description="of the kept meter inlets that the work lowers: the least while the few customers at the "
        "end of a branch peak together; none where the work lowers none",
    )
    weak_before: tuple[str, ...] = Field(default=(), description="customers below minimum before any stop")
    high_before: tuple[str, ...] = Field(
        default=(), description="customers above the highest allowed pressure before any stop"
    )


class State(PlanElement):
    """A state of the network on the way: after which step, how low, what each station gives [m³/h].

    The least pressure is that of the hour named, the worst of the window for this state; station flows are
    those of the hour in which most is drawn in all.
    """

    after_step: str
    least_mbar: HeldPressure | None
    at: str
    station_flows_m3h: dict[str, Rounded3]
    hour: str = ""
    draw_m3h: Rounded6 | None = Field(default=None, description="taken from the live network for a purge")


class Gauge(PlanElement):
    """Where to watch the pressure while the stops go in [mbar gauge]; readings are never rounded down."""

    id: str
    main_id: str
    chainage_m: Metres
    customer: str = Field(
        default="",
        description="id of the customer at whose meter's own test point it is read, main and chainage being "
        "the nearest; empty for a gauge on a tapping of a stop",
    )
    normal_mbar: NeededPressure
    warning_mbar: NeededPressure
    abort_mbar: NeededPressure


class FallbackUse(PlanElement):
    """The stop to use instead."""

    valve_id: str | None = None
    main_id: str
    chainage_m: Metres
    method: str
    x: Metres
    y: Metres
    prepared_id: str = Field(
        default="", description="id of the prepared fallback it is; empty where the plan does not prepare it"
    )


class FeedShut(PlanElement):
    """A feed that is shut when a stop fails, and the end at which that is done."""

    feed_id: str
    what: Literal["bypass", "hose", "opened valve"]
    main_id: str
    chainage_m: Metres
    x: Metres
    y: Metres


class FeedMove(PlanElement):
    """A bypass or hose that is coupled at the bypass tee of a fallback stop once that is in, in its own size.

    `minutes` come after those of the fallback. `off_meanwhile` are those of its `standby` who have gas again
    after the move; each meter there is shut before.
    """

    feed_id: str
    what: Literal["bypass", "hose"]
    to: Place
    length_m: Metres = Field(description="of the hose after the move")
    minutes: Rounded1
    off_meanwhile: tuple[str, ...]


class PreparedFallback(PlanElement):
    """A fallback stop that is dug, tapped and proved before the first stop goes in, and paid in the burden.

    `price` is that of its method, hole included; a place that several stops fall back on is paid once.
    """

    id: str
    serves: tuple[str, ...] = Field(description="ids of the stops that it is the fallback of")
    method: str
    kind: Literal["bag", "squeeze", "valve"]
    main_id: str
    chainage_m: Metres
    valve_id: str | None = None
    work_side: Literal["from", "to"]
    x: Metres
    y: Metres
    street: str = ""
    surface: str = "unknown"
    od_mm: Millimetres
    tappings: tuple[Tapping, ...] = ()
    hole_id: str = Field(default="", description="the excavation it is in")
    price: Money
    note: str = ""


class Fallback(PlanElement):
    """What to do when a stop fails, how long that takes, and who then goes off as well.

    `standby` are the customers kept so far who then lie in the larger zone, have no gas, or less than a kept
    inlet must hold, as solved. `tail_lost`: the stop parts the zone from a tail that the feeds under `shut`
    alone feed; shutting them is the control. `prepared`: every stop under `use` is dug,
    tapped and proved by the plan, or is a valve that the plan opens, so that the fast minutes hold.
    """

    stop_id: str
    failure: Literal["will not set", "lost during open work"]
    use: tuple[FallbackUse, ...]
    minutes: Rounded1 | None
    standby: tuple[str, ...]
    note: str = ""
    shut: tuple[FeedShut, ...] = Field(default=(), description="feeds to be shut first, each at this end")
    tail_lost: bool = False
    prepared: bool = False
    moves: tuple[FeedMove, ...] = Field(
        default=(), description="hoses that are moved once the fallback is in, so that they feed again"
    )


class Loss(PlanElement):
    """A feed or a station lost with all stops in, and the customers kept so far who then fail, as solved."""

    what: Literal["bypass", "hose", "opened valve", "station"]
    id: str
    customers: tuple[str, ...]
    note: str = ""


class TrustRow(PlanElement):
    """A doubtful record that would change the option if it were wrong; each is taken by itself."""

    code: str = Field(description="code of the finding; valve-closed: a recorded state that is only believed")
    layer: str
    feature_id: str
    other_id: str = Field(default="", description="for a joint the main it may be joined to")
    taken_as: str = Field(description="what the plan takes to be so")
    may_be: str = Field(description="what may be so instead")
    main_id: str = Field(description="where a further stop, or the proof, would go")
    chainage_m: Metres
    x: Metres
    y: Metres
    gas_reaches_work: bool = False
    further_stop: bool = False
    zone_parted: bool = False
    customers_off: tuple[str, ...] = Field(default=(), description="without gas besides those of the plan")
    customers_on: tuple[str, ...] = Field(default=(), description="counted as without gas, but would have it")
    meters_off: int = 0
    what: str


class Trust(PlanElement):
    """Doubtful records near an option: how many were tried, and those that would change it."""

    checked: int = 0
    would_change: tuple[TrustRow, ...] = ()


class InDoubt(PlanElement):
    """A customer who would lose gas during the work if one doubtful record were otherwise; never one off."""

    id: str = Field(description="meter point")
    address: str
    priority: str = Field(default="", description="priority code; empty: none")
    layer: str = Field(description="layer of the doubtful record")
    record_id: str = Field(
        description="id of the doubtful record; the customer's own where no recorded way feeds it"
    )
    why: str = Field(description="what is doubtful, and what would follow, in one line")
    meters: int = 1
    x: Metres = Field(description="place of the customer, working CRS")
    y: Metres
