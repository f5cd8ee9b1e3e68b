"""The best ring of all there are, found by trying every set of parts that may lie inside one.

The list of places for stops is its own: by the rules' words on the raw layers, at most one on each length
between nodes and one on each side of a hit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import networkx as nx
import numpy as np
import shapely

from tests.whole_emergency.answer_case import AnswerCase, Row
from tests.whole_emergency.stop_checks import clear_m, dug_minutes, refusals
from tests.whole_plan.walk import Key, text

__all__ = ["EveryRing", "every_ring", "least_makespan"]

MOST_GROUPS = 17
"""So many groups of nodes are tried in all ways [-]."""
FINE_M = 1e-6


@dataclass(frozen=True, eq=False)
class EveryRing:
    """All rings of a small town: stations inside, sum and longest of each, and the stops across its rim.

    Parameters
    ----------
    stations, total, longest : arrays, shape (rings,)
        [-], [s], [s]
    across : bool array, shape (rings, places)
    seconds : int array, shape (places,)
    """

    stations: np.ndarray
    total: np.ndarray
    longest: np.ndarray
    across: np.ndarray
    seconds: np.ndarray

    def one_crew(self) -> tuple[int, int]:
        """Return fewest stations to shut, and of those the least sum [s]."""
        return min(zip(self.stations.tolist(), self.total.tolist(), strict=True))

    def crews_enough(self) -> tuple[int, int, int]:
        """Return fewest stations, of those the least longest [s], and of those the least sum [s]."""
        rows = zip(self.stations.tolist(), self.longest.tolist(), self.total.tolist(), strict=True)
        return min(rows)

    def crews(self, count: int) -> int:
        """Return the least time in which so many crews can shut a ring of fewest stations [s]."""
        few = np.flatnonzero(self.stations == self.stations.min())
        bound = np.maximum(self.longest[few], -(-self.total[few] // count))
        best = -1
        for row in few[np.argsort(bound, kind="stable")].tolist():
            at_least = max(int(self.longest[row]), -(-int(self.total[row]) // count))
            if 0 <= best <= at_least:
                break
            took = least_makespan(self.seconds[self.across[row]].tolist(), count)
            best = took if best < 0 else min(best, took)
        return best


def least_makespan(seconds: Sequence[int], crews: int) -> int:
    """Return the least time in which crews do tasks, by trying every way [s]."""
    reached = {(0,) * crews}
    for one in seconds:
        reached = {
            tuple(sorted(load + one * (k == crew) for k, load in enumerate(loads)))
            for loads in reached
            for crew in range(crews)
        }
    return min(max(loads) for loads in reached)


def every_ring(case: AnswerCase, kind: str, failed: frozenset[str] = frozenset()) -> EveryRing | None:
    """Return all rings of a kind round the hits of an answer; None where there are too many.

    Parameters
    ----------
    case : AnswerCase
        Its rings do not count: only what is hit.
    kind : str
        ``valves`` or ``fastest``.
    failed : frozenset of str
        Valves that failed.
    """
    bare = AnswerCase(case.raw, case.rules, {**case.data, "rings": [], "next_rings": []})
    joined: nx.Graph[Key] = nx.Graph()
    joined.add_nodes_from(bare.net.number)
    places: list[tuple[Key, Key, int]] = []
    barred = shapely.union_all([one.buffer(_away(bare), quad_segs=64) for one in bare.hit_shapes])
    for ident, record in bare.raw.valves.items():
        if ("valve", ident) not in bare.net.gaps or text(record["state"]) == "closed":
            continue
        ends = bare.net.gaps[("valve", ident)]
        row, at = bare.raw.placed["valves"][ident]
        works = text(record["state"]) == "open" and text(record.get("operable")) == "yes"
        near = bare.raw.lines[row].interpolate(at).distance(barred) <= 0.0 and _away(bare) > 0.0
        if works and not near and ident not in failed and not set(ends) <= set(bare.hit_nodes):
            places.append((*ends, round(case.rules["emergency"]["minutes_valve"] * 60.0)))
        else:
            joined.add_edge(*ends)
    for row, low, high, one, two in bare.net.pieces:
        seconds = None if kind == "valves" else _quickest(bare, row, low, high, one, barred)
        if seconds is None:
            joined.add_edge(one, two)
        else:
            places.append((one, two, seconds))
    for a, b in pairwise(bare.hit_nodes):
        joined.add_edge(a, b)
    group = {node: k for k, nodes in enumerate(nx.connected_components(joined)) for node in nodes}
    return _tried(bare, places, group)


def _away(case: AnswerCase) -> float:
    return float(case.rules["emergency"]["keep_away_m"]) * case.raw.scale


def _quickest(case: AnswerCase, row: int, low: float, high: float, node: Key, barred: Any) -> int | None:
    """Return the least time of a stop on a length of main without a node [s]; None where none can go."""
    layer, ident = case.raw.name[row]
    if layer != "mains" or high - low < FINE_M:
        return None
    record, best = case.raw.mains[ident], None
    for method in case.rules["method"]:
        if method["kind"] == "valve" or refusals(case, method, ident, {case.before.part(node)}):
            continue
        if not _fits(case, row, low, high, method, barred):
            continue
        seconds = round(dug_minutes(case.rules, method, record) * 60.0)
        best = seconds if best is None else min(best, seconds)
    return best


def _fits(case: AnswerCase, row: int, low: float, high: float, method: Row, barred: Any) -> bool:
    ident = case.raw.name[row][1]
    od_mm = float(case.raw.mains[ident]["od_mm"])
    clear = clear_m(case.rules, method, od_mm)
    taken = []
    for at, what in case.raw.fittings_on(ident):
        extra = 0.0
        if what == "squeeze_mark" and method["kind"] == "squeeze":
            extra = max(method["same_m"], method["same_od"] * od_mm / 1000.0, clear) - clear
        taken.append((at - extra, at + extra))
    line = case.raw.lines[row]
    for area in (*case.raw.keep_out, *([barred] if _away(case) > 0.0 else [])):
        for part in shapely.get_parts(line.intersection(area)).tolist():
            spots = [line.project(shapely.Point(xy)) for xy in shapely.get_coordinates(part)]
            if spots:
                taken.append((min(spots), max(spots)))
    offsets = [part["offset_m"] for part in method["assembly"] if part["role"] == "barrier"]
    need = 2.0 * clear + max(offsets) - min(offsets)
    at, longest = low, 0.0
    for start, end in sorted(taken):
        if end >= low and start <= high:
            longest = max(longest, start - at)
            at = max(at, end)
    return bool(max(longest, high - at) >= need - FINE_M)


def _tried(case: AnswerCase, places: list[tuple[Key, Key, int]], group: dict[Key, int]) -> EveryRing | None:
    hit = group[case.hit_nodes[0]]
    edges = [(group[a], group[b], seconds) for a, b, seconds in places if group[a] != group[b]]
    graph: nx.Graph[int] = nx.Graph([(a, b) for a, b, _ in edges])
    graph.add_node(hit)
    near = sorted(nx.node_connected_component(graph, hit) - {hit})
    if len(near) > MOST_GROUPS:
        return None
    bit = {one: k for k, one in enumerate(near)}
    sets = np.arange(1 << len(near), dtype=np.int64)

    def inside(one: int) -> np.ndarray:
        return np.ones(len(sets), bool) if one == hit else (sets >> bit[one]) & 1 == 1

    edges = [edge for edge in edges if edge[0] in bit or edge[0] == hit]
    across = np.array([inside(a) ^ inside(b) for a, b, _ in edges], dtype=bool).reshape(-1, len(sets)).T
    seconds = np.array([one for *_, one in edges], dtype=np.int64)
    stations = np.zeros(len(sets), dtype=np.int64)
    for node in case.sources().values():
        if group[node] == hit or group[node] in bit:
            stations += inside(group[node])
    total = across @ seconds if len(seconds) else np.zeros(len(sets), np.int64)
    longest = (across * seconds).max(axis=1, initial=0) if len(seconds) else total
    return EveryRing(stations, total, longest, across, seconds)
