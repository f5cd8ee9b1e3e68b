"""From a request to a plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.errors import BadWorkError, NoPlanError, NotSolvedError
from netplan.network.concurrency import in_background
from netplan.network.linear_reference import PipeLines
from netplan.network.text_column import TextColumn
from netplan.network.work_section import WorkSection, work_section
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planfile.network_facts import network_facts, provenance_of
from netplan.planfile.plan_result import PlanResult
from netplan.planning.blocking_orders import lifted_orders
from netplan.planning.context import PlanningContext
from netplan.planning.final_network import final_network
from netplan.planning.lawful_options import LawfulOptions, NoLawfulPlanError, lawful_options
from netplan.planning.loss_sheet import loss_sheet
from netplan.planning.option_records.option_record import option_of
from netplan.planning.option_records.option_state import StateSource, state_of
from netplan.planning.option_records.order_records import OrderRecords, finer_gauges
from netplan.planning.option_records.plan_findings import findings_of, known_findings, noticed
from netplan.planning.option_records.state_extent import extent_of
from netplan.planning.option_records.validity_warnings import validity_findings
from netplan.planning.option_records.zone_parts import with_parts
from netplan.planning.pipes_set_aside import plan_with_set_aside
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.purge_states import with_purge_states
from netplan.planning.rank import (
    OptionIdentity,
    Ranking,
    gas_outlet_pa_gauge,
    look_up,
    option_identity,
    rank,
)
from netplan.planning.request import PlanRequest, orders_in_words
from netplan.planning.subnetwork_context import in_least_subnetwork
from netplan.procedure import step_list, timeline

__all__ = ["CAUTION", "NOT_CHECKED", "PlanRequest", "make_plan"]

CAUTION = (
    "Planning figures only. This is no permit, no approved procedure and no substitute for the operator's "
    "rules, local codes and licensed, competent people. Prove records, pressures and every stop on site "
    "before relying on them."
)

NOT_CHECKED: tuple[str, ...] = ()
"""Hard constraints that this version does not check yet."""

Tell = Callable[[str], None]

MOST_SEARCHES: Final = 4
"""Searches at most, each without the options of those before whose order breaks a law (own) [-]."""


def make_plan(
    request: PlanRequest, tell: Tell = lambda _: None, watch: PlanWatch | None = None
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
    return _make_plan(request, tell, watch)


def _make_plan(request: PlanRequest, tell: Tell, watch: PlanWatch | None = None) -> PlanResult:
    section = work_section(request.network, request.parts)
    watched = watch or PlanWatch(PlanningContext.for_request(request))
    try:
        return _plan_of(request, section, tell, watched)
    except (BadWorkError, NoPlanError, NotSolvedError) as error:
        error.noticed = noticed(request.network, section)
        raise


def _plan_of(request: PlanRequest, section: WorkSection, tell: Tell, watch: PlanWatch) -> PlanResult:
    tell("solving the network before any stop")
    whole = watch.whole
    with in_background(lambda: whole.before_by_hour) as before:
        # What the solution needs besides is worked out here while its solver is made ready there.
        _ = whole.demand, whole.fed_before
        conditions = _conditions(whole, section)

        def plan(context: PlanningContext) -> PlanResult:
            here = work_section(context.request.network, request.parts)
            look_up(context, here)
            before()
            whole.before.require_solved()
            return _plan_on(context, whole, here, conditions, tell, watch)

        def farther_out() -> None:
            watch.farther_out()
            tell("looking farther out")

        try:
            return in_least_subnetwork(whole, section, plan, farther_out)
        except NoLawfulPlanError:
            # Orders are lifted for what the search refused: it found options here.
            raise
        except NoPlanError as error:
            error.lifted = lifted_orders(whole, tell)
            raise


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
    work = tuple(model.WorkItem(main_id=p.main_id, from_m=p.from_m, to_m=p.to_m) for p in request.parts)
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
            written.append(_written(context, section, conditions, ranking, place, work))
            watch.written([source.option for source in written])
        lawful = lawful_options(written, conditions, rules, lawful.dropped)
        if not lawful.unlawful:
            break
        barred |= {option_identity(source.priced) for source in lawful.unlawful}
    lawful.require(more_beyond=True)
    return lawful


def _written(
    context: PlanningContext,
    section: WorkSection,
    conditions: model.Conditions,
    ranking: Ranking,
    place: int,
    work: tuple[model.WorkItem, ...],
) -> StateSource:
    """Return the option at a place in the ranking, complete, with what its state is made from."""
    request, priced = context.request, ranking.options[place]
    final = final_network(context, priced)
    purges = list(priced.purges)
    priced = with_purge_states(context, priced, final, purges)
    option, feeds = option_of(context, section, ranking, place, priced, final, purges)
    option = with_parts(StateSource(context, option, priced, final, feeds.ids), section)
    # By weather for the best alone: the others are there to compare.
    records = OrderRecords(context, priced, final, option, by_weather=request.weather and place == 0)
    steps = step_list(
        option,
        conditions,
        request.rules,
        work=work,
        set_order=[stop_id(i) for i in priced.work.order],
        figures=records,
    )
    sheet = loss_sheet(context, priced, option)
    line = timeline(steps, option, conditions, request.rules)
    warnings = (*option.warnings, *finer_gauges(steps, request.rules))
    update = {"steps": steps, "timeline": line, "loss_sheet": sheet, "warnings": warnings}
    # A solver that was made ready for it is let go: it is the largest thing there.
    final = replace(final, prepared=None)
    return StateSource(context, option.model_copy(update=update), priced, final, feeds.ids)


def _in_doubt(
    context: PlanningContext, options: Sequence[model.Option], restricted: TextColumn
) -> dict[str, str]:
    """Return a restricted column of the priority customers in doubt that have an entry in it, by id."""
    ids = context.scope.all_customers.id
    named = sorted({row.id for option in options for row in option.in_doubt if row.priority})
    found = {name: restricted[ids.find(name)] for name in named}
    return {name: text for name, text in found.items() if text}


def _conditions(context: PlanningContext, section: WorkSection) -> model.Conditions:
    request, rules = context.request, context.request.rules
    hour = context.demand.hours[context.demand.worst_hour]
    notes = []
    if request.start is None:
        notes.append("any working day")
    if request.hours is None:
        notes.append(f"a window of {rules.crew.hours:g} h by the rules")
    if request.air_temp_c is None and request.forecast is None:
        notes.append("the rules' design air temperature")
    return model.Conditions(
        start=None if request.start is None else request.start.isoformat(timespec="minutes"),
        hours=request.window_hours,
        air_temp_c=hour.air_temp_c,
        ground_temp_c=rules.gas.ground_temp_c,
        demand_total_m3h=float(np.sum(context.before_flow_m3_per_s_std)) * SECONDS_PER_HOUR,
        worst_hour=hour.words(),
        gas_outlet_mbar=gas_outlet_pa_gauge(context, section) / PA_PER_MBAR,
        note="for " + ", ".join(notes) if notes else "",
        orders=orders_in_words(request),
        demand_parts=tuple(
            model.DemandPart(
                name=p.name, customers=p.customers, flow_m3h=p.flow_m3_per_s_std * SECONDS_PER_HOUR
            )
            for p in context.demand.parts(part=context.own_part)
        ),
    )
