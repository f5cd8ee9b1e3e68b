"""Joints that are taken to be there because a service is drawn through or up to them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.network.model import Network
from netplan.planning.doubtful_records.doubts import NEAR_M, Parting

__all__ = ["taken_joined"]

_TAKEN: Final = {
    "services-touch": "is taken to be joined to the service it touches",
    "service-between-mains": "is taken to be joined to the mains at both of its ends",
    "service-on-crossing": "starts where two mains cross, which are taken to be joined there",
}


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
