"""What to do when a stop fails: the next one outward, how long that takes, and who then goes off as well."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from netplan.errors import NoPlanError
from netplan.isolation import Cut, IsolationProblem, Orders, Stop, Stretch, length_taken_m
from netplan.network.section import Section
from netplan.plan.desk import Desk
from netplan.plan.effects import reach_of
from netplan.plan.priced import Priced
from netplan.plan.search import isolation_problem
from netplan.rules import MethodKind

__all__ = ["LOST", "WILL_NOT_SET", "FallbackAnswer", "fallbacks"]

Ints = NDArray[np.int64]

WILL_NOT_SET = "will not set"
LOST = "lost during open work"
CLEAR_M = 0.01
"""What a forbidden length stays short of the other stops' barriers [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class FallbackAnswer:
    """What to use when a stop fails.

    Parameters
    ----------
    stop : int
        Place of the failing stop in the cut.
    failure : str
        `WILL_NOT_SET` or `LOST`.
    use : tuple of Stop
        Stops to be made instead; empty when there is none.
    minutes : float or None
        To close them all, one after the other [min].
    standby : int array
        Rows of the customers that then go off as well.
    note : str
        In words.
    """

    stop: int
    failure: str
    use: tuple[Stop, ...]
    minutes: float | None
    standby: Ints
    note: str


def fallbacks(desk: Desk, section: Section, option: Priced) -> tuple[FallbackAnswer, ...]:
    """Return both fallbacks of every stop of an option.

    A stop that will not set is replaced by the cheapest ones further out, while the others stay where they
    are. A stop lost during open work wants the fastest control: valves known to be operable, further out;
    without any, the same stops as before. Only what the failing stop's side adds is looked for.
    """
    problem = isolation_problem(desk, section)
    found: list[FallbackAnswer] = []
    for place in range(len(option.cut.stops)):
        outward = _outward(desk, problem, option.cut, place)
        by_valves = _outward(desk, _valves_only(desk, problem), option.cut, place)
        found.append(_answer(desk, option, place, WILL_NOT_SET, outward, fast=False))
        lost = by_valves if isinstance(by_valves, Cut) else outward
        answer = _answer(desk, option, place, LOST, lost, fast=True)
        if not isinstance(by_valves, Cut):
            answer = replace(answer, note=_no_valve(answer.note))
        found.append(answer)
    return tuple(found)


def _no_valve(note: str) -> str:
    words = "no operable valve can take this side: leave the trench, the stops below are the nearest control"
    return f"{words}; {note}" if note else words


def _valves_only(desk: Desk, problem: IsolationProblem) -> IsolationProblem:
    valves = frozenset(m.name for m in problem.rules.method if m.kind is MethodKind.VALVE)
    return replace(problem, rules=desk.rules_with(valves))


def _outward(desk: Desk, problem: IsolationProblem, cut: Cut, place: int) -> Cut | str:
    """Return the cheapest cut with every stop but one where it is, and nothing inside the old zone."""
    stops = cut.stops
    others = [stop for i, stop in enumerate(stops) if i != place]
    by_method = {method.name for method in problem.rules.method}
    if not _all_among(others, by_method):
        # The other stops are in already: they stay what they are, only the new ones must be valves.
        keep = {stop.method for stop in others}
        problem = replace(problem, rules=desk.rules_with(frozenset(by_method | keep)))
    orders = Orders(
        force=tuple(sorted(Stretch(s.pipe, s.chainage_m, s.chainage_m) for s in others if s.valve < 0)),
        force_valves=tuple(sorted(s.valve for s in others if s.valve >= 0)),
        forbid=_forbidden(desk, cut, place),
        forbid_valves=tuple(sorted({s.valve for s in [stops[place]] if s.valve >= 0})),
        keep_out=problem.orders.keep_out,
    )
    try:
        answer = next(desk.cuts(replace(problem, orders=orders, feed_bound=None, alternatives=None)))
    except NoPlanError as error:
        return str(error)
    new = _new_stops(answer, others)
    if any(stop.method not in by_method for stop in new):
        return "only stops of other methods would do"
    return answer


def _all_among(others: list[Stop], by_method: set[str]) -> bool:
    """Return whether every other stop's method is among those allowed."""
    return all(stop.method in by_method for stop in others)


def _forbidden(desk: Desk, cut: Cut, place: int) -> tuple[Stretch, ...]:
    """Every main inside the zone, and the failing assembly with its clearance beyond."""
    network = desk.request.network
    spans = [
        Stretch(part.pipe, part.from_m + CLEAR_M, part.to_m - CLEAR_M)
        for zone in cut.zones
        for part in zone.pieces
        if part.pipe < network.pipes.n_mains and part.to_m - part.from_m > 2 * CLEAR_M
    ]
    stop = cut.stops[place]
    if stop.valve < 0:
        method = next(m for m in desk.request.rules.method if m.name == stop.method)
        beyond = length_taken_m(desk.request.rules, method)
        sign = 1.0 if stop.work_side == "from" else -1.0
        low, high = sorted((stop.chainage_m - sign * CLEAR_M, stop.chainage_m + sign * beyond))
        length = float(network.pipes.length_m[stop.pipe])
        spans.append(Stretch(stop.pipe, max(low, 0.0), min(high, length)))
        spans.extend(stop.beyond)
    return tuple(sorted(spans))


def _new_stops(answer: Cut, others: list[Stop]) -> tuple[Stop, ...]:
    known = {(stop.pipe, round(stop.chainage_m, 3), stop.work_side) for stop in others}
    return tuple(s for s in answer.stops if (s.pipe, round(s.chainage_m, 3), s.work_side) not in known)


def _answer(
    desk: Desk, option: Priced, place: int, failure: str, found: Cut | str, *, fast: bool
) -> FallbackAnswer:
    if isinstance(found, str):
        return FallbackAnswer(place, failure, (), None, np.zeros(0, np.int64), f"no fallback: {found}")
    others = [stop for i, stop in enumerate(option.cut.stops) if i != place]
    use = _new_stops(found, others)
    by_name = {method.name: method for method in desk.request.rules.method}
    minutes = sum(by_name[s.method].minutes_fast if fast else by_name[s.method].minutes for s in use)
    note = "" if use else "no further stop: what lies beyond joins the zone"
    note = "; ".join(dict.fromkeys(line for stop in use for line in stop.record_joints)) or note
    return FallbackAnswer(place, failure, use, minutes, _standby(desk, option, found), note)


def _standby(desk: Desk, option: Priced, found: Cut) -> Ints:
    """Return the customers that lose their gas beyond those that are off already.

    A part fed by a bypass stays fed while both ends of the bypass lie outside the larger zone.
    """
    after = reach_of(desk, found)
    lost = after.isolated | after.stranded
    for part, feed in zip(option.hungry, option.feeds, strict=True):
        if feed is None or part.weak:
            continue
        ends = [
            node for node in (feed.size.feed.from_node, feed.size.feed.to_node) if node < len(after.in_zone)
        ]
        stops = [stop for stop in option.cut.stops if part.nodes[stop.live_node]]
        touched = any(after.in_zone[node] for node in ends) or any(after.in_zone[s.live_node] for s in stops)
        if not touched:
            lost[part.customers] &= after.isolated[part.customers]
    lost[option.off] = False
    return np.flatnonzero(lost)
