"""Lengths of main between nodes that matter, and where on them an assembly fits: for the oracles alone.

Shares no code with the choice of stops. A length runs on where two pieces of main of the same make meet and
nothing is recorded; where two mains meet there, that is a joint all the same.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from shapely.geometry import LineString

from netplan.network.model import Network
from netplan.rules.rule_set import Rules, StopMethod

SNAP_M = 0.05


class Leg(NamedTuple):
    """A piece on a length: from `low` to `high` along it [m]; `rises` where chainage rises along it."""

    piece: int
    low: float
    high: float
    rises: bool


@dataclass(frozen=True)
class Length:
    """A length of main: its end nodes, pieces in order, nodes between them and whether each is passed.

    `passed` says of each node between two pieces whether an assembly may lie across it: 2 where one main goes
    straight on, 1 where a joint is taken for a mere boundary of records, 0 at a joint.
    """

    nodes: tuple[int, ...]
    legs: tuple[Leg, ...]
    passed: tuple[int, ...]
    fittings: tuple[float, ...] = ()
    """Where recorded fittings lie along it [m]."""

    @property
    def size_m(self) -> float:
        return self.legs[-1].high

    def turned(self) -> Length:
        whole = self.size_m
        legs = tuple(Leg(p, whole - high, whole - low, not up) for p, low, high, up in reversed(self.legs))
        marks = tuple(whole - at for at in reversed(self.fittings))
        return Length(self.nodes[::-1], legs, self.passed[::-1], marks)

    def leg_at(self, at: float) -> Leg:
        return next(leg for leg in self.legs if at <= leg.high + 1e-9)


def lengths_of(network: Network, rules: Rules) -> list[Length]:
    """Return every length of main, each once, in the order of its first piece."""
    pieces = network.pieces
    main = [row for row in range(len(pieces)) if int(pieces.pipe[row]) < network.pipes.n_mains]
    at: dict[int, list[int]] = {}
    for row in range(len(pieces)):
        for node in (int(pieces.from_node[row]), int(pieces.to_node[row])):
            at.setdefault(node, []).append(row)
    through = {node for node, rows in at.items() if _runs_on(network, node, rows)}
    done: set[int] = set()
    found = []
    for first in main:
        if first in done:
            continue
        rows, nodes = [first], [int(pieces.from_node[first]), int(pieces.to_node[first])]
        for side in (-1, 0):
            while nodes[side] in through:
                row = next(other for other in at[nodes[side]] if other != rows[side])
                a, b = int(pieces.from_node[row]), int(pieces.to_node[row])
                if row in rows:
                    break
                beyond = b if a == nodes[side] else a
                rows = [*rows, row] if side else [row, *rows]
                nodes = [*nodes, beyond] if side else [beyond, *nodes]
        done.update(rows)
        found.append(_length(network, rules, rows, nodes))
    return found


def _runs_on(network: Network, node: int, rows: list[int]) -> bool:
    pieces, pipes = network.pieces, network.pipes
    if len(rows) != 2 or rows[0] == rows[1]:
        return False
    one, two = (int(pieces.pipe[row]) for row in rows)
    special = [
        network.stations.node,
        network.stations.sensing_node,
        network.injections.node,
        network.sensing.node,
        network.customers.attach_node,
    ]
    if any(node in some for some in special) or max(one, two) >= pipes.n_mains:
        return False
    if any(pieces.valve[row] >= 0 for row in rows):
        return False
    if any(values[one] != values[two] for values in (pipes.od_m, pipes.bore_m, pipes.material)):
        return False
    for row in rows:
        chainage = float((pieces.from_m if int(pieces.from_node[row]) == node else pieces.to_m)[row])
        on_it = network.fittings.chainage_m[network.fittings.pipe == pieces.pipe[row]]
        if (np.abs(on_it - chainage) <= SNAP_M).any():
            return False
    return True


def _length(network: Network, rules: Rules, rows: list[int], nodes: list[int]) -> Length:
    pieces, pipes = network.pieces, network.pipes
    legs, passed, along = [], [], 0.0
    for k, row in enumerate(rows):
        size = float(pieces.to_m[row] - pieces.from_m[row])
        rises = int(pieces.from_node[row]) == nodes[k]
        legs.append(Leg(row, along, along + size, rises))
        along += size
    for k, (row, other) in enumerate(itertools.pairwise(rows), 1):
        one, two = int(pieces.pipe[row]), int(pieces.pipe[other])
        node = nodes[k]
        ends = {
            float((pieces.from_m if int(pieces.from_node[each]) == node else pieces.to_m)[each])
            for each in (row, other)
        }
        if one == two and max(ends) - min(ends) < 1e-9:
            passed.append(2)
        else:
            same_year = not math.isnan(pipes.year[one]) and pipes.year[one] == pipes.year[two]
            passed.append(int(rules.clearance.through_record_joints and same_year))
    return Length(tuple(nodes), tuple(legs), tuple(passed), tuple(sorted(_fittings(network, legs))))


def _fittings(network: Network, legs: list[Leg]) -> Iterator[float]:
    """Yield how far along the legs of a length recorded fittings lie [m]."""
    pieces, fittings = network.pieces, network.fittings
    for leg in legs:
        low, high = float(pieces.from_m[leg.piece]), float(pieces.to_m[leg.piece])
        for at in fittings.chainage_m[fittings.pipe == pieces.pipe[leg.piece]].tolist():
            if low - 1e-6 <= at <= high + 1e-6:
                yield leg.low + (at - low if leg.rises else high - at)


class Placed(NamedTuple):
    """The nearest place on one leg: distance from the zone's end, and place along the length [m]."""

    away: float
    at: float
    leg: Leg


