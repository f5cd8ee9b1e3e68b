"""Stops forced by order: where they are, and the families of zones that hold them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from netplan.core.errors import NoPlanError
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.cut_enumeration import Family
from netplan.isolation.cut_model import Orders
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_edges import LocalEdge
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.work_segments import WorkSegments

__all__ = ["Forced", "families", "forced_places"]


@dataclass(frozen=True, slots=True)
class Forced:
    """Forced stops by segment: (chainage [m], pipe row) and how to name them."""

    places: dict[int, list[tuple[float, int]]]
    names: dict[tuple[int, float, int], str]


def forced_places(index: SegmentGraph, work: WorkSegments, orders: Orders) -> Forced:
    """Find the segments of forced stops.

    Raises
    ------
    NoPlanError
        When a place lies inside the work section or on no main.
    """
    network = index.network
    wanted = [
        (stretch.pipe, stretch.from_m, f"{network.pipes.id[stretch.pipe]}:{stretch.from_m:g}")
        for stretch in orders.force
    ]
    pieces = network.pieces
    places: dict[int, list[tuple[float, int]]] = {}
    names = {}
    found = []
    for valve in orders.force_valves:
        piece = int(network.valves.piece[valve])
        name = f"valve {network.valves.id[valve]}"
        if piece < 0 or index.segment_of[piece] < 0:
            raise _cannot(name, "it lies on no main")
        found.append((piece, float(pieces.from_m[piece]), name))
    for pipe, chainage, name in wanted:
        rows = [
            row
            for row in pieces.rows_of(pipe)
            if pieces.from_m[row] <= chainage <= pieces.to_m[row] and pieces.valve[row] < 0
        ]
        if not rows or index.segment_of[rows[0]] < 0:
            raise _cannot(name, "the main has no such chainage")
        found.append((rows[0], chainage, name))
    for piece, chainage, name in found:
        for row, stretch, _ in work.covered:
            if row == piece and stretch.from_m <= chainage <= stretch.to_m:
                raise _cannot(name, "it lies in the work section")
        segment = int(index.segment_of[piece])
        places.setdefault(segment, []).append((chainage, int(pieces.pipe[piece])))
        names[segment, chainage, int(pieces.pipe[piece])] = name
    return Forced(places, names)


def _cannot(name: str, why: str) -> NoPlanError:
    text = f"the ordered stop at {name} cannot be made: {why}; drop the order or move it"
    return NoPlanError(text, (text,))


def families(local: LocalGraph, forced: Forced) -> list[Family]:
    """Return the families of zones in which every forced stop is a stop.

    Raises
    ------
    NoPlanError
        When no method serves a forced place, or it is not joined to the work.
    """
    if not forced.places:
        return [Family(frozenset({SOURCE}), frozenset())]
    wanted = dict(forced.names)
    edges = _edges_at(local, list(wanted))
    ways: list[list[tuple[int, int]]] = []
    taken: set[int] = set()
    for key, name in wanted.items():
        edge = edges.get(key)
        if edge is None:
            raise _cannot(name, "it is not joined to the work section")
        if id(edge) in taken:
            raise _cannot(name, "another stop is ordered on the same length of main")
        taken.add(id(edge))
        ends = [(edge.u, edge.v)] * (edge.out_u < INFINITE) + [(edge.v, edge.u)] * (edge.out_v < INFINITE)
        ends = [(inner, outer) for inner, outer in ends if outer != SOURCE and inner != outer]
        if not ends:
            raise _cannot(name, _why(local, edge, key))
        ways.append(ends)
    found = []
    for chosen in product(*ways):
        inner = {a for a, _ in chosen} - {SOURCE}
        outer = {b for _, b in chosen}
        if inner.isdisjoint(outer):
            found.append(Family(frozenset({SOURCE}), frozenset(outer), frozenset(inner)))
    return found


def _edges_at(
    local: LocalGraph, keys: list[tuple[int, float, int]]
) -> dict[tuple[int, float, int], LocalEdge]:
    """Return the edges of forced places, looking outward from the work until all are found."""
    found: dict[tuple[int, float, int], LocalEdge] = {}
    for node in local.outward():
        for edge in local.edges_at(node):
            for key in keys:
                segment, chainage, pipe = key
                if edge.segment == segment and (
                    edge.remainder is None
                    or local.place_on(edge.remainder.geometry, chainage, pipe) is not None
                ):
                    found.setdefault(key, edge)
        if len(found) == len(set(keys)):
            break
    return found


def _why(local: LocalGraph, edge: LocalEdge, key: tuple[int, float, int]) -> str:
    _, chainage, pipe = key
    geometry = local.geometry(edge)
    reasons = []
    for turned in (False, True):
        way = geometry.turned() if turned else geometry
        at = local.place_on(way, chainage, pipe)
        if at is None:
            continue
        for method in range(len(local.placement.rules.method)):
            for block in local.placement.blocks(way, method, local.work):
                if block.low_m < at < block.high_m:
                    reasons.append(f"{local.placement.rules.method[method].name}: {block.words}")
                    break
    return "; ".join(dict.fromkeys(reasons)) or "it lies beside the work on both sides"
