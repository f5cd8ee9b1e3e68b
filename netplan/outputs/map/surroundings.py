"""What a screen's and a stage's map draw round their mains: streets and water, regulator stations, valves."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from netplan.core.constants import PA_PER_MBAR
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.outputs.map.lat_lon import points_of
from netplan.outputs.map.network_on_map import Box, base_of
from netplan.outputs.map.search_index import search_part
from netplan.outputs.number_format import Figures

__all__ = ["base_round", "command_of", "stations_in", "valves_in"]

MOST_AREAS: Final = 20_000
"""Features of a base layer beyond which a map of many mains leaves it out (own) [-]."""
_STATE: Final = {ValveState.OPEN: "open", ValveState.CLOSED: "closed", ValveState.UNKNOWN: "state unknown"}
_OPERABLE: Final = {
    Operable.YES: "operable",
    Operable.NO: "not operable",
    Operable.UNKNOWN: "operable unknown",
}


def base_round(network: Network, box: Box, names: tuple[str, ...]) -> tuple[dict[str, Any], list[str]]:
    """Return the base map within a box, and the names of the layers that are too large for a page.

    Parameters
    ----------
    network : Network
    box : tuple of float
        Least and greatest x and y [m].
    names : tuple of str
        Layers wanted, of those that the network records.
    """
    window = shapely.box(*box)
    layers: dict[str, gpd.GeoDataFrame] = {}
    left_out = []
    for name in names:
        source = network.base.get(name)
        if source is None or not len(source):
            continue
        layer = source[source.intersects(window)]
        layer = layer.rename_geometry("geometry") if layer.geometry.name != "geometry" else layer
        if len(layer) > MOST_AREAS:
            left_out.append(name)
        elif len(layer):
            layers[name] = layer.reset_index(drop=True)
    return base_of(layers), left_out


def stations_in(network: Network, box: Box, units: Figures) -> list[dict[str, Any]]:
    """Return the regulator stations within a box: place, title and what is said of each."""
    stations = network.stations
    x, y = network.nodes.x_m[stations.node], network.nodes.y_m[stations.node]
    rows = np.flatnonzero(_inside(x, y, box))
    places = points_of(gpd.GeoSeries(shapely.points(x[rows], y[rows]), crs=network.crs))
    return [
        {
            "at": at,
            "id": stations.id[row],
            "title": f"Regulator station {stations.id[row]}",
            "rows": [("outlet", units.pressure(float(stations.outlet_pa_gauge[row]) / PA_PER_MBAR))],
        }
        for row, at in zip(rows.tolist(), places, strict=True)
        if at is not None
    ]


def valves_in(network: Network, box: Box) -> dict[str, Any]:
    """Return the valves of mains within a box as `search_part` does, each with state and main in words."""
    valves, pipes = network.valves, network.pipes
    on_main = (valves.pipe >= 0) & (valves.pipe < pipes.n_mains)
    rows = np.flatnonzero(on_main & _inside(valves.x_m, valves.y_m, box))
    words = [
        f"on {pipes.id[pipe]}, {_STATE[ValveState(state)]}, {_OPERABLE[Operable(operable)]}"
        for pipe, state, operable in zip(
            valves.pipe[rows].tolist(),
            valves.state[rows].tolist(),
            valves.operable[rows].tolist(),
            strict=True,
        )
    ]
    ids = [valves.id[row] for row in rows.tolist()]
    return search_part(ids, words, valves.x_m[rows], valves.y_m[rows], network.crs)


def command_of(network: Network, options: tuple[str, ...], units: Figures) -> dict[str, Any]:
    """Return the words of the plan command that a page completes with a main and its chainages.

    Parameters
    ----------
    network : Network
    options : tuple of str
        Further words: options and their values, as they are typed but for the shell's quotes.
    units : Figures
    """
    more = ("--units", "us") if units.name == "us" else ()
    return {"network": network.source, "options": [*options, *more]}


def _inside(x_m: Any, y_m: Any, box: Box) -> Any:
    low_x, low_y, high_x, high_y = box
    return (x_m >= low_x) & (x_m <= high_x) & (y_m >= low_y) & (y_m <= high_y)
