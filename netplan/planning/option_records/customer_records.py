"""Customers whose supply is touched, as they stand in a plan, and the network while they are relit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.demand import customer_pressure, node_demand, relight_flow
from netplan.hydraulics import FlowState
from netplan.network.vocabulary import Category
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import queue_of
from netplan.planning.day_hours import promised_times
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.work_states import ROUNDING_PA

__all__ = [
    "Relighting",
    "customer_pressure_after",
    "customer_pressure_in",
    "customers_of",
    "relighting_of",
]

MOST_ROUNDS: Final = 16
"""Rounds beyond which no smaller ones are looked for (own decision) [-]."""


def customer_pressure_after(context: PlanningContext, option: EvaluatedOption) -> Floats:
    """Return the pressure at each customer's meter inlet with all stops in [Pa gauge]; NaN where off."""
    return customer_pressure_in(context, option, option.final)


def customer_pressure_in(context: PlanningContext, option: EvaluatedOption, state: FlowState) -> Floats:
    """Return the same in a state with all stops in, such as that of another hour."""
    owner, at = context.attachments
    pressure = state.pressure_pa_gauge[at]
    usable = ~np.isnan(pressure) & ~option.reach.in_zone[at]
    least = np.full(len(context.request.network.customers), np.inf)
    np.minimum.at(least, owner[usable], pressure[usable])
    least[option.off] = np.inf
    return np.where(np.isinf(least), np.nan, least)


def customers_of(
    context: PlanningContext, option: EvaluatedOption, feed_ids: tuple[str | None, ...]
) -> tuple[model.AffectedCustomer, ...]:
    """Return the affected customers, by id.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    feed_ids : tuple of (str or None)
        Id of the feed of each deficient part, in the option's order.
    """
    customers = context.request.network.customers
    queue = queue_of(context.request, option.off)
    times = promised_times(context.request, option.counts, queue)
    relit = {int(option.off[row]): place for place, row in enumerate(queue.order.tolist(), 1)}
    on_by = dict(zip(option.off.tolist(), times.on_by, strict=True))
    pressure = customer_pressure_after(context, option)
    cause: dict[int, tuple[str, str | None]] = dict.fromkeys(
        np.flatnonzero(option.reach.isolated).tolist(), ("isolated", None)
    )
    fed_by = _first_feed(feed_ids)
    for part, feed_id in zip(option.deficient, feed_ids, strict=True):
        word = "below minimum" if part.weak else "stranded"
        for row in part.customers.tolist():
            cause[row] = (word, feed_id or fed_by)
    off = set(option.off.tolist())
    found = []
    for row in sorted(cause):
        is_off = row in off
        found.append(
            model.AffectedCustomer(
                id=customers.id[row],
                address=customers.address[row],
                effect="off" if is_off else "kept",
                cause=cause[row][0],
                kept_by=None if is_off else cause[row][1],
                category=Category(int(customers.category[row])).word,
                priority=customers.priority[row],
                meters=int(customers.meters[row]),
                pressure_mbar=None if np.isnan(pressure[row]) else float(pressure[row]) / PA_PER_MBAR,
                off_from=times.off_from if is_off else None,
                on_by=on_by[row] if is_off else None,
                relit=relit[row] if is_off else None,
            )
        )
    return tuple(found)


def _first_feed(feed_ids: tuple[str | None, ...]) -> str | None:
    return next((feed_id for feed_id in feed_ids if feed_id is not None), None)


@dataclass(frozen=True, slots=True, eq=False)
class Relighting:
    """The worst state of relighting: stops out, feeds away, some at their start-up load at once.

    Parameters
    ----------
    customers : int
        Customers to relight.
    together : int
        How many of them may come back at once.
    holds : bool
        Whether every meter inlet holds then.
    customer_id : str
        The customer with the least pressure; empty without a solution, or where nobody counts.
    least_pa_gauge : float
        Its pressure [Pa gauge]; minus infinity without a solution, plus infinity where nobody counts.
    hour : int
        In which of the hours to check.
    state : FlowState
    all_at_once_pa_gauge : float
        The least pressure when all come back at once [Pa gauge].
    """

    customers: int
    together: int
    holds: bool
    customer_id: str
    least_pa_gauge: float
    hour: int
    state: FlowState
    all_at_once_pa_gauge: float

    def words(self) -> str:
        """Name the state."""
        if self.together >= self.customers:
            return "relighting, all together"
        return f"relighting, {self.together} together"


def relighting_of(context: PlanningContext, option: EvaluatedOption) -> Relighting | None:
    """Return how many customers may be relit at once, and how low the pressure gets; None with nobody off.

    A cold house heats with all it has. Each customer that is being relit draws its peak (the rules'
    ``demand.relight`` share of it; common practice, no published figure), those relit before draw what they
    draw in that hour, those still waiting draw nothing. All at once is tried first, then halves in the order
    of the crew's round, and so on. Inlets that failed before any stop don't count.
    """
    off = option.off
    if not len(off):
        return None
    queue = off[queue_of(context.request, off).order]
    found = _together(context, queue, len(queue))
    all_at_once = found.least_pa_gauge
    rounds = 1
    while not found.holds and found.together > 1 and rounds < MOST_ROUNDS:
        rounds *= 2
        found = _together(context, queue, math.ceil(len(queue) / rounds))
    return replace(found, all_at_once_pa_gauge=all_at_once)


def _together(context: PlanningContext, queue: Ints, size: int) -> Relighting:
    """Return the worst round with so many customers at once, over all rounds and hours."""
    customers = context.request.network.customers
    counts = ~context.weak_before
    solver = context.solver_of(context.base)
    worst: Relighting | None = None
    for start in range(0, len(queue), size):
        back_on = np.zeros(len(customers), dtype=bool)
        back_on[queue[start : start + size]] = True
        for place, hour in enumerate(context.hours):
            flow = relight_flow(context.demand, back_on, hour, context.own_part)
            flow[queue[start + size :]] = 0.0
            counts[queue] = ~context.weak_before[queue]
            counts[queue[start + size :]] = False
            demand = node_demand(customers, flow, context.base.node_count, context.fed_before)
            state = solver.resolve(demand_m3_per_s_std=demand, warm=context.before_by_hour[place])
            pressure = customer_pressure(customers, state.pressure_pa_gauge)
            judged = np.where(np.isnan(pressure), -np.inf, pressure)
            judged[~counts] = np.inf
            row = int(np.argmin(judged))
            least, name = float(judged[row]), customers.id[row]
            beyond = context.scope.outside.held[place] if context.scope.outside.held else None
            if beyond is not None and beyond.pressure_pa_gauge < least:
                least, name = beyond.pressure_pa_gauge, beyond.customer_id
            if worst is None or least < worst.least_pa_gauge:
                holds = least >= context.required_pa_gauge - ROUNDING_PA
                known = name if math.isfinite(least) else ""
                worst = Relighting(len(queue), size, holds, known, least, place, state, least)
    assert worst is not None  # noqa: S101 - there is somebody to relight, and an hour
    return worst
