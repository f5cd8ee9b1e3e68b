"""Who is joined to whom in any state of the work, from raw layers and the places that a plan names.

Pipes are joined by the words of the input contract (`tests.support.independent.Walker`). Every place of an option is
put on its main once; a state is then a set of gaps that are shut and of links that are laid.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from tests.support.independent import Frames, Walker

__all__ = ["Network", "Raw", "State"]

Key = Hashable
INSIDE_M = 2e-6


def text(value: Any) -> str:
    """Return a recorded text; nothing for a missing one."""
    return "" if value is None or value != value else str(value)


def number(value: Any) -> float | None:
    """Return a recorded number; None for a missing one."""
    return None if value is None or value != value else float(value)


class Raw(Walker):
    """Raw layers, with their records by id and the place of every point on its main."""

    def __init__(self, layers: Frames, scale: float = 1.0) -> None:
        super().__init__(layers, scale)
        self.mains = {str(r["id"]): r for r in self._records("mains")}
        self.services = {str(r["id"]): r for r in self._records("services")}
        self.valves = {str(r["id"]): r for r in self._records("valves")}
        self.people = {str(r["id"]): r for r in self._records("customers")}
        self.stations = {str(r["id"]): r for r in self._records("regulators")}
        self.placed = {
            layer: {str(r["id"]): (row, at) for r, row, at in self._placed(layer)}
            for layer in ("regulators", "valves", "fittings", "injections")
        }
        self.sensing = self._sensing()
        self.ends_of = self.customer_ends()
        self.keep_out = [record["geometry"] for record in self._records("keep_out")]
        self.buildings = [record["geometry"] for record in self._records("buildings")]
        self.no_crossing = [
            record["geometry"] for name in ("water", "rail") for record in self._records(name)
        ]

    def _sensing(self) -> dict[str, tuple[int, float]]:
        found = {}
        for record in self._records("sensing_points"):
            station = self.stations[str(record["station_id"])]
            place = self.on_main(record["geometry"], text(station.get("system")) or "LP")
            if place is not None:
                found[str(record["station_id"])] = place
        return found

    def row_of(self, main_id: str) -> int:
        """Return the row of a main."""
        return self.row[("mains", main_id)]

    def length_of(self, main_id: str) -> float:
        """Return the length of a main [m]."""
        return float(self.lines[self.row_of(main_id)].length) / self.scale

    def nodes_on(self, main_id: str) -> list[float]:
        """Return the chainages [m] of ends, tees, service tappings and valves of a main."""
        row = self.row_of(main_id)
        found = {0.0, self.lines[row].length}
        found |= {at for at, _ in self.joins[row]}
        found |= {at for where, at in self.placed["valves"].values() if where == row}
        found |= {at for where, at in self.placed["regulators"].values() if where == row}
        return sorted(at / self.scale for at in found)

    def fittings_on(self, main_id: str) -> list[tuple[float, str]]:
        """Return chainage [m] and kind of the recorded fittings of a main."""
        row = self.row_of(main_id)
        kinds = {str(r["id"]): text(r["kind"]) for r in self._records("fittings")}
        return [
            (at / self.scale, kinds[ident])
            for ident, (where, at) in self.placed["fittings"].items()
            if where == row
        ]


@dataclass(frozen=True, eq=False)
class State:
    """Parts of one state; a part is a number."""

    network: Network
    label: np.ndarray
    passing: np.ndarray
    """Parts when closed valves that are no stops let gas pass: nobody relies on them (design, section 5)."""

    def part(self, node: Key) -> int:
        """Return the part of a node."""
        return int(self.label[self.network.number[node]])

    def fed_by(self, node: Key) -> list[str]:
        """Return the stations in the part of a node."""
        part = self.part(node)
        return [ident for ident, at in self.network.station_node.items() if self.part(at) == part]

    def parts_fed(self) -> set[int]:
        """Return the parts with a station or an injection."""
        return {self.part(node) for node in self.network.sources()}

    def work_is_fed(self) -> bool:
        """Return whether a station or an injection reaches the work, valves recorded closed taken as closed."""
        return not self.parts_fed().isdisjoint(self.part(node) for node in self.network.work_nodes)

    def in_zone(self, node: Key) -> bool:
        """Return whether a node lies in an isolated zone, which ends at stops and at nothing else."""
        return int(self.passing[self.network.number[node]]) in self._zone

    @cached_property
    def _zone(self) -> set[int]:
        return {int(self.passing[self.network.number[node]]) for node in self.network.work_nodes}


@dataclass
class Network:
    """Pipes with the places of an option on them; gaps may be shut and links laid in a state.

    Parameters
    ----------
    raw : Raw
    work : list of (main, from, to)
    """

    raw: Raw
    work: list[tuple[str, float, float]]
    marks: dict[int, list[tuple[float, int, Key, Key]]] = field(default_factory=lambda: defaultdict(list))
    gaps: dict[Key, tuple[Key, Key]] = field(default_factory=dict)
    links: dict[Key, tuple[Key, Key]] = field(default_factory=dict)
    number: dict[Key, int] = field(default_factory=dict)
    pieces: list[tuple[int, float, float, Key, Key]] = field(default_factory=list)
    station_node: dict[str, Key] = field(default_factory=dict)
    injection_node: dict[str, Key] = field(default_factory=dict)
    work_nodes: list[Key] = field(default_factory=list)

    def __post_init__(self) -> None:
        raw = self.raw
        for row, there in raw.joins.items():
            for at, node in there:
                self._mark(row, at, node)
        for layer, found in (("regulators", self.station_node), ("injections", self.injection_node)):
            for ident, (row, at) in raw.placed[layer].items():
                found[ident] = self._mark(row, at, (layer, ident))
        for ident, (row, at) in raw.sensing.items():
            self._mark(row, at, ("sensing", ident))
        for ident, (row, at) in raw.placed["valves"].items():
            inside = min(max(at, INSIDE_M), raw.lines[row].length - INSIDE_M)
            self._gap(row, inside, ("valve", ident))
        for main_id, low, high in self.work:
            for chainage in (low, high):
                self.work_nodes.append(self.place(main_id, chainage, ("work", main_id, chainage)))

    def _mark(self, row: int, at: float, node: Key) -> Key:
        at = min(max(at, 0.0), self.raw.lines[row].length)
        self.marks[row].append((at, 0, node, node))
        return node

    def _gap(self, row: int, at: float, key: Key, towards: int = 0) -> Key:
        at = min(max(at, 0.0), self.raw.lines[row].length)
        self.gaps[key] = ((*_tuple(key), 0), (*_tuple(key), 1))
        self.marks[row].append((at, towards, *self.gaps[key]))
        return key

    def place(self, main_id: str, chainage_m: float, key: Key) -> Key:
        """Put a place on a main; return its node."""
        return self._mark(self.raw.row_of(main_id), chainage_m * self.raw.scale, key)

    def barrier(self, main_id: str, chainage_m: float, key: Key, work_side: str = "") -> Key:
        """Put a gap on a main that may be shut; nodes at its very place lie beyond it, away from the work."""
        towards = {"from": -1, "to": 1}.get(work_side, 1)
        return self._gap(self.raw.row_of(main_id), chainage_m * self.raw.scale, key, towards)

    def link(self, one: Key, two: Key, key: Key) -> None:
        """Let a hose join two nodes when it is laid."""
        self.links[key] = (one, two)

    def finish(self) -> None:
        """Cut the pipes at every place; call it once, after the last place."""
        for row in range(len(self.raw.lines)):
            ordered = sorted(self.marks[row], key=lambda mark: (mark[0], mark[1], str(mark[2])))
            for before, after in itertools.pairwise(ordered):
                self.pieces.append((row, before[0], after[0], before[3], after[2]))
            for mark in ordered:
                for node in mark[2:]:
                    self.number.setdefault(node, len(self.number))
        self._fixed = np.array([[self.number[a], self.number[b]] for *_, a, b in self.pieces])

    def sources(self) -> Iterable[Key]:
        """Return the nodes of stations and injections."""
        return [*self.station_node.values(), *self.injection_node.values()]

    def recorded_closed(self) -> set[Key]:
        """Return the gaps of the valves that are recorded closed."""
        return {("valve", v) for v, r in self.raw.valves.items() if text(r["state"]) == "closed"}

    def state(
        self, shut: Collection[Key] = (), opened: Collection[Key] = (), laid: Collection[Key] = ()
    ) -> State:
        """Return the state with gaps shut, valves opened and links laid, beside the valves recorded closed."""
        closed = (self.recorded_closed() - set(opened)) | set(shut)
        return State(self, self._parts(closed, laid), self._parts(set(shut), laid))

    def _parts(self, closed: set[Key], laid: Collection[Key]) -> np.ndarray:
        joins = [pair for key, pair in self.gaps.items() if key not in closed]
        joins += [self.links[key] for key in laid]
        some = np.array([[self.number[a], self.number[b]] for a, b in joins]).reshape(-1, 2)
        edges = np.concatenate([self._fixed, some]).astype(int)
        ones = np.ones(len(edges), np.int8)
        graph = coo_array((ones, (edges[:, 0], edges[:, 1])), shape=(len(self.number),) * 2)
        found: np.ndarray = connected_components(graph, directed=False)[1]
        return found


def _tuple(key: Key) -> tuple[Any, ...]:
    return key if isinstance(key, tuple) else (key,)
