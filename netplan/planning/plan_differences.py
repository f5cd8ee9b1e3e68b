"""What must be the same in two plans for one to stand for the other: lists, stops, feeds and pressures."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

from netplan.network.finding_log import listed
from netplan.planfile.model import Bypass, Option, Plan

__all__ = ["AIR_TEMP_C", "first_difference"]

AIR_TEMP_C: Final = 0.5
"""How far the coldest weather of a feed may lie apart (own) [K]."""
_NAMED: Final = 5
Compared = Callable[[Option], Any]
_LISTS: Final[dict[str, Callable[[Option], Iterable[str]]]] = {
    "customers below minimum before any stop": lambda option: option.pressures.weak_before,
    "customers above the highest pressure before any stop": lambda option: option.pressures.high_before,
}


def first_difference(plan: Plan, other: Plan, without_gas: frozenset[str], most_apart_mbar: float) -> str:
    """Return in a few words what differs in another plan of the same work; empty where nothing does.

    Parameters
    ----------
    plan : Plan
        Made with some pipes taken as not live.
    other : Plan
        Made with them live.
    without_gas : frozenset of str
        Customers who have no gas without these pipes. Of them alone it may differ who is in doubt, had too
        little before any stop, or fails when a feed or a station is lost; and in no other list.
    most_apart_mbar : float
        How far pressures at stops, gauges and feeds may lie apart [mbar].
    """
    if len(plan.options) != len(other.options):
        return f"there are {len(other.options)} options instead of {len(plan.options)}"
    for one, two in zip(plan.options, other.options, strict=True):
        for name, compared in _COMPARED.items():
            mine, theirs = compared(one), compared(two)
            if mine != theirs:
                verb = "differs" if name.startswith("the order") else "differ"
                return f"{name} of option {one.rank} {verb}{_which(mine, theirs)}"
        if _steps(one, without_gas) != _steps(two, without_gas):
            return f"the steps of option {one.rank} differ"
        if _losses(one, without_gas) != _losses(two, without_gas):
            return f"who fails when a feed or station is lost with option {one.rank} differs"
        for name, ids_of in _LISTS.items():
            apart = (set(ids_of(one)) ^ set(ids_of(two))) - without_gas
            if apart:
                return f"{name} of option {one.rank} differ ({_named(apart)})"
        doubts = {row for row in _in_doubt(one) ^ _in_doubt(two) if row[0] not in without_gas}
        if doubts:
            return f"customers in doubt of option {one.rank} differ ({_named({row[0] for row in doubts})})"
        said = _figures_apart(one, two, without_gas, most_apart_mbar)
        if said:
            return said
    return ""


def _stops(option: Option) -> Any:
    return {
        (f"{s.main_id} at {s.chainage_m:.2f} m", s.method, s.barriers, s.valve_id, s.work_side, s.tappings)
        for s in option.stops
    }


def _order(option: Option) -> Any:
    return [(s.id, s.main_id, s.chainage_m, s.hole_id) for s in option.stops]


def _zones(option: Option) -> Any:
    return [(zone.work, zone.pipes) for zone in option.zones]


def _off(option: Option) -> Any:
    return {(c.id, c.cause, c.meters) for c in option.customers if c.effect == "off"}


def _kept(option: Option) -> Any:
    return {(c.id, c.cause, c.kept_by, c.meters) for c in option.customers if c.effect == "kept"}


def _relit(option: Option) -> Any:
    return [(c.id, c.relit) for c in option.customers]


def _feed(feed: Bypass) -> Any:
    ends = [(end.main_id, end.chainage_m) for end in (feed.from_, feed.to)]
    return feed.id, feed.kind, ends, feed.bore_mm, feed.parallel, feed.length_m, feed.customers


def _feeds(option: Option) -> Any:
    return [*map(_feed, option.bypasses), *(valve.valve_id for valve in option.opened_valves)]


def _fallback(option: Option) -> Any:
    return [
        (
            f.stop_id,
            f.failure,
            f.use,
            f.standby,
            [(s.feed_id, s.main_id, s.chainage_m) for s in f.shut],
            f.tail_lost,
        )
        for f in option.fallback
    ]


def _losses(option: Option, without_gas: frozenset[str]) -> Any:
    each = [(loss.what, loss.id, set(loss.customers) - without_gas) for loss in option.losses]
    return [loss for loss in each if loss[2]]


def _doubts(option: Option) -> Any:
    return [
        (
            r.code,
            r.layer,
            r.feature_id,
            r.other_id,
            r.gas_reaches_work,
            r.zone_parted,
            r.customers_off,
            r.customers_on,
        )
        for r in option.trust.would_change
    ]


def _steps(option: Option, without_gas: frozenset[str]) -> Any:
    """Return the steps without customers who have no gas, and without steps that are about them alone."""
    rows = ((step, tuple(id_ for id_ in step.uses if id_ not in without_gas)) for step in option.steps)
    return [(step.stage, step.who, uses, step.hold) for step, uses in rows if uses or not step.uses]


_COMPARED: Final[dict[str, Compared]] = {
    "the stops": _stops,
    "the order of the stops": _order,
    "the zones": _zones,
    "customers off": _off,
    "customers kept": _kept,
    "the feeds": _feeds,
    "the order of relighting": _relit,
    "the fallback stops or customers on standby": _fallback,
    "the records that would change it": _doubts,
}


def _in_doubt(option: Option) -> set[tuple[str, str, str]]:
    return {(row.id, row.layer, row.record_id) for row in option.in_doubt}


def _which(mine: Any, theirs: Any) -> str:
    """Name the customers, or the stops, that stand in one of two sets alone."""
    if not isinstance(mine, set):
        return ""
    return f" ({_named({row[0] for row in mine ^ theirs})})"


def _named(ids: Iterable[str]) -> str:
    return listed(sorted(ids), _NAMED)


def _figures_apart(one: Option, two: Option, without_gas: frozenset[str], most_apart_mbar: float) -> str:
    """Return which pressure or coldest weather at the work lies too far apart."""
    mine, theirs = _pressures(one), _pressures(two)
    reads, reads_there = _readings(one, without_gas), _readings(two, without_gas)
    for key in reads.keys() & reads_there.keys():
        mine.append((f"step {key[0]}", reads[key]))
        theirs.append((f"step {key[0]}", reads_there[key]))
    for (name, here), (_, there) in zip(mine, theirs, strict=True):
        if (here is None) != (there is None):
            return f"the pressure at {name} of option {one.rank} differs"
        if here is not None and there is not None and abs(here - there) > most_apart_mbar:
            return (
                f"the pressure at {name} of option {one.rank} moves by {abs(here - there):.2f} mbar "
                f"(bad_data.pressure_mbar: {most_apart_mbar:g})"
            )
    for feed, same in zip(one.bypasses, two.bypasses, strict=True):
        cold = feed.minimum_air_temp_c, same.minimum_air_temp_c
        if (cold[0] is None) != (cold[1] is None) or (
            cold[0] is not None and cold[1] is not None and abs(cold[0] - cold[1]) > AIR_TEMP_C
        ):
            return f"the coldest weather of feed {feed.id} of option {one.rank} differs"
    return ""


def _pressures(option: Option) -> list[tuple[str, float | None]]:
    found: list[tuple[str, float | None]] = []
    for stop in option.stops:
        found += [(f"stop {stop.id}", stop.pressure_mbar), (f"stop {stop.id}", stop.fault_pressure_mbar)]
    for gauge in option.gauges:
        figures = (gauge.normal_mbar, gauge.warning_mbar, gauge.abort_mbar)
        found += [(f"gauge {gauge.id}", figure) for figure in figures]
    for feed in option.bypasses:
        figures = (feed.pressure_from_mbar, feed.pressure_to_mbar, feed.drop_mbar)
        found += [(f"feed {feed.id}", figure) for figure in figures]
    return found


def _readings(option: Option, without_gas: frozenset[str]) -> dict[tuple[str, tuple[str, ...]], float]:
    """Return the pressure to be read in each step, but for those read at a customer who has no gas."""
    return {
        (step.stage, step.uses): step.expect_mbar
        for step in option.steps
        if step.expect_mbar is not None and step.expect_at not in without_gas
    }
