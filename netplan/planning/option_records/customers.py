"""Customers whose supply is touched, as they stand in a plan."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR
from netplan.hydraulics import FlowState
from netplan.network.vocabulary import Category
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.outage_hours import queue_of, times_of

__all__ = ["customer_pressure_after", "customer_pressure_in", "customers_of"]


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
    times = times_of(context.request, queue)
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
