"""From a request to a plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Final, TypeVar

from netplan.core.errors import BadWorkError, NoPlanError, NotSolvedError
from netplan.network.concurrency import in_background
from netplan.network.linear_reference import PipeLines
from netplan.network.text_column import TextColumn
from netplan.network.work_section import WorkSection, work_section
from netplan.planfile import model
from netplan.planfile.network_facts import network_facts, provenance_of
from netplan.planfile.plan_result import PlanResult
from netplan.planning.blocking_orders import lifted_orders
from netplan.planning.context import PlanningContext
from netplan.planning.lawful_options import LawfulOptions, NoLawfulPlanError, lawful_options
from netplan.planning.option_records.option_state import StateSource, state_of
from netplan.planning.option_records.plan_findings import findings_of, known_findings, noticed
from netplan.planning.option_records.state_extent import extent_of
from netplan.planning.option_records.validity_warnings import validity_findings
from netplan.planning.pipes_set_aside import plan_with_set_aside
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.rank import (
    OptionIdentity,
    Ranking,
    look_up,
    option_identity,
    rank,
)
from netplan.planning.request import PlanRequest
from netplan.planning.subnetwork_context import in_least_subnetwork
from netplan.planning.written_option import conditions_of, written_option

__all__ = ["CAUTION", "NOT_CHECKED", "PlanRequest", "best_option", "make_plan"]

CAUTION = (
    "Planning figures only. This is no permit, no approved procedure and no substitute for the operator's "
    "rules, local codes and licensed, competent people. Prove records, pressures and every stop on site "
    "before relying on them."
)

NOT_CHECKED: tuple[str, ...] = ()
"""Hard constraints that this version does not check yet."""

Tell = Callable[[str], None]
Found = TypeVar("Found")

MOST_SEARCHES: Final = 4
"""Searches at most, each without the options of those before whose order breaks a law (own) [-]."""


def make_plan(
    request: PlanRequest,
    tell: Tell = lambda _: None,
    watch: PlanWatch | None = None,
    *,
    lift_orders: bool = True,
) -> PlanResult:
    """Plan the stopping of a work section.

    Where the network has pipes set aside, the plan is proven not to hang on them.

    Parameters
    ----------
    request : PlanRequest
    tell : callable, optional
        Called with a few words on what is being done, for a progress display.
    watch : PlanWatch, optional
        Hears what stands of the plan already; not where pipes are set aside: the whole is proven then.
    lift_orders : bool, optional
        Whether to find, where there is no plan, the orders of which one lifted alone gives one.

    Raises
    ------
    BadInputError
        When the work section, window or rules cannot be used.
    BadNetworkError
        When the plan hangs, or may hang, on a pipe that is set aside.
    NoPlanError
        When no plan was found, with the reasons and the orders of which one lifted alone gives a plan.
    NotSolvedError
        When the network has no solution before any stop.
    """
    if len(request.network.set_aside):
        return plan_with_set_aside(request, tell, _make_plan)
    return _make_plan(request, tell, watch, lift_orders=lift_orders)


def best_option(request: PlanRequest, watch: PlanWatch) -> model.Option:
    """Return the best option that a plan of a request lists, for many works on one solved network.

    The search, the laws of the order and every figure of the option are those of `make_plan` with one option.
    Left out is what only the papers say: findings, warnings, pressures with the local peak, solved states,
    and, where the option has no feed and shuts in no station, what is done when something fails.

    Parameters
    ----------
    request : PlanRequest
        It asks for one option without weather; its network has no pipes set aside.
    watch : PlanWatch
        Of the context of the whole network, its state before any stop solved.

    Raises
    ------
    BadInputError
        When the work section, window or rules cannot be used.
    NoPlanError
        When no plan was found, with the reasons.
    NotSolvedError
        When the network has no solution before any stop.
    """
    section = work_section(request.network, request.parts)
    # A law counts the meters of those who would lose gas where something fails: at most as many as customers.
    without_meters = bool((request.network.customers.meters < 1).any())

    def option(context: PlanningContext, here: WorkSection, conditions: model.Conditions) -> model.Option:
        work = _work_items(context.request)
        return _lawful_on(context, here, conditions, work, _silent, watch, papers=without_meters).options[0]

    return _in_least(request, section, _silent, watch, option)


def _silent(_: str) -> None:
    """Tell nobody."""


def _make_plan(
    request: PlanRequest, tell: Tell, watch: PlanWatch | None = None, *, lift_orders: bool = True
) -> PlanResult:
    section = work_section(request.network, request.parts)
    watched = watch or PlanWatch(PlanningContext.for_request(request))
    try:
        return _plan_of(request, section, tell, watched, lift_orders=lift_orders)
    except (BadWorkError, NoPlanError, NotSolvedError) as error:
        error.noticed = noticed(request.network, section)
        raise


def _plan_of(
    request: PlanRequest, section: WorkSection, tell: Tell, watch: PlanWatch, *, lift_orders: bool
) -> PlanResult:
    def plan(context: PlanningContext, here: WorkSection, conditions: model.Conditions) -> PlanResult:
        return _plan_on(context, watch.whole, here, conditions, tell, watch)

    try:
        return _in_least(request, section, tell, watch, plan)
    except NoLawfulPlanError:
        # Orders are lifted for what the search refused: it found options here.
        raise
    except NoPlanError as error:
        if lift_orders:
            error.lifted = lifted_orders(watch.whole, tell)
        raise


def _in_least(
    request: PlanRequest,
    section: WorkSection,
    tell: Tell,
    watch: PlanWatch,
    answer: Callable[[PlanningContext, WorkSection, model.Conditions], Found],
) -> Found:
    """Return what is found in the least subnetwork that holds it; the whole is solved before any stop."""
    tell("solving the network before any stop")
    whole = watch.whole
    with in_background(lambda: whole.before_by_hour) as before:
        # What the solution needs besides is worked out here while its solver is made ready there.
        _ = whole.demand, whole.fed_before
        conditions = conditions_of(whole, section)

        def found(context: PlanningContext) -> Found:
            here = work_section(context.request.network, request.parts)
            look_up(context, here)
            before()
            whole.before.require_solved()
            return answer(context, here, conditions)

        def farther_out() -> None:
            watch.farther_out()
            tell("looking farther out")

        return in_least_subnetwork(whole, section, found, farther_out)


def _work_items(request: PlanRequest) -> tuple[model.WorkItem, ...]:
    return tuple(model.WorkItem(main_id=p.main_id, from_m=p.from_m, to_m=p.to_m) for p in request.parts)


def _plan_on(
    context: PlanningContext,
    whole: PlanningContext,
    section: WorkSection,
    conditions: model.Conditions,
    tell: Tell,
    watch: PlanWatch,
) -> PlanResult:
    """Plan on the context of a subnetwork or of the whole network.

    Raises
    ------
    BoundaryAffectedError
        When a plan on the whole network might be another one.
    """
    request = context.request
    work = _work_items(request)
    lawful = _lawful_on(context, section, conditions, work, tell, watch)
    options, sources = lawful.options, lawful.sources
    # What is written of the whole network takes time: not for a plan that does not stand.
    context.scope.check_unaffected()
    tell("writing the findings")
    everything = whole.request.network
    section_there = work_section(everything, request.parts)
    known = (*known_findings(everything, section_there), *validity_findings(whole, section_there))
    plan = model.Plan(
        caution=CAUTION,
        network=network_facts(everything),
        provenance=provenance_of(request.network),
        work=work,
        conditions=conditions,
        rules=request.rules.values(),
        not_checked=NOT_CHECKED,
        findings=findings_of((*known, *whole.demand.findings, *lawful.findings()), options),
        options=options,
        replaces=request.replaces,
    )
    lines = PipeLines.of(request.network)
    tell("writing the states")
    extent = extent_of(request.network, lines, work, options)
    return PlanResult(
        plan=plan,
        network=request.network,
        states=tuple(state_of(source, extent, lines) for source in sources),
        notes_in_doubt=_in_doubt(context, options, context.scope.all_customers.priority_note),
        telephones_in_doubt=_in_doubt(context, options, context.scope.all_customers.telephone),
    )


def _lawful_on(
    context: PlanningContext,
    section: WorkSection,
    conditions: model.Conditions,
    work: tuple[model.WorkItem, ...],
    tell: Tell,
    watch: PlanWatch,
    *,
    papers: bool = True,
) -> LawfulOptions:
    """Return the best options whose order of the work keeps every law.

    What an order needs is known once it is written. Where one breaks a law the search runs again without that
    option, so that the list is full of options that stand and what is proven holds among them.

    Raises
    ------
    NoPlanError
        When there is none; a `NoLawfulPlanError` when options were found and each breaks a law.
    """
    rules, barred = context.request.rules, frozenset[OptionIdentity]()
    lawful = LawfulOptions((), ())

    def search() -> Ranking:
        return rank(context, section, tell, barred, partial(watch.found, context))

    for _ in range(MOST_SEARCHES):
        try:
            ranking = watch.ranked(context, barred, search)
        except NoPlanError as error:
            if not lawful.dropped:
                raise
            lawful.require(more_beyond=error.cut_short)
            raise
        written: list[StateSource] = []
        for place in range(len(ranking.options)):
            tell(f"writing option {place + 1}")
            written.append(written_option(context, section, conditions, ranking, place, work, papers=papers))
            watch.written([source.option for source in written])
        lawful = lawful_options(written, conditions, rules, lawful.dropped)
        if not lawful.unlawful:
            break
        barred |= {option_identity(source.priced) for source in lawful.unlawful}
    lawful.require(more_beyond=True)
    return lawful


def _in_doubt(
    context: PlanningContext, options: Sequence[model.Option], restricted: TextColumn
) -> dict[str, str]:
    """Return a restricted column of the priority customers in doubt that have an entry in it, by id."""
    ids = context.scope.all_customers.id
    named = sorted({row.id for option in options for row in option.in_doubt if row.priority})
    found = {name: restricted[ids.find(name)] for name in named}
    return {name: text for name, text in found.items() if text}
