"""One digest for the content of a network: the same data in any order or file format agree."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.network.flat import as_objects
from netplan.network.lines import Lines
from netplan.network.normalise import NormalisedTable
from netplan.network.projection import GRID_M

__all__ = ["content_digest"]


def content_digest(
    crs: str,
    lines: Mapping[str, Lines],
    points: Mapping[str, tuple[NormalisedTable, NDArray[np.float64]]],
    areas: NormalisedTable,
) -> str:
    """Return the SHA-256 of normalised layers, each sorted by id.

    Parameters
    ----------
    crs : str
        Name of the working CRS.
    lines, points : mapping
        Layers by name; points with their places (n, 2) [m].
    areas : NormalisedTable
        The keep-out layer, geometry in the working CRS [m].
    """
    digest = hashlib.sha256()
    digest.update(f"netplan layers 1\n{crs}\n".encode())
    for name in sorted(lines):
        layer = lines[name]
        _add_table(digest, name, layer.table)
        _add_numbers(digest, "vertices", np.diff(layer.start).astype(np.float64), 1.0)
        _add_numbers(digest, "coords", layer.coords_m, GRID_M)
        _add_numbers(digest, "height", layer.height_m, 1e-3)
    for name in sorted(points):
        table, xy = points[name]
        _add_table(digest, name, table)
        _add_numbers(digest, "coords", xy, GRID_M)
    _add_table(digest, areas.name, areas)
    shapes = shapely.normalize(as_objects(areas.geometry))
    digest.update(b"".join(sorted(shape for shape in shapely.to_wkb(shapes, output_dimension=2) if shape)))
    return digest.hexdigest()


def _add_table(digest: Any, name: str, table: NormalisedTable) -> None:
    digest.update(f"layer {name} {len(table)}\n".encode())
    if not len(table):
        return
    for column in sorted(table.text):
        digest.update(f"text {column}\n".encode())
        _add_text(digest, table.text[column].arrow)
    for column in sorted(table.number):
        _add_numbers(digest, column, table.number[column], 1e-6)
    for column in sorted(table.code):
        digest.update(f"word {column}\n".encode())
        digest.update(_same_or_all(table.code[column]))


def _add_text(digest: Any, array: Any) -> None:
    # Lengths and bytes, so that no two lists of texts run together to the same bytes.
    if len(array) and pc.all(pc.equal(array, array[0])).as_py():
        digest.update(b"same" + array[0].as_py().encode())
        return
    lengths = pc.binary_length(array).to_numpy(zero_copy_only=False)
    digest.update(np.ascontiguousarray(lengths, dtype="<i4"))
    start, stop = _span(array)
    digest.update(memoryview(array.buffers()[2])[start:stop] if stop > start else b"")


def _span(array: Any) -> tuple[int, int]:
    offsets = np.frombuffer(array.buffers()[1], dtype=np.int32)[array.offset : array.offset + len(array) + 1]
    return int(offsets[0]), int(offsets[-1])


def _add_numbers(digest: Any, name: str, values: NDArray[np.float64], step: float) -> None:
    digest.update(f"number {name}\n".encode())
    flat = np.ravel(values)
    if len(flat) and np.isnan(flat[0]) and np.isnan(flat).all():
        digest.update(b"none")
        return
    with np.errstate(over="ignore"):  # what is too large counts as the largest
        whole = np.where(np.isnan(flat), np.iinfo(np.int64).min, np.round(flat / step))
    digest.update(_same_or_all(np.clip(whole, -9.2e18, 9.2e18).astype("<i8")))


def _same_or_all(values: NDArray[Any]) -> Any:
    if len(values) and (values == values[0]).all():
        return b"same" + values[:1].tobytes()
    return np.ascontiguousarray(values)
