"""Rows of the loss sheet for what feeds: bypasses and hoses, opened valves, stations, and gauges at abort."""

from __future__ import annotations

import math
from collections.abc import Iterator

from netplan.planfile import model
from netplan.planning.loss_sheet.loss_case import BEFORE, CUT, GAS_BACK, STATES, AtPlace, LossCase, WorkState
from netplan.planning.loss_sheet.loss_network import LossState
from netplan.procedure import Who

__all__ = ["feed_rows", "gauge_rows", "station_rows"]

_DOORS = "isolate the doors listed before gas comes back"


def feed_rows(case: LossCase) -> Iterator[model.LossRow]:
    """Yield a damaged bypass or hose, and an opened valve that is shut, in every state."""
    lost = {one.id: one.customers for one in case.option.losses}
    minutes = case.context.request.rules.bypass.minutes_shut
    inlets = [one.id for one in case.items.every("valve", "gas inlet")]
    for feed in case.option.bypasses:
        found = case.network.after((f"torn {feed.id}",), lost_feed=feed.id)
        ends = [one.id for end in ("from", "to") if (one := case.items.feed_end(feed.id, end))]
        for state in STATES:
            draws = state == GAS_BACK and bool(inlets)
            first = f"stop the purge draw at {' and '.join(inlets)}, " if draws else ""
            yield case.row(
                state,
                f"{feed.kind} {feed.id} damaged",
                f"{first}shut {', then '.join(ends)}, the live end first; {_DOORS}",
                Who.FEEDS,
                items=(feed.id,),
                act_on=(*(inlets if draws else ()), *ends),
                at=AtPlace(f"live end of {feed.id}", feed.from_.main_id, feed.from_.chainage_m),
                found=found,
                was_solved=True,
                also=(*lost.get(feed.id, ()), *_held_in_purge(case, feed.id, state)),
                minutes=minutes,
                note=f"solved as torn off at its live end; {_stays_off(state)}",
                escapes=True,
                feeds_again=(feed.id,),
            )
    for opened in case.option.opened_valves:
        for state in STATES:
            customers = (*lost.get(opened.valve_id, ()), *_held_in_purge(case, opened.valve_id, state))
            yield case.row(
                state,
                f"opened valve {opened.valve_id} shuts",
                f"keep {opened.valve_id} shut; {_DOORS}",
                Who.CONTROL,
                items=(opened.valve_id,),
                act_on=(opened.valve_id,),
                at=AtPlace(f"valve {opened.valve_id}"),
                also=customers,
                note=_stays_off(state),
                feeds_again=(opened.valve_id,),
            )


def _held_in_purge(case: LossCase, feed_id: str, state: WorkState) -> tuple[str, ...]:
    """Return who is kept by a feed while gas goes back in: some hold without it until the purge draws."""
    if state != GAS_BACK:
        return ()
    return tuple(one.id for one in case.option.customers if one.effect == "kept" and one.kept_by == feed_id)


def _stays_off(state: WorkState) -> str:
    if state == GAS_BACK:
        return "what it fed gets gas again when the last stop is out: shut these meters before that"
    return "what it fed fell below minimum: shut these meters before it is fed again"


def station_rows(case: LossCase) -> Iterator[model.LossRow]:
    """Yield the stations near the stops failing shut, and failing open, where their loss was looked at."""
    stations = case.stations
    for loss in case.option.losses:
        row = stations.id.find(loss.id) if loss.what == "station" else -1
        if row >= 0:
            yield from _fails_shut(case, loss)
            yield from _fails_open(case, row)


def _fails_shut(case: LossCase, loss: model.Loss) -> Iterator[model.LossRow]:
    found = case.network.after(lost_station=loss.id)
    inlets = [one.id for one in case.items.every("valve", "gas inlet")]
    for state in STATES:
        draws = state == GAS_BACK and bool(inlets)
        doors = "" if not loss.customers else f"; {_DOORS}"
        first = f"stop the purge draw at {' and '.join(inlets)}, " if draws else ""
        yield case.row(
            state,
            f"station {loss.id} fails shut",
            f"{first}network control restores {loss.id}{doors}",
            Who.CONTROL,
            items=(loss.id,),
            act_on=(*(inlets if draws else ()), loss.id),
            at=AtPlace(f"station {loss.id}"),
            found=found,
            was_solved=True,
            also=loss.customers,
            feeds_again=(loss.id,),
        )


