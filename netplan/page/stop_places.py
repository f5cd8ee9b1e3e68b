"""Where a stop that is dragged along the mains can be let go: what the planner would take or refuse there.

What keeps a stop off a place (fittings, joints of mains, the work, keep-out areas, what is forbidden, the
method's own limits) is told for whole lengths of main at a time. Whether any set of stops isolates the work
with one more on that length is asked when the stop comes to it: that is one cut.
"""

from __future__ import annotations

import threading
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints32
from netplan.core.errors import NetplanError, NoPlanError
from netplan.graph.connected_components import component_labels
from netplan.isolation import IsolationProblem, SegmentGraph, cuts
from netplan.isolation.cost_context import cost_context_of
from netplan.isolation.segment_geometry import SegmentGeometry, segment_geometry
from netplan.isolation.stop_exclusions import stop_exclusions
from netplan.isolation.stop_placement import StopPlacement
from netplan.isolation.valve_tappings import is_valve, valve_segments_at
from netplan.isolation.work_segments import WorkSegments, lay_work
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.network.work_section import work_section
from netplan.page.page_orders import PageOrders, request_of
from netplan.page.stop_lengths import StopLength, joined_lengths, on_mains, stop_lengths
from netplan.planning.context import PlanningContext
from netplan.planning.rank import isolation_problem
from netplan.rules import Rules

__all__ = ["StopPlaces", "StopsOnMains"]

MOST_MAINS: Final = 60
"""Mains of one answer at most (own) [-]."""
MOST_PIECES: Final = 400
"""Their pieces at most (own): what keeps an answer within a tenth of a second [-]."""
MOST_LOOKED_AT: Final = 1_000
"""Mains whose distance is taken at most (own): with more the reach is halved [-]."""
IN_WORK: Final = "it lies in the work section"
NOT_JOINED: Final = "it is not joined to the work section"


class StopsOnMains:
    """Where stops can be for one problem: a work section, rules and orders.

    Parameters
    ----------
    problem : IsolationProblem
    index : SegmentGraph
    part : int32 array
        Part, joined by mains whatever is shut, of each supernode.
    plain : dict
        What holds on segments that neither the work nor an order concerns: filled here, shared by problems of
        the same rules.
    """

    def __init__(
        self,
        problem: IsolationProblem,
        index: SegmentGraph,
        part: Ints32,
        plain: dict[int, dict[int, list[StopLength]]],
    ) -> None:
        self.index, self._part, self._plain = index, part, plain
        self._network, rules = problem.network, problem.rules
        costs = cost_context_of(index, rules, problem.hours, problem.gas_minor_per_m3)
        self._base = self._placement = costs.placement
        orders = problem.orders
        if orders.forbid or orders.forbid_valves or orders.keep_out:
            barred = stop_exclusions(problem.network, orders, self._base.barred.recorded)
            self._placement = StopPlacement(index, rules, problem.gas_minor_per_m3, barred, self._base)
        self._work: WorkSegments = lay_work(index, problem.section, rules.clearance.work_m)
        self._inside = frozenset(self._work.supernodes)
        self._beside = {s for node in self._work.near_m for s in index.segments_at(node).tolist()}
        ends = {end for rest in self._work.remainders for end in (rest.a, rest.b) if end >= 0}
        for node in {*ends, *self._inside, *self._work.near_m}:
            for segment in index.segments_at(node).tolist():
                self._beside.add(segment)
                self._beside.update(valve_segments_at(index, index.far_end(segment, node)))
        reached = [*self._inside, *ends]
        reached += [int(index.segment_a[segment]) for segment in self._work.segments]
        self._parts = frozenset(part[reached].tolist())
        self._found: dict[int, dict[int, list[StopLength]]] = {}

    def on(self, pipe: int) -> tuple[list[StopLength], dict[int, StopLength]]:
        """Return what holds along a main, and for each valve on it."""
        pieces = self._network.pieces
        lengths: list[StopLength] = []
        valves: dict[int, StopLength] = {}
        for piece in pieces.rows_of(pipe):
            segment, valve = int(self.index.segment_of[piece]), int(pieces.valve[piece])
            if segment < 0:
                continue
            found = self._on_segment(segment).get(pipe, [])
            if valve >= 0:
                valves[valve] = found[0]
            elif piece == min(row for row in self.index.pieces_of(segment) if pieces.pipe[row] == pipe):
                lengths += found
        return joined_lengths(lengths), valves

    def _on_segment(self, segment: int) -> dict[int, list[StopLength]]:
        known = self._plain if self._is_plain(segment) else self._found
        if segment not in known:
            known[segment] = self._of_segment(segment)
        return known[segment]

    def _is_plain(self, segment: int) -> bool:
        if segment in self._work.segments or segment in self._beside or not self._is_joined(segment):
            return False
        if self._placement is self._base:
            return True
        index, around = self.index, {segment}
        if is_valve(index, segment):
            for end in (index.segment_a, index.segment_b):
                around.update(index.segments_at(int(end[segment])).tolist())
        barred = self._placement.barred
        return not any(barred.touches(self._network, index.pieces_of(one)) for one in around)

    def _is_joined(self, segment: int) -> bool:
        return int(self._part[self.index.segment_a[segment]]) in self._parts

    def _of_segment(self, segment: int) -> dict[int, list[StopLength]]:
        index, work, near = self.index, self._work, self._work.near_m
        found: dict[int, list[StopLength]] = {}
        if not self._is_joined(segment):
            geometry = segment_geometry(index, segment)
            return on_mains(geometry, [StopLength(0.0, geometry.length_m, words=NOT_JOINED)])
        if segment not in work.segments:
            a, b = int(index.segment_a[segment]), int(index.segment_b[segment])
            distances = (near.get(a, float("inf")), near.get(b, float("inf")))
            whole = segment_geometry(index, segment).with_work_distances(*distances)
            sides = (b not in self._inside, a not in self._inside)
            return self._lengths(whole, sides if a != b else (False, False))
        for rest in work.remainders:
            if rest.segment != segment:
                continue
            start_m, end_m = (0.0 if end < 0 else near.get(end, float("inf")) for end in (rest.a, rest.b))
            geometry = rest.geometry.with_work_distances(start_m, end_m)
            outside = [end >= 0 and end not in self._inside for end in (rest.a, rest.b)]
            sides = (rest.a < 0 and outside[1], rest.b < 0 and outside[0])
            for pipe, lengths in self._lengths(geometry, sides).items():
                found.setdefault(pipe, []).extend(lengths)
        pieces = index.pieces_of(segment)
        for piece, stretch, _ in work.covered:
            if piece in pieces:
                inside = StopLength(stretch.from_m, stretch.to_m, words=IN_WORK)
                found.setdefault(stretch.pipe, []).append(inside)
        return found

    def _lengths(self, geometry: SegmentGeometry, sides: tuple[bool, bool]) -> dict[int, list[StopLength]]:
        return on_mains(geometry, stop_lengths(self._placement, geometry, sides, self._work))


