"""One option as it stands in a plan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.gas import PurgePlan
from netplan.network.work_section import WorkSection
from netplan.planfile import model
from netplan.planfile.first_warnings import purge_warnings, station_warnings
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import in_currency
from netplan.planning.doubtful_records import (
    NEAR_M,
    cut_off_services_without_customer,
    effects_if_wrong,
    in_doubt_of,
    option_in_doubt,
)
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.failed_network import failure_case
from netplan.planning.failures import fallbacks, losses, stations_left_out
from netplan.planning.final_network import FinalNetwork
from netplan.planning.option_records.customer_records import customers_of, relighting_of
from netplan.planning.option_records.excavation_records import excavations_of
from netplan.planning.option_records.failure_records import (
    fallbacks_of,
    losses_of,
    many_on_standby,
    prepared_fallbacks_of,
    without_fallback,
)
from netplan.planning.option_records.feed_records import WrittenFeeds, feeds_of, weather_lines
from netplan.planning.option_records.gas_lost import full_vent_of
from netplan.planning.option_records.gauge_records import gauges_of
from netplan.planning.option_records.long_feeds import long_feed_warnings
from netplan.planning.option_records.option_warnings import (
    doubt_warnings,
    services_without_customer_warnings,
    warnings_of,
)
from netplan.planning.option_records.pressure_records import (
    least_with_local_peak,
    local_peak_of,
    local_peak_warnings,
    pressures_of,
    states_of,
)
from netplan.planning.option_records.purge_records import purge_of
from netplan.planning.option_records.stop_records import nearer_of, own_purge_tees, stops_of, zones_of
from netplan.planning.option_records.validity_warnings import validity_warnings
from netplan.planning.option_records.withdrawal_differences import with_withdrawal_differences
from netplan.planning.rank import Ranking
from netplan.planning.stations_shut_in import stations_shut_in, vented_places
from netplan.planning.weather_limits import not_looked_for, weather_of

__all__ = ["option_of"]

WEATHER_LEFT_OUT = "coldest weather not calculated (--no-weather); valid only at the planned temperature"

STATIONS_LEFT_OUT = "the loss of a station during the work was not solved: the network is too large for it"


def option_of(
    context: PlanningContext,
    section: WorkSection,
    ranking: Ranking,
    place: int,
    priced: EvaluatedOption,
    final: FinalNetwork,
    purges: Sequence[tuple[PurgePlan, int]],
    *,
    papers: bool = True,
) -> tuple[model.Option, WrittenFeeds]:
    """Return the option at a place in the ranking, without its steps, and its feeds.

    Parameters
    ----------
    context : PlanningContext
    section : WorkSection
        The work section.
    ranking : Ranking
    place : int
        0 for the best.
    priced : EvaluatedOption
        The option there, with every state that is to be written down.
    final : FinalNetwork
        The option's final network.
    purges : sequence of (PurgePlan, int)
        How its zones are purged, as `zone_purges` returns it.
    papers : bool
        Whether all of it is wanted: without, it has no warnings, no pressures with the local peak, and
        neither fallbacks nor losses where the order of the work does not hang on them.
    """
    request = context.request
    weather = weather_of(context, priced, ladders=place == 0) if request.weather else not_looked_for(priced)
    feeds = feeds_of(context, priced, weather)
    _require_doubts_within(context, priced)
    relighting = relighting_of(context, priced)
    local_peak = local_peak_of(context, priced, final) if papers else None
    case = failure_case(context, priced)
    shut_in = stations_shut_in(case, priced)
    if_it_fails = papers or bool(feeds.bypasses or feeds.opened or shut_in or priced.prepared)
    on_failure = fallbacks(context, section, priced, case) if if_it_fails else ()
    vented = vented_places(priced, shut_in, request.rules)
    purge, gauges = purge_of(context, priced, final, purges), gauges_of(context, priced, final, vented)
    prepared = tuple(one.stop for one in priced.prepared)
    dug = excavations_of(
        excavations_of_cut(context, priced.cut),
        feeds.bypasses,
        purge,
        gauges,
        prepared,
        own_purge_tees(request.network, request.rules, priced, purge.points),
    )
    stops = stops_of(
        request.network,
        request.rules,
        priced,
        context.areas,
        final.state.pressure_pa_gauge[final.stopped.barrier_node],
        dug.of_stop,
        feeds.bypasses,
        purge.points,
        nearer_of(context, ranking, priced),
        shut_in,
    )
    stops = with_withdrawal_differences(context, priced, final, stops, purge.points)
    fallback = fallbacks_of(context, priced, on_failure)
    customers = customers_of(context, priced, feeds.ids)
    option = option_in_doubt(request.network, priced.cut, priced.reach, feeds.bypasses, feeds.opened)
    in_doubt = in_doubt_of(context, option, {c.id for c in customers if c.effect == "off"})
    warnings: tuple[str, ...] = ()
    pressures = pressures_of(context, priced)
    if local_peak is not None:
        with_peak = least_with_local_peak(context, local_peak)
        pressures = pressures.model_copy(update={"with_local_peak": with_peak})
        warnings = (
            *station_warnings(stops, fallback),
            *purge_warnings(purge),
            *warnings_of(context, priced, relighting, shut_in),
            *long_feed_warnings(context, priced),
            *local_peak_warnings(context, local_peak),
            *validity_warnings(context, priced, final, feeds.ids, relighting),
            *services_without_customer_warnings(cut_off_services_without_customer(option)),
            *doubt_warnings(in_doubt),
            *(() if request.weather else (WEATHER_LEFT_OUT,)),
            *without_fallback(fallback, stops),
            *many_on_standby(context, case, on_failure),
            *((STATIONS_LEFT_OUT,) if stations_left_out(case) else ()),
        )
    return (
        model.Option(
            rank=place + 1,
            burden=in_currency(priced.burden_minor),
            burden_parts=model.BurdenParts(
                stops=in_currency(priced.stops_minor),
                interruption=in_currency(priced.interruption_minor),
                feeds=in_currency(priced.feeds_minor),
                gas=in_currency(priced.gas_minor),
                excavations=in_currency(priced.excavations_minor),
                fallbacks=in_currency(priced.fallbacks_minor),
            ),
            currency=request.rules.price.currency,
            proof=_proof(ranking, place),
            stops=stops,
            zones=zones_of(request.network, priced.cut),
            customers=customers,
            bypasses=feeds.bypasses,
            opened_valves=feeds.opened,
            pressures=pressures,
            vent=full_vent_of(context, priced),
            purge=purge,
            gauges=gauges,
            fallback=fallback,
            prepared_fallbacks=prepared_fallbacks_of(context, priced, on_failure, dug.of_fallback),
            steps=(),
            states=states_of(context, priced, relighting),
            weather=weather_lines(weather, feeds.ids),
            warnings=warnings,
            trust=effects_if_wrong(option),
            in_doubt=in_doubt,
            losses=losses_of(losses(priced, case)) if if_it_fails else (),
            excavations=dug.excavations,
        ),
        feeds,
    )


def _require_doubts_within(context: PlanningContext, priced: EvaluatedOption) -> None:
    """Check that all records that may be doubted near an option are in the context's network."""
    nodes, reach = context.request.network.nodes, priced.reach
    touched = np.flatnonzero(reach.in_zone | (~reach.fed & context.fed_before))
    at = np.concatenate([touched, [stop.live_node for stop in priced.cut.stops]]).astype(np.int64)
    context.scope.check_within(nodes.x_m[at], nodes.y_m[at], NEAR_M)


def _proof(ranking: Ranking, place: int) -> model.Proof:
    burden = ranking.options[place].burden_minor
    bound = ranking.lower_bound_minor(place)
    return model.Proof(
        optimal=bound >= burden,
        lower_bound=in_currency(bound),
        gap=in_currency(burden - bound),
        reason=(
            f"lowest burden on the recorded data for rank {place + 1}: {ranking.reason}"
            if bound >= burden
            else f"not proven: {ranking.reason}; no other option can be below the lower bound"
        ),
    )
