"""The ranked table of mains: GeoParquet and CSV."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import NDArray

from netplan.outputs.notices.table import guarded
from netplan.screening.columns import INNER
from netplan.screening.run import Screen

__all__ = ["ranked", "ranking", "write_csv", "write_geoparquet"]


def ranking(screen: Screen, by: str) -> NDArray[np.int64]:
    """Return the rows of the mains, the worst first; those without the figure come last, ties by id."""
    figure = screen.column(by)
    worst = figure if by == "least_pressure_mbar" else -figure
    order: NDArray[np.int64] = np.argsort(np.where(np.isnan(worst), np.inf, worst), kind="stable")
    return order


def ranked(screen: Screen, by: str) -> gpd.GeoDataFrame:
    """Return the mains as a layer in the working CRS, the worst first."""
    pipes = screen.network.pipes
    order = ranking(screen, by)
    table = screen.table.drop_columns(list(INNER)).take(pa.array(order))
    end = pipes.coord_start[pipes.n_mains]
    lines = shapely.from_ragged_array(
        shapely.GeometryType.LINESTRING, pipes.coords_m[:end], (pipes.coord_start[: pipes.n_mains + 1],)
    )
    frame = table.to_pandas(types_mapper={pa.int64(): pd.Int64Dtype()}.get)
    frame.insert(0, "rank", np.arange(1, len(frame) + 1))
    return gpd.GeoDataFrame(frame, geometry=np.asarray(lines, dtype=object)[order], crs=screen.network.crs)


def write_geoparquet(mains: gpd.GeoDataFrame, path: Path) -> None:
    """Write the ranked mains as GeoParquet."""
    mains.to_parquet(path, index=False)


def write_csv(mains: gpd.GeoDataFrame, path: Path) -> None:
    """Write the ranked mains as CSV; no text is a formula to a spreadsheet."""
    frame = mains.drop(columns="geometry").copy()
    for name in ("main_id", "street", "system", "material", "reason", "stop_methods", "least_pressure_at"):
        frame[name] = [guarded(str(text)) if isinstance(text, str) else "" for text in frame[name]]
    frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")
