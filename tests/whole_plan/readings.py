"""What every gauge reads in every state of the work, solved anew from raw layers; any weather, any hour."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from netplan.demand import DemandResult
from tests.whole_plan.case import Case
from tests.whole_plan.flow import Pressures, solve_state

__all__ = ["Changes", "Hour", "StateOfWork", "gauge_mbar"]

Key = Hashable
Hour = Callable[[Any], np.ndarray]
"""Returns the flow of every customer [m³/s] of one hour and weather, by the labels of who is fed together."""
SAME_M = 2e-3


@dataclass(frozen=True)
class Changes:
    """What a state changes: gaps shut, valves opened, hoses laid, whether meters are on, a draw and where."""

    shut: tuple[Key, ...] = ()
    opened: tuple[Key, ...] = ()
    laid: tuple[Key, ...] = ()
    meters_on: bool = False
    draw_m3h: float = 0.0
    drawn_at: Key = None


@dataclass
class StateOfWork:
    """The states of one option by the names that the plan gives them, from its stops and feeds alone."""

    case: Case
    customers: list[str]
    _solved: dict[Any, Pressures] = field(default_factory=dict, init=False)

    def changes(self, name: str) -> Changes:
        """Return what a state changes."""
        case, feeds = self.case, (*self.case.feeds, *self.case.opened)
        gaps = {ident: gap for ident, _, gap in case.stops}
        order = [ident for ident, *_ in case.stops]
        if name == "normal running":
            return Changes(meters_on=True)
        if name == "meters off":
            return Changes((), case.opened, case.feeds)
        if name.startswith("purge in at "):
            stop = name.removeprefix("purge in at ")
            drawn = next(one["draw_m3h"] for one in case.option["states"] if one["after_step"] == name)
            row = next(one for one in case.option["stops"] if one["id"] == stop)
            shut = tuple(gaps.values())
            return Changes(shut, case.opened, case.feeds, False, drawn, _drawn_at(case, row))
        what, how = name.rsplit(" ", 1)
        if how in ("in", "out"):
            count = order.index(what) + (how == "in")
            return Changes(tuple(gaps[one] for one in order[:count]), case.opened, case.feeds)
        by_id = {str(key[1]): key for key in feeds if isinstance(key, tuple)}
        # Hoses are opened before valves, and shut after them, each in the order of the plan.
        again = [*case.opened, *case.feeds]
        still = (
            feeds[: feeds.index(by_id[what]) + 1] if how == "open" else again[again.index(by_id[what]) + 1 :]
        )
        laid = tuple(key for key in still if key in case.feeds)
        opened = tuple(key for key in still if key in case.opened)
        return Changes((), opened, laid, how == "open")

    def solved(self, changes: Changes, hour: Hour, key: Any) -> Pressures:
        """Solve a state in an hour; `key` tells that hour from others."""
        if (changes, key) not in self._solved:
            self._solved[changes, key] = self.solve(changes, hour)
        return self._solved[changes, key]

    def solve(self, changes: Changes, hour: Hour) -> Pressures:
        """Solve a state in an hour anew."""
        case = self.case
        off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
        label = self._before if changes.meters_on else self._after(off)
        flow = dict(zip(self.customers, hour(label), strict=True))
        drawn: dict[Key, float] = {}
        fed = case.before.parts_fed()
        for ident in self.customers:
            if ident in off and not changes.meters_on:
                continue
            nodes = [n for n in case.raw.ends_of.get(ident, []) if case.before.part(n) in fed]
            if not changes.meters_on:
                nodes = [n for n in nodes if not case.stopped.in_zone(n)]
            for node in nodes:
                drawn[node] = drawn.get(node, 0.0) + 3600.0 * flow[ident] / len(nodes)
        if changes.drawn_at is not None:
            drawn[changes.drawn_at] = drawn.get(changes.drawn_at, 0.0) + changes.draw_m3h
        state = case.net.state(changes.shut, changes.opened, changes.laid)
        return solve_state(case, state, changes.shut, changes.opened, changes.laid, drawn)

    @cached_property
    def _before(self) -> np.ndarray:
        """Who is fed together before any stop: of several ends the last one with gas counts."""
        before = self.case.before
        fed = before.parts_fed()
        return np.array(
            [
                self._part(before, [], [n for n in self._ends(c) if before.part(n) in fed], c)
                for c in self.customers
            ]
        )

    def _after(self, off: set[str]) -> np.ndarray:
        """Who is fed together with all stops in and no feed: an end that lost its gas counts first, nobody off."""
        before, after = self.case.before, self.case.stopped
        fed, still = before.parts_fed(), after.parts_fed()
        found = []
        for ident in self.customers:
            ends = self._ends(ident)
            has = [n for n in ends if after.part(n) in still]
            lost = [n for n in ends if before.part(n) in fed and after.part(n) not in still]
            found.append(-2 if ident in off else self._part(after, lost, has, ident))
        return np.array(found)

    def _ends(self, ident: str) -> list[Key]:
        return list(self.case.raw.ends_of.get(ident, []))

    def _part(self, state: Any, first: list[Key], then: list[Key], ident: str) -> int:
        nodes = first or then or self._ends(ident)
        return state.part(nodes[-1]) if nodes else -1


def _drawn_at(case: Case, stop: dict[str, Any]) -> Key:
    """Return where gas back in is drawn at a stop: the tapping with the gas inlet of its purge point."""
    vents = [(stop["main_id"], stop["chainage_m"])]
    vents += [
        (t["main_id"] or stop["main_id"], t["chainage_m"])
        for t in stop["tappings"]
        if t["role"] == "zone_vent"
    ]
    points = [
        point["id"]
        for point in case.option["purge"]["points"]
        if point["role"] == "feed"
        and any(point["main_id"] == main and abs(point["chainage_m"] - at) <= SAME_M for main, at in vents)
    ]
    inlets = [
        item["tapping_id"]
        for item in case.option["items"]
        if item["role"] == "gas inlet" and item["of"] in points
    ]
    return next(
        ("tap", stop["id"], k)
        for k, tap in enumerate(stop["tappings"])
        if tap["id"] in inlets and tap["role"] != "zone_vent"
    )


def hour_of(demand: DemandResult, hour: int) -> Hour:
    """Return the flows of an hour of the window."""
    return lambda label: demand.flow_m3_per_s_std(hour, label)


def gauge_mbar(case: Case, gauge: str, solved: Pressures) -> float:
    """Return what a gauge reads: at its outlet, at the live end of its stop, or at its customer's meter."""
    row = next(one for one in case.option["gauges"] if one["id"] == gauge)
    if row["customer"]:
        fed = case.before.parts_fed()
        nodes = [n for n in case.raw.ends_of[row["customer"]] if case.before.part(n) in fed]
        return min(solved.at(node) for node in nodes if not case.stopped.in_zone(node))
    return solved.at(next(_outlets(case, row)))


def _outlets(case: Case, gauge: dict[str, Any]) -> Iterator[Key]:
    for stop in case.option["stops"]:
        for k, tap in enumerate(stop["tappings"]):
            main = tap["main_id"] or stop["main_id"]
            here = main == gauge["main_id"] and abs(tap["chainage_m"] - gauge["chainage_m"]) <= SAME_M
            if here and tap["role"] == "gauge":
                yield ("tap", stop["id"], k)
        if stop["main_id"] == gauge["main_id"] and abs(stop["chainage_m"] - gauge["chainage_m"]) <= SAME_M:
            yield case.live_node(stop)
