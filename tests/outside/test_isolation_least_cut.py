"""The best cut against networkx's minimum cut of the whole network, and squeezes against utility practice.

The graph for networkx is built here from the rows of the network and the figures of the rules, with nothing of
the chooser: every length of main has one arc each way, every premises a node of its own, and the gas of a length
is charged to one of its ends, where the chooser shares it between both.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator
from typing import Any, NamedTuple

import networkx as nx
import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import IsolationProblem, cuts
from netplan.isolation.segment_graph import segment_graph
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.vocabulary import Category, Material, Operable, Surface, ValveState
from netplan.network.work_section import WorkSection
from netplan.rules.read_rules import default_rules, read_rules
from netplan.rules.rule_set import Rules, StopMethod
from tests.benchmarks.isolation_grids import isolation_grid
from tests.compared import compared
from tests.support import networks, schutterwald

HOURS, GAS_MINOR_PER_M3 = 9.0, 800.0
RULES = default_rules()


class Leg(NamedTuple):
    """A piece of main on the way from one end of a length to the other."""

    piece: int
    start_m: float
    end_m: float


def gas_minor(volume_m3: float) -> int:
    return round(GAS_MINOR_PER_M3 * volume_m3)


def volume_m3(network: Network, piece: int, length_m: float) -> float:
    return 0.25 * np.pi * float(network.pipes.bore_m[network.pieces.pipe[piece]]) ** 2 * length_m


def serves(network: Network, method: StopMethod, piece: int, fault_mbar: float) -> bool:
    """Whether a method may be used on a piece at all; both test networks are plain PE without joints or hosts."""
    pipes, pipe, valve = network.pipes, network.pieces.pipe[piece], int(network.pieces.valve[piece])
    if (method.kind == "valve") != (valve >= 0):
        return False
    if valve >= 0 and (
        network.valves.state[valve] == ValveState.UNKNOWN or network.valves.operable[valve] != Operable.YES
    ):
        return False
    if method.refuse_early_pe and np.isnan(pipes.year[pipe]) and not pipes.resin[int(pipe)]:
        return False
    return (
        Material(int(pipes.material[pipe])).word in method.materials
        and method.od_min_mm <= round(1000.0 * float(pipes.od_m[pipe]), 6) <= method.od_max_mm
        and fault_mbar <= method.rating_mbar - method.rating_margin_mbar
    )


def room_m(method: StopMethod, od_m: float) -> tuple[float, float]:
    """Return what an assembly needs before and behind the barrier nearest the work [m]."""
    before, behind = [0.0], [0.0]
    for part in method.assembly:
        if part.role != "bypass":  # the bypass tee may lie in the next piece
            tapping = max(RULES.clearance.fitting_m, RULES.clearance.fitting_od * od_m)
            barrier = max(method.fitting_m, method.fitting_od * od_m)
            is_drilled = part.role != "barrier" or method.kind == "bag"
            clear = max(tapping * is_drilled, barrier * (part.role == "barrier"))
            before.append(clear - part.offset_m)
            behind.append(clear + part.offset_m)
    return max(before), max(behind)


def cheapest(network: Network, legs: list[Leg], fault_mbar: float) -> int | None:
    """Return the least price of a stop on a length with the zone at its start, gas up to it included.

    Both ends of a leg are joints, or else fittings: an assembly lies within one leg, clear of its ends.
    """
    found = []
    for method in RULES.method:
        od_m = float(network.pipes.od_m[network.pieces.pipe[legs[0].piece]])
        before, behind = (0.0, 0.0) if method.kind == "valve" else room_m(method, od_m)
        for leg in legs:
            at = leg.start_m + before
            if serves(network, method, leg.piece, fault_mbar) and at <= leg.end_m - behind + 1e-9:
                surface = Surface(int(network.pipes.surface[network.pieces.pipe[leg.piece]])).word
                price = method.price + method.price_per_mm_od * od_m * 1000.0
                price += getattr(method.price_surface, surface)
                if method.kind == "valve":
                    # The pit for what is tapped beside it.
                    price += RULES.excavation.price + getattr(RULES.excavation.price_surface, surface)
                found.append(round(100.0 * price) + gas_minor(volume_m3(network, leg.piece, at)))
    return min(found, default=None)


def lengths(network: Network, work: set[int]) -> Iterator[tuple[int, int, list[Leg]]]:
    """Yield the lengths of main between nodes that matter: node, node, legs from the first to the second."""
    pieces, pipes = network.pieces, network.pipes
    at: dict[int, list[int]] = {}
    for row in range(len(pieces)):
        for node in (int(pieces.from_node[row]), int(pieces.to_node[row])):
            at.setdefault(node, []).append(row)
    special = {int(node) for node in (*network.customers.attach_node, *network.stations.node)}
    special |= {
        int(node) for row in work for node in (pieces.from_node[row], pieces.to_node[row])
    }  # ends of the work

    def make(row: int) -> tuple[Any, ...]:
        pipe = pieces.pipe[row]
        return pipe < pipes.n_mains, pieces.valve[row] < 0, pipes.od_m[pipe], pipes.bore_m[pipe]

    def passed(node: int) -> bool:
        rows = at[node]
        return (
            len(rows) == 2
            and node not in special
            and make(rows[0]) == make(rows[1])
            and make(rows[0])[:2] == (True, True)
        )

    done = set(work)
    for first in range(len(pieces)):
        if first in done or pieces.pipe[first] >= pipes.n_mains:
            continue
        rows, ends = [first], [int(pieces.from_node[first]), int(pieces.to_node[first])]
        for side in (0, 1):
            while passed(ends[side]):
                before = rows[-side]
                row = next(other for other in at[ends[side]] if other != before)
                a, b = int(pieces.from_node[row]), int(pieces.to_node[row])
                ends[side] = b if ends[side] == a else a
                rows = [*rows, row] if side else [row, *rows]
        done.update(rows)
        sizes = [float(pieces.to_m[row] - pieces.from_m[row]) for row in rows]
        starts = [0.0, *itertools.accumulate(sizes)]
        yield (
            ends[0],
            ends[1],
            [Leg(row, starts[k], starts[k + 1]) for k, row in enumerate(rows)],
        )


def turned(legs: list[Leg]) -> list[Leg]:
    whole = legs[-1].end_m
    return [Leg(leg.piece, whole - leg.end_m, whole - leg.start_m) for leg in reversed(legs)]


class Whole:
    """All of a network as a graph for networkx, one whole main being the work.

    Attributes
    ----------
    graph : networkx.DiGraph
        From "work" to "live"; arcs without a capacity have no limit.
    work_minor : int
        Gas of the work itself [minor units].
    """

    def __init__(self, network: Network, main: int, fault_mbar: float) -> None:
        self.network, self.fault_mbar = network, fault_mbar
        self.graph: nx.DiGraph[Any] = nx.DiGraph()
        self.graph.add_nodes_from(["work", "live"])
        self.work = {int(row) for row in np.flatnonzero(network.pieces.pipe == main)}
        self.work_minor = sum(gas_minor(self.volume_m3(row)) for row in self.work)
        for row in self.work:
            for node in self.ends(row):
                self.arc("work", node, None)
        self.add_services()
        self.add_mains()
        self.add_customers()
        for node in (*network.stations.node, *network.injections.node, *network.stations.sensing_node):
            if node >= 0:
                self.arc(int(node), "live", None)

    def arc(self, tail: Any, head: Any, capacity: int | None) -> None:
        graph = self.graph
        if capacity is None:
            graph.add_edge(tail, head)
            graph[tail][head].pop("capacity", None)
        elif not graph.has_edge(tail, head):
            assert capacity >= 0
            graph.add_edge(tail, head, capacity=capacity)
        elif "capacity" in graph[tail][head]:
            graph[tail][head]["capacity"] += capacity

    def ends(self, row: int) -> tuple[int, int]:
        return int(self.network.pieces.from_node[row]), int(self.network.pieces.to_node[row])

    def volume_m3(self, row: int) -> float:
        pieces = self.network.pieces
        return volume_m3(self.network, row, float(pieces.to_m[row] - pieces.from_m[row]))

    def add_services(self) -> None:
        """Services cannot be stopped; the gas of all that hang together is one rounded element."""
        served: nx.MultiGraph[int] = nx.MultiGraph()
        for row in np.flatnonzero(self.network.pieces.pipe >= self.network.pipes.n_mains).tolist():
            a, b = self.ends(row)
            served.add_edge(a, b, volume=self.volume_m3(row))
            self.arc(a, b, None)
            self.arc(b, a, None)
        for part in nx.connected_components(served):
            volumes = nx.get_edge_attributes(served.subgraph(part), "volume").values()
            self.arc(min(part), "live", gas_minor(sum(volumes)))

    def add_mains(self) -> None:
        """Charge the gas of a length at u: a stop with u inside is let off as much, and pays its own."""
        for u, v, legs in lengths(self.network, self.work):
            inside = gas_minor(sum(self.volume_m3(leg.piece) for leg in legs))
            self.arc(u, "live", inside)
            if u != v:
                there = cheapest(self.network, legs, self.fault_mbar)
                self.arc(u, v, None if there is None else there - inside)
                self.arc(v, u, cheapest(self.network, turned(legs), self.fault_mbar))

    def add_customers(self) -> None:
        table = self.network.customers
        for row in range(len(table)):
            rate = getattr(RULES.price.off_per_hour, Category(int(table.category[row])).word)
            self.arc(("off", row), "live", round(100.0 * rate * int(table.meters[row]) * HOURS))
            for node in table.attach_node[table.attach_start[row] : table.attach_start[row + 1]].tolist():
                self.arc(node, ("off", row), None)


def least_by_networkx(network: Network, main: int, fault_mbar: float) -> int | None:
    """Return the least price of isolating a whole main [minor units], by networkx on all of the network."""
    whole = Whole(network, main, fault_mbar)
    flow = nx.algorithms.flow.boykov_kolmogorov
    try:
        value, _ = nx.minimum_cut(whole.graph, "work", "live", flow_func=flow)
    except nx.NetworkXUnbounded:
        return None
    return whole.work_minor + int(value)


def chosen(network: Network, index: Any, main: int) -> int | None:
    section = WorkSection(
        np.array([main], np.int32), np.zeros(1), network.pipes.length_m[main : main + 1].astype(float)
    )
    problem = IsolationProblem(network, section, RULES, HOURS, GAS_MINOR_PER_M3)
    try:
        return next(cuts(problem, index)).bound_minor
    except NoPlanError:
        return None


def with_second_services(network: Network, seed: int) -> Network:
    """Return a grid in which every sixth premises also hangs on a service of another street."""
    rng = np.random.default_rng(seed)
    table = network.customers
    meter = table.attach_node
    twice = np.flatnonzero(rng.random(len(table)) < 1 / 6)
    counts = np.ones(len(table), np.int64)
    counts[twice] = 2
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    nodes = np.repeat(meter, counts)
    nodes[start[twice] + 1] = meter[(twice + 40) % len(table)]
    return dataclasses.replace(
        network, customers=dataclasses.replace(table, attach_start=start, attach_node=nodes)
    )


@pytest.mark.parametrize("seed", range(1, 6))
def test_grids_against_networkx(seed: int) -> None:
    network = with_second_services(isolation_grid(600, seed), seed)
    index = segment_graph(network)
    mains = np.random.default_rng(seed).choice(network.pipes.n_mains, 5, replace=False)
    values = []
    for main in sorted(mains.tolist()):
        value = least_by_networkx(network, main, fault_mbar=50.0)
        assert chosen(network, index, main) == value, network.pipes.id[main]
        values.append(value)
    assert len({value for value in values if value is not None}) >= 3
    found = [
        (chosen(network, index, main), value)
        for main, value in zip(sorted(mains.tolist()), values, strict=True)
    ]
    compared(
        "least price of isolating a whole main, street grids",
        [ours for ours, value in found if value is not None and ours is not None],
        [value for _, value in found if value is not None],
        unit="minor units",
        source="networkx 3.6, minimum cut of the whole network",
        how="library",
    )


def test_schutterwald_against_networkx() -> None:
    """Every 75th main of a real town whose mains are short: a third of them under 4 m."""
    network = build_network(schutterwald.layers())
    index = segment_graph(network)
    assert 0.25 < (network.pipes.length_m[: network.pipes.n_mains] < 4.0).mean() < 0.4
    ours: list[int] = []
    theirs: list[int] = []
    for main in range(0, network.pipes.n_mains, 75):
        value = least_by_networkx(network, main, fault_mbar=schutterwald.Case().fault_mbar)
        own = chosen(network, index, main)
        assert own == value, network.pipes.id[main]
        if value is not None and own is not None:
            ours.append(own)
            theirs.append(value)
    assert len(ours) >= 12
    compared(
        "least price of isolating a whole main, Schutterwald",
        ours,
        theirs,
        unit="minor units",
        source="networkx 3.6, minimum cut of the whole network",
        how="library",
    )


def squeeze_only(**changes: Any) -> Rules:
    """Return the shipped rules with squeezing alone, tappings without a clearance of their own."""
    methods = RULES.model_dump(mode="json")["method"]
    squeeze = next(method for method in methods if method["kind"] == "squeeze")
    squeeze["assembly"] = [part for part in squeeze["assembly"] if part["role"] == "barrier"]
    return read_rules(
        None, {"method": [{**squeeze, **changes}], "clearance": {"work_m": 0.0, "fitting_m": 0.0}}
    )


# From memory of utility practice, no published text read: no nearer to a fitting than the larger of 3 OD and
# 300 mm (confidence high), to an earlier squeeze 6 OD and 600 mm (used by some operators; confidence low).
PRACTICE = [(63.0, 0.300, 0.600), (110.0, 0.330, 0.660), (125.0, 0.375, 0.750), (180.0, 0.540, 1.080)]


@pytest.mark.parametrize(("od_mm", "from_fitting_m", "from_squeeze_m"), PRACTICE)
@pytest.mark.parametrize("kind", ["coupler", "squeeze_mark"])
def test_squeezes_keep_the_distances_of_practice(
    od_mm: float, from_fitting_m: float, from_squeeze_m: float, kind: str
) -> None:
    columns = {"od_mm": od_mm, "year": 2000}
    network = networks.build(
        mains=[
            networks.main("A", (-100, 0), (0, 0), **columns),
            networks.main("B", (0, 0), (60, 0), **columns),
            networks.main("C", (60, 0), (160, 0), **columns),
        ],
        services=[networks.service(f"S{x}", (x, 0), (x, 8)) for x in (-50, 60, 120)],
        customers=[networks.customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in (-50, 60, 120)],
        regulators=[networks.station("R1", (-100, 0)), networks.station("R2", (160, 0))],
        fittings=[networks.fitting("F1", (40, 0), kind)],
    )
    section = WorkSection(np.array([1], np.int32), np.array([20.0]), np.array([39.9]))
    problem = IsolationProblem(network, section, squeeze_only(), HOURS, GAS_MINOR_PER_M3)
    (stop,) = (stop for stop in next(cuts(problem)).stops if stop.work_side == "from")
    clear = from_fitting_m if kind == "coupler" else from_squeeze_m
    compared(
        "distance of a squeeze from a fitting or an earlier squeeze",
        stop.chainage_m - 40.0,
        clear,
        abs=1e-6,
        unit="m",
        source="utility practice",
        how="from memory",
    )