def nearest_places(
    length: Length,
    low: float,
    high: float,
    ends: tuple[float, float],
    method: StopMethod,
    rules: Rules,
    od: float,
    allowed: Callable[[int], bool],
) -> Iterator[Placed]:
    """Yield the nearest place of a method on each leg between two places of a length, zone at the first.

    Parameters
    ----------
    ends : tuple of float
        How far the zone's end and the far end are from the work along the mains [m]; 0 where it cuts them.
    allowed : callable
        Whether the method may be used on a piece.
    """
    for k, leg in enumerate(length.legs):
        if leg.high < low or leg.low > high or not allowed(leg.piece):
            continue
        if method.kind == "valve":
            yield Placed(0.0, low, leg)
            continue
        least, most = _own_room(length, k)
        bounds = [
            _part_room(length, k, low, high, ends, part, method, rules, od, allowed)
            for part in method.assembly
            if part.role != "bypass"
        ]
        least = max([low, least, *(bound[0] for bound in bounds)])
        most = min([high, most, *(bound[1] for bound in bounds)])
        before, beyond = _reach(method, rules, od)
        for at in length.fittings:
            # The whole assembly lies on one side of every fitting.
            if at - beyond < least < at + before:
                least = at + before
        if least <= most:
            yield Placed(least - low, least, leg)


def _clear(part: Any, method: StopMethod, rules: Rules, od: float) -> float:
    """Return how far from joints and fittings a part of an assembly is kept [m]."""
    clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od)
    if part.role == "barrier" and method.kind != "bag":
        clear = 0.0  # nothing is drilled for a squeeze
    if part.role == "barrier":
        clear = max(clear, method.fitting_m, method.fitting_od * od)
    return clear


def _reach(method: StopMethod, rules: Rules, od: float) -> tuple[float, float]:
    """Return how far before and beyond its barrier an assembly keeps fittings off [m], its bypass tee apart."""
    parts = [part for part in method.assembly if part.role != "bypass"]
    before = max(_clear(part, method, rules, od) - part.offset_m for part in parts)
    return before, max(_clear(part, method, rules, od) + part.offset_m for part in parts)


def _own_room(length: Length, k: int) -> tuple[float, float]:
    """Return where the barrier nearest the work surely lies on a leg: not on the joints of mains."""
    leg, passed = length.legs[k], (2, *length.passed, 2)
    return leg.low + SNAP_M * (passed[k] < 2), leg.high - SNAP_M * (passed[k + 1] < 2)


def _part_room(
    length: Length,
    k: int,
    low: float,
    high: float,
    ends: tuple[float, float],
    part: Any,
    method: StopMethod,
    rules: Rules,
    od: float,
    allowed: Callable[[int], bool],
) -> tuple[float, float]:
    """Return the least and greatest place of an assembly on leg `k` that one of its parts leaves."""
    first = last = k
    while first > 0 and length.passed[first - 1]:
        first -= 1
    while last < len(length.legs) - 1 and length.passed[last]:
        last += 1
    clear = _clear(part, method, rules, od)
    lows = [length.legs[first].low + clear]
    highs = [length.legs[last].high - clear]
    # Parts may not lie on a piece that refuses the method, even where its joint is passed.
    lows += [leg.high for leg in length.legs[first:k] if not allowed(leg.piece)]
    highs += [leg.low for leg in length.legs[k + 1 : last + 1] if not allowed(leg.piece)]
    lows.append(low + rules.clearance.work_m - ends[0])
    highs.append(high - rules.clearance.work_m + ends[1])
    return max(lows) - part.offset_m, min(highs) - part.offset_m


def split_some(rng: Any, mains: list[dict[str, Any]], most: int, share: float) -> list[dict[str, Any]]:
    """Return mains, some of them in parts that meet end to end with nothing recorded there."""
    found = []
    for row in mains:
        (x0, y0), (x1, y1) = row["geometry"].coords
        parts = rng.randint(2, most) if rng.random() < share else 1
        if parts == 1:
            found.append(row)
            continue
        marks = [0.0, *((k + rng.uniform(-0.25, 0.25)) / parts for k in range(1, parts)), 1.0]
        for k, (start, end) in enumerate(itertools.pairwise(marks)):
            line = LineString(
                [(x0 + at * (x1 - x0), y0 + at * (y1 - y0)) for at in (start, end)][:: rng.choice([1, -1])]
            )
            own = {} if not k else {"surface": rng.choice(["verge", "footway", "carriageway", "unmade"])}
            if k and rng.random() < 0.3:
                own["year"] = 2003
            found.append({**row, **own, "id": row["id"] + "abcdefgh"[k] * (k > 0), "geometry": line})
    return found
