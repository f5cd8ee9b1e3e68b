"""The lines of a page's tile as a Mapbox vector tile: what MapLibre draws the same network from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.page.map_tiles import UNITS, TileLines

__all__ = ["vector_tile"]

MOVE_ONE, LINE_ONE = 9, 10
"""Commands of the format: move to one place, draw to one place."""


def _varints(values: NDArray[np.uint32]) -> bytes:
    """Return whole numbers in the variable-length form of protocol buffers."""
    size = np.ones(len(values), dtype=np.int64)
    for n in range(1, 5):
        size += values >= 1 << (7 * n)
    start = np.cumsum(size) - size
    out = np.zeros(int(size.sum()), dtype=np.uint8)
    for n in range(5):
        has = size > n
        more = (size[has] > n + 1).astype(np.uint8) << 7
        out[start[has] + n] = ((values[has] >> (7 * n)) & 0x7F).astype(np.uint8) | more
    return out.tobytes()


def _number(value: int) -> bytes:
    return _varints(np.array([value], dtype=np.uint32))


def _field(number: int, body: bytes) -> bytes:
    return _number(number << 3 | 2) + _number(len(body)) + body


def vector_tile(lines: TileLines) -> bytes:
    """Return one layer ``mains`` with one feature for each kind of line."""
    features = b""
    kinds = np.unique(lines.kind).tolist()
    for value, kind in enumerate(kinds):
        ends = lines.ends[lines.kind == kind].astype(np.int64).reshape(-1, 2)
        steps = np.diff(ends, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
        zigzag = ((steps << 1) ^ (steps >> 63)).astype(np.uint32).reshape(-1, 4)
        moves, draws = (np.full((len(zigzag), 1), command, np.uint32) for command in (MOVE_ONE, LINE_ONE))
        geometry = np.hstack([moves, zigzag[:, :2], draws, zigzag[:, 2:]]).ravel()
        body = _field(2, _varints(np.array([0, value], dtype=np.uint32)))
        body += _number(3 << 3) + _number(2) + _field(4, _varints(geometry))
        features += _field(2, body)
    values = b"".join(_field(4, _number(5 << 3) + _number(int(kind))) for kind in kinds)
    head = _number(15 << 3) + _number(2) + _field(1, b"mains")
    return _field(3, head + features + _field(3, b"kind") + values + _number(5 << 3) + _number(UNITS))
