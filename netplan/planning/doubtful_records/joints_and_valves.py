"""Doubtful joints and valves near an option: each says what is taken to be so, and what may be so instead."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.network.checks.missing_joints import crossings, near_misses
from netplan.network.linear_reference import lines_between, piece_at
from netplan.network.model import Network
from netplan.network.vocabulary import ValveState
from netplan.planning.doubtful_records.connectivity_state import ConnectivityState

__all__ = [
    "NEAR_M",
    "Closing",
    "Doubt",
    "Joining",
    "Parting",
    "doubts_near",
    "places_touched",
    "taken_joined",
]


NEAR_M: Final = 500.0
"""How far round what an option touches a valve of unknown state is doubted (own) [m]."""
Box = tuple[float, float, float, float]
_TAKEN: Final = {
    "services-touch": "is taken to be joined to the service it touches",
    "service-between-mains": "is taken to be joined to the mains at both of its ends",
    "service-on-crossing": "starts where two mains cross, which are taken to be joined there",
}


@dataclass(frozen=True, slots=True)
class Doubt:
    """One doubtful record.

    Parameters
    ----------
    code : str
        Code of the finding, or ``valve-closed`` for a recorded state that is only believed.
    layer, feature_id, other_id : str
        The feature, and for a joint the main it may be joined to.
    taken_as, may_be : str
        What the plan takes to be so, and what may be so instead.
    main : int
        Row of the main where a further stop would go, or a proof.
    chainage_m : float
        Where on it [m].
    x_m, y_m : float
        Place in the working CRS [m].
    """

    code: str
    layer: str
    feature_id: str
    other_id: str
    taken_as: str
    may_be: str
    main: int
    chainage_m: float
    x_m: float
    y_m: float


@dataclass(frozen=True, slots=True)
class Joining(Doubt):
    """A joint that may be there although it is not taken to be.

    `one` and `other` are the places joined, with the stops in; `nodes` are nodes that hang together with them
    before any stop.
    """

    one: int
    other: int
    nodes: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Closing(Doubt):
    """A way that may be shut although gas is taken to pass: `piece` is its piece."""

    piece: int


@dataclass(frozen=True, slots=True)
class Parting(Doubt):
    """A joint that may not be there although gas is taken to pass.

    `cuts` are the pieces that then end short of it, `links` the pairs of nodes that hang together past it,
    `at` is the node of the joint.
    """

    at: int

    cuts: tuple[int, ...]
    links: tuple[tuple[int, int], ...]


def doubts_near(connectivity: ConnectivityState, touched: NDArray[np.bool_]) -> list[Doubt]:
    """Return the doubts that may change what an option does.

    Parameters
    ----------
    connectivity : ConnectivityState
    touched : bool array, shape (nodes,)
        Nodes in the zones and in what they cut off.
    """
    network = connectivity.network
    around = places_touched(connectivity, touched)
    low, high = around.min(axis=0), around.max(axis=0)
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return [
        *_near_misses(connectivity, _wider(box, 5.0)),
        *_crossings(connectivity, _wider(box, 5.0)),
        *_closed_valves(connectivity, touched),
        *_unknown_valves(network, _wider(box, NEAR_M)),
    ]


def places_touched(connectivity: ConnectivityState, touched: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return places that an option touches [m]: nodes, live sides of stops, and courses between them."""
    network, pieces = connectivity.network, connectivity.network.pieces
    xy = np.column_stack([network.nodes.x_m, network.nodes.y_m])
    inside = [part for zone in connectivity.cut.zones for part in zone.pieces]
    piece = np.array([part.piece for part in inside], dtype=np.int64)
    live = [stop.live_node for stop in connectivity.cut.stops]
    ends = np.concatenate([pieces.from_node[piece], pieces.to_node[piece]])
    between = np.flatnonzero(touched[pieces.from_node] & touched[pieces.to_node])
    lines = lines_between(
        network,
        np.concatenate([pieces.pipe[piece], pieces.pipe[between]]),
        np.concatenate([[part.from_m for part in inside], pieces.from_m[between]]),
        np.concatenate([[part.to_m for part in inside], pieces.to_m[between]]),
    )
    return np.concatenate([xy[touched], xy[live], xy[ends], shapely.get_coordinates(lines)])


