"""Which solved state the network is in after each step, by what the steps have changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from netplan.planfile.naming import (
    METERS_OFF_STATE,
    NORMAL_STATE,
    feed_open_state,
    feed_shut_state,
    purge_state,
    stop_in_state,
    stop_out_state,
)
from netplan.procedure.order_laws.item_states import GAS_OFF, Moment, OrderWalk

__all__ = ["StateNames", "state_names"]


class StateNames(NamedTuple):
    """Names that the state after a step may bear.

    `made` is the state that the step itself makes, which it has to name; empty where it makes none. `may`
    are the names that readings taken at it may stand for; None: it is not known which.
    """

    made: str
    may: frozenset[str] | None


def state_names(walk: OrderWalk) -> Iterator[tuple[Moment, StateNames]]:
    """Yield each step with the names of the state that the network is in after it."""
    last, untried, relighting = NORMAL_STATE, NORMAL_STATE, False
    for moment in walk.moments:
        made = _made(walk, moment)
        before, last = last, made or last
        if walk.on_trial(moment.before) - walk.on_trial(moment.after) and not made:
            # A valve that was shut on trial is open again: the state before it.
            last = untried
        if not walk.on_trial(moment.after):
            untried = last
        relighting = relighting or any(
            change.kind == "meter" and change.to in ("purged", "relit") for change in moment.step.changes
        )
        if relighting:
            yield moment, StateNames(made, None)
            continue
        may = {last}
        if made == METERS_OFF_STATE and not _all_off(walk, moment):
            may.add(before)
            made = ""
        if _gas_inlet_open(walk, moment) or _purges_with_gas(walk, moment):
            may |= {purge_state(stop_id) for stop_id in walk.stops}
        if _all_out_again(walk, moment):
            may |= {feed_shut_state(feed) for feed in walk.feed_ids} | {NORMAL_STATE}
        yield moment, StateNames(made, frozenset(may))


def _made(walk: OrderWalk, moment: Moment) -> str:
    made = ""
    for change in moment.step.changes:
        if change.kind == "feed" and change.to in ("open", "shut"):
            item = walk.items.get((change.kind, change.id))
            feed = change.id if item is None else item.of or item.id
            made = feed_open_state(feed) if change.to == "open" else feed_shut_state(feed)
        if change.kind == "meter" and change.to in GAS_OFF and change.from_ == "on":
            made = METERS_OFF_STATE
    tried, was_tried = walk.on_trial(moment.after), walk.on_trial(moment.before)
    for stop_id in sorted(tried - was_tried):
        made = stop_in_state(stop_id)
    for stop_id in walk.stops:
        before, after = walk.stops_in(moment.before, stop_id), walk.stops_in(moment.after, stop_id)
        if before != after:
            made = stop_in_state(stop_id) if after else stop_out_state(stop_id)
    return made


def _all_off(walk: OrderWalk, moment: Moment) -> bool:
    return all(moment.after[("meter", item.id)] in GAS_OFF for item in walk.meters)


def _gas_inlet_open(walk: OrderWalk, moment: Moment) -> bool:
    return any(moment.was_or_is(item, "open") for item in walk.of_kind("valve", "gas inlet"))


def _purges_with_gas(walk: OrderWalk, moment: Moment) -> bool:
    purge = moment.step.purge
    return purge is not None and purge.medium == "gas" and purge.part_id in walk.zone_parts


def _all_out_again(walk: OrderWalk, moment: Moment) -> bool:
    out = all(moment.after[("barrier", item.id)] == "withdrawn" for item in walk.barriers)
    return out and bool(walk.barriers) and not any(walk.stops_in(moment.after, key) for key in walk.stops)