def _fails_open(case: LossCase, row: int) -> Iterator[model.LossRow]:
    """Yield the fault pressure on barriers and meters; without one on record nothing is solved."""
    stations = case.stations
    name, fault = stations.id[row], float(stations.max_outlet_pa_gauge[row])
    is_known = math.isfinite(fault)
    found = case.network.after(fault_station=name) if is_known else None
    highest, note = _on_barriers(case, found)
    if not is_known:
        note = "its highest outlet pressure is not recorded: not solved"
    valve = stations.inlet_valve[row]
    for state in (BEFORE, CUT):
        yield case.row(
            state,
            f"station {name} fails open",
            f"network control shuts {name} at its slam-shut or {f'inlet {valve}' if valve else 'outlet'}",
            Who.CONTROL,
            items=(name,),
            act_on=(valve,) if valve else (name,),
            at=AtPlace(f"station {name}"),
            found=found,
            was_solved=is_known,
            note=note,
            barrier_mbar=highest,
            is_lowest_said=False,
            feeds_again=(name,),
        )


def _on_barriers(case: LossCase, found: LossState | None) -> tuple[float, str]:
    """Return the highest pressure on any stop [mbar], and how that and the meters stand to their limits."""
    if found is None:
        return math.nan, ""
    rules = case.context.request.rules
    rated = {one.name: one.rating_mbar - one.rating_margin_mbar for one in rules.method}
    on = {stop.id: found.at_mbar[f"end {stop.id}"] for stop in case.option.stops}
    known = {name: value for name, value in on.items() if math.isfinite(value)}
    over = [stop.id for stop in case.option.stops if known.get(stop.id, 0.0) > rated[stop.method]]
    words = "solved with no gas drawn: " + (
        f"above the rating of {' and '.join(over)}"
        if over
        else "within the rating of every stop that it reaches"
    )
    most = rules.pressure.maximum_mbar
    meters = (
        f"{len(found.high)} customers above the {most:g} mbar that a meter may have"
        if len(found.high)
        else f"no meter above {most:g} mbar"
    )
    return max(known.values(), default=math.nan), f"{words}; {meters}"


def gauge_rows(case: LossCase) -> Iterator[model.LossRow]:
    """Yield a gauge at abort: undo the last step, or leave and isolate the doors that fall first."""
    gauges = case.option.gauges
    if not gauges:
        return
    customers = case.network.first_to_fall()
    names = tuple(gauge.id for gauge in gauges)
    at = AtPlace(", ".join(names), gauges[0].main_id, gauges[0].chainage_m)
    inlets = [one.id for one in case.items.every("valve", "gas inlet")]
    stop = f"stop the purge draw at {' and '.join(inlets)}; " if inlets else ""
    doors, risen = (
        "isolate the doors listed, the first to fall; open no feed again before that",
        "isolate the doors listed",
    )
    note = "listed: the first meters to reach their minimum, among those that the stops lower (solved)"
    if not customers and case.network.may_solve:
        doors, risen = ("network control finds out why: it is not the stops",) * 2
        note = "solved: the stops lower nobody"
    elif not customers:
        note = "who falls first is not solved in a network of this size: network control finds out"
    steps: tuple[tuple[WorkState, str], ...] = (
        (BEFORE, "undo the last step; do not open a feed again to a part that fell below minimum"),
        (CUT, doors),
        (GAS_BACK, f"{stop}if it does not rise, {risen}"),
    )
    for state, action in steps:
        yield case.row(
            state,
            "a gauge at abort",
            action,
            Who.WATCH,
            items=names,
            act_on=inlets if state == GAS_BACK else (),
            at=at,
            also=customers,
            note=note,
        )
