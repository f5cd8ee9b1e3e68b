"""The search for the ways to isolate a work section: cuts in order of their bound."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.errors import NoPlanError
from netplan.isolation.constraints import parted, shut_in
from netplan.isolation.cost_context import CostContext, cost_context_of
from netplan.isolation.cut_assembly import cut_of
from netplan.isolation.cut_enumeration import CutEnumeration, FoundZone
from netplan.isolation.cut_model import Cut, IsolationProblem, Refusal
from netplan.isolation.cut_outline import Outline, outline_of
from netplan.isolation.diagnosis import in_the_way, not_nearer
from netplan.isolation.forced_stops import Forced, families, forced_places
from netplan.isolation.given_zone import GivenStop, given_zone
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_graph import BOUNDARY, SegmentGraph, segment_graph
from netplan.isolation.shared_costs import shared_costs_of
from netplan.isolation.stop_exclusions import stop_exclusions
from netplan.isolation.stop_placement import StopPlacement
from netplan.isolation.work_segments import lay_work
from netplan.isolation.zone_core import zone_core

__all__ = ["CutSearch", "cuts", "look_up_in", "reads_boundary"]

MOST_SCANNED: Final = 20_000
"""Zones looked at without an answer before the search gives up [-]."""


def cuts(problem: IsolationProblem, index: SegmentGraph | None = None) -> CutSearch:
    """Return the ways to isolate the work, cheapest bound first, each different from those before.

    Parameters
    ----------
    problem : IsolationProblem
    index : SegmentGraph, optional
        What `segment_graph` returned for the same network, to save building it again.

    Returns
    -------
    CutSearch
        An iterator of `Cut`.

    Raises
    ------
    NoPlanError
        On the first step, when no set of stops isolates the work or an order cannot be met.
    """
    return CutSearch(problem, index or segment_graph(problem.network))


def _costs(problem: IsolationProblem, index: SegmentGraph) -> CostContext:
    return cost_context_of(index, problem.rules, problem.hours, problem.gas_minor_per_m3, problem.off_minor)


def look_up_in(problem: IsolationProblem, index: SegmentGraph) -> None:
    """Work out beforehand what the search looks up in the whole network; it would do so when asked first."""
    costs = _costs(problem, index)
    _ = costs.priority
    if problem.feed_bound is not None:
        _ = costs.pendants


def reads_boundary(search: CutSearch) -> bool:
    """Whether a search came to the boundary of a part of a network, beyond which it might have found more.

    The far side of a closed valve to a pressure system that was not read is one too.
    """
    network = search.index.network
    if (network.beyond is None and network.unread is None) or not search.has_begun:
        return False
    index = search.index
    at_boundary = (index.blocked & BOUNDARY) > 0
    # Whether a valve may be a stop depends on the lengths beyond it too.
    valves = index.segment_of[index.network.pieces.valve >= 0]
    valves = valves[valves >= 0]
    a, b = index.segment_a[valves], index.segment_b[valves]
    by_valve = np.concatenate([a[at_boundary[b]], b[at_boundary[a]]])
    at_boundary[by_valve] = True
    return bool(at_boundary[search.local.looked_at()].any())


class CutSearch(Iterator[Cut]):
    """The cuts of one problem, worked out as they are asked for.

    Attributes
    ----------
    lower_bound_minor : int
        No cut still to come is cheaper [minor units].
    least_minor : int
        No cut at all is cheaper, those that break a constraint among them [minor units]; known once one was
        asked for.
    gave_up : bool
        Whether it ended because too many zones in a row broke a constraint, not because none is left.
    most_scanned : int
        How many zones in a row that is.
    """

    def __init__(self, problem: IsolationProblem, index: SegmentGraph) -> None:
        self.problem, self.index = problem, index
        self.costs: CostContext = _costs(problem, index)
        self.lower_bound_minor = self.least_minor = 0
        self.gave_up = False
        self.most_scanned = MOST_SCANNED
        self._given: set[object] = set()
        self._refused: Counter[str] = Counter()
        self._found: Iterator[FoundZone] | None = None
        self._search: CutEnumeration | None = None
        self._is_laid_out = False

    def __next__(self) -> Cut:
        return self.cut(self.outline())

    def cut(self, outline: Outline) -> Cut:
        """Return a cut of this search from its outline."""
        return cut_of(self.local, outline, self.problem.laid)

    def given(self, stops: Sequence[GivenStop]) -> Cut:
        """Return the cut that given stops make; nothing is searched for.

        Raises
        ------
        NoPlanError
            When a stop cannot be made, gas gets past them, or a constraint is broken; with each reason.
        """
        self._lay_out()
        outline = self._checked(given_zone(self.local, stops))
        if outline is None:
            reasons = tuple(self._refused)
            raise NoPlanError(reasons[0], reasons)
        return self.cut(outline)

    def outline(self) -> Outline:
        """Return the next cut in outline, where its figures are enough.

        Raises
        ------
        NoPlanError, StopIteration
            As the next cut itself.
        """
        if self._found is None:
            self._found = self._begin()
        for scanned, found in enumerate(self._found, 1):
            if not self.lower_bound_minor:
                self.least_minor = found.value_minor
            self.lower_bound_minor = found.value_minor
            outline = self._checked(found)
            if outline is not None:
                return outline
            if scanned >= self.most_scanned:
                self.gave_up = True
                break
        self.gave_up = self.gave_up or (self._search is not None and self._search.gave_up)
        if not self._given:
            reasons = in_the_way(self.local, self.problem, self._refused, self.gave_up)
            message = "no set of stops isolates the work section: "
            if self.gave_up:
                message = f"no plan found after {self.tried_in_a_row}, but one may exist: "
            raise NoPlanError(message + reasons[0], tuple(reasons), cut_short=self.gave_up)
        raise StopIteration

    @property
    def tried_in_a_row(self) -> str:
        """What was tried in a row without a cut when the search gave up, in words."""
        if self._search is not None and self._search.gave_up:
            return f"{self._search.most_split} families of zones in a row"
        return f"{self.most_scanned} zones in a row"

    @property
    def has_begun(self) -> bool:
        """Whether a cut, or what all of them hold, was asked for."""
        return self._is_laid_out

    def in_every_zone(self) -> Ints:
        """Return the network nodes that every zone holds, ascending; no constraint makes them fewer."""
        if not self._is_laid_out:
            self._lay_out()
        return zone_core(self.local)

    def not_nearer(self, cut: Cut) -> tuple[tuple[Refusal, ...], ...]:
        """Return, for each stop of a cut, why no place nearer to the work was taken."""
        return not_nearer(self.local, cut)

    def _begin(self) -> Iterator[FoundZone]:
        """Return the zones; they do not refer to `self`, so a question is freed as soon as it is let go."""
        forced = self._lay_out()
        self._search = CutEnumeration(
            self.local, self.problem.orders.max_stops, most_meters=self.problem.most_meters
        )
        return self._search.run(families(self.local, forced))

    def _lay_out(self) -> Forced:
        """Set up the local graph of the work, and return the places of ordered stops in it."""
        problem, index, costs = self.problem, self.index, self.costs
        orders = problem.orders
        placement = costs.placement
        if orders.forbid or orders.forbid_valves or orders.keep_out or orders.tapped:
            barred = stop_exclusions(problem.network, orders, costs.placement.barred.recorded)
            placement = StopPlacement(index, problem.rules, problem.gas_minor_per_m3, barred, costs.placement)
        work = lay_work(index, problem.section, problem.rules.clearance.work_m)
        shared = shared_costs_of(
            costs, problem.feed_bound, costs.kept(orders.keep_customers, problem.alternatives)
        )
        forced: Forced = forced_places(index, work, orders)
        self.local = LocalGraph(costs, shared, placement, work, forced.places)
        self._is_laid_out = True
        return forced

    def _checked(self, found: FoundZone) -> Outline | None:
        local, costs = self.local, self.costs
        zone = {*local.work.supernodes, *(local.supernode[node] for node in found.zone if node != SOURCE)}
        cut_segments = {edge.segment for edge, _, _ in found.stops} | local.work.segments
        station = parted(self.index, costs.is_open, costs.sensing, zone, cut_segments)
        if station is not None:
            name = self.problem.network.stations.id[station]
            self._refused[f"the sensing point of station {name} would be cut off from it"] += 1
            return None
        shut: tuple[int, ...] = ()
        if len(self.problem.network.customers):
            ends = []
            for edge, at_u, choice in found.stops:
                far = edge.v if at_u else edge.u
                is_valve = self.problem.rules.method[choice.method].kind == "valve"
                ends.append((local.supernode[far], is_valve))
            shut, by_valves = shut_in(self.index, costs.is_open, ends, zone, cut_segments)
            if shut and not by_valves:
                name = self.problem.network.stations.id[shut[0]]
                self._refused[f"station {name} would be shut in by a stop that is not its outlet valve"] += 1
                return None
        outline = outline_of(local, found, shut)
        key = (frozenset(self._places(outline)), outline.customers.tobytes())
        if key in self._given:
            return None
        self._given.add(key)
        return outline

    def _places(self, outline: Outline) -> Iterator[tuple[int | str, ...]]:
        """Yield what tells the stops of a cut from those of another."""
        stops = zip(outline.found.stops, outline.chains, outline.methods, strict=True)
        for (edge, at_u, choice), chain, method in stops:
            if self.problem.every_place:
                leg = self.local.geometry(edge, at_u).leg_at(choice.at_m)
                # Both sides of a work inside one piece are on it: by the side, methods changed about differ.
                yield chain, leg.piece, leg.sign, method
            else:
                yield chain, method
