"""The map of one stage, in one file that opens without any network."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from netplan.isolation import MINOR_PER_UNIT
from netplan.outputs.map.lat_lon import lines_of, points_of
from netplan.outputs.map.offline_page import MapPage
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.screen_table import CAUTION
from netplan.staging import Staging

__all__ = ["stage_map", "stage_map_data"]

AROUND_M: Final = 400.0
"""How far round a stage the other mains are drawn (own) [m]."""


def stage_map(
    staging: Staging, layers: dict[str, gpd.GeoDataFrame], number: int, *, units: Figures = METRIC
) -> str:
    """Return the map of a stage, counted from 1.

    Parameters
    ----------
    staging : Staging
    layers : dict
        Result of `stage_folder.stage_layers`.
    number : int
    units : Figures
        How figures are written.
    """
    data = stage_map_data(staging, layers, number, units)
    lat, lon = data["work"][0][:2]
    return MapPage(
        title=f"Stage {number} of {len(staging.stages)}",
        label="Stage",
        kicker="Renewal in stages",
        panel="stage.html",
        style="figures.css",
        scripts=("stage.js",),
        place=(lat, lon),
        data=data,
        options={"prefer_canvas": True},
    ).html()


def stage_map_data(
    staging: Staging, layers: dict[str, gpd.GeoDataFrame], number: int, units: Figures = METRIC
) -> dict[str, Any]:
    """Return the data of the page of a stage, counted from 1; every text in it is data, shown as it is."""
    stage = staging.stages[number - 1]
    own = {name: frame[frame["stage"] == number].reset_index(drop=True) for name, frame in layers.items()}
    burden = (stage.burden_minor - stage.shared_minor) / MINOR_PER_UNIT
    stops = own["stops"]
    customers = own.get("customers")
    return {
        "heading": f"Stage {number} of {len(staging.stages)}",
        "window": (
            f"{units.length(stage.from_m)} to {units.length(stage.to_m)} along the renewal; "
            f"{len(stage.off)} customers off; burden {burden:,.0f} {staging.rules.price.currency}, "
            "no feed priced"
        ),
        "caution": CAUTION,
        "mains": lines_of(_near(staging, own["zones"]), 6),
        "renewal": lines_of(layers["work"], 6),
        "zones": lines_of(own["zones"]),
        "work": lines_of(own["work"]),
        "stops": [
            {"at": at, "words": _stop_words(row, units), "before": bool(row["made_before"])}
            for at, row in zip(points_of(stops), stops.to_dict("records"), strict=True)
        ],
        "customers": []
        if customers is None or not len(customers)
        else [
            {"at": at, "words": f"{row['customer_id']}, {row['address']}"}
            for at, row in zip(points_of(customers), customers.to_dict("records"), strict=True)
            if at is not None
        ],
    }


def _stop_words(row: dict[Any, Any], units: Figures) -> str:
    name = f"{row['method']} {row['valve_id']}".strip()
    words = f"{name}, {row['main_id']} at {units.chainage(row['chainage_m'])}"
    return f"{words}, made for the stage before" if row["made_before"] else words


def _near(staging: Staging, zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    pipes = staging.network.pipes
    end = pipes.coord_start[pipes.n_mains]
    lines = np.asarray(
        shapely.from_ragged_array(
            shapely.GeometryType.LINESTRING, pipes.coords_m[:end], (pipes.coord_start[: pipes.n_mains + 1],)
        ),
        dtype=object,
    )
    x_low, y_low, x_high, y_high = zones.total_bounds
    box = shapely.box(x_low - AROUND_M, y_low - AROUND_M, x_high + AROUND_M, y_high + AROUND_M)
    return gpd.GeoDataFrame(geometry=lines[shapely.intersects(lines, box)], crs=staging.network.crs)
