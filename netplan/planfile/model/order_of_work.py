"""What the order of the work changes: items with their states, tests, readings, failures and hours."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

from pydantic import ConfigDict, Field

from netplan.planfile.model.plan_inputs import PlanElement
from netplan.planfile.numbers import Metres, NeededPressure, Pressure, Rounded1, Rounded2, Rounded3

__all__ = [
    "ITEM_STATES",
    "BranchEnd",
    "Change",
    "FeedTest",
    "LetByTest",
    "LossRow",
    "Need",
    "OrderItem",
    "PressureTest",
    "PurgePath",
    "Reading",
    "Step",
    "Timeline",
    "TimelineBar",
    "WeatherReading",
    "ZoneGauge",
    "ZonePart",
]

ItemKind = Literal["place", "tapping", "barrier", "vent", "valve", "feed", "meter", "part"]

ITEM_STATES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "place": ("planned", "dug", "filled"),
        "tapping": ("planned", "tested", "drilled", "capped"),
        "barrier": ("out", "proved", "set", "accepted", "withdrawn"),
        "vent": ("shut", "open"),
        "valve": ("shut", "open"),
        "feed": ("planned", "laid", "tested", "purged", "open", "accepted", "shut", "removed"),
        "meter": ("on", "off", "sealed", "purged", "relit", "no access"),
        "part": ("live", "vented", "gas-free", "air", "gas"),
    }
)
"""States of every kind of item. A place is an excavation, a part a length of pipe."""


class Need(PlanElement):
    """An item that must be in a state before a step begins."""

    id: str
    state: str
    kind: ItemKind


class Change(PlanElement):
    """An item that a step takes from one state to another."""

    id: str
    from_: str = Field(alias="from")
    to: str
    kind: ItemKind

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class OrderItem(PlanElement):
    """A thing whose state the order changes, with its state before the first step and after the last.

    `of` is what it belongs to: a stop, prepared fallback, bypass, purge point, gauge, or index of a zone.
    """

    id: str
    kind: ItemKind
    of: str = ""
    role: str = Field(
        default="",
        description="place: empty; tapping: zone_vent, barrier, vent, gauge, bypass, purge or purge_in; "
        "barrier: outer, inner or single; vent: zone, between, purge, feed or part; valve: stop, boundary, "
        "station inlet, feed end from, feed end to, gas inlet, air inlet or test hose; part: zone, cut part, "
        "space or tail",
    )
    first: str = Field(description="state before the first step")
    last: str = Field(default="", description="state after the last step; empty: either")
    main_id: str = ""
    chainage_m: Metres | None = None
    hole_id: str = Field(default="", description="the excavation it is in")
    tapping_id: str = Field(default="", description="the tapping that a barrier, vent or valve is on")
    valve_ids: tuple[str, ...] = Field(
        default=(), description="of a barrier: the valves that are it; empty for a bag or a squeeze"
    )


class WeatherReading(PlanElement):
    """What a gauge reads at one air temperature in one hour of the day, as solved [mbar gauge]."""

    air_temp_c: Rounded1
    hour: int = Field(description="hour of the day, 0 to 23, that begins then")
    expect_mbar: Pressure
    abort_mbar: NeededPressure | None = Field(
        default=None, description="reading in that weather at which the first kept meter is at its minimum"
    )


class Reading(PlanElement):
    """What a gauge must read at a step [mbar gauge], solved for the state it is in, at the gauge itself.

    Outside `expect_mbar` ± `band_mbar` nobody goes on. At or below `abort_mbar`, or at or above
    `abort_high_mbar`, the last change is undone. Those two are null only where nothing bounds that side.
    """

    gauge_id: str
    expect_mbar: Pressure
    band_mbar: Rounded3
    warning_mbar: NeededPressure | None
    abort_mbar: NeededPressure | None
    abort_high_mbar: Pressure | None
    by_weather: tuple[WeatherReading, ...] = ()
    air_temp_c: Rounded1 | None = Field(default=None, description="air temperature of expect_mbar")
    hour: int | None = Field(default=None, description="hour of the day of expect_mbar")
    error_mbar: Rounded3 | None = Field(
        default=None,
        description="greatest error that the gauge may have: where it is less than gauge.error_mbar of the "
        "rules a finer gauge is needed",
    )


class ZoneGauge(PlanElement):
    """A gauge on the zone itself, at a zone vent; it is read in the let-by tests and until gas is back."""

    id: str
    part_id: str
    tapping_id: str
    main_id: str
    chainage_m: Metres


class BranchEnd(PlanElement):
    """An end of a main in a zone that is at no stop: it keeps its gas until it is purged there."""

    main_id: str
    chainage_m: Metres
    purge_point: str = Field(default="", description="id of the purge point there; empty: none")


class ZonePart(PlanElement):
    """A length of pipe that has one pressure of its own: a zone, a part of it once it is cut, or a tail.

    `ends` are ends of branches that have to be purged; `services` those with gas in them, by id.
    """

    id: str
    role: Literal["zone", "cut part", "space", "tail"]
    zone: int = Field(description="index into the option's zones; -1 for none")
    stops: tuple[str, ...] = Field(default=(), description="stops at its ends")
    vents: tuple[str, ...] = Field(default=(), description="tappings that vent it, by id")
    ends: tuple[BranchEnd, ...] = ()
    mains: tuple[str, ...] = ()
    services: tuple[str, ...] = ()
    volume_m3: Rounded3 | None = Field(default=None, description="actual volume of the bores [m³]")


class LetByTest(PlanElement):
    """A test that shows what one barrier, or a declared sum of barriers, lets by."""

    name: Literal["T0", "T1", "T2", "T3"]
    barriers: tuple[str, ...] = Field(description="ids of the barriers whose let-by the reading shows")
    is_sum: bool = Field(default=False, description="whether the reading is the sum of these barriers")
    meter_at: str = Field(default="", description="id of the vent the meter stands on; empty: no meter")
    across_mbar: Pressure | None = Field(default=None, description="difference across the barrier")
    limit_l_min: Rounded2 | None = None
    limit_mbar: Rounded2 | None = Field(default=None, description="greatest pressure in the space, or fall")
    resolution_l_min: Rounded3 | None = Field(default=None, description="coarsest that the meter may show")
    zone_mbar: Pressure | None = None
    minutes: Rounded1


class PurgePath(PlanElement):
    """One inlet and one outlet of a purge, by the ids of their purge points or vents."""

    part_id: str
    inlet: str
    outlet: str
    medium: Literal["air", "inert gas", "gas"]
    end: str = Field(default="", description="end point, with its unit")


class PressureTest(PlanElement):
    """A test of tightness or strength: at which pressure, how long, with what, against which barriers."""

    what: Literal["tapping", "feed", "new pipe", "tie-in", "cap"]
    test_mbar: Pressure = Field(description="gauge")
    minutes: Rounded1
    medium: str
    against: tuple[str, ...] = Field(default=(), description="ids of barriers that stand against it")


class FeedTest(PlanElement):
    """What shows that a bypass carries what is planned: the drop along it at its planned flow.

    It is measured with as much air, uncoupled, at both ends; the drops with gas follow from the densities.
    """

    feed_id: str
    flow_m3h: Rounded3 = Field(description="at 15 °C, 101.325 kPa: of gas as planned, and of air in the test")
    drop_mbar: Pressure = Field(description="with gas, as planned")
    most_mbar: Pressure = Field(description="with gas, at most")
    air_drop_mbar: Pressure = Field(description="with air, expected")
    most_air_mbar: Pressure = Field(description="with air, at most")
    error_mbar: Rounded3 = Field(description="greatest error that the instrument may have")


class LossRow(PlanElement):
    """What to do when one thing fails in one state of the work, and who then has no gas, as solved.

    `customers` are those kept so far whose inlet falls below what it must hold (or rises above what it may
    have), and those that the action leaves without gas; `meters` theirs. `at_once`: the gas left in the pipes
    lasts less than a minute. Figures are those of the hour in which most is drawn.
    """

    id: str
    what: str = Field(description="what fails, in words of the trade")
    items: tuple[str, ...] = Field(default=(), description="ids of what fails")
    state: Literal["before the cut", "main cut", "gas back in"]
    leave: bool = Field(default=False, description="everybody leaves the trench first")
    action: str = Field(description="the one thing to do, at which item")
    act_on: tuple[str, ...] = Field(default=(), description="ids of what is shut or used, in this order")
    place: str = ""
    main_id: str = ""
    chainage_m: Metres | None = None
    who: str
    customers: tuple[str, ...] = ()
    meters: int = 0
    flow_m3h: Rounded1 | None = Field(default=None, description="gas that escapes, at 15 °C, 101.325 kPa")
    least_mbar: Pressure | None = Field(
        default=None, description="least kept meter inlet then that has gas, as solved"
    )
    barrier_mbar: Pressure | None = Field(
        default=None, description="pressure on the barrier that is left, or the highest on any, as solved"
    )
    seconds: Rounded1 | None = Field(default=None, description="that the gas left in the pipes lasts")
    at_once: bool = True
    minutes: Rounded1 | None = Field(default=None, description="that the action takes")
    solved: bool = Field(default=False, description="whether pressures were solved for it")
    note: str = ""
    meters_first: tuple[str, ...] = Field(
        default=(),
        description="ids of customers whose meters are shut before gas comes back to them: they fell below "
        "minimum, or may have",
    )
    feeds_again: tuple[str, ...] = Field(
        default=(), description="ids of the feeds or stations that are opened again only after that"
    )


class TimelineBar(PlanElement):
    """When a step is done: minutes from the beginning of the day's work, and by whom."""

    n: int = Field(description="number of the step")
    day: Literal["before", "day", "after"]
    crew: str
    start_min: Rounded1
    end_min: Rounded1
    critical: bool = False


