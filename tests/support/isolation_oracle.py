"""Small random networks, and every connected zone of each priced the slow way from the tables alone.

Shares no code with the choice of stops: shapes, clearances, prices, bridges and sensing points are worked out
again here.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import networkx as nx

from netplan.network.model import Network
from netplan.network.vocabulary import Material, Surface
from netplan.network.work_section import WorkPart, WorkSection, work_section
from netplan.rules.rule_set import Rules, StopMethod
from tests.support.main_lengths import Length, Placed, lengths_of, nearest_places, split_some
from tests.support.networks import (
    build,
    customer,
    fitting,
    injection,
    main,
    sensing_point,
    service,
    station,
    valve,
)
from tests.support.outlets import fits_outlets
from tests.support.valve_room import has_room

HOURS, GAS_MINOR_PER_M3 = 9.0, 900.0


# --- random networks -------------------------------------------------------------------------------------


@dataclass
class Case:
    """A network, its work section and how many places a stop could go."""

    network: Network
    section: WorkSection


def random_case(seed: int) -> Case:
    """Return a small network: meshed, sparse or tree-like by turns."""
    rng = random.Random(seed)  # noqa: S311
    columns, rows = rng.choice([(2, 3), (3, 2), (3, 3), (2, 4)])
    places = {
        (i, j): (60.0 * i + rng.uniform(-9, 9), 60.0 * j + rng.uniform(-9, 9))
        for i in range(columns)
        for j in range(rows)
    }
    grid = nx.grid_2d_graph(columns, rows)
    tree: nx.Graph[Any] = nx.Graph(
        nx.minimum_spanning_edges(
            nx.Graph((a, b, {"weight": rng.random()}) for a, b in grid.edges), data=False
        )
    )
    keep = {"meshed": 1.0, "sparse": 0.35, "tree": 0.0}[("meshed", "sparse", "tree")[seed % 3]]
    edges = sorted(tuple(sorted(edge)) for edge in grid.edges if tree.has_edge(*edge) or rng.random() < keep)
    mains = [_random_main(rng, f"M{n}", places[a], places[b]) for n, (a, b) in enumerate(edges)]
    mains = split_some(rng, mains, 3, 0.35)
    layers: dict[str, Any] = {"mains": mains, "valves": [], "services": [], "customers": []}
    nodes = sorted(places)
    for n, edge in enumerate(rng.sample(edges, min(len(edges), rng.randint(0, 2)))):
        (x0, y0), (x1, y1) = places[edge[0]], places[edge[1]]
        state = rng.choice(["open", "open", "closed", "unknown"])
        operable = rng.choice(["yes", "yes", "yes", "no"])
        share = rng.uniform(0.3, 0.7)
        layers["valves"].append(
            valve(f"V{n}", (x0 + share * (x1 - x0), y0 + share * (y1 - y0)), state, operable=operable)
        )
    # Not every junction has its coupler on record: lengths of main run on past some.
    layers["fittings"] = [
        fitting(f"F{n}", places[node]) for n, node in enumerate(nodes) if rng.random() < 0.8
    ]
    ends = {}
    for n, node in enumerate(nodes):
        if rng.random() < 0.75:
            x, y = places[node]
            end = (x + 5.0, y + 7.0)
            ends[f"S{n}"] = end
            layers["services"].append(service(f"S{n}", (x, y), end))
    names = sorted(ends)
    for n, name in enumerate(names):
        ids = name
        if rng.random() < 0.25 and len(names) > 1:
            ids = ";".join(sorted({name, rng.choice(names)}))
        category = rng.choice(["household", "household", "business", "industry"])
        layers["customers"].append(
            customer(f"C{n}", ends[name], service_id=ids, category=category, meters=rng.randint(1, 4))
        )
    sources = rng.sample(nodes, rng.randint(1, 2))
    layers["regulators"] = []
    for n, node in enumerate(sources):
        x, y = places[node]
        outlet = (x - 12.0, y - 16.0) if rng.random() < 0.95 else (x, y)
        layers["regulators"].append(station(f"R{n}", outlet))
        if outlet != (x, y):
            layers["mains"].append(main(f"N{n}", outlet, (x, y), od_mm=180.0, year=2010, surface="verge"))
            if rng.random() < 0.85:
                layers["valves"].append(valve(f"W{n}", (x - 6.0, y - 8.0)))
    if rng.random() < 0.12:
        layers["sensing_points"] = [sensing_point("R0", places[rng.choice(nodes)])]
    if rng.random() < 0.15:
        layers["injections"] = [injection("I0", places[rng.choice(nodes)])]
    network = build(strict=False, **layers)
    return Case(network, work_section(network, _random_work(rng, network)))


def _random_main(
    rng: random.Random, name: str, a: tuple[float, float], b: tuple[float, float]
) -> dict[str, Any]:
    return main(
        name,
        a,
        b,
        od_mm=rng.choice([63.0, 110.0, 125.0, 180.0, 200.0]),
        material=rng.choice(
            ["PE100", "PE100", "PE100", "PE80", "PE", "steel"] if rng.random() < 0.2 else ["PE100"]
        ),
        surface=rng.choice(["verge", "footway", "carriageway", "unmade"]),
        year=rng.choice([1975, 1999, 2010]),
        joint=rng.choice(["fusion"] * 9 + ["mechanical"]),
    )


def _random_work(rng: random.Random, network: Network) -> list[WorkPart]:
    parts = []
    for row in rng.sample(range(network.pipes.n_mains), rng.choice([1, 1, 1, 2])):
        length = float(network.pipes.length_m[row])
        near = 6 if length > 30 else 0.2 * length
        low = 0.0 if rng.random() < 0.15 else rng.uniform(near, length - 2 * near)
        for at in network.valves.chainage_m[network.valves.pipe == row]:
            low = low if abs(low - at) > 2 else at + 2.0
        high = length if rng.random() < 0.15 else rng.uniform(low + 1, length - 0.8 * near)
        for at in network.valves.chainage_m[network.valves.pipe == row]:
            high = high if abs(high - at) > 2 else at + 2.0
        parts.append(WorkPart(network.pipes.id[row], low, high))
    return parts


# --- the oracle ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Link:
    """A length of main between two nodes ("work" for the section), with what a stop on it costs."""

    a: Any
    b: Any
    piece: int
    chain: int
    volume: int
    stops: dict[Any, tuple[tuple[int, str], ...]]
    """By the end at which the zone lies: (price with gas, method)."""
    length: Length
    low: float
    high: float
    placed: dict[tuple[Any, str], Placed]
    """Where the stop goes, by the end at which the zone lies and the method; along the length from there."""

    @property
    def nodes(self) -> list[int]:
        """Nodes on the length between its two ends."""
        return [
            node
            for node, leg in zip(self.length.nodes[1:], self.length.legs[:-1], strict=False)
            if self.low - 1e-9 <= leg.high <= self.high + 1e-9
        ]


class Oracle:
    """Every connected zone, priced from the tables of the network alone."""

    def __init__(
        self, case: Case, rules: Rules, feed: Any = None, gas_minor_per_m3: float = GAS_MINOR_PER_M3
    ) -> None:
        self.gas_minor_per_m3 = gas_minor_per_m3
        self.network, self.section, self.rules, self.feed = case.network, case.section, rules, feed
        pieces = self.network.pieces
        services: nx.Graph[int] = nx.Graph()
        services.add_nodes_from(range(len(self.network.nodes)))
        self.is_main = [int(pipe) < self.network.pipes.n_mains for pipe in pieces.pipe]
        for row, is_main in enumerate(self.is_main):
            if not is_main:
                services.add_edge(int(pieces.from_node[row]), int(pieces.to_node[row]))
        self.name = {node: min(group) for group in nx.connected_components(services) for node in group}
        self.merged = {self.name[node] for node in self._covered_nodes()}
        self._to_work = self._distances()
        self.links = list(self._links())
        self.graph: nx.MultiGraph[Any] = nx.MultiGraph()
        self.graph.add_nodes_from({self._end(node) for node in self.name})
        for number, link in enumerate(self.links):
            self.graph.add_edge(link.a, link.b, key=number)
        self.customers = self._customers()
        self.banned = self._banned()

    def _end(self, node: int) -> Any:
        return "work" if self.name[node] in self.merged else self.name[node]

    def _spans(self, row: int) -> list[tuple[float, float]]:
        pieces, section = self.network.pieces, self.section
        low, high = float(pieces.from_m[row]), float(pieces.to_m[row])
        spans = []
        for pipe, start, end in zip(section.pipe, section.from_m, section.to_m, strict=True):
            if pipe == pieces.pipe[row] and min(high, end) > max(low, start) + 1e-6:
                spans.append((max(low, float(start)), min(high, float(end))))
            elif pipe == pieces.pipe[row] and low == high and start < low < end:
                spans.append((low, high))
        return sorted(spans)

    def _distances(self) -> dict[Any, float]:
        """Return how far the ends of lengths are from the work along the mains [m]."""
        pieces = self.network.pieces
        ways: nx.MultiGraph[Any] = nx.MultiGraph()
        ways.add_node("work")
        for row, is_main in enumerate(self.is_main):
            ends = self._end(int(pieces.from_node[row])), self._end(int(pieces.to_node[row]))
            low, high, spans = float(pieces.from_m[row]), float(pieces.to_m[row]), self._spans(row)
            if is_main and spans:
                ways.add_edge(ends[0], "work", weight=spans[0][0] - low)
                ways.add_edge(ends[1], "work", weight=high - spans[-1][1])
            elif is_main:
                ways.add_edge(*ends, weight=high - low)
        found: dict[Any, float] = nx.single_source_dijkstra_path_length(ways, "work")
        return found

    def metres_to_work(self, node: int) -> float:
        """Return how far a node is from the work along the mains [m]; 0 in it."""
        return self._to_work.get(self._end(node), math.inf)

    def _covered_nodes(self) -> Iterator[int]:
        pieces = self.network.pieces
        for row in range(len(pieces)):
            for low, high in self._spans(row) if self.is_main[row] else ():
                if low <= float(pieces.from_m[row]) + 1e-6:
                    yield int(pieces.from_node[row])
                if high >= float(pieces.to_m[row]) - 1e-6:
                    yield int(pieces.to_node[row])

    def _spans_on(self, length: Length) -> list[tuple[float, float]]:
        """Return what the work covers of a length, along it."""
        spans: list[tuple[float, float]] = []
        for leg in length.legs:
            base = float(self.network.pieces.from_m[leg.piece])
            for low, high in self._spans(leg.piece):
                a, b = low - base, high - base
                a, b = (leg.low + a, leg.low + b) if leg.rises else (leg.high - b, leg.high - a)
                if spans and a <= spans[-1][1] + 1e-6:
                    spans[-1] = (spans[-1][0], b)
                else:
                    spans.append((a, b))
        return sorted(spans)

    def _links(self) -> Iterator[Link]:
        chains = self._chains()
        self.lengths = lengths_of(self.network, self.rules)
        for length in self.lengths:
            chain = chains[length.legs[0].piece]
            spans = self._spans_on(length)
            at, start, from_work = 0.0, self._end(length.nodes[0]), False
            for a, b in spans:
                if a > at + 1e-6:
                    yield self._link(length, chain, at, a, start, "work", from_work, True)
                at, start, from_work = b, "work", True
            if not spans or at < length.size_m - 1e-6:
                end = self._end(length.nodes[-1])
                yield self._link(length, chain, at, length.size_m, start, end, from_work, False)

    def _link(
        self,
        length: Length,
        chain: int,
        low: float,
        high: float,
        a: Any,
        b: Any,
        a_cut: bool,
        b_cut: bool,
    ) -> Link:
        piece = length.legs[0].piece
        link = Link(a, b, piece, chain, self._gas(piece, high - low), {}, length, low, high, {})
        if a != b:
            size = length.size_m
            for end, way, here, there, cut, far_cut in (
                (a, length, low, high, a_cut, b_cut),
                (b, length.turned(), size - high, size - low, b_cut, a_cut),
            ):
                found = []
                for method in self.rules.method:
                    apart = tuple(
                        0.0 if is_cut else self._to_work.get(one, math.inf)
                        for one, is_cut in ((end, cut), (b if end == a else a, far_cut))
                    )
                    stop = self._stop(way, method, here, there, (apart[0], apart[1]))
                    if stop is not None:
                        link.placed[end, method.name] = stop[1]
                        found.append((stop[0], method.name))
                link.stops[end] = tuple(found)
        return link

    def _gas(self, row: int, length: float) -> int:
        bore = float(self.network.pipes.bore_m[self.network.pieces.pipe[row]])
        return round(self.gas_minor_per_m3 * math.pi / 4 * bore**2 * length)

    def _stop(
        self, length: Length, method: StopMethod, low: float, high: float, ends: tuple[float, float]
    ) -> tuple[int, Placed] | None:
        """Return price and place of the cheapest stop of a method on a length, zone at its start."""
        pipes, pieces = self.network.pipes, self.network.pieces
        od = float(pipes.od_m[pieces.pipe[length.legs[0].piece]])
        if not fits_outlets([part.role for part in method.assembly], method.kind, round(1000.0 * od, 3)):
            return None
        is_valve = method.kind == "valve" and pieces.valve[length.legs[0].piece] >= 0
        if is_valve and not all(map(self._may_be_tapped, (length.nodes[0], length.nodes[-1]))):
            return None

        def allowed(piece: int) -> bool:
            return self._allowed(method, int(pieces.pipe[piece]), int(pieces.valve[piece]), od)

        best: tuple[int, Placed] | None = None
        for place in nearest_places(length, low, high, ends, method, self.rules, od, allowed):
            surface = getattr(
                method.price_surface,
                Surface(int(pipes.surface[pieces.pipe[place.leg.piece]])).word,
            )
            price = round(100 * (method.price + method.price_per_mm_od * od * 1000 + surface))
            if method.kind == "valve":
                pit = self.rules.excavation
                word = Surface(int(pipes.surface[pieces.pipe[place.leg.piece]])).word
                price += round(100 * (pit.price + getattr(pit.price_surface, word)))
            price += self._gas(place.leg.piece, place.away)
            if best is None or (price, place.away) < (best[0], best[1].away):
                best = price, place
        return best

    def rooms_beside_valves(self) -> list[bool]:
        """Return of each side of each valve that lies outside the work whether it may be tapped."""
        valves = [one for one in self.lengths if self.network.pieces.valve[one.legs[0].piece] >= 0]
        nodes = [node for one in valves for node in (one.nodes[0], one.nodes[-1])]
        return [self._may_be_tapped(node) for node in nodes if self._end(node) != "work"]

    def _may_be_tapped(self, node: int) -> bool:
        """Whether there is room beside a valve on the side of one of its nodes."""
        return has_room(
            self.network,
            self.rules,
            self.lengths,
            node,
            self._spans_on,
            self.metres_to_work,
        )

    def _allowed(self, method: StopMethod, pipe: int, valve_row: int, od: float) -> bool:
        pipes, valves = self.network.pipes, self.network.valves
        if Material(int(pipes.material[pipe])).word not in method.materials:
            return False
        if not method.od_min_mm <= od * 1000 + 1e-9 <= method.od_max_mm + 2e-9 or method.rating_mbar < 50.0:
            return False
        if method.kind == "valve":
            return (
                valve_row >= 0 and int(valves.state[valve_row]) != 2 and int(valves.operable[valve_row]) == 0
            )
        if valve_row >= 0 or (method.refuse_early_pe and pipes.year[pipe] < 1985):
            return False
        return not (method.refuse_joints == ("mechanical",) and int(pipes.joint[pipe]) == 2)

    def _chains(self) -> dict[int, int]:
        pieces = self.network.pieces
        rows = [row for row, is_main in enumerate(self.is_main) if is_main]
        at: dict[int, list[int]] = {}
        for row in rows:
            for node in (int(pieces.from_node[row]), int(pieces.to_node[row])):
                at.setdefault(node, []).append(row)
        ends = {int(node) for node in (*self.network.stations.node, *self.network.injections.node)}
        joined: nx.Graph[int] = nx.Graph()
        joined.add_nodes_from(rows)
        joined.add_edges_from(
            (pair[0], pair[1]) for node, pair in at.items() if len(pair) == 2 and node not in ends
        )
        return {row: min(group) for group in nx.connected_components(joined) for row in group}

    def _customers(self) -> list[tuple[int, set[Any]]]:
        table = self.network.customers
        rate = {0: 6.0, 1: 40.0, 2: 400.0, 3: 40.0}
        found = []
        for row in range(len(table)):
            nodes = table.attach_node[table.attach_start[row] : table.attach_start[row + 1]]
            price = round(100 * HOURS * rate[int(table.category[row])] * int(table.meters[row]))
            found.append((price, {self._end(int(node)) for node in nodes}))
        return found

    def _banned(self) -> set[Any]:
        network = self.network
        nodes = [*network.stations.node, *network.injections.node, *network.sensing.node]
        return {self._end(int(node)) for node in nodes if node >= 0}

    def zones(self) -> Iterator[frozenset[Any]]:
        """Yield every connected set of nodes that holds the work and nothing banned."""
        start = frozenset({"work"})
        seen, queue = {start}, [start]
        while queue:
            zone = queue.pop()
            if zone & self.banned:
                continue
            yield zone
            for node in {other for inner in zone for other in self.graph.neighbors(inner)} - zone:
                wider = zone | {node}
                if wider not in seen:
                    seen.add(wider)
                    queue.append(wider)

    def answers(self, most_stops: int = 99) -> list[tuple[int, tuple[Any, ...]]]:
        """Return (value, what tells it apart) of every cut that may be made, cheapest first, one of each."""
        found = []
        work_gas = sum(
            self._gas(row, high - low)
            for row in range(len(self.is_main))
            if self.is_main[row]
            for low, high in self._spans(row)
        )
        for zone in self.zones():
            border = [link for link in self.links if (link.a in zone) != (link.b in zone)]
            if len(border) > most_stops:
                continue
            fixed = work_gas + self._services_gas(zone) + self._tails(zone, border)
            fixed += sum(link.volume for link in self.links if link.a in zone and link.b in zone)
            off = tuple(row for row, (_, at) in enumerate(self.customers) if at & zone)
            fixed += sum(self.customers[row][0] for row in off)
            if not self._sensing_holds(zone, border):
                continue
            shut = self._shut_ends(zone, border)
            inner = [link.a if link.a in zone else link.b for link in border]
            for methods in itertools.product(
                *(link.stops[end] for link, end in zip(border, inner, strict=True))
            ):
                if any(name != "valve" for number, (_, name) in enumerate(methods) if number in shut):
                    continue
                what = frozenset((link.chain, name) for link, (_, name) in zip(border, methods, strict=True))
                found.append((fixed + sum(price for price, _ in methods), (what, off)))
        found.sort(key=lambda answer: answer[0])
        first: dict[tuple[Any, ...], int] = {}
        for value, key in found:
            first.setdefault(key, value)
        return sorted(((value, key) for key, value in first.items()), key=lambda answer: answer[0])

    def _services_gas(self, zone: frozenset[Any]) -> int:
        pieces, pipes = self.network.pieces, self.network.pipes
        volume: dict[int, float] = {}
        for row, is_main in enumerate(self.is_main):
            node = int(pieces.from_node[row])
            if not is_main and self._end(node) in zone:
                bore = float(pipes.bore_m[pieces.pipe[row]])
                length = float(pieces.to_m[row] - pieces.from_m[row])
                volume[self.name[node]] = volume.get(self.name[node], 0.0) + math.pi / 4 * bore**2 * length
        return sum(round(self.gas_minor_per_m3 * total) for total in volume.values())

    def _open_rest(self, zone: frozenset[Any], border: list[Link]) -> nx.Graph[Any]:
        pieces = self.network.pieces
        cut = {link.piece for link in border}
        rest: nx.Graph[Any] = nx.Graph()
        rest.add_nodes_from(node for node in self.graph if node not in zone)
        for link in self.links:
            if (
                link.a not in zone
                and link.b not in zone
                and link.piece not in cut
                and pieces.is_open[link.piece]
            ):
                rest.add_edge(link.a, link.b)
        return rest

    def _sensing_holds(self, zone: frozenset[Any], border: list[Link]) -> bool:
        network = self.network
        before, after = self._open_rest(frozenset(), []), self._open_rest(zone, border)
        for row, node in zip(network.sensing.station, network.sensing.node, strict=True):
            if row < 0 or node < 0 or network.stations.node[row] < 0:
                continue
            point, outlet = self._end(int(node)), self._end(int(network.stations.node[row]))
            if nx.has_path(before, point, outlet) and not nx.has_path(after, point, outlet):
                return False
        return True

    def _shut_ends(self, zone: frozenset[Any], border: list[Link]) -> set[int]:
        """Return which stops face a part that has a station but no customer."""
        if not self.customers:
            return set()
        rest = self._open_rest(zone, border)
        stations = {self._end(int(node)) for node in self.network.stations.node if node >= 0}
        with_customer = {end for _, at in self.customers for end in at}
        shut = set()
        for number, link in enumerate(border):
            part = nx.node_connected_component(rest, link.b if link.a in zone else link.a)
            if part & stations and not part & with_customer:
                shut.add(number)
        return shut

    def _tails(self, zone: frozenset[Any], border: list[Link]) -> int:
        if self.feed is None:
            return 0
        sources = {
            self._end(int(node)) for node in (*self.network.stations.node, *self.network.injections.node)
        }
        total = 0
        for link in border:
            rest = self.graph.copy()
            rest.remove_edge(link.a, link.b, key=self.links.index(link))
            tail = nx.node_connected_component(rest, link.b if link.a in zone else link.a)
            if "work" in tail or tail & sources:
                continue
            rows = [row for row, (_, at) in enumerate(self.customers) if at <= tail and len(at) == 1]
            losing = [row for row in rows if row in self._had_gas]
            if losing:
                total += min(sum(self.customers[row][0] for row in losing), self.feed(rows))
        return total

    @cached_property
    def _had_gas(self) -> frozenset[int]:
        """Customers joined to a station or an injection by open pieces before any stop: no other loses any."""
        pieces, table = self.network.pieces, self.network.customers
        open_pieces: nx.Graph[Any] = nx.Graph()
        open_pieces.add_node("source")
        for row in range(len(pieces)):
            if pieces.is_open[row]:
                open_pieces.add_edge(int(pieces.from_node[row]), int(pieces.to_node[row]))
        for node in (*self.network.stations.node, *self.network.injections.node):
            open_pieces.add_edge("source", int(node))
        fed = nx.node_connected_component(open_pieces, "source")
        return frozenset(
            row
            for row in range(len(table))
            if not fed.isdisjoint(
                table.attach_node[table.attach_start[row] : table.attach_start[row + 1]].tolist()
            )
        )
