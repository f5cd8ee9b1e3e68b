"""One option written down with all that a plan says of it, and the conditions it is planned for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.network.work_section import WorkSection
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.final_network import final_network
from netplan.planning.loss_sheet import loss_sheet
from netplan.planning.option_records.option_record import option_of
from netplan.planning.option_records.option_state import StateSource
from netplan.planning.option_records.order_records import OrderRecords, finer_gauges
from netplan.planning.option_records.zone_parts import with_parts
from netplan.planning.purge_states import with_purge_states
from netplan.planning.rank import Ranking, gas_outlet_pa_gauge
from netplan.planning.request import orders_in_words
from netplan.procedure import step_list, timeline

__all__ = ["conditions_of", "written_option"]


def written_option(
    context: PlanningContext,
    section: WorkSection,
    conditions: model.Conditions,
    ranking: Ranking,
    place: int,
    work: tuple[model.WorkItem, ...],
    *,
    papers: bool = True,
) -> StateSource:
    """Return the option at a place in the ranking, complete, with what its state is made from.

    Without papers it has no warnings, no pressures with the local peak, and nothing for the case that
    something fails where no law of the order asks for that; every other figure is the same.
    """
    request, priced = context.request, ranking.options[place]
    final = final_network(context, priced)
    purges = list(priced.purges)
    priced = with_purge_states(context, priced, final, purges)
    option, feeds = option_of(context, section, ranking, place, priced, final, purges, papers=papers)
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
    sheet = loss_sheet(context, priced, option) if papers or option.bypasses or option.opened_valves else ()
    line = timeline(steps, option, conditions, request.rules)
    warnings = (*option.warnings, *finer_gauges(steps, request.rules))
    update = {"steps": steps, "timeline": line, "loss_sheet": sheet, "warnings": warnings}
    # A solver that was made ready for it is let go: it is the largest thing there.
    final = replace(final, prepared=None)
    return StateSource(context, option.model_copy(update=update), priced, final, feeds.ids)


def conditions_of(context: PlanningContext, section: WorkSection) -> model.Conditions:
    """Return the window and weather of a plan, and what is drawn then."""
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
