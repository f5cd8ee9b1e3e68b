"""Layers as they come from a source, untouched: Arrow columns beside an array of geometries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray
from pyproj import CRS

from netplan.core.findings import Finding
from netplan.network.flat import Shapes

__all__ = ["OddShapes", "RawLayer", "RawLayers", "as_raw"]


@dataclass(frozen=True, slots=True, eq=False)
class OddShapes:
    """What reading the geometries of a layer noticed.

    Parameters
    ----------
    straightened : bool array, shape (n,)
        Features whose arcs became straight lines.
    unread : object array of str, shape (n,)
        What a feature is that is of a kind that is not read, as in ``a TIN``; empty for all others.
    """

    straightened: NDArray[np.bool_]
    unread: NDArray[np.object_]

    def take(self, rows: NDArray[Any]) -> OddShapes:
        """Return the same for some rows: indices, or a mask."""
        return OddShapes(self.straightened[rows], self.unread[rows])


@dataclass(frozen=True, slots=True, eq=False)
class RawLayer:
    """One layer of a source.

    Parameters
    ----------
    name : str
        Layer name of the contract.
    columns : pyarrow.Table
        Attributes as they stand in the source.
    geometry : object array or FlatShapes
        Shapely geometries, None where the source has none or one that cannot be read; or plain coordinates.
    crs : pyproj.CRS or None
        Coordinate reference system, where the source names one.
    odd : OddShapes, optional
        What reading the geometries noticed.
    """

    name: str
    columns: Any
    geometry: Shapes
    crs: CRS | None
    odd: OddShapes | None = None

    def __len__(self) -> int:
        return len(self.geometry)


@dataclass(frozen=True, slots=True, eq=False)
class RawLayers:
    """All layers of a source by their names, what they were read from, and what was noticed meanwhile."""

    source: str
    layers: Mapping[str, RawLayer] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __getitem__(self, name: str) -> RawLayer:
        return self.layers[name]

    def __contains__(self, name: str) -> bool:
        return name in self.layers


def as_raw(name: str, layer: Any) -> RawLayer:
    """Return a GeoDataFrame (or a raw layer, unchanged) as a raw layer."""
    if isinstance(layer, RawLayer):
        return layer
    frame = pd.DataFrame(layer.drop(columns=layer.geometry.name))
    arrays = {str(column): _arrow(frame.iloc[:, place]) for place, column in enumerate(frame.columns)}
    geometry = np.asarray(layer.geometry.to_numpy(), dtype=object)
    return RawLayer(name, pa.table(arrays), geometry, layer.crs)


def _arrow(series: Any) -> Any:
    try:
        return pa.Array.from_pandas(series)
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        # A column of mixed Python types: its texts are what a file would hold.
        missing = [value is None or (np.isscalar(value) and value != value) for value in series]
        words = [None if gone else str(value) for gone, value in zip(missing, series, strict=True)]
        return pa.array(words, type=pa.string())
