"""Whole plans priced the slow way: every zone, every method, every feed or off, every state solved.

Builds on the slow enumeration of zones, and calls the public flow solver, customer demand and relighting.
It knows nothing of how the planner chooses stops, draws them into the network, feeds or prices.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import networkx as nx
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.customers import off_on_times, relight_order
from netplan.demand import Window, customer_demand
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver, FlowState
from netplan.network.work_section import WorkPart, work_section
from netplan.reference.gas import METRIC_STANDARD, named_gas
from netplan.rules.read_rules import read_rules
from netplan.rules.rule_set import Rules
from tests.support.isolation_oracle import Case, Oracle
from tests.support.joined_areas import may_join
from tests.support.main_lengths import Leg, Length, Placed, split_some
from tests.support.networks import build, customer, fitting, main, service, station, valve
from tests.support.outlets import named_mm, outlet_mm
from tests.support.plan_excavations import Ground, zone_ends
from tests.support.route_oracle import shortest_way

HOURS = 9.0
GROUND_K = 283.15
RISE_PA = 10.0
HOLDS_PA = -1e-6
Floats = NDArray[np.float64]


def plan_rules(seed: int) -> Rules:
    """Return rules with few sizes, no hoses, and prices that vary from case to case."""
    rng = random.Random(f"rules {seed}")  # noqa: S311
    ground = random.Random(f"ground {seed}")  # noqa: S311
    return read_rules(
        None,
        {
            "clearance": {"work_m": 0.9, "through_record_joints": seed % 4 == 1},
            "pressure": {"minimum_mbar": 19.0, "margin_mbar": rng.choice([0.5, 2.0])},
            "bypass": {
                "reach_m": random.Random(f"reach {seed}").choice([12.0, 25.0, 60.0]),  # noqa: S311
                "from_other_mains": False,
                "bores_mm": [25.0, 51.0],
                "parallel_max": rng.choice([1, 2]),
                "velocity_max_m_s": rng.choice([6.0, 20.0]),
            },
            "price": {
                "bypass": rng.choice([50.0, 400.0, 900.0]),
                "bypass_per_m": rng.choice([1.0, 15.0]),
                "open_valve": rng.choice([150.0, 700.0]),
                "gas_per_m3": rng.choice([2.0, 40.0]),
            },
            "excavation": {
                "price": ground.choice([0.0, 300.0, 900.0]),
                "price_per_m": ground.choice([0.0, 40.0]),
                "margin_m": ground.choice([0.3, 1.0]),
                "width_m": ground.choice([0.8, 2.0]),
                "merge_m": ground.choice([0.0, 1.0, 5.0, 20.0]),
            },
            "crew": {"relights_per_hour": rng.choice([2.0, 12.0])},
            "choice": {"seconds": 600.0, "options": 5},
        },
    )


def plan_case(seed: int) -> Case:
    """Return a small network, meshed, sparse or tree-like by turns, with large and small customers."""
    rng = random.Random(f"plan {seed}")  # noqa: S311
    columns, rows = rng.choice([(2, 2), (2, 3), (3, 2), (2, 3), (3, 3)])
    places = {
        (i, j): (60.0 * i + rng.uniform(-9, 9), 60.0 * j + rng.uniform(-9, 9))
        for i in range(columns)
        for j in range(rows)
    }
    nodes = sorted(places)
    layers: dict[str, Any] = {"mains": [], "valves": [], "services": [], "customers": [], "regulators": []}
    edges = _edges(rng, columns, rows, ("meshed", "sparse", "tree")[seed % 3])
    for n, (a, b) in enumerate(edges):
        layers["mains"].append(
            main(
                f"M{n}",
                places[a],
                places[b],
                od_mm=rng.choice([63.0, 63.0, 90.0, 125.0, 180.0]),
                surface=rng.choice(["verge", "footway", "carriageway"]),
                year=2010,
            )
        )
    layers["mains"] = split_some(random.Random(f"joints {seed}"), layers["mains"], 3, 0.3)  # noqa: S311
    for n, (a, b) in enumerate(rng.sample(edges, min(len(edges), rng.choice([0, 0, 1, 2])))):
        share = rng.uniform(0.35, 0.65)
        (x0, y0), (x1, y1) = places[a], places[b]
        layers["valves"].append(
            valve(
                f"V{n}",
                (x0 + share * (x1 - x0), y0 + share * (y1 - y0)),
                rng.choice(["open", "closed"]),
                operable=rng.choice(["yes", "yes", "no"]),
            )
        )
    recorded = random.Random(f"couplers {seed}")  # noqa: S311
    layers["fittings"] = [
        fitting(f"F{n}", places[node]) for n, node in enumerate(nodes) if recorded.random() < 0.8
    ]
    _add_customers(rng, layers, places)
    for n, node in enumerate(rng.sample(nodes, rng.choice([1, 1, 2]))):
        x, y = places[node]
        outlet = (x - 12.0, y - 16.0)
        layers["regulators"].append(station(f"R{n}", outlet, outlet_mbar=rng.choice([22.5, 25.0, 30.0])))
        layers["mains"].append(main(f"N{n}", outlet, (x, y), od_mm=180.0, year=2010, surface="verge"))
        layers["valves"].append(valve(f"W{n}", (x - 6.0, y - 8.0)))
    _add_limits(random.Random(f"limits {seed}"), layers)  # noqa: S311
    if seed % 3 != 1:
        _add_buildings(random.Random(f"buildings {seed}"), layers)  # noqa: S311
    network = build(strict=False, **layers)
    row = rng.randrange(len(edges))
    length = float(network.pipes.length_m[row])
    near, half = (8.0, 5.0) if length > 30 else (0.1 * length, 0.15 * length)
    low = 0.0 if rng.random() < 0.2 else rng.uniform(near, length / 2 - half)
    high = length if rng.random() < 0.2 else rng.uniform(length / 2 + half, length - near)
    for at in network.valves.chainage_m[network.valves.pipe == row]:
        # No valve within a whole assembly of the work's ends.
        low = low if abs(low - at) > 8 else max(at - 9.0, 8.0)
        high = high if abs(high - at) > 8 else min(at + 9.0, length - 8.0)
    near_valve = any(
        min(abs(low - at), abs(high - at)) < 8.0
        for at in network.valves.chainage_m[network.valves.pipe == row]
    )
    if near_valve or high - low < 1.0:
        low, high = 0.0, length  # a short main with a valve: all of it
    return Case(network, work_section(network, [WorkPart(network.pipes.id[row], low, high)]))


def _add_limits(rng: random.Random, layers: dict[str, Any]) -> None:
    """Give stations a fault pressure below every rating, and some mains an operating limit."""
    for row in layers["regulators"]:
        row["max_outlet_mbar"] = rng.choice([40.0, 50.0, 65.0])
    for row in layers["mains"]:
        row["mop_mbar"] = rng.choice([None] * 9 + [45.0, 55.0, 75.0])


def _add_buildings(rng: random.Random, layers: dict[str, Any]) -> None:
    """Put houses into the corners of streets and beside them, none over a main."""
    mains = [row["geometry"] for row in layers["mains"]]
    layers["buildings"] = []
    for line in mains:
        for end in (line.coords[0], line.coords[-1]):
            x, y = (at + rng.choice([-1.0, 1.0]) * rng.uniform(1.5, 6.0) for at in end[:2])
            wide, deep = rng.uniform(1.0, 6.0), rng.uniform(1.0, 6.0)
            house = shapely.box(x - wide / 2, y - deep / 2, x + wide / 2, y + deep / 2)
            if all(house.distance(other) > 0.5 for other in mains):
                layers["buildings"].append({"name": "", "geometry": house})


def _edges(rng: random.Random, columns: int, rows: int, kind: str) -> list[tuple[Any, Any]]:
    grid = nx.grid_2d_graph(columns, rows)
    weighted: nx.Graph[Any] = nx.Graph()
    for a, b in sorted(tuple(sorted(edge)) for edge in grid.edges):
        weighted.add_edge(a, b, weight=rng.random())
    tree = nx.minimum_spanning_tree(weighted)
    keep = {"meshed": 1.0, "sparse": 0.35, "tree": 0.0}[kind]
    return [
        (a, b)
        for a, b in sorted(tuple(sorted(edge)) for edge in grid.edges)
        if tree.has_edge(a, b) or rng.random() < keep
    ]


def _add_customers(
    rng: random.Random, layers: dict[str, Any], places: dict[Any, tuple[float, float]]
) -> None:
    ends = {}
    for n, node in enumerate(sorted(places)):
        if rng.random() < 0.8:
            x, y = places[node]
            ends[f"S{n}"] = (x + 5.0, y + 7.0)
            layers["services"].append(service(f"S{n}", (x, y), ends[f"S{n}"], od_mm=63.0))
    names = sorted(ends)
    for n, name in enumerate(names):
        ids = name
        if rng.random() < 0.1 and len(names) > 1:
            ids = ";".join(sorted({name, rng.choice(names)}))
        layers["customers"].append(
            customer(
                f"C{n}",
                ends[name],
                service_id=ids,
                category=rng.choice(["household", "household", "household", "business"]),
                meters=rng.randint(1, 9),
                annual_kwh=rng.choice([20e3, 60e3, 300e3, 700e3]),
                priority="medical" if rng.random() < 0.08 else None,
            )
        )


# --- the oracle ------------------------------------------------------------------------------------------


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


@dataclass(frozen=True)
class PlannedStop:
    """A stop as it is worked out here."""

    piece: int
    chainage_m: float
    tee_piece: int
    tee_m: float
    tee_at_end: bool
    zone_is_low: bool
    is_valve: bool
    pipe: int
    live_node: int
    pit: tuple[tuple[int, float], ...]
    """Mains and chainages of its barriers and tappings, a tee on the next main left out."""
    tee_is_next: bool = False
    """Whether its bypass tee is on the next main."""


class PlanOracle(Oracle):
    """Every way of isolating the work with everything that follows from it, cheapest first."""

    def __init__(self, case: Case, rules: Rules, *, feeds: bool = True) -> None:
        self.gas = named_gas(str(rules.gas.name))
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
        self._ways: dict[Any, float] = {}
        self._before()

    def way(self, start: tuple[float, float], stop: tuple[float, float]) -> float:
        """Return the length of the shortest way between two tees round the houses [m]."""
        base, pair = self.network.base, tuple(sorted((start, stop)))
        if pair not in self._ways:
            houses = base["buildings"].geometry.tolist() if "buildings" in base else []
            reach = self.rules.bypass.reach_m
            near = [house for house in houses if house.distance(shapely.LineString(pair)) < reach]
            too_far = math.dist(*pair) > reach
            self._ways[pair] = math.inf if too_far else shortest_way(*pair, near)
        return self._ways[pair]

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
            live = int((pieces.to_node if leg.rises else pieces.from_node)[leg.piece])
            tee = self._tee(way, place, method, link.high if at_a else way.size_m - link.low)
            stops.append(
                PlannedStop(
                    leg.piece,
                    self._chainage(leg, place.at),
                    tee[0].piece,
                    self._chainage(*tee[:2]),
                    tee[2],
                    leg.rises,
                    method.kind == "valve",
                    int(pieces.pipe[leg.piece]),
                    live,
                    self._pit(way, place, method, has_tee=not tee[2]),
                )
            )
        return sorted(stops, key=lambda stop: (stop.pipe, stop.chainage_m))

    def _pit(
        self, way: Length, place: Placed, method: Any, *, has_tee: bool
    ) -> tuple[tuple[int, float], ...]:
        """Return mains and chainages of the barriers and tappings that a stop has in its own pit."""
        at = [place.at]
        at += [place.at + p.offset_m for p in method.assembly if has_tee or p.role != "bypass"]
        legs = [place.leg if one == place.at else way.leg_at(one) for one in at]
        return tuple(
            (int(self.network.pieces.pipe[leg.piece]), self._chainage(leg, one))
            for leg, one in zip(legs, at, strict=True)
        )

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
        if at + clear > until or any(abs(at - joint) < clear for joint in taken):
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
        return replace(stop, tee_piece=row, tee_m=at, tee_at_end=False, tee_is_next=True)

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
        stops = self._stops(zone, border, methods)
        after = Aftermath(self, zone, stops)
        base = floor - sum(self.customers[row][0] for row in after.isolated) + after.ends_minor
        held: set[frozenset[int]] = set()
        ways = [after.ways(part) for part in after.deficient]
        for picked in sorted(itertools.product(*ways), key=lambda some: sum(w.price_minor for w in some)):
            off = set(after.isolated)
            for part, way in zip(after.deficient, picked, strict=True):
                off |= part.rows if way.off else set()
            if frozenset(off) in held:
                continue
            interruption = self._interruption(off)
            if interruption is None:
                continue
            feeds = sum(way.price_minor for way in picked if not way.off)
            burden = base + interruption + feeds
            if burden > most or not after.may_join(picked):
                continue
            if after.holds(picked, off):
                held.add(frozenset(off))
                yield burden, frozenset(off)

    def _interruption(self, off: set[int]) -> int | None:
        """Return the price of customers off with the queue at relighting; None when the day is too short."""
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
        times = off_on_times(
            queue,
            start=None,
            hours=HOURS,
            relights_per_hour=crew.relights_per_hour,
            day_end=crew.day_end,
        )
        if not times.fits:
            return None
        total, waited = sum(self.customers[row][0] for row in rows), 0.0
        for place in queue.order.tolist():
            meters = int(table.meters[rows[place]])
            waited += meters / crew.relights_per_hour
            total += round(100 * rate[place] * meters * waited)
        return total


class Drawing:
    """The network with a node at every barrier and tee, and the links that close each stop."""

    def __init__(self, oracle: PlanOracle, stops: Sequence[PlannedStop]) -> None:
        network, pieces = oracle.network, oracle.network.pieces
        self.oracle, self.count, self.stops = oracle, len(network.nodes), list(stops)
        self.rows: list[tuple[int, int, float, int]] = []
        self.barrier: dict[int, int] = {}
        self.tee: dict[int, int] = {}
        self.closes: dict[int, int] = {}
        self.piece_links: dict[int, list[int]] = {}
        for row in range(len(pieces)):
            marks: list[tuple[float, int, str]] = []
            for number, stop in enumerate(stops):
                if stop.piece == row and not stop.is_valve:
                    marks.append((stop.chainage_m, number, "barrier"))
                if stop.tee_piece == row and not stop.is_valve and not stop.tee_at_end:
                    marks.append((stop.tee_m, number, "tee"))
            at, node = float(pieces.from_m[row]), int(pieces.from_node[row])
            self.piece_links[row] = []
            for chainage, number, what in sorted(marks):
                self._add(row, node, self.count, chainage - at)
                (self.barrier if what == "barrier" else self.tee)[number] = self.count
                at, node = chainage, self.count
                self.count += 1
            self._add(row, node, int(pieces.to_node[row]), float(pieces.to_m[row]) - at)
        self.tee |= {number: stop.live_node for number, stop in enumerate(stops) if stop.tee_at_end}
        for number, stop in enumerate(stops):
            own = self.piece_links[stop.piece]
            if stop.is_valve:
                self.closes[number] = own[0]
                continue
            end = 1 if stop.zone_is_low else 0
            self.closes[number] = next(n for n in own if self.rows[n][end] == self.barrier[number])

    def _outlets(self, giving: int, fed: int) -> list[int]:
        """Return the outlets of the tees at two nodes [mm nominal]."""
        numbers = {node: number for number, node in self.tee.items()}
        return [self.oracle.tee_outlet_mm(self.stops[numbers[node]]) for node in (giving, fed)]

    def _add(self, piece: int, a: int, b: int, length_m: float) -> None:
        self.piece_links[piece].append(len(self.rows))
        self.rows.append((a, b, length_m, piece))

    def links(self, hoses: Sequence[tuple[int, int, float, float]] = ()) -> FlowLinks:
        """Return pipes and then hoses, each hose (from, to, length, bore)."""
        rules, network = self.oracle.rules, self.oracle.network
        pipe = network.pieces.pipe[[row[3] for row in self.rows]]
        loss = [
            rules.bypass.loss_coefficient
            + sum(1.5 * max((1000 * bore / outlet) ** 4 - 1, 0.0) for outlet in self._outlets(*ends))
            for *ends, _, bore in hoses
        ]
        own = [row[:3] for row in self.rows]
        ends = own + [hose[:3] for hose in hoses]
        bores = [*network.pipes.bore_m[pipe].tolist(), *(hose[3] for hose in hoses)]
        wall = (rules.pipe.roughness_mm.PE / 1000, rules.bypass.roughness_mm / 1000)
        opened = [bool(network.pieces.is_open[row[3]]) for row in self.rows]
        return FlowLinks(
            from_node=np.array([end[0] for end in ends], dtype=np.int64),
            to_node=np.array([end[1] for end in ends], dtype=np.int64),
            length_m=np.array([end[2] for end in ends]),
            bore_m=np.array(bores),
            roughness_m=np.repeat(wall, (len(own), len(hoses))),
            loss_coefficient=np.array([0.0] * len(own) + loss),
            is_open=np.array(opened + [True] * len(hoses)),
        )

    def solver(self, hoses: Sequence[tuple[int, int, float, float]] = ()) -> FlowSolver:
        """Return the flow solver of the network with hoses."""
        stations = self.oracle.network.stations
        network = FlowNetwork(
            self.count,
            self.links(hoses),
            stations.node.astype(np.int64),
            stations.outlet_pa_gauge,
            stations.capacity_m3_per_s_std,
            stations.sensing_node.astype(np.int64),
        )
        return FlowSolver(network, self.oracle.conditions)

    def solve(self, demand: Floats, closed: Sequence[int] = ()) -> FlowState:
        """Solve without hoses."""
        solver = self.solver()
        solver.solve(demand)
        return solver.resolve(demand_m3_per_s_std=demand, closed_links=closed)


class Aftermath:
    """What is cut off, weak or kept once the stops of a cut are in, and whether feeds help."""

    def __init__(self, oracle: PlanOracle, zone: Any, stops: Sequence[PlannedStop]) -> None:
        network, pieces = oracle.network, oracle.network.pieces
        self.zone = frozenset(node for node in oracle.name if oracle._end(node) in zone)
        self.zone |= oracle.passed_nodes(zone, stops)
        stops = [oracle.next_tee(stop, self.zone, stops) for stop in stops]
        self.oracle, self.stops = oracle, stops
        self.dug = [_lengths(stop.pit) for stop in stops]
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
        for giving, fed in self._pairs(part):
            room = min(oracle.tees_at(self.stops[end]) for end in (giving, fed))
            length = rules.bypass.slack * oracle.way(self._tee_xy(giving), self._tee_xy(fed))
            if length > rules.bypass.reach_m:
                continue
            each = round(100 * (rules.price.bypass + rules.price.bypass_per_m * length))
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
        pipe = int(self.oracle.network.pieces.pipe[stop.tee_piece])
        return self.oracle.ground.tee(self.dug, pipe, stop.tee_m)

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
        ends = [self.oracle.tee_outlet_mm(self.stops[end]) for end in way.bypass[:2]]
        bores = reversed(self.oracle.rules.bypass.bores_mm)
        return [bore / 1000 for bore in bores if named_mm(bore) <= min(ends)]

    def _tees_fit(self, hoses: Sequence[Way]) -> bool:
        """Whether every hose has room for a tee of its own at both its stops."""
        wanted: dict[int, int] = {}
        for way in hoses:
            for end in way.bypass[:2]:
                wanted[end] = wanted.get(end, 0) + way.parallel
        return all(count <= self.oracle.tees_at(self.stops[end]) for end, count in wanted.items())

    def _states_hold(self, picked: Sequence[Way], off: set[int], bore: dict[int, float]) -> bool:
        oracle, drawing = self.oracle, self.drawing
        hoses: list[tuple[int, int, float, float]] = []
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
        solver = drawing.solver(hoses)
        kept = [
            node
            for row, nodes in enumerate(oracle.at)
            if row not in off | oracle.weak_before
            for node in nodes
            if node not in self.zone and node in oracle.fed_before
        ]
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
        if not (holds and all(self._slow_enough(each, hoses) for each in solved)):
            return False
        for tap in self.taps:
            solved, holds = state(self._drawn(meters_off, tap), shut)
            if holds and all(self._slow_enough(each, hoses) for each in solved):
                return True
        return not self.taps

    def _slow_enough(self, state: FlowState, hoses: Sequence[tuple[int, int, float, float]]) -> bool:
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


def _lengths(places: Sequence[tuple[int, float]]) -> tuple[tuple[int, float, float], ...]:
    """Return mains with the chainages of the outermost places on each."""
    mains = sorted({pipe for pipe, _ in places})
    on = {pipe: [at for other, at in places if other == pipe] for pipe in mains}
    return tuple((pipe, min(at), max(at)) for pipe, at in on.items())


def _known(values: Floats) -> list[float]:
    return [float(value) for value in values if not math.isnan(value)]
