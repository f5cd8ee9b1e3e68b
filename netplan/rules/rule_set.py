"""The planning rules as checked, frozen values.

Field names carry the unit, as in the file. Quantities written with a unit are converted on the way in.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from netplan.rules.emergency_rules import EmergencyRules
from netplan.rules.excavation_rules import ExcavationRules, FallbackRules, SurfacePrices
from netplan.rules.gas_rules import GasRules
from netplan.rules.order_rules import DurationRules, GaugeRules, LetByRules, PressureTestRules
from netplan.rules.outlet_table import Outlet, outlets_in_order
from netplan.rules.rule_types import (
    Celsius,
    Diameters,
    Flag,
    KelvinStep,
    Metres,
    MetresPerSecond,
    Millibars,
    Millimetres,
    Minutes,
    Money,
    Number,
    Offset,
    Roughnesses,
    RulesTable,
    Share,
    Whole,
)
from netplan.rules.staging_rules import StagingRules

__all__ = ["AssemblyPart", "BadDataRules", "ExcavationRules", "MethodKind", "Rules", "StopMethod"]


class MethodKind(StrEnum):
    """How a stop is made."""

    BAG = "bag"
    SQUEEZE = "squeeze"
    VALVE = "valve"


Role = Literal["zone_vent", "barrier", "vent", "gauge", "bypass"]
MaterialWord = Literal["PE80", "PE100", "PE", "steel", "ductile_iron", "cast_iron", "other"]
JointWord = Literal["unknown", "fusion", "mechanical", "socket"]


class AssemblyPart(RulesTable):
    """One tapping or barrier of a stop.

    `offset_m` is along the main from the barrier nearest the work, positive away from the work [m]; for a
    valve the place that is looked for first. How wide it is tapped says the table of outlets.
    """

    role: Role
    offset_m: Offset

    @model_validator(mode="before")
    @classmethod
    def _no_size(cls, value: Any) -> Any:
        if isinstance(value, dict) and "size_mm" in value:
            raise ValueError("size_mm is not read; write the size into [[outlet]], by outside diameter")
        return value


class StopMethod(RulesTable):
    """One way of stopping a main, what it may be used on and what it costs."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    kind: MethodKind
    materials: tuple[MaterialWord, ...]
    od_min_mm: Millimetres
    od_max_mm: Millimetres
    rating_mbar: Annotated[Millibars, Field(gt=0)]
    rating_margin_mbar: Millibars = 0.0
    reverse_rating_mbar: Millibars | None = None
    barriers: Annotated[Whole, Field(ge=1, le=2)]
    assembly: tuple[AssemblyPart, ...] = ()
    fitting_m: Metres = 0.0
    fitting_od: Diameters = 0.0
    same_m: Metres = 0.0
    same_od: Diameters = 0.0
    price: Money
    price_per_mm_od: Money = 0.0
    price_surface: SurfacePrices = SurfacePrices()
    minutes: Minutes
    minutes_fast: Minutes
    refuse_early_pe: Flag = False
    refuse_inserted: Flag = True
    refuse_joints: tuple[JointWord, ...] = ("mechanical",)

    @model_validator(mode="after")
    def _barriers_agree(self) -> StopMethod:
        drawn = sum(part.role == "barrier" for part in self.assembly)
        if self.kind is not MethodKind.VALVE and drawn != self.barriers:
            raise ValueError(
                f"assembly draws {drawn} barriers, barriers says {self.barriers}; make them agree"
            )
        if self.od_min_mm > self.od_max_mm:
            raise ValueError("od_min_mm is above od_max_mm; swap them")
        if self.kind is MethodKind.VALVE:
            _check_valve_tappings(self.assembly)
        return self


def _check_valve_tappings(assembly: tuple[AssemblyPart, ...]) -> None:
    """Raise where a valve is not tapped for a zone vent on its zone's side and a gauge on its live side."""
    at = {part.role: part.offset_m for part in assembly}
    if not (len(assembly) == 2 and set(at) == {"zone_vent", "gauge"} and at["zone_vent"] < 0.0 < at["gauge"]):
        raise ValueError(
            "assembly of a valve is one zone_vent at an offset below 0 and one gauge above 0; write both"
        )


