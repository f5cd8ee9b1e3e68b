"""The map of one stage, in one file that opens without any network."""

from __future__ import annotations

import math
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from netplan.isolation import MINOR_PER_UNIT
from netplan.outputs.map.lat_lon import lines_of, points_of
from netplan.outputs.map.network_on_map import Box
from netplan.outputs.map.offline_page import MapPage
from netplan.outputs.map.search_index import search_part
from netplan.outputs.map.surroundings import base_round, command_of, stations_in, valves_in
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.screen_table import CAUTION
from netplan.outputs.stage_table import stage_folder_name
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
        Result of `stage_layers`.
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
        scripts=(
            *("symbols.js", "label_places.js", "roving_focus.js", "search.js", "layers.js"),
            *("plan_command.js", "printing.js", "stage.js"),
        ),
        place=(lat, lon),
        data=data,
        search=_found(staging, layers, number),
    ).html()


def stage_map_data(
    staging: Staging, layers: dict[str, gpd.GeoDataFrame], number: int, units: Figures = METRIC
) -> dict[str, Any]:
    """Return the data of the page of a stage, counted from 1; every text in it is data, shown as it is."""
    stage = staging.stages[number - 1]
    own = _own(layers, number)
    box = _box_round(own["zones"])
    near = _near(staging, box)
    pipes = staging.network.pipes
    around, _ = base_round(staging.network, box, ("water", "streets", "buildings", "rail"))
    burden = stage.burden_minor / MINOR_PER_UNIT
    stops, rows = own["stops"], own["stops"].to_dict("records")
    customers = own.get("customers")
    return {
        "units": units.name,
        "around": around,
        "stations": stations_in(staging.network, box, units),
        "valves": valves_in(staging.network, box),
        "command": command_of(staging.network, (), units),
        "parts": [[part.main_id, _up(part.from_m), _down(part.to_m)] for part in stage.parts],
        "heading": f"Stage {number} of {len(staging.stages)}",
        "window": (
            f"{units.length(stage.from_m)} to {units.length(stage.to_m)} along the renewal; "
            f"{stage.meters_off} meters off; burden {burden:,.0f} {staging.rules.price.currency}; "
            f"its plan: folder {stage_folder_name(number)}"
        ),
        "caution": CAUTION,
        "mains": [
            {
                "line": line,
                "id": pipes.id[row],
                "street": pipes.street[row],
                "length_m": _down(pipes.length_m.item(row)),
            }
            for row, line in zip(near["row"].tolist(), lines_of(near, 6), strict=True)
        ],
        "renewal": lines_of(layers["work"], 6),
        "zones": lines_of(own["zones"]),
        "work": lines_of(own["work"]),
        "hoses": lines_of(own["bypasses"]) if "bypasses" in own else [],
        "stops": [
            {
                "at": at,
                "id": row["stop_id"],
                "kind": row["kind"],
                "words": _stop_words(row, units),
                "before": bool(row["before_id"]),
            }
            for at, row in zip(points_of(stops), rows, strict=True)
        ],
        "customers": []
        if customers is None or not len(customers)
        else [
            {"at": at, "words": f"{row['customer_id']}, {row['address']}"}
            for at, row in zip(points_of(customers), customers.to_dict("records"), strict=True)
            if at is not None
        ],
    }


def _own(layers: dict[str, gpd.GeoDataFrame], number: int) -> dict[str, gpd.GeoDataFrame]:
    return {name: frame[frame["stage"] == number].reset_index(drop=True) for name, frame in layers.items()}


def _stop_words(row: dict[Any, Any], units: Figures) -> str:
    name = f"{row['method']} {row['valve_id'] or ''}".strip()
    words = f"{name}, {row['main_id']} at {units.chainage(row['chainage_m'])}"
    if row["before_id"]:
        words += f", at {row['before_id']} of the stage before"
    return words + (
        f", in the new pipe of stage {row['new_pipe_of_stage']}" if row["new_pipe_of_stage"] else ""
    )


def _up(length_m: float) -> float:
    return math.ceil(length_m * 1000.0 - 1e-6) / 1000.0


def _down(length_m: float) -> float:
    return math.floor(length_m * 1000.0 + 1e-6) / 1000.0


def _box_round(zones: gpd.GeoDataFrame) -> Box:
    x_low, y_low, x_high, y_high = (float(edge) for edge in zones.total_bounds)
    return x_low - AROUND_M, y_low - AROUND_M, x_high + AROUND_M, y_high + AROUND_M


def _near(staging: Staging, box: Box) -> gpd.GeoDataFrame:
    """Return the mains near a stage, with the row of each."""
    pipes = staging.network.pipes
    end = pipes.coord_start[pipes.n_mains]
    lines = np.asarray(
        shapely.from_ragged_array(
            shapely.GeometryType.LINESTRING, pipes.coords_m[:end], (pipes.coord_start[: pipes.n_mains + 1],)
        ),
        dtype=object,
    )
    rows = np.flatnonzero(shapely.intersects(lines, shapely.box(*box)))
    return gpd.GeoDataFrame({"row": rows}, geometry=lines[rows], crs=staging.network.crs)


def _found(staging: Staging, layers: dict[str, gpd.GeoDataFrame], number: int) -> dict[str, Any]:
    """Return what the search finds: mains and valves near the stage, and the meter points that are off."""
    network, own = staging.network, _own(layers, number)
    box = _box_round(own["zones"])
    near = _near(staging, box)
    rows = near["row"].tolist()
    middles = shapely.line_interpolate_point(near.geometry.array, 0.5, normalized=True)
    customers = network.customers
    named = own["customers"]["customer_id"] if "customers" in own else ()
    off = [customers.id.find(name) for name in named]
    return {
        "Main": search_part(
            [network.pipes.id[row] for row in rows],
            [network.pipes.street[row] for row in rows],
            shapely.get_x(middles),
            shapely.get_y(middles),
            network.crs,
        ),
        "Valve": valves_in(network, box),
        "Meter point": search_part(
            [customers.id[row] for row in off],
            [customers.address[row] for row in off],
            customers.x_m[off],
            customers.y_m[off],
            network.crs,
        ),
    }