class StopPlaces:
    """Answers for one network under one set of rules, its tables worked out at the first.

    Parameters
    ----------
    network : Network
    rules : Rules
    """

    def __init__(self, network: Network, rules: Rules) -> None:
        self._network, self._rules = network, rules
        self._kinds = {method.name: str(method.kind.value) for method in rules.method}
        self._context: PlanningContext | None = None
        self._part: Ints32 | None = None
        self._plain: tuple[StopPlacement, dict[int, dict[int, list[StopLength]]]] | None = None
        self._on: tuple[PageOrders, IsolationProblem, StopsOnMains] | None = None
        self._lock = threading.Lock()

    def warm(self, orders: PageOrders) -> None:
        """Work out what every answer about some orders rests on; impossible ones are left to the plan."""
        with self._lock:
            try:
                problem, stops = self._stops(orders)
                stops.on(int(problem.section.pipe[0]))
                next(cuts(problem, stops.index))
            except NetplanError:
                return

    def near(self, orders: PageOrders, x_m: float, y_m: float, reach_m: float) -> dict[str, Any]:
        """Return what holds for a stop on the mains within reach of a place [m, working CRS], nearest first.

        ``reach_m`` says how far all of them are there, where they are more than one answer holds.

        Raises
        ------
        NetplanError
            When the orders are not of this network.
        """
        with self._lock:
            stops = self._stops(orders)[1]
            rows, covered_m = self._mains_near(x_m, y_m, reach_m)
            mains = [self._main(stops, row) for row in rows]
        return {"mains": mains, "reach_m": round(covered_m, 2)}

    def refusal(self, orders: PageOrders, place: str, instead_of: str) -> str:
        """Return why no set of stops isolates the work with one at a place; empty where one does.

        Parameters
        ----------
        orders : PageOrders
        place : str
            As `PageOrders.force` names it.
        instead_of : str
            A stop that is ordered now and moves to that place; empty for none.
        """
        force = tuple(name for name in orders.force if name != instead_of)
        asked = orders.model_copy(update={"force": (*force, place)})
        with self._lock:
            try:
                problem, context = self._problem(asked)
                next(cuts(problem, context.index))
            except NoPlanError as error:
                more = [reason for reason in error.reasons if reason not in str(error)]
                return "; ".join((self._one_sided(orders, place), str(error), *more)).removeprefix("; ")
            except NetplanError as error:
                return str(error)
        return ""

    def _one_sided(self, orders: PageOrders, place: str) -> str:
        """Return why a stop at a place closes off nothing: its assembly fits the other way round alone."""
        main_id, _, at = place.rpartition(":")
        pipe = self._network.pipes.id.find(main_id, 0, self._network.pipes.n_mains) if main_id else -1
        if pipe < 0:
            return ""
        at_m = float(at)
        for one in self._stops(orders)[1].on(pipe)[0]:
            if one.other_words and one.from_m - 1e-3 <= at_m <= one.to_m + 1e-3:
                return f"it fits here only with the zone on the far side ({one.other_words})"
        return ""

    def _problem(self, orders: PageOrders) -> tuple[IsolationProblem, PlanningContext]:
        request = request_of(orders, self._network, self._rules, options=1, weather=False)
        known = self._context
        same = known is not None and known.request.window_hours == request.window_hours
        context = known.with_request(request) if known and same else PlanningContext.for_request(request)
        section = work_section(self._network, request.parts)
        _ = context.index, context.attachments, context.fed_before
        self._context = context
        return isolation_problem(context, section), context

    def _stops(self, orders: PageOrders) -> tuple[IsolationProblem, StopsOnMains]:
        if self._on is not None and self._on[0] == orders:
            return self._on[1:]
        problem, context = self._problem(orders)
        index = context.index
        if self._part is None:
            self._part, _ = component_labels(index.n_super, index.segment_a, index.segment_b)
        costs = cost_context_of(index, problem.rules, problem.hours, problem.gas_minor_per_m3)
        if self._plain is None or self._plain[0] is not costs.placement:
            self._plain = (costs.placement, {})
        stops = StopsOnMains(problem, index, self._part, self._plain[1])
        self._on = (orders, problem, stops)
        return problem, stops

    def _mains_near(self, x_m: float, y_m: float, reach_m: float) -> tuple[list[int], float]:
        """Return the nearest mains, and within which distance these are all."""
        pieces = self._network.pieces
        rows = self._within(x_m, y_m, reach_m)
        while len(rows) > MOST_LOOKED_AT:
            reach_m /= 2.0
            rows = self._within(x_m, y_m, reach_m)
        away = [self._away(row, x_m, y_m) for row in rows.tolist()]
        found: list[int] = []
        taken = 0
        for at in np.argsort(np.array(away), kind="stable").tolist():
            count = len(pieces.rows_of(int(rows[at])))
            if away[at] > reach_m:
                break
            if len(found) >= MOST_MAINS or (found and taken + count > MOST_PIECES):
                return found, away[at]
            found.append(int(rows[at]))
            taken += count
        return found, reach_m

    @cached_property
    def _corners(self) -> tuple[Floats, Floats]:
        """South-west and north-east corner of the box of each main [m, working CRS]."""
        pipes = self._network.pipes
        coords, start = pipes.coords_m[: pipes.coord_start[pipes.n_mains]], pipes.coord_start[: pipes.n_mains]
        low, high = (corner.reduceat(coords, start, axis=0) for corner in (np.minimum, np.maximum))
        return np.ascontiguousarray(low.T), np.ascontiguousarray(high.T)

    def _within(self, x_m: float, y_m: float, reach_m: float) -> NDArray[np.int64]:
        low, high = self._corners
        in_x = np.flatnonzero((low[0] <= x_m + reach_m) & (high[0] >= x_m - reach_m))
        meets = (low[1, in_x] <= y_m + reach_m) & (high[1, in_x] >= y_m - reach_m)
        return np.asarray(in_x[meets], dtype=np.int64)

    def _away(self, row: int, x_m: float, y_m: float) -> float:
        """Return how far a main runs from a place [m, working CRS]."""
        pipes = self._network.pipes
        line = pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]]
        step = np.diff(line, axis=0)
        off = np.array([x_m, y_m]) - line[:-1]
        square = np.maximum((step**2).sum(axis=1), 1e-12)
        share = np.clip((off * step).sum(axis=1) / square, 0.0, 1.0)[:, np.newaxis]
        return float(np.hypot(*(off - share * step).T).min())

    def _main(self, stops: StopsOnMains, row: int) -> dict[str, Any]:
        pipes, valves = self._network.pipes, self._network.valves
        line = pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]]
        lengths, on_valves = stops.on(row)
        at_m = np.array([float(valves.chainage_m[valve]) for valve in on_valves])
        xy = points_at(self._network, np.full(len(at_m), row), at_m).tolist() if on_valves else []
        return {
            "main_id": pipes.id[row],
            "street": pipes.street[row],
            "length_m": round(float(pipes.length_m[row]), 3),
            "line": line.round(2).tolist(),
            "lengths": [self._written(one) for one in lengths],
            "valves": [
                {"id": valves.id[valve], "x": x, "y": y, "at_m": at, **self._written(one)}
                for (valve, one), (x, y), at in zip(on_valves.items(), xy, at_m.tolist(), strict=True)
            ],
        }

    def _written(self, one: StopLength) -> dict[str, Any]:
        """Return a length as the page reads it, feasible ends drawn in to the millimetre of an order."""
        low, high = one.from_m, one.to_m
        if one.methods:
            low, high = np.ceil(low * 1e3 - 1e-6) / 1e3, np.floor(high * 1e3 + 1e-6) / 1e3
            low, high = (low, high) if low <= high else (round(one.from_m, 3),) * 2
        return {
            "from_m": round(float(low), 3),
            "to_m": round(float(high), 3),
            "methods": list(one.methods),
            "kinds": [self._kinds[name] for name in one.methods],
            "words": one.words,
        }
