"""Places on pipes by id and chainage, and layers of rows at such places."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from netplan.network.linear_reference import PipeLines
from netplan.network.model import Network

__all__ = ["PipePlaces"]


class PipePlaces:
    """Finds pipes by id and turns chainages into geometries.

    Parameters
    ----------
    network : Network
    lines : PipeLines
    """

    def __init__(self, network: Network, lines: PipeLines) -> None:
        self._pipes = network.pipes
        self._lines = lines
        self.crs = network.crs

    def row(self, layer: str, pipe_id: str) -> int:
        """Return the row of a pipe, -1 when there is none of that id."""
        n_mains = self._pipes.n_mains
        if layer == "services":
            return self._pipes.id.find(pipe_id, n_mains)
        return self._pipes.id.find(pipe_id, 0, n_mains)

    def point(self, main_id: str, chainage_m: float) -> shapely.Point | None:
        """Return the place on a main, None when there is no such main."""
        row = self.row("mains", main_id)
        if row < 0:
            return None
        return shapely.Point(self._lines.xy_at(np.array([row]), np.array([chainage_m]))[0])

    def part(self, layer: str, pipe_id: str, from_m: float, to_m: float) -> shapely.LineString | None:
        """Return the part of a pipe, None when there is no such pipe."""
        row = self.row(layer, pipe_id)
        if row < 0:
            return None
        line: shapely.LineString = self._lines.parts(np.array([row]), np.array([from_m]), np.array([to_m]))[0]
        return line

    def frame(self, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> gpd.GeoDataFrame:
        """Return rows (the geometry last) as a layer with these columns, even when there are none."""
        table = list(rows)
        data = {name: [row[k] for row in table] for k, name in enumerate(columns)}
        return gpd.GeoDataFrame(data, geometry=[row[-1] for row in table], crs=self.crs)
