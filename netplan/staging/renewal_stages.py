"""From a renewal to its stages, each with a plan of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from netplan.core.errors import NoPlanError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.context import PlanningContext
from netplan.planning.make_plan import make_plan
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.request import PlanRequest
from netplan.rules import Rules
from netplan.staging.fewest_off import FewestOff, fewest_off
from netplan.staging.least_burden import PlannedLengths, plan_lengths
from netplan.staging.new_pipe import stops_in_new_pipe
from netplan.staging.renewal import Renewal
from netplan.staging.shared_places import SharedPlaces, Sharing
from netplan.staging.stage_borders import Pair, allowed_lengths, borders_of
from netplan.staging.stage_days import stage_starts
from netplan.staging.stage_plans import StagePlans, burden_minor, meters_off
from netplan.staging.stage_split import NoSplitError, StageCandidate, StageSplit, split_exactly

__all__ = ["RenewalStage", "Staging", "stage_renewal"]

Tell = Callable[[str], None]
MOST_REASONS: Final = 5
"""Lengths without a plan that an error names (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class RenewalStage:
    """One stage.

    Parameters
    ----------
    from_m, to_m : float
        Along the renewal [m].
    parts : tuple of WorkPart
    result : PlanResult
        Its plan.
    rank : int
        Rank of the option in it that the split takes.
    sharing : Sharing
        What the stage before has paid for already.
    in_new_pipe : dict of str to int
        Number of the earlier stage in whose new pipe a stop lies, by the id of the stop.
    start : datetime, optional
        Local start of its window; None for any working day.
    """

    from_m: float
    to_m: float
    parts: tuple[WorkPart, ...]
    result: PlanResult
    rank: int
    sharing: Sharing
    in_new_pipe: dict[str, int]
    start: datetime | None

    @property
    def option(self) -> Option:
        """The option that the split takes."""
        return self.result.plan.options[self.rank - 1]

    @property
    def meters_off(self) -> int:
        """Meters off while it is worked on."""
        return meters_off(self.option)

    @property
    def alone_minor(self) -> int:
        """Its burden without anything shared [minor units]."""
        return burden_minor(self.option)

    @property
    def burden_minor(self) -> int:
        """Its burden less what it shares with the stage before [minor units]."""
        return self.alone_minor - self.sharing.saved_minor


@dataclass(frozen=True, slots=True, eq=False)
class Staging:
    """A renewal in stages.

    Parameters
    ----------
    network : Network
    rules : Rules
    renewal : Renewal
    stages : tuple of RenewalStage
    least_most_off : int
        No series of stages has fewer meters off in its worst stage.
    bound_minor : int
        No series with so few meters off costs less before what its stages share is taken off [minor units].
    is_every_length : bool
        Whether every length that may be a stage was planned: then no series of the ways listed costs less.
    borders_tried, plans_made : int
    """

    network: Network
    rules: Rules
    renewal: Renewal
    stages: tuple[RenewalStage, ...]
    least_most_off: int
    bound_minor: int
    is_every_length: bool
    borders_tried: int
    plans_made: int

    @property
    def most_off(self) -> int:
        """Meters off in the worst stage."""
        return max(stage.meters_off for stage in self.stages)

    @property
    def alone_minor(self) -> int:
        """Burden of all stages before what they share is taken off [minor units]."""
        return sum(stage.alone_minor for stage in self.stages)

    @property
    def burden_minor(self) -> int:
        """Burden of all stages, what they share paid once [minor units]."""
        return sum(stage.burden_minor for stage in self.stages)

    @property
    def gap_minor(self) -> int:
        """How far the burden before sharing may be from the least [minor units]."""
        return max(self.alone_minor - self.bound_minor, 0)


def stage_renewal(request: PlanRequest, renewal: Renewal, tell: Tell = lambda _: None) -> Staging:
    """Split a renewal into stages: fewest meters off in the worst one, then the lowest burden.

    Parameters
    ----------
    request : PlanRequest
        Network, rules, orders, and the window of the first stage; its work is not looked at.
    renewal : Renewal
    tell : callable, optional
        Called with a few words on what is being done.

    Raises
    ------
    NoPlanError
        When no series of stages within the rules' lengths has plans, with reasons.
    """
    rules = request.rules
    borders = borders_of(request.network, renewal, rules.staging.step_m)
    pairs = allowed_lengths(borders, rules.staging)
    plans = StagePlans(request, renewal, borders, tell)
    places = SharedPlaces(request.network, plans.context.index, rules)
    try:
        fewest = fewest_off(plans, pairs)
        lengths = plan_lengths(plans, fewest)
        split = _split(len(borders), lengths, places)
    except NoSplitError as error:
        raise _no_series(plans, rules, is_spent=error.spent) from None
    stages = _with_plans(request, renewal, borders, split, fewest, places, plans.context, tell)
    return Staging(
        network=request.network,
        rules=rules,
        renewal=renewal,
        stages=stages,
        least_most_off=fewest.proven,
        bound_minor=lengths.bound_minor,
        is_every_length=lengths.is_every_length and not plans.cut_short,
        borders_tried=len(borders),
        plans_made=plans.plans,
    )


def _split(count: int, lengths: PlannedLengths, places: SharedPlaces) -> StageSplit:
    """Return the best series of the options listed, what neighbours share taken off."""
    found = {
        pair: tuple(
            StageCandidate(meters_off(option), burden_minor(option), option)
            for option in ways.result.plan.options
        )
        for pair, ways in lengths.ways.items()
    }
    saved: dict[tuple[int, int], int] = {}

    def shared(left: StageCandidate, right: StageCandidate) -> int:
        key = (id(left.what), id(right.what))
        if key not in saved:
            saved[key] = places.between(left.what, right.what).saved_minor
        return saved[key]

    return split_exactly(count, lambda i, j: found.get((i, j), ()), shared)


def _with_plans(
    request: PlanRequest,
    renewal: Renewal,
    borders: tuple[float, ...],
    split: StageSplit,
    fewest: FewestOff,
    places: SharedPlaces,
    context: PlanningContext,
    tell: Tell,
) -> tuple[RenewalStage, ...]:
    """Plan each stage in full on its own day, with what it shares with the one before."""
    stages: list[RenewalStage] = []
    starts = stage_starts(request.start, len(split.ways), request.rules.staging.days_apart)
    orders = replace(request.orders, max_meters_off=fewest.most)
    for number, (way, start) in enumerate(zip(split.ways, starts, strict=True), 1):
        low, high = borders[split.borders[number - 1]], borders[split.borders[number]]
        parts, _ = renewal.section(request.network, low, high)
        tell(f"stage {number} of {len(split.ways)}: plan")
        asked = replace(
            request,
            parts=parts,
            start=start,
            orders=orders,
            options=max(request.wanted, request.rules.staging.ways),
        )
        watch = PlanWatch(context.with_request(asked)) if start == request.start else None
        try:
            result = make_plan(asked, watch=watch)
        except NoPlanError as error:
            error.args = (f"stage {number}, {low:g} m to {high:g} m, {start or 'any working day'}: {error}",)
            raise
        rank = _rank_of(way.what, result.plan)
        option = result.plan.options[rank - 1]
        sharing = places.between(stages[-1].option, option) if stages else Sharing()
        earlier = [(k, stage.parts) for k, stage in enumerate(stages, 1)]
        stage = RenewalStage(
            low, high, parts, result, rank, sharing, stops_in_new_pipe(option.stops, earlier), start
        )
        stages.append(replace(stage, result=_with_notes(stage, number)))
    return tuple(stages)


def _rank_of(wanted: Option, plan: Plan) -> int:
    """Return the rank of an option in a plan of the same work on its day; 1 where it is not there."""

    def known(option: Option) -> tuple[object, ...]:
        stops = {(stop.method, stop.main_id, stop.chainage_m) for stop in option.stops}
        off = {one.id for one in option.customers if one.effect == "off"}
        return frozenset(stops), frozenset(off), len(option.bypasses), len(option.opened_valves)

    same = [option.rank for option in plan.options if known(option) == known(wanted)]
    return same[0] if same else 1


def _with_notes(stage: RenewalStage, number: int) -> PlanResult:
    """Return the plan of a stage in which its option says what the stages before have left."""
    notes = (
        *(
            f"{one.stop_id} is where stage {number - 1} had its {one.before_id}: one excavation serves both; "
            "prove the stop again before it is used"
            for one in stage.sharing.stops
        ),
        *(
            f"{one.hoses} × {one.bore_mm:g} mm hose: moved along from stage {number - 1}"
            for one in stage.sharing.hoses
        ),
        *(
            f"{name} is in the new pipe of stage {earlier}: its size, wall and fittings are as laid, not as "
            "recorded; check the stop against them"
            for name, earlier in stage.in_new_pipe.items()
        ),
    )
    plan = stage.result.plan
    options = list(plan.options)
    taken = options[stage.rank - 1]
    options[stage.rank - 1] = taken.model_copy(update={"warnings": (*taken.warnings, *notes)})
    return replace(stage.result, plan=plan.model_copy(update={"options": tuple(options)}))


def _no_series(plans: StagePlans, rules: Rules, *, is_spent: bool) -> NoPlanError:
    """Return the error that says why there are no stages, with what would allow the first that has none."""
    lengths = f"from {rules.staging.shortest_m:g} m to {rules.staging.longest_m:g} m long"
    if not plans.refused:
        why = "no borders fit these lengths: change the rules' staging lengths"
        return NoPlanError(f"no series of stages {lengths} fits the renewal", (why,))
    is_open = is_spent or bool(plans.cut_short)
    message = f"no series of stages {lengths} has plans throughout"
    if is_open:
        message = f"no series of stages {lengths} was found within {plans.plans} plans, but one may exist"
    nearest = _standing_in_the_way(plans)
    errors = [
        (pair, plans.why_not(pair) if k == 0 else plans.refused[pair]) for k, pair in enumerate(nearest)
    ]
    error = NoPlanError(
        message, tuple(f"{plans.words(pair)}: {one}" for pair, one in errors), cut_short=is_open
    )
    error.lifted = errors[0][1].lifted
    return error


def _standing_in_the_way(plans: StagePlans) -> Sequence[Pair]:
    """Return refused lengths of which none holds another, the first along the renewal first."""
    refused = sorted(plans.refused, key=lambda pair: (pair[1] - pair[0], pair))
    least: list[Pair] = []
    for pair in refused:
        if not any(pair[0] <= other[0] and other[1] <= pair[1] for other in least):
            least.append(pair)
    return sorted(least)[:MOST_REASONS]
