"""The same judgement faster: a part that hangs on its hoses alone is solved on its own.

What flows through the hoses of a stranded part is known, whatever their size: all that the part draws. So
the live network is solved once with that flow drawn at the giving end, and only the small part anew
for each size. It is the full solve split in two, not a shortcut: the answer chosen is solved whole again.
"""

from __future__ import annotations

import hashlib
import math
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds.constraint_margin import (
    NO_SOLUTION,
    ConstraintMargin,
    held_by_inlets,
    held_by_velocity,
    worst_of,
)
from netplan.feeds.failed_parts import FailedParts
from netplan.feeds.feed_case import FeedCase, FeedLoads, Verdict
from netplan.feeds.feed_kinds import FeedSize
from netplan.feeds.feed_links import feed_links
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork, FlowState
from netplan.hydraulics.solver import FlowSolver
from netplan.rules.rule_set import Rules

__all__ = ["FeedChecker", "SplitCase", "split_case"]


MOST_KEPT = 64
"""How many states of the live network of a split case are kept (own) [-]."""
WHILE_PURGING = ", with gas let in for the purge (rule purge.draw_is_load)"
"""Added to the reason of what fails with a purge's draw on top, and maybe without."""


@dataclass(frozen=True, slots=True, eq=False)
class _Island:
    """A part without a station: its nodes and links, links by their place among the nodes."""

    nodes: Ints
    links: Ints
    inlets: Ints


@dataclass(frozen=True, slots=True, eq=False)
class SplitCase:
    """A case split into what stations feed and the islands without one.

    Parameters
    ----------
    case : FeedCase
    label : int array, shape (nodes,)
        Connected part of each node, feeds left out.
    has_station : bool array, shape (parts,)
    conditions : FlowConditions
        With the datum of the whole network.
    """

    case: FeedCase
    label: Ints
    has_station: Flags
    conditions: FlowConditions
    islands: dict[int, _Island] = field(default_factory=dict)
    live: OrderedDict[tuple[object, ...], FlowState] = field(default_factory=OrderedDict)
    fed: dict[FeedSize, FlowSolver] = field(default_factory=dict)

    def margin(
        self,
        sizes: Sequence[FeedSize],
        rules: Rules,
        demand_m3_per_s_std: Floats,
        skip_inlets: Flags,
        failed: FailedParts | None = None,
    ) -> ConstraintMargin | None:
        """Return how feeds of these sizes stand; None when it cannot be split.

        Parameters are those of `FeedCase.judge`, and where parts that fail are kept.
        """
        parts = [int(self.label[size.feed.to_node]) for size in sizes]
        if len(set(parts)) < len(parts) or not all(
            size.feed.valve_link < 0
            and not self.has_station[part]
            and self.has_station[self.label[size.feed.from_node]]
            for size, part in zip(sizes, parts, strict=True)
        ):
            return None
        drawn = [float(demand_m3_per_s_std[self._island(part).nodes].sum()) for part in parts]
        with_feeds = demand_m3_per_s_std.copy()
        giving = [size.feed.from_node for size in sizes]
        np.add.at(with_feeds, np.array(giving, dtype=np.int64), np.array(drawn, dtype=float))
        known = failed and failed.find((), with_feeds, skip_inlets)
        if known:
            return known
        live = self._live_pressure(giving, with_feeds)
        inlets, part_of = self.case.inlets, self.label[self.case.inlets.node]
        unfed = ~self.has_station[part_of] & ~np.isin(part_of, parts) & ~skip_inlets
        on_live = self.has_station[part_of] & ~skip_inlets
        found = held_by_inlets(live[inlets.node[on_live]], inlets.required_pa_gauge[on_live])
        if failed and not found.holds:
            short = live[inlets.node[on_live]] - inlets.required_pa_gauge[on_live]
            worst = inlets.node[on_live][np.argmin(np.where(np.isnan(short), -np.inf, short))]
            failed.add(int(worst), found, (), with_feeds, skip_inlets)
        if unfed.any() and found.holds:
            return NO_SOLUTION
        for size, part, flow in zip(sizes, parts, drawn, strict=True):
            if not found.holds:
                break
            at_tap = float(live[size.feed.from_node])
            found = worst_of(
                self._margin_in(size, part, flow, at_tap, rules, demand_m3_per_s_std, skip_inlets), found
            )
        return found

    def _island(self, part: int) -> _Island:
        if part not in self.islands:
            links = self.case.solver.network.links
            inside = (self.label[links.from_node] == part) & links.is_open
            self.islands[part] = _Island(
                np.flatnonzero(self.label == part),
                np.flatnonzero(inside),
                np.flatnonzero(self.label[self.case.inlets.node] == part),
            )
        return self.islands[part]

    def _live_pressure(self, giving: Sequence[int], with_feeds: Floats) -> Floats:
        # What an island draws besides is nothing to the live network: the key leaves it out.
        key = (tuple(giving), with_feeds[self.has_station[self.label]].tobytes())
        if key not in self.live:
            nearest = next(reversed(self.live.values()), None)
            self.live[key] = self.case.solver.resolve(demand_m3_per_s_std=with_feeds, warm=nearest)
            if len(self.live) > MOST_KEPT:
                self.live.popitem(last=False)
        return self.live[key].pressure_pa_gauge

    def _margin_in(
        self,
        size: FeedSize,
        part: int,
        flow_m3_per_s_std: float,
        from_pa_gauge: float,
        rules: Rules,
        demand: Floats,
        skip_inlets: Flags,
    ) -> ConstraintMargin:
        if not from_pa_gauge > 0.0:
            return NO_SOLUTION
        gas = self.conditions.properties()
        pressure = from_pa_gauge + self.conditions.atmospheric_pressure_pa_abs
        mass = flow_m3_per_s_std * gas.density_kg_per_m3_std / size.parallel
        velocity = mass * gas.pressure_per_density / pressure / (math.pi / 4.0 * size.bore_m**2)
        island = self._island(part)
        own = np.append(demand[island.nodes], 0.0)
        if size not in self.fed:
            network = self._island_network(size, island, from_pa_gauge, rules)
            self.fed[size] = FlowSolver(network, self.conditions)
            self.fed[size].solve(own)
        state = self.fed[size].resolve(
            demand_m3_per_s_std=own, station_pressure_pa_gauge=np.array([from_pa_gauge])
        )
        rows = island.inlets[~skip_inlets[island.inlets]]
        at = np.searchsorted(island.nodes, self.case.inlets.node[rows])
        return worst_of(
            held_by_inlets(state.pressure_pa_gauge[at], self.case.inlets.required_pa_gauge[rows]),
            held_by_velocity(size, velocity, rules),
        )

    def _island_network(
        self, size: FeedSize, island: _Island, from_pa_gauge: float, rules: Rules
    ) -> FlowNetwork:
        network = self.case.solver.network
        links, giving = network.links, len(island.nodes)
        hoses = feed_links([size], rules)
        inner = FlowLinks(
            np.searchsorted(island.nodes, links.from_node[island.links]),
            np.searchsorted(island.nodes, links.to_node[island.links]),
            links.length_m[island.links],
            links.bore_m[island.links],
            links.roughness_m[island.links],
            links.loss_coefficient[island.links],
        )
        to_node = int(np.searchsorted(island.nodes, size.feed.to_node))
        own = replace(
            hoses,
            from_node=np.full(hoses.count, giving),
            to_node=np.full(hoses.count, to_node),
        )
        return FlowNetwork(
            giving + 1,
            inner.joined_with(own),
            np.array([giving]),
            np.array([from_pa_gauge]),
            node_height_m=network.node_height_m[np.append(island.nodes, size.feed.from_node)],
        )


