"""Rows that say again what another row says: they go."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyarrow as pa
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.network.contract import layer_specs
from netplan.network.normalise import column_text
from netplan.network.raw_layers import RawLayer, as_objects, take_shapes
from netplan.network.repair.changes import Change

__all__ = ["without_doubles", "without_repeated_rows"]

_LINES: Final = ("mains", "services")


def without_repeated_rows(layer: RawLayer) -> tuple[RawLayer, list[Change]]:
    """Return a layer without rows whose every column and geometry equal those of an earlier row."""
    first = _first_alike(layer, _columns(layer), turned=False)
    repeat = np.flatnonzero(first != np.arange(len(layer)))
    code = "duplicate-id" if layer_specs()[layer.name].has_id else "repeated-row"
    names = _names(layer)
    changes = [
        Change(layer.name, names[row], code, "a row that repeats another one in everything is left out")
        for row in repeat.tolist()
    ]
    return _without(layer, repeat), changes


def without_doubles(layer: RawLayer, referred: frozenset[str]) -> tuple[RawLayer, list[Change], list[Change]]:
    """Return a layer without features that equal an earlier one in everything but the id.

    Parameters
    ----------
    layer : RawLayer
        Mains or services, which may be drawn in the other direction, or valves or fittings.
    referred : frozenset of str
        Ids that other layers refer to: those features stay.
    """
    if "id" not in layer.columns.column_names or len(layer) < 2:
        return layer, [], []
    ids = column_text(layer.columns["id"])
    order = np.asarray(np.argsort(ids.numpy(), kind="stable"), dtype=np.int64)
    columns = [name for name in _columns(layer) if name != "id"]
    first = order[_first_alike(_taken(layer, order), columns, turned=layer.name in _LINES)]
    alike = np.flatnonzero(first != order)
    gone, changes, left = [], [], []
    code = "on-top" if layer.name in _LINES else "same-place"
    for place in alike.tolist():
        row, other = int(order[place]), int(first[place])
        name, twin = ids[row], ids[other]
        if name == twin:
            continue
        if name in referred:
            why = f"equals {twin} in everything, but customers name both"
            if twin in referred:
                left.append(Change(layer.name, name, code, f"{why}; correct service_id first"))
                continue
            # The one that nobody refers to goes instead.
            row, name, twin = other, twin, name
        if row not in gone:
            gone.append(row)
            words = f"equals {twin} in everything but the id; it is left out"
            changes.append(Change(layer.name, name, code, words))
    return _without(layer, np.array(sorted(gone), dtype=np.int64)), changes, left


def _columns(layer: RawLayer) -> list[str]:
    known = {column.name for column in layer_specs()[layer.name].columns}
    return [name for name in layer.columns.column_names if name in known]


def _names(layer: RawLayer) -> list[str]:
    for key in ("id", "station_id", "reason", "name"):
        if key in layer.columns.column_names:
            return list(column_text(layer.columns[key]))
    return [""] * len(layer)


def _first_alike(layer: RawLayer, columns: list[str], *, turned: bool) -> Ints:
    """Return for each row the first row with the same values and the same shape."""
    n = len(layer)
    shapes = as_objects(layer.geometry)
    codes: list[Any] = [_code(column_text(layer.columns[name]).arrow) for name in columns]
    if turned:
        usable = ~shapely.is_missing(shapes)
        shapes = shapes.copy()
        shapes[usable] = shapely.normalize(shapes[usable])
    codes.append(_code(pa.array(shapely.to_wkb(shapes), type=pa.binary())))
    order = np.lexsort([np.arange(n), *codes])
    new = np.ones(n, dtype=bool)
    new[1:] = np.any([code[order][1:] != code[order][:-1] for code in codes], axis=0)
    first = np.empty(n, dtype=np.int64)
    first[order] = order[np.maximum.accumulate(np.where(new, np.arange(n), 0))] if n else order
    return first


def _code(array: Any) -> NDArray[np.int64]:
    indices = array.dictionary_encode().indices
    return np.asarray(indices.fill_null(-1).to_numpy(zero_copy_only=False), dtype=np.int64)


def _taken(layer: RawLayer, rows: Ints) -> RawLayer:
    return RawLayer(
        layer.name, layer.columns.take(pa.array(rows)), take_shapes(layer.geometry, rows), layer.crs
    )


def _without(layer: RawLayer, rows: Ints) -> RawLayer:
    if not len(rows):
        return layer
    keep = np.ones(len(layer), dtype=bool)
    keep[rows] = False
    return _taken(layer, np.flatnonzero(keep))
