"""What a cut of the plan oracle leaves behind, what may be done for it, and whether every state holds."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np

from netplan.hydraulics import FlowSolver, FlowState
from netplan.reference.gas import METRIC_STANDARD
from tests.support.joined_areas import may_join
from tests.support.outlets import named_mm
from tests.support.plan_cases import HOURS
from tests.support.plan_excavations import zone_ends
from tests.support.plan_flow import GROUND_K, HOLDS_PA, Drawing, Floats, Hose, gas_back_holds
from tests.support.plan_hours import WorkToDo, is_done_in_time
from tests.support.plan_purges import ZonePurge
from tests.support.plan_stops import PlannedStop

if TYPE_CHECKING:
    from tests.support.plan_oracle import PlanOracle

__all__ = ["Aftermath", "HungryPart", "Way"]

RISE_PA = 10.0


@dataclass(frozen=True)
class Way:
    """One way of dealing with a hungry part: a bypass between two stops, a valve, off, or nothing."""

    price_minor: int
    bypass: tuple[int, int, float] | None = None
    """Numbers of the giving and the fed stop, and length [m]."""
    parallel: int = 1
    valve_piece: int = -1
    off: bool = False


@dataclass(frozen=True)
class HungryPart:
    """A stranded or weak part: its customers, nodes and what may be done for it."""

    rows: frozenset[int]
    nodes: frozenset[int]
    weak: bool


class Aftermath:
    """What is cut off, weak or kept once the stops of a cut are in, and whether feeds help."""

    def __init__(self, oracle: PlanOracle, zone: Any, stops: Sequence[PlannedStop]) -> None:
        network, pieces = oracle.network, oracle.network.pieces
        self.zone = frozenset(node for node in oracle.name if oracle._end(node) in zone)
        self.zone |= oracle.passed_nodes(zone, stops)
        stops = oracle.at_valves([oracle.next_tee(stop, self.zone, stops) for stop in stops])
        self.oracle, self.stops = oracle, stops
        self.dug = [stop.pit for stop in stops]
        self.dug += [
            ((int(pipe), float(low), float(high)),)
            for pipe, low, high in zip(
                oracle.section.pipe, oracle.section.from_m, oracle.section.to_m, strict=True
            )
        ]
        dead, loops = zone_ends(network, self.zone, stops)
        self.ends_minor = oracle.ground.ends(self.dug, dead)
        self.ends_minor += sum(count * max(map(oracle.ground.pit, mains)) for count, mains in loops)
        closed = {stop.piece for stop in stops} | set(np.flatnonzero(~pieces.is_open).tolist())
        closed |= {
            row
            for row in range(len(pieces))
            if {int(pieces.from_node[row]), int(pieces.to_node[row])} & self.zone
        }
        self.label = oracle._labels(sorted(closed))
        live = {self.label[int(node)] for node in network.stations.node if node >= 0}
        self.fed = {node for node, label in self.label.items() if label in live} - self.zone
        at = oracle.at
        self.isolated = {row for row, nodes in enumerate(at) if set(nodes) & self.zone}
        stranded = {
            row
            for row, nodes in enumerate(at)
            if row not in self.isolated and set(nodes) & oracle.fed_before - self.fed
        }
        # A customer counts with the part that loses its gas, else with the last that is fed.
        part = [
            self.label[
                (
                    [n for n in nodes if n in oracle.fed_before and n not in self.fed | self.zone]
                    or [n for n in nodes if n in self.fed]
                    or nodes
                )[-1]
            ]
            for nodes in at
        ]
        self.part = part
        self.drawing = Drawing(oracle, stops)
        self.closed = [self.drawing.closes[n] for n in range(len(stops))]
        demands = self.demands(self.isolated)
        bare = [self.drawing.solve(demand, self.closed) for demand in demands]
        self.draw, self.taps = self._purge(bare[0])
        if not oracle.rules.purge.draw_is_load:
            self.taps = []
        self.unfed = bare + self._purged(demands, stranded)
        pressure = np.min([state.pressure_pa_gauge for state in self.unfed], axis=0)
        self.deficient = [
            HungryPart(
                frozenset(row for row in stranded if part[row] == label),
                frozenset(n for n, own in self.label.items() if own == label and n not in self.zone),
                weak=False,
            )
            for label in sorted({part[row] for row in stranded})
        ]
        weak = frozenset(
            row
            for row, nodes in enumerate(at)
            if row not in self.isolated | stranded | oracle.weak_before
            and any(not pressure[n] >= oracle.limit for n in nodes if n in oracle.fed_before)
        )
        if weak:
            self.deficient.append(HungryPart(weak, frozenset(), weak=True))

    def demands(self, off: set[int]) -> list[Floats]:
        """Return what each node draws in each hour; only those who are on share uplift and diversity."""
        together = np.array([-1 if row in off else own for row, own in enumerate(self.part)], dtype=np.int64)
        found = []
        for hour in self.oracle.hours:
            flow = self.oracle.demand.flow_m3_per_s_std(hour, together)
            flow[sorted(off)] = 0.0
            found.append(self.oracle.node_demand(flow, self.zone, self.drawing.count))
        return found

    def _purge(self, state: FlowState) -> tuple[float, list[int]]:
        """Return what purging in draws [m³/s at 15 °C, 101.325 kPa] and where it may, best pressure first."""
        oracle, pieces, pipes = self.oracle, self.oracle.network.pieces, self.oracle.network.pipes
        inside: nx.MultiGraph[int] = nx.MultiGraph()
        bores = [float(pipes.bore_m[stop.pipe]) for stop in self.stops if not stop.is_valve]
        stopped = {stop.piece for stop in self.stops}
        for row in range(len(pieces)):
            pipe, a, b = int(pieces.pipe[row]), int(pieces.from_node[row]), int(pieces.to_node[row])
            if pipe < pipes.n_mains and {a, b} & self.zone and row not in stopped and pieces.is_open[row]:
                inside.add_edge(a, b)
                bores.append(float(pipes.bore_m[pipe]))
        bores += [float(pipes.bore_m[pipe]) for pipe in self.oracle.section.pipe]
        parts = nx.number_connected_components(inside)
        sides = 2 if inside.number_of_edges() > inside.number_of_nodes() - parts else 1
        bore = max(bores)
        conditions = oracle.conditions
        speed = max(0.6, 0.5 * math.sqrt(9.80665 * bore))
        thinned = oracle.gas.density_kg_per_m3(
            GROUND_K, conditions.atmospheric_pressure_pa_abs
        ) / oracle.gas.density_kg_per_m3_at(METRIC_STANDARD)
        at = {
            number: round(float(state.pressure_pa_gauge[stop.live_node]), 3)
            for number, stop in enumerate(self.stops)
            if stop.live_node in self.fed
        }
        order = sorted(at, key=lambda number: (-at[number], number))
        nodes = [self.drawing.barrier.get(n, self.stops[n].live_node) for n in order]
        return sides * speed * math.pi / 4 * bore**2 * thinned, nodes

    def _drawn(self, demands: Sequence[Floats], tap: int) -> list[Floats]:
        found = [demand.copy() for demand in demands]
        for demand in found:
            demand[tap] += self.draw
        return found

    def _purged(self, demands: Sequence[Floats], stranded: set[int]) -> list[FlowState]:
        """Return the states of the purge at the first place that holds it, else at the first of all."""
        oracle, tried = self.oracle, list[list[FlowState]]()
        kept = [
            node
            for row, nodes in enumerate(oracle.at)
            if row not in self.isolated | stranded | oracle.weak_before
            for node in nodes
            if node in oracle.fed_before
        ]
        for tap in self.taps:
            tried.append([self.drawing.solve(one, self.closed) for one in self._drawn(demands, tap)])
            if all((state.pressure_pa_gauge[kept] - oracle.limit >= HOLDS_PA).all() for state in tried[-1]):
                return tried[-1]
        return tried[0] if tried else []

    def ways(self, part: HungryPart) -> list[Way]:
        """Return everything that may be done for a part, in any order."""
        oracle, rules = self.oracle, self.oracle.rules
        found = [Way(0)] if part.weak else []
        if not part.rows & oracle.must_stay:
            found.append(Way(sum(oracle.customers[row][0] for row in part.rows), off=True))
        if not oracle.feeds_allowed:
            return found
        narrowest = named_mm(min(rules.bypass.bores_mm))
        for giving, fed in self._pairs(part):
            room = min(oracle.tees_at(self.stops[end]) for end in (giving, fed))
            route = oracle.routes.way(self._tee_xy(giving), self._tee_xy(fed))
            if (
                route is None
                or min(map(oracle.tee_outlet_mm, (self.stops[giving], self.stops[fed]))) < narrowest
            ):
                continue
            length = rules.bypass.slack * route.length_m
            ramps = rules.price.ramp * route.crossings
            each = round(100 * (rules.price.bypass + rules.price.bypass_per_m * length + ramps))
            tees = sum(self._tee_minor(number) for number in (giving, fed))
            found += [
                Way(count * each + tees, (giving, fed, length), count)
                for count in range(1, min(rules.bypass.parallel_max, room) + 1)
            ]
        if not part.weak:
            found += [Way(round(100 * rules.price.open_valve), valve_piece=row) for row in self._valves(part)]
        return found

    def _tee_minor(self, number: int) -> int:
        stop = self.stops[number]
        if not stop.tee_is_next:
            return 0
        return self.oracle.ground.tee(self.dug, stop.tee_pipe, stop.tee_m)

    def _pairs(self, part: HungryPart) -> Iterator[tuple[int, int]]:
        tees = [n for n, stop in enumerate(self.stops) if not stop.is_valve and not stop.tee_at_end]
        at = {n: [float(s.pressure_pa_gauge[self.drawing.tee[n]]) for s in self.unfed] for n in tees}
        for giving, fed in itertools.permutations(tees, 2):
            if part.weak and any(a > b + RISE_PA for a, b in zip(at[giving], at[fed], strict=True)):
                yield giving, fed
            if not part.weak and self.stops[fed].live_node in part.nodes and math.isfinite(at[giving][0]):
                yield giving, fed

    def may_join(self, picked: Sequence[Way]) -> bool:
        """Return whether feeds may join what they join."""
        joins, cut_off, pieces = [], set[int](), self.oracle.network.pieces
        for part, way in zip(self.deficient, picked, strict=True):
            if way.bypass:
                joins.append((self.stops[way.bypass[0]].live_node, self.stops[way.bypass[1]].live_node))
            elif way.valve_piece >= 0:
                joins.append((int(pieces.from_node[way.valve_piece]), int(pieces.to_node[way.valve_piece])))
            else:
                continue
            cut_off |= part.nodes
        return may_join(self.oracle.network, self.oracle.rules, self.oracle.area, joins, cut_off)

    def _valves(self, part: HungryPart) -> Iterator[int]:
        network = self.oracle.network
        valves, pieces = network.valves, network.pieces
        for row in range(len(valves)):
            piece = int(valves.piece[row])
            if piece >= 0 and int(valves.state[row]) == 1 and int(valves.operable[row]) == 0:
                a, b = int(pieces.from_node[piece]), int(pieces.to_node[piece])
                if (a in part.nodes and b in self.fed) or (b in part.nodes and a in self.fed):
                    yield piece

    def _tee_xy(self, number: int) -> tuple[float, float]:
        stop, pipes = self.stops[number], self.oracle.network.pipes
        pipe = int(self.oracle.network.pieces.pipe[stop.tee_piece])
        first, last = pipes.coord_start[pipe], pipes.coord_start[pipe + 1] - 1
        (x0, y0), (x1, y1) = pipes.coords_m[first], pipes.coords_m[last]
        share = stop.tee_m / float(pipes.length_m[pipe])
        return float(x0 + share * (x1 - x0)), float(y0 + share * (y1 - y0))

    def holds(self, picked: Sequence[Way], off: set[int]) -> bool:
        """Return whether some bores make every kept meter hold in every state of the work."""
        hoses = [way for way in picked if way.bypass]
        if not self._tees_fit(hoses):
            return False
        return any(
            self._states_hold(picked, off, dict(zip(map(id, hoses), sizes, strict=True)))
            for sizes in itertools.product(*map(self._bores, hoses))
        )

    def _bores(self, way: Way) -> list[float]:
        """Return the bores of a bypass, widest first [m]: none wider than the tees at its ends."""
        assert way.bypass is not None
        ends = [self.oracle.tee_outlet_mm(self.stops[end]) for end in way.bypass[:2]]
        bores = reversed(self.oracle.rules.bypass.bores_mm)
        return [bore / 1000 for bore in bores if named_mm(bore) <= min(ends)]

    def _tees_fit(self, hoses: Sequence[Way]) -> bool:
        """Whether every hose has room for a tee of its own at both its stops."""
        return all(count <= self.oracle.tees_at(self.stops[n]) for n, count in _tees_of(hoses).items())

    def _states_hold(self, picked: Sequence[Way], off: set[int], bore: dict[int, float]) -> bool:
        oracle, drawing = self.oracle, self.drawing
        hoses: list[Hose] = []
        opening: list[tuple[list[int], list[int]]] = []
        for way in picked:
            if way.bypass:
                giving, fed, length = way.bypass
                first = len(drawing.rows) + len(hoses)
                ends = (drawing.tee[giving], drawing.tee[fed], length, bore[id(way)])
                hoses += [ends] * way.parallel
                opening.append((list(range(first, first + way.parallel)), []))
            elif way.valve_piece >= 0:
                opening.append(([], drawing.piece_links[way.valve_piece][:1]))
        solver, kept = drawing.solver(hoses), self._kept(off)
        on = [oracle.node_demand(flow, frozenset(), drawing.count) for flow in oracle.flow_before]
        meters_off = self.demands(off)
        waiting, opened = {n for links, _ in opening for n in links}, list[int]()
        solver.solve(on[0])

        def state(demands: Sequence[Floats], shut: Sequence[int]) -> tuple[list[FlowState], bool]:
            solved = [
                solver.resolve(
                    demand_m3_per_s_std=demand, closed_links=[*waiting, *shut], opened_links=opened
                )
                for demand in demands
            ]
            pressure = np.array([each.pressure_pa_gauge[kept] for each in solved])
            return solved, bool((pressure - oracle.limit >= HOLDS_PA).all())

        # Hoses are opened before valves, and shut after them.
        opening.sort(key=lambda feed: not feed[0])
        for links, valves in opening:
            waiting -= set(links)
            opened += valves
            if not state(on, ())[1]:
                return False
        solved, holds = state(meters_off, ())
        closes = self.closed
        through = np.round(np.abs(np.nan_to_num(solved[0].flow_m3_per_s_std[closes])), 9)
        order = sorted(range(len(closes)), key=lambda n: (through[n], n))
        shut: list[int] = []
        for stop in order:
            if not holds:
                return False
            shut.append(closes[stop])
            solved, holds = state(meters_off, shut)
        if not (holds and self._slow_enough(solved, hoses)):
            return False
        taps = [state(self._drawn(meters_off, tap), shut) for tap in self.taps]
        if taps and not any(holds and self._slow_enough(solved, hoses) for solved, holds in taps):
            return False
        final = meters_off, tuple(shut), tuple(opened)
        back = gas_back_holds(opening, (shut, waiting, opened), lambda: state(meters_off, shut)[1])
        return back and self._is_purged_in_time(picked, off, solver, final, kept)

    def _is_purged_in_time(
        self,
        picked: Sequence[Way],
        off: set[int],
        solver: FlowSolver,
        final: tuple[Sequence[Floats], Sequence[int], Sequence[int]],
        kept: Sequence[int],
    ) -> bool:
        """Whether gas back in is fast enough in the final state (demands, links shut and opened), and in time."""
        demands, shut, opened = final

        def solve(demand: Floats) -> FlowState:
            return solver.resolve(demand_m3_per_s_std=demand, closed_links=shut, opened_links=opened)

        purge = ZonePurge(self.drawing, self.zone, _tees_of(picked), solve, demands, kept)
        if self.oracle.rules.purge.below_least == "refuse" and not purge.is_fast_enough():
            return False
        meters = self.oracle.table.meters[sorted(off)]
        work = WorkToDo(
            methods=[stop.method for stop in self.stops],
            hoses=sum(way.bypass is not None for way in picked),
            valves=sum(way.valve_piece >= 0 for way in picked),
            meters=int(np.maximum(meters, 1).sum()),
            services=purge.services,
            volume_m3=purge.volume_m3,
            stranded=any(part.rows & off for part in self.deficient if not part.weak),
            branches=purge.branches(),
        )
        return is_done_in_time(work, self.oracle.rules, HOURS)

    def _kept(self, off: set[int]) -> list[int]:
        """Return the nodes of those who keep their gas and had enough before."""
        oracle = self.oracle
        return [
            node
            for row, nodes in enumerate(oracle.at)
            if row not in off | oracle.weak_before
            for node in nodes
            if node not in self.zone and node in oracle.fed_before
        ]

    def _slow_enough(self, states: Sequence[FlowState], hoses: Sequence[Hose]) -> bool:
        return all(self._is_slow(state, hoses) for state in states)

    def _is_slow(self, state: FlowState, hoses: Sequence[Hose]) -> bool:
        conditions = self.oracle.conditions
        first = len(self.drawing.rows)
        for k, (a, b, _, bore) in enumerate(hoses):
            mass = float(state.flow_kg_per_s[first + k])
            upstream = float(state.pressure_pa_gauge[a if mass >= 0 else b])
            if math.isnan(upstream):
                return False
            density = self.oracle.gas.density_kg_per_m3(
                GROUND_K, upstream + conditions.atmospheric_pressure_pa_abs
            )
            if abs(mass) / density / (math.pi / 4 * bore**2) > self.oracle.rules.bypass.velocity_max_m_s:
                return False
        return True


def _tees_of(picked: Sequence[Way]) -> Counter[int]:
    """Return how many tees the hoses of bypasses take at each stop, by its number."""
    return Counter(end for way in picked if way.bypass for end in way.bypass[:2] for _ in range(way.parallel))


def _known(values: Floats) -> list[float]:
    return [float(value) for value in values if not math.isnan(value)]
