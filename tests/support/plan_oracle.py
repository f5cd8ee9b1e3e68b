"""Whole plans priced the slow way: every zone, every method, every feed or off, every state solved.

Builds on the slow enumeration of zones, and calls the public flow solver, customer demand and relighting.
It knows nothing of how the planner chooses stops, draws them into the network, feeds or prices.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from netplan.customers import relight_order
from netplan.demand import Window, customer_demand
from netplan.hydraulics import FlowConditions
from netplan.reference.gas import METRIC_STANDARD, named_gas
from netplan.rules.rule_set import Rules
from tests.support.isolation_oracle import Case, Oracle
from tests.support.main_lengths import Leg, Length, Placed
from tests.support.outlets import outlet_mm
from tests.support.plan_aftermath import Aftermath
from tests.support.plan_cases import HOURS
from tests.support.plan_excavations import Ground
from tests.support.plan_flow import GROUND_K, Drawing, Floats
from tests.support.plan_hours import is_done_in_time, least_work
from tests.support.plan_routes import Routes
from tests.support.plan_stops import PlannedStop, with_valve_tappings
from tests.support.valve_room import Tapping

__all__ = ["PlanOracle"]


class PlanOracle(Oracle):
    """Every way of isolating the work with everything that follows from it, cheapest first."""

    def __init__(self, case: Case, rules: Rules, *, feeds: bool = True, max_off: float = math.inf) -> None:
        self.gas, self.standard = named_gas(str(rules.gas.name)), METRIC_STANDARD
        self.conditions = FlowConditions(self.gas, ground_temperature_k=GROUND_K)
        outlet = float(np.nanmax(case.network.stations.outlet_pa_gauge))
        pressure = outlet + self.conditions.atmospheric_pressure_pa_abs
        content = self.gas.density_kg_per_m3(GROUND_K, pressure) / self.gas.density_kg_per_m3_at(
            METRIC_STANDARD
        )
        per_m3 = rules.price.gas_per_m3 * 100 * content * rules.purge.volumes_in
        super().__init__(case, rules, None, per_m3)
        self.ground = Ground(case.network, rules)
        self.work_minor = self.ground.work(case.section)
        self.feeds_allowed = feeds
        self.max_off = max_off
        self.table = case.network.customers
        self.demand = customer_demand(
            self.table,
            Window(None, HOURS, None, None),
            rules,
            self.gas.gross_calorific_value_j_per_m3(METRIC_STANDARD),
        )
        self.must_stay = {row for row, code in enumerate(self.table.priority) if code}
        self.limit = 100.0 * (rules.pressure.minimum_mbar + rules.pressure.margin_mbar)
        self.at = [
            self.table.attach_node[self.table.attach_start[row] : self.table.attach_start[row + 1]].tolist()
            for row in range(len(self.table))
        ]
        self.routes = Routes(case.network, rules)
        self._before()

    def at_valves(self, stops: Sequence[PlannedStop]) -> list[PlannedStop]:
        """Return stops with the tappings of valves."""
        return with_valve_tappings(
            self.network,
            self.rules,
            self.lengths,
            stops,
            self._spans_on,
            self.metres_to_work,
        )

    # Flow ------------------------------------------------------------------------------------------------

    def _before(self) -> None:
        pieces = self.network.pieces
        label = self._labels(np.flatnonzero(~pieces.is_open).tolist())
        live = {label[int(node)] for node in self.network.stations.node if node >= 0}
        self.fed_before = {node for node, own in label.items() if own in live}
        # A customer counts with the last attachment that is fed.
        counts = [[node for node in nodes if node in self.fed_before] or nodes for nodes in self.at]
        parts = np.array([label[nodes[-1]] for nodes in counts], dtype=np.int64)
        self.area = self._labels(np.flatnonzero(~self.network.pieces.is_open).tolist())
        self.hours = self._hours(parts)
        self.flow_before = [self.demand.flow_m3_per_s_std(hour, parts) for hour in self.hours]
        flow = Drawing(self, ())
        states = [flow.solve(self.node_demand(drawn, frozenset(), flow.count)) for drawn in self.flow_before]
        stations = self.network.stations.node
        self.solved_before = not np.isnan(states[0].pressure_pa_gauge[stations]).any()
        self.weak_before = {
            row
            for row, nodes in enumerate(self.at)
            for state in states
            if not min(_known(state.pressure_pa_gauge[nodes]), default=-math.inf) >= self.limit
        }

    def _hours(self, parts: NDArray[np.int64]) -> list[int]:
        """Return the hour of the greatest total, and every other one in which somebody draws most."""
        flows = [self.demand.flow_m3_per_s_std(hour, parts) for hour in range(len(self.demand.hours))]
        totals = [round(float(flow.sum()), 12) for flow in flows]
        order = sorted(range(len(flows)), key=lambda hour: (-totals[hour], hour))
        found: list[int] = []
        for hour in order:
            if not any((flows[other] >= flows[hour]).all() for other in found):
                found.append(hour)
        return found

    def node_demand(self, flow: Floats, zone: frozenset[int], count: int) -> Floats:
        """Return what each node draws: a customer draws in equal shares where it has gas."""
        drawn = np.zeros(count)
        for row, nodes in enumerate(self.at):
            live = [node for node in nodes if node not in zone and node in self.fed_before]
            for node in live:
                drawn[node] += flow[row] / len(live)
        return drawn

    def _labels(self, closed: Sequence[int]) -> dict[int, int]:
        pieces, shut = self.network.pieces, set(closed)
        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(range(len(self.network.nodes)))
        graph.add_edges_from(
            (int(pieces.from_node[row]), int(pieces.to_node[row]))
            for row in range(len(pieces))
            if row not in shut
        )
        return {node: k for k, group in enumerate(nx.connected_components(graph)) for node in group}

    # Cuts ------------------------------------------------------------------------------------------------

    def floors(self) -> list[tuple[int, Any, list[int], tuple[tuple[int, str], ...]]]:
        """Return every cut with what it costs at least, cheapest first."""
        found = []
        work_gas = sum(
            self._gas(row, high - low)
            for row in range(len(self.is_main))
            if self.is_main[row]
            for low, high in self._spans(row)
        )
        for zone in self.zones():
            border = [n for n, link in enumerate(self.links) if (link.a in zone) != (link.b in zone)]
            links = [self.links[n] for n in border]
            off = {row for row, (_, at) in enumerate(self.customers) if at & zone}
            if off & self.must_stay or not self._sensing_holds(zone, links):
                continue
            fixed = work_gas + self._services_gas(zone) + sum(self.customers[row][0] for row in off)
            fixed += sum(link.volume for link in self.links if link.a in zone and link.b in zone)
            fixed += self.work_minor
            shut = self._shut_ends(zone, links)
            inner = [link.a if link.a in zone else link.b for link in links]
            choices = [link.stops[end] for link, end in zip(links, inner, strict=True)]
            for methods in itertools.product(*choices):
                if not any(name != "valve" for n, (_, name) in enumerate(methods) if n in shut):
                    found.append((fixed + sum(price for price, _ in methods), zone, border, methods))
        return sorted(found, key=lambda cut: cut[0])

    def options(self, wanted: int) -> list[tuple[int, tuple[Any, ...]]]:
        """Return (burden, what tells it apart) of the cheapest different options, cheapest first."""
        best: dict[tuple[Any, ...], int] = {}
        for floor, zone, border, methods in self.floors():
            listed = sorted(best.values())
            if len(listed) >= wanted and floor > listed[wanted - 1]:
                break
            most = listed[wanted - 1] if len(listed) >= wanted else math.inf
            for burden, off in self._priced(floor, zone, border, methods, most):
                chains = frozenset(
                    (self.links[n].chain, name) for n, (_, name) in zip(border, methods, strict=True)
                )
                key = (chains, tuple(sorted(off)))
                best[key] = min(burden, best.get(key, burden))
        return sorted(((burden, key) for key, burden in best.items()), key=lambda answer: answer[0])[:wanted]

    def _stops(
        self, zone: Any, border: Sequence[int], methods: Sequence[tuple[int, str]]
    ) -> list[PlannedStop]:
        pieces = self.network.pieces
        stops = []
        for number, (_, name) in zip(border, methods, strict=True):
            link = self.links[number]
            at_a = link.a in zone
            method = next(m for m in self.rules.method if m.name == name)
            place = link.placed[link.a if at_a else link.b, name]
            way = link.length if at_a else link.length.turned()
            leg = place.leg
            tee = self._tee(way, place, method, link.high if at_a else way.size_m - link.low)
            ends = int(pieces.from_node[leg.piece]), int(pieces.to_node[leg.piece])
            is_valve = method.kind == "valve"
            stops.append(
                PlannedStop(
                    leg.piece,
                    self._chainage(leg, place.at),
                    tee[0].piece,
                    int(pieces.pipe[tee[0].piece]),
                    self._chainage(*tee[:2]),
                    tee[2],
                    leg.rises,
                    is_valve,
                    int(pieces.pipe[leg.piece]),
                    *(ends if leg.rises else ends[::-1]),
                    () if is_valve else self._tappings(way, place, method, has_tee=not tee[2]),
                    method=name,
                )
            )
        return sorted(stops, key=lambda stop: (stop.pipe, stop.chainage_m))

    def _tappings(self, way: Length, place: Placed, method: Any, *, has_tee: bool) -> tuple[Tapping, ...]:
        """Return what a stop that is no valve has in its own pit."""
        parts = [part for part in method.assembly if has_tee or part.role != "bypass"]
        found = []
        for part in parts:
            at = place.at + part.offset_m
            leg = place.leg if at == place.at else way.leg_at(at)
            pipe = int(self.network.pieces.pipe[leg.piece])
            found.append((part.role, pipe, self._chainage(leg, at)))
        return tuple(found)

    def _chainage(self, leg: Leg, at: float) -> float:
        pieces = self.network.pieces
        if leg.rises:
            return float(pieces.from_m[leg.piece]) + at - leg.low
        return float(pieces.to_m[leg.piece]) - (at - leg.low)

    def _tee(self, way: Length, place: Placed, method: Any, until: float) -> tuple[Leg, float, bool]:
        """Return leg and place of the bypass tee; the live end of the stop's own piece where there is no room."""
        offset = next((part.offset_m for part in method.assembly if part.role == "bypass"), None)
        if offset is None:
            return place.leg, place.at, False
        od = float(self.network.pipes.od_m[self.network.pieces.pipe[place.leg.piece]])
        clear = max(self.rules.clearance.fitting_m, self.rules.clearance.fitting_od * od)
        at = place.at + offset
        if not outlet_mm("bypass", "", round(1000.0 * od, 3)):
            return place.leg, place.leg.high, True
        taken = [leg.high for leg, passed in zip(way.legs, way.passed, strict=False) if not passed]
        if at + clear > until or any(abs(at - mark) < clear for mark in [*taken, *way.fittings]):
            return place.leg, place.leg.high, True
        return way.leg_at(at), at, False

    def next_tee(self, stop: PlannedStop, zone: frozenset[int], stops: Sequence[PlannedStop]) -> PlannedStop:
        """Return a stop without room for its tee with it on the next main, where there is room there."""
        pieces, pipes, fittings = self.network.pieces, self.network.pipes, self.network.fittings
        found = []
        for row in range(len(pieces)) if stop.tee_at_end else ():
            ends, pipe = {int(pieces.from_node[row]), int(pieces.to_node[row])}, int(pieces.pipe[row])
            is_next = stop.live_node in ends and not ends & zone and pipe < pipes.n_mains
            if not is_next or not pieces.is_open[row] or row in {other.piece for other in stops}:
                continue
            od, low, high = float(pipes.od_m[pipe]), float(pieces.from_m[row]), float(pieces.to_m[row])
            clear = max(self.rules.clearance.fitting_m, self.rules.clearance.fitting_od * od)
            if not outlet_mm("bypass", "", round(1000.0 * od, 3)):
                continue
            marks = [float(at) for at in fittings.chainage_m[fittings.pipe == pipe]]
            sign, start = (1.0, low) if int(pieces.from_node[row]) == stop.live_node else (-1.0, high)
            at = start + sign * clear
            for mark in sorted(marks, key=lambda mark: sign * mark):
                at = mark + sign * clear if abs(mark - at) < clear else at
            if low + clear <= at <= high - clear:
                found.append((pipe != stop.pipe, -od, pipes.id[pipe], row, at))
        if not found:
            return stop
        *_, row, at = min(found)
        return replace(
            stop, tee_piece=row, tee_pipe=int(pieces.pipe[row]), tee_m=at, tee_at_end=False, tee_is_next=True
        )

    def tee_outlet_mm(self, stop: PlannedStop) -> int:
        """Return how wide the tee of a stop is [mm nominal]."""
        pipe = self.network.pieces.pipe[stop.tee_piece]
        return outlet_mm("bypass", "", round(1000.0 * float(self.network.pipes.od_m[pipe]), 3))

    def tees_at(self, stop: PlannedStop) -> int:
        """Return how many tees fit at a stop, one beyond the other, each clear of the next and of all else."""
        pieces, pipes, fittings = self.network.pieces, self.network.pipes, self.network.fittings
        row, pipe = stop.tee_piece, int(pieces.pipe[stop.tee_piece])
        clear = max(self.rules.clearance.fitting_m, self.rules.clearance.fitting_od * float(pipes.od_m[pipe]))
        outward = stop.tee_m > stop.chainage_m
        if row != stop.piece:
            outward = int(pieces.from_node[row]) == stop.live_node
        sign = 1.0 if outward else -1.0
        marks = [float(pieces.from_m[row]), float(pieces.to_m[row])]
        marks += [float(at) for at in fittings.chainage_m[fittings.pipe == pipe]]
        marks = [mark for mark in marks if sign * (mark - stop.tee_m) > 0.0]
        count, at = 1, stop.tee_m
        while count < self.rules.bypass.parallel_max:
            at += sign * clear
            if any(sign * (mark - at) < clear - 1e-9 for mark in marks):
                break
            count += 1
        return count

    def passed_nodes(self, zone: Any, stops: Sequence[PlannedStop]) -> frozenset[int]:
        """Return the nodes between the ends of lengths that lie in a zone."""
        found: set[int] = set()
        stopped = {(stop.piece, stop.zone_is_low) for stop in stops}
        for link in self.links:
            if link.a in zone and link.b in zone:
                found.update(link.nodes)
            elif link.a in zone or link.b in zone:
                way = link.length if link.a in zone else link.length.turned()
                start = link.low if link.a in zone else way.size_m - link.high
                inner = set(link.nodes)
                for node, leg in zip(way.nodes[1:], way.legs, strict=False):
                    if leg.high < start - 1e-9:
                        continue
                    if (leg.piece, leg.rises) in stopped:
                        break
                    found.update({node} & inner)
        return frozenset(found)

    # Price -----------------------------------------------------------------------------------------------

    def _priced(
        self, floor: int, zone: Any, border: Sequence[int], methods: Sequence[tuple[int, str]], most: float
    ) -> Iterator[tuple[int, frozenset[int]]]:
        names = [name for _, name in methods]
        inside = [row for row, (_, at) in enumerate(self.customers) if at & zone]
        if not is_done_in_time(least_work(names, self._meters(inside)), self.rules, HOURS):
            return
        stops = self._stops(zone, border, methods)
        after = Aftermath(self, zone, stops)
        base = floor - sum(self.customers[row][0] for row in after.isolated) + after.ends_minor
        held: set[frozenset[int]] = set()
        ways = [after.ways(part) for part in after.deficient]
        for picked in sorted(itertools.product(*ways), key=lambda some: sum(w.price_minor for w in some)):
            off = set(after.isolated)
            for part, way in zip(after.deficient, picked, strict=True):
                off |= part.rows if way.off else set()
            if frozenset(off) in held or self._meters(sorted(off)) > self.max_off:
                continue
            hoses = sum(way.bypass is not None for way in picked)
            valves = sum(way.valve_piece >= 0 for way in picked)
            least = least_work(names, self._meters(sorted(off)), hoses=hoses, valves=valves)
            if not is_done_in_time(least, self.rules, HOURS):
                continue
            interruption = self._interruption(off)
            feeds = sum(way.price_minor for way in picked if not way.off)
            burden = base + interruption + feeds
            if burden > most or not after.may_join(picked):
                continue
            if after.holds(picked, off):
                held.add(frozenset(off))
                yield burden, frozenset(off)

    def _meters(self, rows: Sequence[int]) -> int:
        return int(np.maximum(self.table.meters[list(rows)], 1).sum()) if rows else 0

    def _interruption(self, off: set[int]) -> int:
        """Return the price of customers off with the queue at relighting."""
        table, rows = self.table, sorted(off)
        if not rows:
            return 0
        rate = np.array([(6.0, 40.0, 400.0, 40.0)[int(table.category[row])] for row in rows])
        queue = relight_order(
            [table.id[row] for row in rows],
            [table.address[row] for row in rows],
            [table.street[row] for row in rows],
            [table.number[row] for row in rows],
            [table.postcode[row] for row in rows],
            [table.priority[row] for row in rows],
            table.meters[rows],
            rate,
        )
        crew = self.rules.crew
        total, waited = sum(self.customers[row][0] for row in rows), 0.0
        for place in queue.order.tolist():
            meters = int(table.meters[rows[place]])
            waited += meters / crew.relights_per_hour
            total += round(100 * rate[place] * meters * waited)
        return total


def _known(values: Floats) -> list[float]:
    return [float(value) for value in values if not math.isnan(value)]