def _wider(box: Box, by_m: float) -> Box:
    return box[0] - by_m, box[1] - by_m, box[2] + by_m, box[3] + by_m


def _near_misses(connectivity: ConnectivityState, box: Box) -> list[Doubt]:
    network, pipes = connectivity.network, connectivity.network.pipes
    found = near_misses(network, within=box)
    result: list[Doubt] = []
    for at in range(len(found)):
        pipe, main = int(found.pipe[at]), int(found.main[at])
        layer = "mains" if pipe < pipes.n_mains else "services"
        end = 0.0 if found.side[at] == 0 else float(pipes.length_m[pipe])
        foot = _chainage(network, main, found.foot_m[at])
        result.append(
            Joining(
                "near-miss",
                layer,
                pipes.id[pipe],
                pipes.id[main],
                f"ends {found.gap_m[at] / network.scale:.2f} m short of it, not joined",
                "joined",
                pipe,
                end,
                float(found.end_m[at, 0]),
                float(found.end_m[at, 1]),
                connectivity.place(pipe, end),
                connectivity.place(main, foot),
                (_node(network, pipe, end), _node(network, main, foot)),
            )
        )
    return result


def _crossings(connectivity: ConnectivityState, box: Box) -> list[Doubt]:
    network, pipes = connectivity.network, connectivity.network.pipes
    found = crossings(network, box)
    result: list[Doubt] = []
    for at in range(len(found)):
        one, other = int(found.one[at]), int(found.other[at])
        here, there = (_chainage(network, main, found.at_m[at]) for main in (one, other))
        result.append(
            Joining(
                "crossing",
                "mains",
                pipes.id[one],
                pipes.id[other],
                "crosses it, not joined",
                "joined",
                one,
                here,
                float(found.at_m[at, 0]),
                float(found.at_m[at, 1]),
                connectivity.place(one, here),
                connectivity.place(other, there),
                (_node(network, one, here), _node(network, other, there)),
            )
        )
    return result


def _closed_valves(connectivity: ConnectivityState, touched: NDArray[np.bool_]) -> list[Doubt]:
    """Return the closed valves beside what an option empties or cuts off."""
    beside = {
        *connectivity.part[np.flatnonzero(touched)].tolist(),
        *connectivity.part[connectivity.zone_places].tolist(),
    }
    network, valves, pieces = connectivity.network, connectivity.network.valves, connectivity.network.pieces
    stops = {stop.valve for stop in connectivity.cut.stops}
    shut = np.flatnonzero((valves.piece >= 0) & (valves.state == ValveState.CLOSED))
    result: list[Doubt] = []
    for valve in shut.tolist():
        piece = int(valves.piece[valve])
        one, other = (
            _with_zone(connectivity, int(ends[piece])) for ends in (pieces.from_node, pieces.to_node)
        )
        sides = {int(connectivity.part[one]), int(connectivity.part[other])}
        if valve in stops or connectivity.carries[piece] or len(sides) == 1 or not sides & beside:
            continue
        x, y = (float(axis[pieces.from_node[piece]]) for axis in (network.nodes.x_m, network.nodes.y_m))
        result.append(
            Joining(
                "valve-closed",
                "valves",
                valves.id[valve],
                "",
                "closed, as recorded",
                "open, or letting by",
                int(valves.pipe[valve]),
                float(valves.chainage_m[valve]),
                x,
                y,
                one,
                other,
                (int(pieces.from_node[piece]), int(pieces.to_node[piece])),
            )
        )
    return result


def _node(network: Network, pipe: int, chainage_m: float) -> int:
    """Return a node of the piece that holds a place."""
    return int(network.pieces.from_node[piece_at(network, pipe, chainage_m)])


def _with_zone(connectivity: ConnectivityState, node: int) -> int:
    for number, zone in enumerate(connectivity.cut.zones):
        if node in zone.nodes:
            return len(connectivity.network.nodes) + number
    return node