class PressureRules(RulesTable):
    """What a kept customer's meter inlet must have and may have [mbar gauge], and which areas may be joined.

    Rules of before the last three keys, kept in an old plan, mean the values given here.
    """

    minimum_mbar: Millibars
    margin_mbar: Millibars
    maximum_mbar: Annotated[Millibars, Field(gt=0)] = 75.0
    fault_maximum_mbar: Annotated[Millibars, Field(gt=0)] = 100.0
    outlet_difference_mbar: Millibars = 5.0


class DemandRules(RulesTable):
    """How demand is set for the window of the work."""

    design_air_temp_c: Celsius
    forecast_margin_c: KelvinStep
    margin: Annotated[Number, Field(ge=0, le=2)]
    small_group: Annotated[Number, Field(ge=0, le=5)]
    within_hour: Annotated[Number, Field(ge=0, le=5)]
    relight: Share
    day_starts_hour: Annotated[Whole, Field(ge=0, le=23)]


class ClearanceRules(RulesTable):
    """Clearances of tappings [m, × OD], and whether assemblies may pass joints that are record boundaries."""

    work_m: Metres
    fitting_m: Metres
    fitting_od: Diameters
    through_record_joints: Flag = False


class MethodGeneral(RulesTable):
    """What counts as early PE."""

    early_pe_before_year: Annotated[Whole, Field(ge=1900, le=2200)]
    early_resins: tuple[str, ...]
    squeeze_unknown_resin: Flag


class ValveRules(RulesTable):
    """How far a valve is trusted as a stop, and how far from it its tappings may be [m]."""

    second_barrier: Flag
    let_by_test: Flag
    tapping_reach_m: Metres = 5.0


class PerCategory(RulesTable):
    """One figure by category of customer [currency per meter and hour]."""

    household: Money
    business: Money
    industry: Money
    public: Money


class PriceRules(RulesTable):
    """Prices, all in one currency."""

    off_per_hour: PerCategory
    gas_per_m3: Money
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$")]
    bypass: Money
    bypass_per_m: Money
    hose_per_m: Money
    open_valve: Money
    ramp: Money = 0.0


class BypassRules(RulesTable):
    """What bypasses are made of and how hard they may be driven.

    ``tapping_bore_mm`` is the widest outlet for a bypass or hose that the operator holds: outlets of the
    table that are wider count as this size.
    """

    bores_mm: Annotated[tuple[Millimetres, ...], Field(min_length=1)]
    velocity_max_m_s: MetresPerSecond
    reach_m: Metres
    from_other_mains: Flag = True
    slack: Annotated[Number, Field(ge=1, le=3)]
    street_half_width_m: Metres = 7.0
    long_share: Share = 0.5
    tapping_bore_mm: Annotated[Millimetres, Field(gt=0)]
    loss_coefficient: Annotated[Number, Field(ge=0, le=1000)]
    parallel_max: Annotated[Whole, Field(ge=1, le=10)]
    roughness_mm: Roughnesses
    minutes_shut: Minutes = 5.0
    minutes_move: Minutes = 30.0

    @model_validator(mode="after")
    def _ascending(self) -> BypassRules:
        if list(self.bores_mm) != sorted(set(self.bores_mm)) or self.bores_mm[0] <= 0:
            raise ValueError("bores_mm must be positive and ascending without repeats")
        return self


class Roughness(RulesTable):
    """Wall roughness by kind of material [mm]."""

    PE: Roughnesses
    steel: Roughnesses
    iron: Roughnesses


class PipeRules(RulesTable):
    """Pipe walls."""

    roughness_mm: Roughness


class PurgeRules(RulesTable):
    """Purging out of service and back in."""

    volumes_out: Annotated[Number, Field(ge=1, le=20)]
    volumes_in: Annotated[Number, Field(ge=1, le=20)]
    stack_bores_mm: Annotated[tuple[Annotated[Millimetres, Field(gt=0)], ...], Field(min_length=1)]
    stack_height_m: Annotated[Metres, Field(gt=0, le=100)]
    gwp_methane: Annotated[Number, Field(gt=0, le=200)]
    draw_is_load: Flag = True
    below_least: Literal["warn", "refuse"] = "warn"


class StationRules(RulesTable):
    """Stations whose outlet valve is a stop.

    ``inlet_shut_counts``: whether the inlet, shut and locked with the space between vented, counts as the
    second barrier where the records name no inlet valve; where they do, the records decide.
    """

    inlet_shut_counts: Flag = False


Crews = Annotated[Whole, Field(ge=1, le=100)]


