"""A state of a plan with openings to the air, rebuilt from plan.gpkg and solved by means of its own.

Newton's method on flows and squared pressures of all nodes at once, Colebrook by repeated substitution, station
states by trying until they agree: nothing of the solver or of the planning code is used but the gas itself.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Any

import networkx as nx
import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array, csc_array
from scipy.sparse.linalg import spsolve

from netplan.hydraulics import FlowConditions
from netplan.reference.gas import named_gas

__all__ = ["OpenEndFlow", "Outflow", "Solved"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LIVE = ("live", "fed")
GRAVITY = 9.80665
AIR_PA = 101_325.0
HOLDS, SHUT, FULL = range(3)
STILL_KG_S = 1e-11
"""Change of a flow at which the iteration has come to rest."""


@dataclass(frozen=True)
class Outflow:
    """A way out at a node: the open end of a pipe, or a sharp-edged outlet with its discharge coefficient."""

    node: int
    bore_mm: float
    discharge: float | None = None


@dataclass(frozen=True)
class Solved:
    """Pressure by node [mbar gauge], what escapes [m³/h], nodes left without gas to draw, and if it solved."""

    pressure_mbar: dict[int, float]
    escaping_m3h: float
    starved: frozenset[int]
    is_solved: bool = True


@dataclass
class _System:
    """Links between nodes, sources with their states."""

    start: Ints
    end: Ints
    length: Floats
    bore: Floats
    rough: Floats
    loss: Floats
    demand: Floats
    outlet: Ints
    sense: Ints
    target: Floats
    capacity: Floats
    is_open: npt.NDArray[np.bool_]
    column: Floats
    state: Ints = field(default_factory=lambda: np.zeros(0, np.int64))


def _colebrook(reynolds: Floats, rough: Floats) -> Floats:
    turned = np.full(reynolds.shape, 7.0)
    for _ in range(60):
        turned = -2.0 * np.log10(rough / 3.7 + 2.51 * turned / reynolds)
    return np.asarray(turned**-2.0)


def _factor(reynolds: Floats, rough: Floats) -> Floats:
    """Friction factor: laminar to 2000, Colebrook from 4000, a cubic with both slopes between."""
    at, step = np.full(reynolds.shape, 4000.0), 1e-2
    high = _colebrook(at, rough)
    slope = (_colebrook(at + step, rough) - _colebrook(at - step, rough)) / (2.0 * step)
    t = np.clip((reynolds - 2000.0) / 2000.0, 0.0, 1.0)
    between = (
        (2 * t**3 - 3 * t**2 + 1) * 0.032
        - (t**3 - 2 * t**2 + t) * 0.032
        + (-2 * t**3 + 3 * t**2) * high
        + (t**3 - t**2) * 2000.0 * slope
    )
    laminar = 64.0 / np.maximum(reynolds, 1e-12)
    beyond = _colebrook(np.maximum(reynolds, 4000.0), rough)
    return np.asarray(np.where(reynolds <= 2000.0, laminar, np.where(reynolds < 4000.0, between, beyond)))


class OpenEndFlow:
    """The layers of one option of a plan.gpkg, as a stranger reads them (`tests.support.gpkg_flow.read`)."""

    def __init__(self, layers: dict[str, Any]) -> None:
        self.layers = layers
        said = layers["conditions"]
        self.conditions = FlowConditions(
            named_gas(str(said["gas"])), ground_temperature_k=273.15 + float(said["ground_temp_c"])
        )
        self.gas = self.conditions.properties()
        self.std = self.gas.density_kg_per_m3_std
        pipes = layers["pipes"][layers["pipes"].state.isin(LIVE)]
        self.root: Any = nx.utils.UnionFind(int(node) for node in layers["nodes"].node)
        for row in pipes[(pipes.length_m <= 0.0) & (pipes.loss_coefficient <= 0.0)].itertuples():
            self.root.union(int(row.from_node), int(row.to_node))
        self.links: list[tuple[int, int, float, float, float, float, str]] = []
        for row in pipes[(pipes.length_m > 0.0) | (pipes.loss_coefficient > 0.0)].itertuples():
            ends = self.root[int(row.from_node)], self.root[int(row.to_node)]
            size = (row.length_m, row.bore_mm / 1e3, row.roughness_mm / 1e3, row.loss_coefficient)
            self.links.append((*ends, *size, ""))
        for row in layers["bypasses"].itertuples():
            ends = self.root[int(row.from_node)], self.root[int(row.to_node)]
            size = (row.length_m, row.bore_mm / 1e3, row.roughness_mm / 1e3, row.loss_coefficient)
            self.links += [(*ends, *size, str(row.bypass_id))] * int(row.parallel)
        self.demand: dict[int, float] = {}
        for row in layers["nodes"].itertuples():
            own = self.root[int(row.node)]
            self.demand[own] = self.demand.get(own, 0.0) + row.demand_m3h / 3600.0 * self.std
        self.height = self._heights()

    def _heights(self) -> dict[int, float]:
        """Height of every node; an unknown one has that of the nearest known along the pipes."""
        known: dict[int, float] = {}
        for row in self.layers["nodes"].itertuples():
            if row.height_m == row.height_m:
                known.setdefault(self.root[int(row.node)], float(row.height_m))
        every = {self.root[int(node)] for node in self.layers["nodes"].node}
        if not known:
            return dict.fromkeys(every, 0.0)
        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(every)
        for a, b, length, *_ in self.links:
            graph.add_edge(a, b, weight=length)
        _, ways = nx.multi_source_dijkstra(graph, set(known))
        return {node: known[ways[node][0]] if node in ways else 0.0 for node in every}

    def solve(
        self,
        openings: Sequence[Outflow] = (),
        *,
        lost_feeds: Collection[str] = (),
        lost_station: str = "",
        fault: tuple[str, float] | None = None,
    ) -> Solved:
        """Solve; round by round whoever draws and lies below zero draws nothing from then on.

        Parameters
        ----------
        fault : tuple of (str, float), optional
            A station and the pressure that it holds instead, nothing being drawn [mbar gauge].
        """
        starved: set[int] = set()
        for _ in range(30):
            found = self._round(openings, lost_feeds, lost_station, fault, starved)
            if found is None:
                return Solved({}, math.nan, frozenset(), is_solved=False)
            pressure, escaping, below = found
            if not below:
                lying = {node for node in self.root if self.root[node] in starved}
                every = {node: pressure.get(self.root[node], math.nan) for node in self.root}
                return Solved(every, escaping, frozenset(lying))
            starved |= below
        return Solved({}, math.nan, frozenset(), is_solved=False)

    def _round(
        self,
        openings: Sequence[Outflow],
        lost_feeds: Collection[str],
        lost_station: str,
        fault: tuple[str, float] | None,
        starved: Collection[int],
    ) -> tuple[dict[int, float], float, set[int]] | None:
        links = [link for link in self.links if link[6] not in lost_feeds]
        air = {-1 - k: self.root[one.node] for k, one in enumerate(openings)}
        for (node, at), one in zip(air.items(), openings, strict=True):
            if one.discharge is None:
                links.append((at, node, 0.01, one.bore_mm / 1e3, 0.0, 0.0, ""))
            else:
                links.append((at, node, 1e-3, one.bore_mm / 1e3, 0.0, one.discharge**-2.0, ""))
        stations = [row for row in self.layers["stations"].itertuples() if int(row.node) in self.root.parents]
        graph: nx.Graph[int] = nx.Graph((a, b) for a, b, *_ in links)
        graph.add_nodes_from(self.root[int(row.node)] for row in stations)
        sources = {self.root[int(row.node)] for row in stations}
        fed = sorted(set().union(*(nx.node_connected_component(graph, node) for node in sources)))
        system = self._system(fed, links, stations, air, lost_station, fault, starved)
        level = _solved(system, self)
        if level is None:
            return None
        gas, air_pa = self._columns(fed, air)
        absolute = np.sqrt(np.maximum(level[0] / gas, 0.0))
        pressure = {node: float(p) for node, p in zip(fed, (absolute - air_pa) / 100.0, strict=True)}
        below = {
            node
            for node in fed
            if pressure[node] < -1e-5 and self.demand.get(node, 0.0) > 0.0 and node not in starved
        }
        escaping = -float(level[1][system.is_open].sum()) / self.std * 3600.0
        return pressure, escaping, below

    def _columns(self, fed: Sequence[int], air: dict[int, int]) -> tuple[Floats, Floats]:
        height = np.array([self.height[air.get(node, node)] for node in fed])
        rise = GRAVITY * (height - min(self.height.values()))
        return (
            np.exp(2.0 * rise / self.gas.pressure_per_density),
            self._air_at_least() * np.exp(-rise / self.conditions.air_pressure_per_density()),
        )

    def _air_at_least(self) -> float:
        """Air pressure at the lowest node: the stated one is that at the first station."""
        first = next(iter(self.layers["stations"].itertuples()))
        rise = GRAVITY * (self.height[self.root[int(first.node)]] - min(self.height.values()))
        return AIR_PA * math.exp(rise / self.conditions.air_pressure_per_density())

    def _system(
        self,
        fed: Sequence[int],
        links: Sequence[tuple[int, int, float, float, float, float, str]],
        stations: Sequence[Any],
        air: dict[int, int],
        lost_station: str,
        fault: tuple[str, float] | None,
        starved: Collection[int],
    ) -> _System:
        place = {node: k for k, node in enumerate(fed)}
        kept = [link for link in links if link[0] in place]
        table = np.array([link[2:6] for link in kept], dtype=float)
        gas, air_pa = self._columns(fed, air)
        still = fault is not None
        demand = [0.0 if still or node in starved else self.demand.get(node, 0.0) for node in fed]
        own = [place[self.root[int(row.node)]] for row in stations]
        senses = [int(row.sensing_node) for row in stations]
        sense = [place[self.root[s]] if s >= 0 else o for s, o in zip(senses, own, strict=True)]
        mbar = [
            fault[1] if fault is not None and row.station_id == fault[0] else row.outlet_mbar
            for row in stations
        ]
        most = [
            0.0 if row.station_id == lost_station else row.capacity_m3h / 3600.0 * self.std
            for row in stations
        ]
        open_places = [place[node] for node in air if node in place]
        outlet = np.array(own + open_places, dtype=np.int64)
        sense_of = np.array(sense + open_places, dtype=np.int64)
        gauge = np.array([value * 100.0 for value in mbar] + [0.0] * len(open_places))
        return _System(
            np.array([place[link[0]] for link in kept], dtype=np.int64),
            np.array([place[link[1]] for link in kept], dtype=np.int64),
            table[:, 0],
            table[:, 1],
            table[:, 2],
            table[:, 3],
            np.array(demand),
            outlet,
            sense_of,
            (gauge + air_pa[sense_of]) ** 2 * gas[sense_of],
            np.array([math.inf if m != m else m for m in most] + [math.inf] * len(open_places)),
            np.array([False] * len(stations) + [True] * len(open_places)),
            gas,
        )


def _solved(system: _System, flow: OpenEndFlow) -> tuple[Floats, Floats] | None:
    """Return squared pressures, columns in, and what each source gives [kg/s]; None without a solution."""
    system.state = np.zeros(system.outlet.size, np.int64)
    for _ in range(50):
        if not (system.state == HOLDS).any():
            return None
        found = _newton(system, flow)
        if found is None:
            return None
        level, given = found
        gap = level[system.sense] - system.target
        holds = system.state == HOLDS
        backwards = holds & (given < -1e-9) & ~system.is_open
        beyond = holds & (given > system.capacity + 1e-9)
        again = ((system.state == SHUT) & (gap < -1.0)) | ((system.state == FULL) & (gap > 1.0))
        if not (backwards | beyond | again).any():
            return level, given
        # One kind at a time: somebody holds in every part.
        if backwards.any():
            system.state[backwards] = SHUT
        elif again.any():
            system.state[again] = HOLDS
        else:
            system.state[beyond] = FULL
    return None


def _newton(system: _System, flow: OpenEndFlow) -> tuple[Floats, Floats] | None:
    gas, count, sources = flow.gas, system.demand.size, system.outlet.size
    per_flow = 4.0 / (math.pi * system.bore * gas.viscosity_pa_s)
    column = 0.5 * (system.column[system.start] + system.column[system.end])
    area = 16.0 / math.pi**2 * gas.pressure_per_density * column / system.bore**4
    rough = system.rough / system.bore

    def drop(mass: Floats) -> Floats:
        factor = _factor(np.abs(mass) * per_flow, rough)
        return np.asarray(area * (factor * system.length / system.bore + system.loss) * mass * np.abs(mass))

    mass = 2e4 / per_flow
    level, base = np.full(count, float(system.target.max())), float(system.target.max())
    given = np.zeros(sources)
    holds = system.state == HOLDS
    full = np.where(np.isfinite(system.capacity), system.capacity, 0.0)
    set_to = np.where(system.state == FULL, full, 0.0)
    for _ in range(200):
        step = np.maximum(np.abs(mass) * 1e-6, 1e-9)
        slope = (drop(mass + step) - drop(mass - step)) / (2.0 * step)
        conductance = 1.0 / slope
        # mass' = mass + g (fall' - drop): node balances in the levels above the base.
        rest = mass - conductance * drop(mass)
        right = system.demand.copy()
        np.add.at(right, system.start, rest)
        np.add.at(right, system.end, -rest)
        matrix = _matrix(system, conductance, holds)
        wanted = np.where(holds, system.target - base, set_to)
        answer = spsolve(matrix, np.concatenate([right, wanted]))
        above, given = answer[:count], answer[count:]
        after = rest + conductance * (above[system.start] - above[system.end])
        change = float(np.abs(after - mass).max())
        mass, level = after, above + base
        if not math.isfinite(change):
            return None
        if change <= STILL_KG_S * max(1.0, 1e3 * float(np.abs(mass).max())):
            return level, given
    return None


def _matrix(system: _System, conductance: Floats, holds: npt.NDArray[np.bool_]) -> csc_array:
    """Rows: each node gives what its links and sources bring; each source holds, or gives what it is set to."""
    count, sources = system.demand.size, system.outlet.size
    a, b, k = system.start, system.end, count + np.arange(sources)
    held, fixed = k[holds], k[~holds]
    rows = np.concatenate([a, b, a, b, system.outlet, held, fixed])
    columns = np.concatenate([a, b, b, a, k, system.sense[holds], fixed])
    values = np.concatenate(
        [
            -conductance,
            -conductance,
            conductance,
            conductance,
            np.ones(sources),
            np.ones(held.size),
            np.ones(fixed.size),
        ]
    )
    return csc_array(coo_array((values, (rows, columns)), shape=(count + sources, count + sources)))