def _unknown_valves(network: Network, box: Box) -> list[Doubt]:
    valves, pieces, nodes = network.valves, network.pieces, network.nodes
    unknown = np.flatnonzero((valves.piece >= 0) & (valves.state == ValveState.UNKNOWN))
    node = pieces.from_node[valves.piece[unknown]]
    xy = np.column_stack([nodes.x_m[node], nodes.y_m[node]])
    inside = (xy >= box[:2]).all(axis=1) & (xy <= box[2:]).all(axis=1)
    unknown, xy = unknown[inside], xy[inside]
    return [
        Closing(
            "valve-state-unknown",
            "valves",
            valves.id[int(unknown[k])],
            "",
            "open, though its state is not recorded",
            "closed",
            int(valves.pipe[unknown[k]]),
            float(valves.chainage_m[unknown[k]]),
            float(xy[k, 0]),
            float(xy[k, 1]),
            int(valves.piece[unknown[k]]),
        )
        for k in range(len(unknown))
    ]


def _chainage(network: Network, pipe: int, xy_m: NDArray[np.float64]) -> float:
    """Return the chainage [m] of the foot of a point on a pipe."""
    pipes = network.pipes
    course = pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]]
    begin, step = course[:-1], np.diff(course, axis=0)
    length = np.hypot(*step.T)
    share = np.clip(((xy_m - begin) * step).sum(axis=1) / np.maximum(length**2, 1e-12), 0.0, 1.0)
    gap = np.hypot(*(begin + share[:, None] * step - xy_m).T)
    best = int(gap.argmin())
    return float((length[:best].sum() + share[best] * length[best]) / network.scale)


def taken_joined(network: Network, around_m: NDArray[np.float64]) -> list[Parting]:
    """Return the joints near some places that are there only because a service is drawn so.

    Parameters
    ----------
    network : Network
    around_m : float array, shape (n, 2)
        Places that an option touches, working CRS [m].
    """
    low, high = around_m.min(axis=0) - NEAR_M, around_m.max(axis=0) + NEAR_M
    found: list[Parting] = []
    for finding in network.findings:
        if finding.code not in _TAKEN or finding.x_m is None or finding.y_m is None:
            continue
        xy = np.array([finding.x_m, finding.y_m])
        pipe = network.pipes.id.find(finding.feature_id, network.pipes.n_mains)
        if pipe >= 0 and (xy >= low).all() and (xy <= high).all():
            found.extend(_partings(network, finding.code, pipe, xy))
    return found


def _partings(network: Network, code: str, pipe: int, xy: NDArray[np.float64]) -> Iterator[Parting]:
    rows, pieces = network.pieces.rows_of(pipe), network.pieces
    ends = (int(pieces.from_node[rows[0]]), int(pieces.to_node[rows[-1]]))
    if code == "service-on-crossing":
        for node in ends:
            for pair in _through(network, node):
                far = tuple(_other_end(network, piece, node) for piece in pair)
                yield _parting(network, code, pipe, node, pair, ((far[0], far[1]),))
        return
    near = min(ends, key=lambda node: (_gap(network, node, xy), node))
    yield _parting(network, code, pipe, near, (rows[0] if near == ends[0] else rows[-1],), ())


def _through(network: Network, node: int) -> list[tuple[int, int]]:
    """Return the two pieces of each main that passes a node, where two mains do."""
    pieces = network.pieces
    at = np.flatnonzero((pieces.from_node == node) | (pieces.to_node == node))
    at = at[pieces.pipe[at] < network.pipes.n_mains]
    pipes, count = np.unique(pieces.pipe[at], return_counts=True)
    passing = pipes[count == 2]
    if len(passing) < 2:
        return []
    pairs = [at[pieces.pipe[at] == pipe].tolist() for pipe in passing.tolist()]
    return [(pair[0], pair[1]) for pair in pairs]


def _other_end(network: Network, piece: int, node: int) -> int:
    one, other = int(network.pieces.from_node[piece]), int(network.pieces.to_node[piece])
    return other if one == node else one


def _gap(network: Network, node: int, xy: NDArray[np.float64]) -> float:
    return float(np.hypot(network.nodes.x_m[node] - xy[0], network.nodes.y_m[node] - xy[1]))


def _parting(
    network: Network,
    code: str,
    pipe: int,
    node: int,
    cuts: tuple[int, ...],
    links: tuple[tuple[int, int], ...],
) -> Parting:
    piece = cuts[0]
    return Parting(
        code,
        "services",
        network.pipes.id[pipe],
        "",
        _TAKEN[code],
        "not joined",
        int(network.pieces.pipe[piece]),
        float(network.pieces.from_m[piece]),
        float(network.nodes.x_m[node]),
        float(network.nodes.y_m[node]),
        node,
        cuts,
        links,
    )