class CrewRules(RulesTable):
    """What a crew can do in a day."""

    relights_per_hour: Annotated[Number, Field(gt=0, le=10_000)]
    day_end: Annotated[str, Field(pattern="^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    no_access: Share
    hours: Annotated[Number, Field(gt=0, le=240)]
    stop_crews: Crews = 2
    bypass_crews: Crews = 1
    meter_fitters: Crews = 5


Days = Annotated[Whole, Field(ge=0, le=365)]


class LeadDays(RulesTable):
    """Days of notice by category of customer [d]."""

    household: Days
    business: Days
    industry: Days
    public: Days
    priority: Days


class NoticeRules(RulesTable):
    """Notices to customers."""

    lead_days: LeadDays


class ChoiceRules(RulesTable):
    """How long to look and what to show; 0 means no limit for max_stops and standby_meters_max.

    ``max_zones``, ``max_solves`` and ``max_solves_without_option`` count work, so that a search ends at the
    same place on every machine; ``seconds`` are those of the clock, after which it ends whatever is left.
    """

    options: Annotated[Whole, Field(ge=1, le=50)]
    seconds: Annotated[Number, Field(gt=0, le=1e6)]
    max_zones: Annotated[Whole, Field(ge=1, le=10**9)]
    max_solves: Annotated[Whole, Field(ge=1, le=10**9)] = 12_000
    max_solves_without_option: Annotated[Whole, Field(ge=1, le=10**9)] = 4_000
    max_stops: Annotated[Whole, Field(ge=0, le=1000)]
    standby_meters_max: Annotated[Whole, Field(ge=0, le=10**9)]


class MeasureRules(RulesTable):
    """Works on a main [1/(km a)], and prices of measures that make them cheaper; a link by its length too."""

    works_per_km_year: Annotated[Number, Field(gt=0, le=1000)] = 0.2
    valve: Money = 2500.0
    link: Money = 3000.0
    link_per_m: Money = 180.0
    repair: Money = 900.0
    verify: Money = 150.0


class PageRules(RulesTable):
    """The planning page.

    Idle for ``idle_hours`` [h] it ends; an area or street makes ``work_lengths`` mains the work at most [-].
    """

    idle_hours: Annotated[Number, Field(gt=0, le=168)] = 4.0
    work_lengths: Annotated[Whole, Field(ge=1, le=200)] = 60


class BadDataRules(RulesTable):
    """How many pipes without a usable size a plan may set aside, and what they may move.

    ``share`` is of the live mains, and of the live services; ``pressure_mbar`` how far pressures at stops,
    gauges and feeds may lie apart with these pipes as not live and as live [mbar].
    """

    pipes_max: Annotated[Whole, Field(ge=0, le=1000)] = 20
    share: Share = 0.1
    pressure_mbar: Millibars = 0.5


class Rules(RulesTable):
    """All planning rules; see ``gas-netplan rules`` for every key with unit and source."""

    gas: GasRules
    pressure: PressureRules
    demand: DemandRules
    clearance: ClearanceRules
    method: Annotated[tuple[StopMethod, ...], Field(min_length=1)]
    outlet: Annotated[tuple[Outlet, ...], Field(min_length=1)]
    method_general: MethodGeneral
    valve: ValveRules
    station: StationRules = StationRules()
    price: PriceRules
    bypass: BypassRules
    fallback: FallbackRules = FallbackRules()
    pipe: PipeRules
    purge: PurgeRules
    crew: CrewRules
    duration: DurationRules = DurationRules()
    let_by: LetByRules = LetByRules()
    pressure_test: PressureTestRules = PressureTestRules()
    gauge: GaugeRules = GaugeRules()
    notice: NoticeRules
    choice: ChoiceRules
    excavation: ExcavationRules = ExcavationRules()
    staging: StagingRules = StagingRules()
    measures: MeasureRules = MeasureRules()
    bad_data: BadDataRules = BadDataRules()
    emergency: EmergencyRules = EmergencyRules()
    page: PageRules = PageRules()

    @field_validator("outlet")
    @classmethod
    def _in_order(cls, outlets: tuple[Outlet, ...]) -> tuple[Outlet, ...]:
        return outlets_in_order(outlets)

    @model_validator(mode="after")
    def _names_differ(self) -> Rules:
        names = [method.name for method in self.method]
        if len(set(names)) != len(names):
            raise ValueError("two methods have the same name; rename one")
        return self

    def values(self) -> dict[str, Any]:
        """Return every value used, as plain JSON data, for plan.json."""
        return self.model_dump(mode="json")