def split_case(case: FeedCase) -> SplitCase | None:
    """Return a case split; None where heights are known in places only: then parts depend on each other."""
    network, conditions = case.solver.network, case.solver.conditions
    known = ~np.isnan(network.node_height_m)
    if known.any() and not known.all():
        return None
    label = network.open_parts()
    has_station = np.zeros(int(label.max(initial=-1)) + 1, dtype=bool)
    has_station[label[case.solver.supply_node]] = True
    if known.any() and conditions.datum_height_m is None:
        datum = float(network.node_height_m[network.station_node[0]])
        conditions = replace(conditions, datum_height_m=datum)
    return SplitCase(case, label, has_station, conditions)


class FeedChecker:
    """Judges sizes of feeds of one case: split where it can be and whole where not.

    Parameters
    ----------
    case : FeedCase
    rules : Rules
    may_split : bool
        False to solve everything whole.
    like : FeedChecker, optional
        One of the same case: what it has found is not solved again.
    failed : FailedParts, optional
        Where parts that fail are kept and looked up; by default every question is solved.
    """

    def __init__(
        self,
        case: FeedCase,
        rules: Rules,
        *,
        may_split: bool = True,
        like: FeedChecker | None = None,
        failed: FailedParts | None = None,
    ) -> None:
        self._case, self._rules, self._failed = case, rules, failed
        self._known: dict[tuple[object, ...], ConstraintMargin] = {}
        if like is None:
            self._split = split_case(case) if may_split else None
        else:
            self._split, self._known = like._split, like._known  # noqa: SLF001 - one of its own kind
        self.failing_hour = 0
        """Row of the hour that failed last."""
        self._fails_bare = False
        self.has_failed_by_purge = False
        """Whether anything failed with a purge's draw alone."""

    def margin(
        self,
        sizes: Sequence[FeedSize],
        demand_m3_per_s_std: Floats | None = None,
        skip_inlets: Flags | None = None,
    ) -> ConstraintMargin:
        """Return whether feeds of these sizes hold, and by how much."""
        demand = self._case.demand_m3_per_s_std if demand_m3_per_s_std is None else demand_m3_per_s_std
        skip = np.zeros(len(self._case.inlets), dtype=bool) if skip_inlets is None else skip_inlets
        # Hours and air temperatures often draw the same; a digest is much smaller than what it stands for.
        digest = hashlib.blake2b(demand.tobytes(), digest_size=32).digest()
        key = (*sizes, digest, skip.tobytes())
        if key not in self._known:
            self._known[key] = self._solved(sizes, demand, skip)
        return self._known[key]

    def _solved(self, sizes: Sequence[FeedSize], demand: Floats, skip: Flags) -> ConstraintMargin:
        if self._split is not None:
            found = self._split.margin(sizes, self._rules, demand, skip, self._failed)
            if found is not None:
                return found
        known = self._failed and self._failed.find(sizes, demand, skip)
        if known:
            return known
        verdict = self._case.judge(sizes, self._rules, demand_m3_per_s_std=demand, skip_inlets=skip)
        if self._failed and not verdict.holds:
            self._failed.add(self._failing_node(sizes, verdict), verdict.margin, sizes, demand, skip)
        return verdict.margin

    def _failing_node(self, sizes: Sequence[FeedSize], verdict: Verdict) -> int:
        """Return a node of the part that fails: the worst inlet, or an end of the feed driven too hard."""
        row, inlets = verdict.least_inlet, self._case.inlets
        if row >= 0:
            some = slice(row, row + 1)
            if not held_by_inlets(
                verdict.state.pressure_pa_gauge[inlets.node[some]], inlets.required_pa_gauge[some]
            ).holds:
                return int(inlets.node[row])
        velocities = zip(sizes, self._case.velocities_m_per_s(sizes, verdict.state), strict=True)
        return next(
            size.feed.from_node
            for size, velocity in velocities
            if not held_by_velocity(size, velocity, self._rules).holds
        )

    def margin_under(
        self, sizes: Sequence[FeedSize], loads: FeedLoads, skip_inlets: Flags | None = None
    ) -> ConstraintMargin:
        """Return how feeds of these sizes stand under all loads: by the first that fails, or the tightest.

        The hour that failed last is asked first: the next size down mostly fails by the same one.
        """
        found = worst_of(ConstraintMargin("", math.inf), *loads.beyond)
        if not found.holds:
            return found
        for places in loads.groups():
            margins = (self._margin_in_all(sizes, tuple(loads.under(draw)), skip_inlets) for draw in places)
            found = worst_of(_first_that_holds(margins), found)
            if not found.holds:
                return replace(found, reason=found.reason + WHILE_PURGING) if loads.draws else found
        return found

    def _margin_in_all(
        self, sizes: Sequence[FeedSize], demands: Sequence[Floats], skip_inlets: Flags | None
    ) -> ConstraintMargin:
        found = ConstraintMargin("", math.inf)
        first = self.failing_hour if self.failing_hour < len(demands) else 0
        for row in (first, *(row for row in range(len(demands)) if row != first)):
            found = worst_of(self.margin(sizes, demands[row], skip_inlets), found)
            if not found.holds:
                self.failing_hour = row if len(demands) > 1 else self.failing_hour
                break
        return found

    def reason_against(
        self, sizes: Sequence[FeedSize], loads: FeedLoads | None = None, skip_inlets: Flags | None = None
    ) -> str:
        """Return why feeds of these sizes do not hold under all loads, in one line; empty when they do.

        Where a purge does not hold, the hour that failed is asked without its draw too: what fails then fails
        wherever the draw is. Once that is so, the next question begins there.
        """
        every = self._case.every_load if loads is None else loads
        against = worst_of(*every.beyond)
        if every.draws and self._fails_bare and against.holds:
            against = self._bare(sizes, every, skip_inlets)
        if not against.holds:
            return against.reason
        for places in every.groups():
            failing: list[ConstraintMargin] = []
            for draw in places:
                margin = self._margin_in_all(sizes, tuple(every.under(draw)), skip_inlets)
                if margin.holds:
                    break
                if draw is None:
                    return margin.reason
                if not failing:
                    bare = self._bare(sizes, every, skip_inlets)
                    if not bare.holds:
                        return bare.reason
                failing.append(margin)
            else:
                self.has_failed_by_purge = True
                return _least_missed(failing).reason + WHILE_PURGING
        return ""

    def _bare(
        self, sizes: Sequence[FeedSize], loads: FeedLoads, skip_inlets: Flags | None
    ) -> ConstraintMargin:
        """Return how feeds stand without a purge in the hour that failed last."""
        margin = self.margin(sizes, loads.in_hour(self.failing_hour).hours[0], skip_inlets)
        self._fails_bare = not margin.holds
        return margin


def _first_that_holds(margins: Iterable[ConstraintMargin]) -> ConstraintMargin:
    """Return the first of the alternatives that holds, else the one that misses least."""
    failing: list[ConstraintMargin] = []
    for margin in margins:
        if margin.holds:
            return margin
        failing.append(margin)
    return _least_missed(failing)


def _least_missed(failing: Sequence[ConstraintMargin]) -> ConstraintMargin:
    return max(failing, key=lambda margin: margin.slack)
