"""The map of a plan: stops, zones, customers and all that is drawn round them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd

from netplan.outputs.map.offline_page import MapPage
from netplan.outputs.map.plan_map_data import map_data
from netplan.outputs.map.search_index import search_index
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile import SolvedState
from netplan.planfile.model import Plan

__all__ = ["plan_map"]

# Drawing a large network again for every frame of a zoom would only halt the reader.
_ANIMATED_PIECES = 30_000


def plan_map(
    plan: Plan,
    layers: Mapping[str, gpd.GeoDataFrame],
    states: Sequence[SolvedState],
    *,
    units: Figures = METRIC,
    tiles: str | None = None,
    superseded: str = "",
) -> str:
    """Return the map of a plan as one HTML file that opens without any network.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        As `plan_layers` returns and `read_plan_layers` reads them: a plan folder is enough.
    states : sequence of SolvedState
        One for each option, in the order of the options.
    units : Figures
        How figures are written.
    tiles : str, optional
        Address pattern of an online background (``{z}/{x}/{y}``), which the reader may switch on. Without
        it the page forbids itself every request.
    superseded : str
        By what the plan is superseded, in words; empty where it stands.
    """
    data = map_data(plan, layers, states, units, superseded)
    if tiles is not None:
        data["tiles"] = tiles
    return MapPage(
        title=f"Stop plan {data['heading']}",
        label="Plan",
        kicker="Stop plan",
        panel="plan.html",
        style="plan.css",
        scripts=(
            *("symbols.js", "label_places.js", "roving_focus.js", "search.js"),
            *("layers.js", "plan_layers.js", "panel.js", "printing.js", "plan.js"),
        ),
        place=_middle(layers),
        data=data,
        tiles=tiles,
        search=search_index(states[0].pipes, states[0].customers, layers["work"].crs),
        options={"zoomAnimation": sum(len(state.pipes) for state in states) < _ANIMATED_PIECES},
    ).html()


def _middle(layers: Mapping[str, gpd.GeoDataFrame]) -> tuple[float, float]:
    x_low, y_low, x_high, y_high = layers["work"].to_crs("EPSG:4326").total_bounds
    return float(y_low + y_high) / 2, float(x_low + x_high) / 2
