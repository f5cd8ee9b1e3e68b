"""Fallback stops as they stand in a plan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.isolation import CutStop
from netplan.network.linear_reference import points_at
from netplan.network.vocabulary import Surface
from netplan.planfile import model
from netplan.planfile.naming import fallback_id, stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import in_currency
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import FailureCase
from netplan.planning.failures import FallbackAnswer, LossAnswer, ShutFeed
from netplan.planning.feed_moves import FeedMove
from netplan.planning.option_records.stop_records import tappings_of
from netplan.planning.prepared_fallbacks import prepared_row
from netplan.planning.stopped_network import live_tee

__all__ = ["fallbacks_of", "losses_of", "many_on_standby", "prepared_fallbacks_of", "without_fallback"]


def fallbacks_of(
    context: PlanningContext, option: EvaluatedOption, answers: tuple[FallbackAnswer, ...]
) -> tuple[model.Fallback, ...]:
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
                        prepared_id="" if (row := prepared_row(option, stop)) < 0 else fallback_id(row),
                    )
                    for stop, (x, y) in zip(answer.use, xy, strict=True)
                ),
                minutes=answer.minutes,
                standby=answer.standby,
                note=answer.note,
                shut=_shut(context, answer.shut),
                tail_lost=answer.tail,
                prepared=answer.prepared,
                moves=_moves(context, answer.moves),
            )
        )
    return tuple(found)


def _moves(context: PlanningContext, moves: tuple[FeedMove, ...]) -> tuple[model.FeedMove, ...]:
    network, minutes = context.request.network, context.request.rules.bypass.minutes_move
    pipe = np.array([one.to.pipe for one in moves], dtype=np.int64)
    xy = points_at(network, pipe, np.array([one.to.chainage_m for one in moves]))
    return tuple(
        model.FeedMove(
            feed_id=one.feed.id,
            what="hose" if one.feed.what == "hose" else "bypass",
            to=model.Place(
                main_id=network.pipes.id[one.to.pipe],
                chainage_m=one.to.chainage_m,
                x=float(x),
                y=float(y),
            ),
            length_m=one.length_m,
            minutes=minutes,
            off_meanwhile=one.off_meanwhile,
        )
        for one, (x, y) in zip(moves, xy, strict=True)
    )


def prepared_fallbacks_of(
    context: PlanningContext,
    option: EvaluatedOption,
    answers: tuple[FallbackAnswer, ...],
    holes: tuple[str, ...],
) -> tuple[model.PreparedFallback, ...]:
    """Return the fallback stops that an option prepares, each place once.

    The bypass tee of one is tapped where an answer moves a hose to it.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    answers : tuple of FallbackAnswer
        A hose of several lines that is moved to a prepared stop wants a tee for each there.
    holes : tuple of str
        The excavation that each is in.
    """
    network = context.request.network
    moves = [move for answer in answers for move in answer.moves]
    moved = {(move.to.pipe, move.to.chainage_m) for move in moves}
    pipes, stops = network.pipes, [one.stop for one in option.prepared]
    pipe = np.array([stop.pipe for stop in stops], dtype=np.int64)
    xy = points_at(network, pipe, np.array([stop.chainage_m for stop in stops]))
    return tuple(
        model.PreparedFallback(
            id=fallback_id(row),
            serves=tuple(stop_id(place) for place in one.serves),
            method=one.stop.method,
            kind=one.stop.kind,
            main_id=pipes.id[one.stop.pipe],
            chainage_m=one.stop.chainage_m,
            valve_id=network.valves.id[one.stop.valve] if one.stop.valve >= 0 else None,
            work_side=one.stop.work_side,
            x=float(xy[row, 0]),
            y=float(xy[row, 1]),
            street=pipes.street[one.stop.pipe],
            surface=Surface(int(pipes.surface[one.stop.pipe])).word,
            od_mm=float(pipes.od_m[one.stop.pipe]) * MM_PER_M,
            tappings=tuple(
                tapping.model_copy(update={"count": _tees_for(moves, one.stop)})
                if tapping.role == "bypass"
                else tapping
                for tapping, t in zip(
                    tappings_of(network, one.stop.tappings, one.stop.kind), one.stop.tappings, strict=True
                )
                if t.role != "bypass" or (t.pipe, t.chainage_m) in moved
            ),
            hole_id=holes[row],
            price=in_currency(one.stop.price_minor),
            note="; ".join(one.stop.provisional),
        )
        for row, one in enumerate(option.prepared)
    )


def _tees_for(moves: Sequence[FeedMove], stop: CutStop) -> int:
    """Return how many bypass tees a stop needs for the hoses that may be moved to it, one move at a time."""
    tee = live_tee(stop)
    there = [move.feed.size.parallel for move in moves if (move.to.pipe, move.to.chainage_m) == tee]
    return max(there, default=1)


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