class Timeline(PlanElement):
    """The steps over the crews of the rules. Minutes count from the start of the window.

    `latest_cut_min` is when the main must be cut at the latest: the end of the crew's day less
    `duration.overrun` times what remains then, relighting included.
    """

    bars: tuple[TimelineBar, ...] = ()
    critical: tuple[int, ...] = Field(default=(), description="numbers of the steps on the critical path")
    path_min: Rounded1
    gas_back_min: Rounded1 = Field(description="when the last stop is out and through-flow is proved")
    off_from_min: Rounded1 | None = Field(default=None, description="when the first meter is turned off")
    relit_min: Rounded1 | None = Field(default=None, description="when the last is relit")
    latest_cut_min: Rounded1 | None = None
    latest_cut: str = Field(default="", description="the same by the clock")
    window_min: Rounded1
    day_end_min: Rounded1
    slack_min: Rounded1 = Field(description="left at the end of the crew's day")
    start_min: Rounded1 = Field(default=420.0, description="minute of the day at which the window starts")


class Step(PlanElement):
    """One step of the work order: a draft for the operator's competent person.

    Its words are made from what it needs, changes, tests and reads. `expect_mbar` at `expect_at` is the first
    pressure to be read, or the least kept meter inlet of the state it is in; `readings` are those of gauges.
    """

    n: int
    stage: str = Field(default="", description="which part of the order it belongs to")
    does: str
    uses: tuple[str, ...] = ()
    who: str
    hold: bool = Field(default=False, description="nobody goes on before the competent person says so")
    expect_mbar: Pressure | None = Field(default=None, description="pressure to be read [mbar gauge]")
    expect_at: str = Field(default="", description="id of the gauge, stop or customer it is read at")
    across_mbar: Pressure | None = Field(
        default=None, description="difference across the barrier that is taken out, as solved [mbar]"
    )
    minutes: Rounded1 | None = Field(default=None, description="that it takes, by the rules")
    if_not: str = ""
    needs: tuple[Need, ...] = ()
    changes: tuple[Change, ...] = ()
    readings: tuple[Reading, ...] = ()
    state: str = Field(
        default="", description="`after_step` of the solved state that the network is in after the step"
    )
    trench: Literal["", "empty", "occupied"] = Field(
        default="", description="whether the work trench must be empty, or people work in it"
    )
    manned: tuple[str, ...] = Field(default=(), description="ids of items with a person at them all the time")
    purge: PurgePath | None = None
    let_by: LetByTest | None = None
    pressure_tests: tuple[PressureTest, ...] = ()
    feed_test: FeedTest | None = Field(default=None, description="of the bypass that is tested or accepted")
