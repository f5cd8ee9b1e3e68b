"""What a feed could keep: the shortest way from a part without gas to a live main, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from netplan.core.arrays import Flags, Floats, Ints, Ints32
from netplan.core.constants import PA_PER_MBAR
from netplan.emergency.answer_records import RecordedRing
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.graph.connected_components import component_labels
from netplan.network.linear_reference import lines_between
from netplan.network.model import Customers
from netplan.network.station_pressures import supply_of_parts
from netplan.network.topology import components_without
from netplan.network.vocabulary import Operable, ValveState

__all__ = ["feed_lines"]

MOST_PARTS: Final = 12
"""Parts told at most, those with priority meters and the most meters first (own) [-]."""
REACHES_M: Final = (60.0, 250.0, 1000.0)
"""How far a live main is looked for, the nearest first (own) [m]."""
BESIDE_M: Final = 1.0
"""A live main nearer than this is joined by a closed valve, which is told already (own) [m]."""
MOST_PIECES: Final = 2000
"""Pieces of a part that are measured from, evenly chosen (own) [-]."""
NO_PROMISE: Final = "not sized, not promised"


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """Customers that could be fed together, and the nodes of their part."""

    customers: Ints
    nodes: Flags
    why: str
    is_parted: bool


def feed_lines(tables: EmergencyTables, recorded: RecordedRing, weak: Ints, low: Flags) -> tuple[str, ...]:
    """Return who could be fed from where, one line for each part, without any promise.

    Parameters
    ----------
    tables : EmergencyTables
    recorded : RecordedRing
    weak : int array
        Rows of the customers outside the ring that fall below their minimum while it closes.
    low : bool array, shape (nodes,)
        Nodes that lie below the minimum in some state.
    """
    outside_low = np.asarray(low & recorded.outcome.fed, dtype=np.bool_)
    parts = [*_parted(tables, recorded), *_weak_parts(tables, weak, outside_low)]
    network = tables.network
    customers = network.customers

    def weight(part: _Part) -> tuple[int, int, int]:
        first = sum(1 for row in part.customers.tolist() if customers.priority[row])
        return -first, -int(customers.meters[part.customers].sum()), int(part.customers[0])

    parts.sort(key=weight)
    ways = _Ways(tables, np.asarray(recorded.outcome.fed & ~low, dtype=np.bool_))
    lines = [ways.line(part) for part in parts[:MOST_PARTS]]
    if len(parts) > MOST_PARTS:
        lines.append(f"and {len(parts) - MOST_PARTS} more parts, each with fewer meters")
    return tuple(lines)


def _parted(tables: EmergencyTables, recorded: RecordedRing) -> Iterator[_Part]:
    """Yield the parts outside the ring that no station reaches any more."""
    rows = np.flatnonzero(recorded.outcome.parted)
    if not len(rows):
        return
    network, inside = tables.network, recorded.chosen.cut.inside
    closed = np.unique(np.array([stop.piece for stop in recorded.chosen.cut.stops], dtype=np.int64))
    label = components_without(network, closed)
    counts = np.asarray(~inside & ~recorded.outcome.fed, dtype=np.bool_)
    yield from _by_label(network.customers, rows, label, counts, is_parted=True)


def _weak_parts(tables: EmergencyTables, weak: Ints, low: Flags) -> Iterator[_Part]:
    """Yield the parts outside the ring that fall below the minimum together."""
    if not len(weak):
        return
    network = tables.network
    pieces = network.pieces
    joins = pieces.is_open & low[pieces.from_node] & low[pieces.to_node]
    label, _ = component_labels(len(network.nodes), pieces.from_node[joins], pieces.to_node[joins])
    customers = network.customers
    yield from _by_label(customers, weak, label, low, is_parted=False)


def _by_label(
    customers: Customers, rows: Ints, label: Ints32, counts: Flags, *, is_parted: bool
) -> Iterator[_Part]:
    """Yield some customers by the label of the first of their nodes that counts."""
    start, node = customers.attach_start, customers.attach_node
    why = "cut off from every station" if is_parted else "weak while the ring closes"
    of: dict[int, list[int]] = {}
    for row in rows.tolist():
        at = node[start[row] : start[row + 1]]
        at = at[counts[at]]
        if len(at):
            of.setdefault(int(label[at[0]]), []).append(row)
    for number, who in sorted(of.items()):
        nodes = np.asarray((label == number) & counts, dtype=np.bool_)
        yield _Part(np.array(who, dtype=np.int64), nodes, why, is_parted)


class _Ways:
    """Where a part could be fed from: closed valves beside live nodes, and live mains nearby."""

    def __init__(self, tables: EmergencyTables, live: Flags) -> None:
        self._tables, self._live = tables, live
        network = tables.network
        count = int(tables.part.max(initial=-1)) + 1
        self._outlet_pa: Floats = supply_of_parts(network, tables.part, count).outlet_high_pa_gauge
        pieces = network.pieces
        is_main = (pieces.pipe < network.pipes.n_mains) & (pieces.valve < 0)
        self._is_main = np.asarray(is_main & (pieces.to_m > pieces.from_m), dtype=np.bool_)

    def line(self, part: _Part) -> str:
        """Return the line of a part."""
        network = self._tables.network
        customers = network.customers
        first = sum(1 for row in part.customers.tolist() if customers.priority[row])
        meters = int(customers.meters[part.customers].sum())
        streets = [customers.street[row] or customers.address[row] for row in part.customers.tolist()]
        where = max(sorted(set(streets)), key=streets.count)
        who = ("1 meter" if meters == 1 else f"{meters} meters") + (
            f", {first} with priority" if first else ""
        )
        ways = [*self._valves(part), *self._mains(part)]
        of = "no closed valve beside it, no live main" + ("" if part.is_parted else " of another area")
        way = "; or ".join(ways) if ways else f"{of} within {REACHES_M[-1]:.0f} m"
        return f"{who}, {part.why}, round {where or 'no street on record'}: {way}; {NO_PROMISE}"

    def _fed(self, node: int) -> str:
        outlet_pa = float(self._outlet_pa[self._tables.part[node]])
        return (
            "set outlet not known"
            if np.isnan(outlet_pa)
            else f"set outlet {outlet_pa / PA_PER_MBAR:.1f} mbar"
        )

    def _valves(self, part: _Part) -> Iterator[str]:
        """Yield the nearest two closed valves between a part, or the area it is in, and live nodes."""
        network = self._tables.network
        valves, pieces, nodes = network.valves, network.pieces, network.nodes
        rows = np.flatnonzero((valves.state == ValveState.CLOSED) & (valves.piece >= 0))
        one, two = pieces.from_node[valves.piece[rows]], pieces.to_node[valves.piece[rows]]
        at = np.flatnonzero(part.nodes)
        mine = part.nodes if part.is_parted else self._tables.part == self._tables.part[at[0]]
        other = np.asarray(self._live & ~mine, dtype=np.bool_)
        rows = rows[(mine[one] & other[two]) | (mine[two] & other[one])]
        found = []
        for row in rows.tolist():
            piece = int(valves.piece[row])
            ends = int(pieces.from_node[piece]), int(pieces.to_node[piece])
            live = ends[0] if other[ends[0]] else ends[1]
            away_m = np.hypot(nodes.x_m[at] - nodes.x_m[live], nodes.y_m[at] - nodes.y_m[live]).min()
            found.append((float(away_m) / network.scale, row, live))
        for away_m, row, live in sorted(found)[:2]:
            works = "operable" if valves.operable[row] == Operable.YES else "not known to be operable"
            main = network.pipes.id[int(pieces.pipe[int(valves.piece[row])])]
            beside = "" if away_m < BESIDE_M else f", {away_m:.0f} m away"
            state = f"recorded as closed, {works}; {self._fed(live)}"
            yield f"by opening valve {valves.id[row]} on main {main}{beside} ({state})"

    def _mains(self, part: _Part) -> Iterator[str]:
        """Yield the live main nearest to a part; for one that is still joined, of another area."""
        network = self._tables.network
        pieces, nodes, scale = network.pieces, network.nodes, network.scale
        own = np.flatnonzero(self._is_main & part.nodes[pieces.from_node] & part.nodes[pieces.to_node])
        if len(own) > MOST_PIECES:
            own = own[np.linspace(0, len(own) - 1, MOST_PIECES).round().astype(np.int64)]
        at = np.flatnonzero(part.nodes)
        lines = lines_between(network, pieces.pipe[own], pieces.from_m[own], pieces.to_m[own])
        if not len(own):
            lines = np.asarray(shapely.points(nodes.x_m[at], nodes.y_m[at]), dtype=object).reshape(-1)
        west, east = nodes.x_m[at].min(), nodes.x_m[at].max()
        south, north = nodes.y_m[at].min(), nodes.y_m[at].max()
        ends = pieces.from_node, pieces.to_node
        alive = self._is_main & pieces.is_open & self._live[ends[0]] & self._live[ends[1]]
        if not part.is_parted:
            alive &= self._tables.part[ends[0]] != self._tables.part[at[0]]
        for reach_m in REACHES_M:
            room = reach_m * scale
            x, y = nodes.x_m[ends[0]], nodes.y_m[ends[0]]
            near = alive & (x >= west - room) & (x <= east + room) & (y >= south - room) & (y <= north + room)
            rows = np.flatnonzero(near)
            if not len(rows):
                continue
            courses = lines_between(network, pieces.pipe[rows], pieces.from_m[rows], pieces.to_m[rows])
            (mine, theirs), gap = shapely.STRtree(courses).query_nearest(lines, return_distance=True)
            best = int(np.argmin(gap))
            if gap[best] > room:
                continue
            if gap[best] < BESIDE_M * scale:
                return  # the other side of a closed valve
            piece = int(rows[theirs[best]])
            pipe = int(pieces.pipe[piece])
            street = network.pipes.street[pipe]
            origin = f" from main {network.pipes.id[int(pieces.pipe[own[mine[best]]])]}" if len(own) else ""
            yield (
                f"from main {network.pipes.id[pipe]}{f' in {street}' if street else ''} "
                f"({network.systems[int(network.pipes.system[pipe])]}, {self._fed(int(ends[0][piece]))}), "
                f"{gap[best] / scale:.0f} m straight{origin}"
            )
            return
