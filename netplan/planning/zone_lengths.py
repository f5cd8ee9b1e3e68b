"""Lengths of pipe in the zones of a cut, and the parts that they are in once the work section is cut out."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.planning.stopped_network import StoppedNetwork

__all__ = [
    "SAME_M",
    "LengthEnd",
    "ZoneComponent",
    "ZoneLength",
    "cut_components",
    "volume_m3",
    "zone_lengths",
]

SAME_M = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""

LengthEnd = tuple[str, int]
"""What a length ends at: a node, a stop by its place in the cut, or a cut by a number of its own."""


@dataclass(frozen=True, slots=True)
class ZoneLength:
    """A length of pipe between two ends: row of the pipe, chainages [m], and its zone."""

    pipe: int
    from_m: float
    to_m: float
    ends: tuple[LengthEnd, LengthEnd]
    zone: int

    def holds(self, pipe: int, chainage_m: float) -> bool:
        """Return whether a place on a pipe, by its chainage [m], is on it."""
        return self.pipe == pipe and self.from_m - SAME_M <= chainage_m <= self.to_m + SAME_M


@dataclass(frozen=True, slots=True)
class ZoneComponent:
    """Lengths of pipe that are joined to each other."""

    lengths: list[ZoneLength] = field(default_factory=list)

    def has_end(self, end: LengthEnd) -> bool:
        """Return whether it ends somewhere."""
        return any(end in one.ends for one in self.lengths)

    def holds(self, pipe: int, chainage_m: float) -> bool:
        """Return whether a place on a pipe, by its chainage [m], is on it."""
        return any(one.holds(pipe, chainage_m) for one in self.lengths)


def zone_lengths(network: Network, stopped: StoppedNetwork, cut: Cut) -> list[ZoneLength]:
    """Return the open lengths of pipe in the zones; every stop is an end of its own."""
    links, pieces = stopped.flow.links, network.pieces
    ends = np.stack([links.from_node, links.to_node]).astype(np.int64)
    count = stopped.flow.node_count
    for k, (link, node) in enumerate(zip(stopped.closes, stopped.barrier_node, strict=True)):
        ends[:, link] = np.where(ends[:, link] == node, count + k, ends[:, link])
    zone_of: dict[int, list[tuple[float, float, int]]] = {}
    for zone, one in enumerate(cut.zones):
        for part in one.pieces:
            zone_of.setdefault(part.piece, []).append((part.from_m, part.to_m, zone))
    by_node = {int(node): zone for zone, one in enumerate(cut.zones) for node in one.nodes}
    found = []
    is_way = links.is_open.copy()
    # A stop may be a valve that is shut already: the zone ends there all the same.
    is_way[list(stopped.closes)] = True
    for row in np.flatnonzero(stopped.in_zone & is_way).tolist():
        piece = int(stopped.piece[row])
        low, high = float(stopped.from_m[row]), float(stopped.to_m[row])
        middle = (low + high) / 2
        zones = [zone for a, b, zone in zone_of.get(piece, []) if a - SAME_M <= middle <= b + SAME_M]
        zones += [by_node[node] for node in ends[:, row].tolist() if node in by_node]
        if zones:
            a, b = (_end(int(ends[side, row]), count) for side in (0, 1))
            found.append(ZoneLength(int(pieces.pipe[piece]), low, high, (a, b), zones[0]))
    return found


def volume_m3(network: Network, lengths: Sequence[ZoneLength]) -> float:
    """Return the volume of the bores of lengths of pipe [m³ actual]."""
    return sum(
        (one.to_m - one.from_m) * math.pi / 4.0 * float(network.pipes.bore_m[one.pipe]) ** 2
        for one in lengths
    )


def _end(node: int, count: int) -> LengthEnd:
    return ("node", node) if node < count else ("stop", node - count)


def cut_components(n_mains: int, lengths: Sequence[ZoneLength], section: WorkSection) -> list[ZoneComponent]:
    """Return the connected parts of a zone without its work section, those with mains only.

    A junction in the midst of the work goes with it: what hung on it is apart then.
    """
    work = list(zip(section.pipe.tolist(), section.from_m.tolist(), section.to_m.tolist(), strict=True))
    left: list[ZoneLength] = []
    gone: list[LengthEnd] = []
    cuts = 0
    for one in lengths:
        kept, removed, cuts = _without_work(one, work, cuts)
        left += kept
        gone += removed
    removed_ends = {end for end in gone if gone.count(end) > 1}
    apart: list[ZoneLength] = []
    for one in left:
        ends = []
        for end in one.ends:
            cuts += end in removed_ends
            ends.append(("cut", cuts) if end in removed_ends else end)
        apart.append(ZoneLength(one.pipe, one.from_m, one.to_m, (ends[0], ends[1]), one.zone))
    found = [
        component
        for component in _components(apart)
        if any(one.pipe < n_mains and one.to_m - one.from_m > SAME_M for one in component.lengths)
    ]
    return sorted(found, key=_rank)


def _rank(component: ZoneComponent) -> tuple[int, int, float]:
    """Return what parts are ordered by: their first stop, then their first main and chainage."""
    stops = [number for one in component.lengths for kind, number in one.ends if kind == "stop"]
    first = min((one.pipe, one.from_m) for one in component.lengths)
    return min(stops, default=sys.maxsize), *first


def _without_work(
    one: ZoneLength, work: Sequence[tuple[int, float, float]], cuts: int
) -> tuple[list[ZoneLength], list[LengthEnd], int]:
    """Return what is left of a length, which of its own ends the work takes, and the count of cuts."""
    inside = sorted(
        (max(low, one.from_m), min(high, one.to_m))
        for pipe, low, high in work
        if pipe == one.pipe and low < one.to_m - SAME_M and high > one.from_m + SAME_M
    )
    if not inside:
        return [one], [], cuts
    kept: list[ZoneLength] = []
    at, end = one.from_m, one.ends[0]
    removed = [one.ends[0]] if inside[0][0] <= one.from_m + SAME_M else []
    for low, high in inside:
        if low > at + SAME_M:
            cuts += 1
            kept.append(ZoneLength(one.pipe, at, low, (end, ("cut", cuts)), one.zone))
        cuts += 1
        at, end = high, ("cut", cuts)
    if at < one.to_m - SAME_M:
        kept.append(ZoneLength(one.pipe, at, one.to_m, (end, one.ends[1]), one.zone))
    else:
        removed.append(one.ends[1])
    return kept, removed, cuts


def _components(lengths: Sequence[ZoneLength]) -> list[ZoneComponent]:
    number = {end: row for row, end in enumerate(dict.fromkeys(e for one in lengths for e in one.ends))}
    if not lengths:
        return []
    a, b = (np.array([number[one.ends[side]] for one in lengths], dtype=np.int64) for side in (0, 1))
    label, _ = component_labels(len(number), a, b)
    found: dict[int, ZoneComponent] = {}
    for one, row in zip(lengths, label[a].tolist(), strict=True):
        found.setdefault(row, ZoneComponent()).lengths.append(one)
    return list(found.values())
