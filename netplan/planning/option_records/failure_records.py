"""Fallback stops as they stand in a plan."""

from __future__ import annotations

import numpy as np

from netplan.network.linear_reference import points_at
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.failed_network import FailureCase
from netplan.planning.failures import FallbackAnswer, LossAnswer, ShutFeed

__all__ = ["fallbacks_of", "losses_of", "many_on_standby", "without_fallback"]


def fallbacks_of(context: PlanningContext, answers: tuple[FallbackAnswer, ...]) -> tuple[model.Fallback, ...]:
    """Return the fallbacks of an option, both kinds of every stop."""
    network = context.request.network
    found = []
    for answer in answers:
        pipe = np.array([stop.pipe for stop in answer.use], dtype=np.int64)
        xy = points_at(network, pipe, np.array([stop.chainage_m for stop in answer.use]))
        found.append(
            model.Fallback(
                stop_id=stop_id(answer.stop),
                failure=answer.failure,
                use=tuple(
                    model.FallbackUse(
                        valve_id=network.valves.id[stop.valve] if stop.valve >= 0 else None,
                        main_id=network.pipes.id[stop.pipe],
                        chainage_m=stop.chainage_m,
                        method=stop.method,
                        x=float(x),
                        y=float(y),
                    )
                    for stop, (x, y) in zip(answer.use, xy, strict=True)
                ),
                minutes=answer.minutes,
                standby=answer.standby,
                note=answer.note,
                shut=_shut(context, answer.shut),
                tail_lost=answer.tail,
            )
        )
    return tuple(found)


def _shut(context: PlanningContext, shut: tuple[ShutFeed, ...]) -> tuple[model.FeedShut, ...]:
    network = context.request.network
    pipe = np.array([one.end.pipe for one in shut], dtype=np.int64)
    xy = points_at(network, pipe, np.array([one.end.chainage_m for one in shut]))
    return tuple(
        model.FeedShut(
            feed_id=one.feed.id,
            what=one.feed.what,
            main_id=network.pipes.id[one.end.pipe],
            chainage_m=one.end.chainage_m,
            x=float(x),
            y=float(y),
        )
        for one, (x, y) in zip(shut, xy, strict=True)
    )


def losses_of(answers: tuple[LossAnswer, ...]) -> tuple[model.Loss, ...]:
    """Return what else may fail, feeds first."""
    return tuple(
        model.Loss(what=one.what, id=one.id, customers=one.customers, note=one.note) for one in answers
    )


def without_fallback(fallbacks: tuple[model.Fallback, ...], stops: tuple[model.Stop, ...]) -> tuple[str, ...]:
    """Return a warning for each stop that nothing is found for when it fails.

    Stops beside a station have a warning of their own that says so.
    """
    beside = {stop.id for stop in stops if stop.shuts_in}
    return tuple(
        f"{one.stop_id}, {one.failure}: {one.note}"
        for one in fallbacks
        if one.minutes is None and one.stop_id not in beside
    )


def many_on_standby(
    context: PlanningContext, case: FailureCase, answers: tuple[FallbackAnswer, ...]
) -> tuple[str, ...]:
    """Return a warning where more meters are on standby than ``choice.standby_meters_max``."""
    most = context.request.rules.choice.standby_meters_max
    customers = case.whole.context.request.network.customers
    rows = [customers.id.find(one) for one in sorted({id_ for answer in answers for id_ in answer.standby})]
    meters = int(customers.meters[rows].sum()) if rows else 0
    if not most or meters <= most:
        return ()
    return (f"{meters} meters on standby, more than the rules' choice.standby_meters_max of {most}",)
