"""Geometries from well-known binary."""

from __future__ import annotations

import struct
from typing import Any, Final

import numpy as np
import pyarrow as pa
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from netplan.network.flat import LINE, POINT, FlatShapes, Shapes
from netplan.network.raw import OddShapes
from netplan.readers.sources.curves import (
    UnknownShapeError,
    has_curves,
    kind_name,
    straightened,
    tolerance_in,
)

__all__ = ["shapes_of_wkb"]

_KINDS: Final = {
    1: (POINT, 2),
    2: (LINE, 2),
    1001: (POINT, 3),
    1002: (LINE, 3),
    0x80000001: (POINT, 3),
    0x80000002: (LINE, 3),
}
"""Type codes of points and lines in plan and with Z (ISO and extended): kind and coordinates a vertex."""

_POINT_HEAD, _LINE_HEAD = 5, 9


def shapes_of_wkb(column: Any, crs: CRS | None) -> tuple[Shapes, OddShapes | None]:
    """Return geometries for an Arrow column of well-known binary, and what was odd about them.

    Where all features are points, or all are lines, their coordinates are read straight from the bytes. Arcs
    become straight lines within `curves.TOLERANCE_M`. What cannot be read, or is of a kind that is not read,
    is None.

    Parameters
    ----------
    column : pyarrow.Array or pyarrow.ChunkedArray
    crs : pyproj.CRS or None
        Reference system of the coordinates, for the tolerance.
    """
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if isinstance(array, pa.ChunkedArray):
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.nulls(0)
    if pa.types.is_null(array.type):
        return np.full(len(array), None, dtype=object), None
    flat = _flat(array)
    if flat is not None:
        return flat, None
    blobs = np.asarray(array.to_numpy(zero_copy_only=False), dtype=object)
    return _shapes(blobs, tolerance_in(crs))


def _shapes(blobs: NDArray[np.object_], tolerance: float) -> tuple[Shapes, OddShapes | None]:
    codes = np.fromiter(map(_code, blobs), dtype=np.uint32, count=len(blobs))
    by_hand = has_curves(codes)
    names = [kind_name(int(code)) for code in np.unique(codes)]
    shapes = np.full(len(blobs), None, dtype=object)
    shapes[~by_hand] = _by_shapely(blobs[~by_hand])
    if not by_hand.any() and not any(names):
        return shapes, None
    curved, unread = np.zeros(len(blobs), dtype=bool), np.full(len(blobs), "", dtype=object)
    for row in np.flatnonzero([kind_name(int(code)) is not None for code in codes]):
        unread[row] = kind_name(int(codes[row]))
    for row in np.flatnonzero(by_hand):
        try:
            shapes[row], curved[row] = straightened(blobs[row], tolerance)
        except UnknownShapeError as error:
            unread[row] = str(error)
        except (ValueError, struct.error, shapely.errors.ShapelyError):
            pass  # broken: as any other geometry that cannot be read
    return shapes, OddShapes(curved, unread) if curved.any() or unread.any() else None


def _by_shapely(blobs: NDArray[np.object_]) -> NDArray[np.object_]:
    try:
        return np.asarray(shapely.from_wkb(blobs, on_invalid="ignore"), dtype=object)
    except NotImplementedError:  # an arc inside a kind that holds none
        return np.asarray([_one_by_shapely(blob) for blob in blobs], dtype=object)


def _one_by_shapely(blob: bytes | None) -> Any:
    try:
        return shapely.from_wkb(blob, on_invalid="ignore")
    except NotImplementedError:
        return None


def _code(blob: bytes | None) -> int:
    """Return the type code at the head of a geometry; that of a point where there is none to read."""
    if blob is None or len(blob) < _POINT_HEAD:
        return 1
    return int.from_bytes(blob[1:5], "little" if blob[0] == 1 else "big")


def _flat(array: Any) -> FlatShapes | None:
    if not len(array) or array.null_count or not pa.types.is_binary(array.type):
        return None
    _, offset_bytes, data = array.buffers()
    offset = np.frombuffer(offset_bytes, dtype=np.int32)[array.offset : array.offset + len(array) + 1]
    body = np.frombuffer(data, dtype=np.uint8)[offset[0] : offset[-1]]
    begin = (offset[:-1] - offset[0]).astype(np.int64)
    size = np.diff(offset).astype(np.int64)
    if size.min() < _LINE_HEAD or (body[begin] != 1).any():
        return None
    kinds = _words(body, begin + 1)
    if (kinds != kinds[0]).any() or int(kinds[0]) not in _KINDS:
        return None
    kind, width = _KINDS[int(kinds[0])]
    head = _POINT_HEAD if kind == POINT else _LINE_HEAD
    count = np.ones(len(begin), dtype=np.int64) if kind == POINT else _words(body, begin + 5).astype(np.int64)
    if (count < (1 if kind == POINT else 2)).any() or (size != head + count * 8 * width).any():
        return None
    keep = np.ones(len(body), dtype=bool)
    keep[(begin[:, None] + np.arange(head)).ravel()] = False
    coords = body[keep].view("<f8").reshape(-1, width)
    if kind == POINT and np.isnan(coords[:, :2]).any():
        return None  # how an empty point is written
    start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    return FlatShapes(kind, coords.astype(np.float64, copy=False), start)


def _words(body: NDArray[np.uint8], at: NDArray[np.int64]) -> NDArray[np.uint32]:
    return np.ascontiguousarray(body[at[:, None] + np.arange(4)]).view("<u4").ravel()
