"""An option of an issued plan made anew on today's network, complete, or why that cannot be done."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from netplan.core.errors import BadWorkError, NoPlanError, NotSolvedError
from netplan.isolation import CutSearch, Stretch
from netplan.network.work_section import WorkSection, work_section
from netplan.planfile import model
from netplan.planfile.model import Option, Plan
from netplan.planfile.recheck_answer import Against
from netplan.planning.context import PlanningContext
from netplan.planning.prepared_fallbacks import with_prepared_fallbacks
from netplan.planning.rank import Ranking, isolation_problem, look_up
from netplan.planning.request import PlanRequest
from netplan.planning.subnetwork_context import in_least_subnetwork
from netplan.planning.written_option import conditions_of, written_option
from netplan.procedure.order_laws import law_breaches
from netplan.recheck.fixed_option import FixedOption, fixed_option
from netplan.recheck.recorded_places import stops_today, work_today

__all__ = ["TodaysOption", "todays_option"]

Tell = Callable[[str], None]
GIVEN = "its stops are those of an issued plan"


@dataclass(frozen=True, slots=True, eq=False)
class TodaysOption:
    """What an issued option is today.

    Parameters
    ----------
    option : Option or None
        Complete; None where its stops cannot be made, or a feed or somebody kept has no gas.
    conditions : Conditions or None
    against : tuple of Against
        Hard constraints that it breaks.
    below : tuple of str
        Customers kept with too little, or too much, in some state of the work, by id.
    off : tuple of str
        Customers off, by id.
    kept_by : dict
        Id of the feed that keeps a customer, by the customer's id.
    is_solved : bool
        Whether these three are known: the stops can be made, and every state was solved.
    """

    option: Option | None
    conditions: model.Conditions | None
    against: tuple[Against, ...]
    below: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    kept_by: dict[str, str] = field(default_factory=dict)
    is_solved: bool = False


def todays_option(request: PlanRequest, plan: Plan, recorded: Option, tell: Tell) -> TodaysOption:
    """Return an issued option with the same stops and feeds on the network and weather of a request.

    Parameters
    ----------
    request : PlanRequest
        Today's network, rules and weather; its work and orders are those of the plan.
    plan : Plan
    recorded : Option
        Of the plan.
    tell : callable
        Called with a few words on what is being done.
    """
    network = request.network
    places = stops_today(network, recorded)
    against = [Against(subject="stop", what=why) for why in places.reasons]
    parts = work_today(network, plan.work)
    try:
        section = work_section(network, parts)
    except BadWorkError as error:
        return TodaysOption(None, None, (Against(subject="work section", what=str(error)), *against))
    force = tuple(sorted({Stretch(one.pipe, one.chainage_m, one.chainage_m) for one in places.stops}))
    asked = replace(request, parts=parts, orders=replace(request.orders, force=force))
    whole = PlanningContext.for_request(asked)
    tell("solving the network before any stop")
    try:
        conditions = _before(whole, section)
    except NotSolvedError as error:
        return TodaysOption(None, None, (*against, Against(subject="pressure", what=str(error))))
    if against:
        return TodaysOption(None, conditions, tuple(against))

    def answer(context: PlanningContext) -> TodaysOption:
        return _on(context, recorded, conditions, tell)

    try:
        return in_least_subnetwork(whole, section, answer, lambda: tell("looking farther out"))
    except NoPlanError as error:
        reasons = error.reasons or (str(error),)
        return TodaysOption(
            None, conditions, tuple(Against(subject="stop", what=reason) for reason in reasons)
        )


def _before(whole: PlanningContext, section: WorkSection) -> model.Conditions:
    _ = whole.before_by_hour
    whole.before.require_solved()
    return conditions_of(whole, section)


def _on(context: PlanningContext, recorded: Option, conditions: model.Conditions, tell: Tell) -> TodaysOption:
    """Return the option on the context of a subnetwork or of the whole network.

    Raises
    ------
    NoPlanError
        When a stop cannot be made, or gas gets past them.
    """
    request = context.request
    section = work_section(request.network, request.parts)
    look_up(context, section)
    problem = isolation_problem(context, section)
    problem = replace(problem, orders=replace(problem.orders, force=()))
    search = context.cuts(problem)
    cut = search.given(stops_today(request.network, recorded).stops)
    tell("solving every state of the work")
    fixed = fixed_option(context, cut, recorded)
    customer_id = request.network.customers.id
    solved = TodaysOption(
        None,
        conditions,
        fixed.against,
        fixed.below,
        tuple(customer_id[row] for row in fixed.priced.off.tolist()),
        fixed.kept_by,
        is_solved=True,
    )
    if not fixed.has_gas:
        # Fallbacks, doubts and readings of a network without gas are none.
        return solved
    priced = with_prepared_fallbacks(context, problem, fixed.priced, None)
    tell("working out fallbacks, doubts and readings")
    work = tuple(model.WorkItem(main_id=p.main_id, from_m=p.from_m, to_m=p.to_m) for p in request.parts)
    ranking = _ranking(replace(fixed, priced=priced), search, recorded.rank)
    source = written_option(context, section, conditions, ranking, recorded.rank - 1, work)
    laws = law_breaches(source.option, conditions, request.rules)
    against = (*fixed.against, *(Against(subject="order of work", what=one.words()) for one in laws))
    return replace(solved, option=source.option, against=against)


def _ranking(fixed: FixedOption, search: CutSearch, rank: int) -> Ranking:
    """Return a ranking in which the option stands at its rank of the plan: nothing is proven of it."""
    return Ranking((fixed.priced,) * rank, None, GIVEN, 1, (), search)
