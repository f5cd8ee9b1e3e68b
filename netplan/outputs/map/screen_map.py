"""The map of a screen: every main coloured by a figure, in one file that opens without any network."""

from __future__ import annotations

import math
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.outputs.map.lat_lon import LON_LAT
from netplan.outputs.map.network_on_map import Box
from netplan.outputs.map.offline_page import MapPage
from netplan.outputs.map.surroundings import base_round, command_of, stations_in, valves_in
from netplan.outputs.map.window_options import window_options
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.screen_table import (
    BYPASS_WORDS,
    CAUTION,
    CAUTION_IN_FULL,
    EMERGENCY_CAUTION,
    FIGURE_NAMES,
    LOWEST_FIRST,
    WITHOUT_STATION,
    figure_label,
    shown_figure,
)
from netplan.screening.screen_run import Screen
from netplan.screening.screen_settings import span_of

__all__ = ["screen_map", "screen_map_data"]

MOST_DETAILED: Final = 12_000
"""Mains with all their figures on the map (own): beyond it a map grows past what a mail carries [-]."""
MOST_DRAWN: Final = 100_000
_PER_DEGREE: Final = 1e6
_COLOURS: Final = ("#fde725", "#a0da39", "#35b779", "#1f9e89", "#31688e", "#440154")
"""Six steps of viridis, light for little, dark for much: in order for colour-blind eyes and in grey."""
WITHOUT: Final = "no ring without shutting a station"
PLAN_WORDS: Final = {
    "plan_outcome": "plan of the best option",
    "plan_stop_methods": "best option: stops by",
    "plan_feed_bores": "best option: bores of bypasses and hoses",
    "plan_opened_valves": "best option: valves opened",
    "plan_proven": "best option: proven that none is cheaper",
}
EMERGENCY_WORDS: Final = {
    "valves_shut_stations": "stations to shut besides the valves",
    "fastest_methods": "quickest by",
    "fastest_shut_stations": "stations to shut besides the quickest stops",
}
MARGIN_M: Final = 50.0
"""How far beyond the mains streets are drawn at least (own) [m]."""


def screen_map(screen: Screen, mains: gpd.GeoDataFrame, by: str, *, units: Figures = METRIC) -> str:
    """Return the map as one HTML file.

    Parameters
    ----------
    screen : Screen
    mains : GeoDataFrame
        Result of `screen_table.ranked_mains`: the worst first.
    by : str
        The figure that colours at first; the reader may choose another.
    units : Figures
        How figures are written.
    """
    data = screen_map_data(screen, mains, by, units)
    lat, lon = data["base"][0] / _PER_DEGREE, data["base"][1] / _PER_DEGREE
    return MapPage(
        title="What the isolation of each main means",
        label="Screen",
        kicker="Every main in turn",
        panel="screen.html",
        style="figures.css",
        scripts=(
            *("symbols.js", "label_places.js", "roving_focus.js", "search.js", "layers.js"),
            *("plan_command.js", "printing.js", "screen.js"),
        ),
        place=(lat, lon),
        data=data,
    ).html()


def screen_map_data(
    screen: Screen, mains: gpd.GeoDataFrame, by: str, units: Figures = METRIC
) -> dict[str, Any]:
    """Return the data of the page, as `screen_map` takes them; every text in it is data, shown as it is."""
    lines = np.asarray(mains.geometry.to_crs(LON_LAT).array, dtype=object)[:MOST_DRAWN]
    detailed = mains.head(MOST_DETAILED)
    base, encoded = _encoded(lines[:MOST_DETAILED])
    _, rest = _encoded(_straight(lines[MOST_DETAILED:]), base)
    currency = screen.rules.price.currency
    full = screen.settings.full
    unasked = () if screen.settings.pressure else ("weak", "least_pressure_mbar")
    names = [name for name in FIGURE_NAMES if name in mains.columns and name not in unasked]
    settings = screen.settings
    length = f"{settings.work_m:g} m" if units.name == "metric" else units.length(settings.work_m)
    work = "whole mains" if settings.work == "whole" else f"{length} in the middle of each"
    window = [f"work section: {work}"] if settings.stops else []
    cautions = [CAUTION_IN_FULL if full else CAUTION] if settings.stops else []
    if "valve_ring" in mains.columns:
        window.append("emergency: hit in the middle of each main")
        cautions.append(EMERGENCY_CAUTION)
    around, left_out = base_round(screen.network, _box_of(mains), ("water", "streets", "rail"))
    return {
        "units": units.name,
        "heading": f"{len(mains):,} mains",
        "window": "; ".join(window),
        "note": _note(len(mains), bool(rest), left_out),
        "caution": " ".join(cautions),
        "around": around,
        "stations": stations_in(screen.network, _box_of(mains), units),
        "valves": valves_in(screen.network, _box_of(mains)),
        "command": command_of(
            screen.network, window_options(settings.start, settings.hours, settings.air_temp_c, units), units
        ),
        "spans": _spans(screen, detailed),
        "base": base,
        "lines": encoded,
        "rest": rest,
        "ids": _texts(detailed, "main_id"),
        "streets": _texts(detailed, "street"),
        "bypass": [BYPASS_WORDS.get(word, word) for word in _texts(detailed, "bypass")],
        "stop_methods": _texts(detailed, "stop_methods"),
        "reasons": _reasons(detailed, units),
        "words": [
            {"name": words, "values": _texts(detailed, name)}
            for name, words in (PLAN_WORDS | EMERGENCY_WORDS).items()
            if name in mains.columns
        ],
        "figures": [
            {
                "name": FIGURE_NAMES[name][0],
                "label": figure_label(name, currency, units),
                "low": name in LOWEST_FIRST,
                "values": _values(detailed, name, units),
                "without": WITHOUT if name in WITHOUT_STATION else "",
            }
            for name in names
        ],
        "chosen": names.index(by),
        "colours": _COLOURS,
    }


def _texts(mains: gpd.GeoDataFrame, column: str) -> list[str]:
    if column not in mains.columns:
        return [""] * len(mains)
    return [text if isinstance(text, str) else "" for text in mains[column]]


def _reasons(mains: gpd.GeoDataFrame, units: Figures) -> list[str]:
    """Return why a main has no plan, or no stops where no plan was asked for."""
    if "plan_reason" not in mains.columns:
        return _texts(mains, "reason")
    return [units.sentence(text) for text in _texts(mains, "plan_reason")]


def _note(count: int, is_thinned: bool, left_out: list[str]) -> str:
    """Return what the map leaves out."""
    said = []
    if is_thinned:
        said.append(f"The {MOST_DETAILED:,} mains with the worst figures in colour, others in grey")
    if count > MOST_DRAWN:
        said.append(f"{count - MOST_DRAWN:,} more are in the table alone")
    if left_out:
        said.append(f"not drawn, too many for one page: {', '.join(left_out)}")
    return "; ".join(said)


def _box_of(mains: gpd.GeoDataFrame) -> Box:
    low_x, low_y, high_x, high_y = (float(edge) for edge in mains.total_bounds)
    room = max(MARGIN_M, 0.02 * (high_x - low_x + high_y - low_y))
    return low_x - room, low_y - room, high_x + room, high_y + room


def _spans(screen: Screen, mains: gpd.GeoDataFrame) -> list[float]:
    """Return from where to where the work section of each main goes, one main after the other [m].

    Rounded towards its middle: never beyond the ends of the main.
    """
    pipes = screen.network.pipes
    ids = pipes.id.arrow.slice(0, pipes.n_mains)
    rows = pc.index_in(pa.array(mains["main_id"].tolist(), pa.string()), value_set=ids).to_pylist()
    found: list[float] = []
    for row in rows:
        low, high = span_of(pipes.length_m.item(row), screen.settings)
        found += [math.ceil(low * 1000.0 - 1e-6) / 1000.0, math.floor(high * 1000.0 + 1e-6) / 1000.0]
    return found


def _values(mains: gpd.GeoDataFrame, column: str, units: Figures) -> list[float | None]:
    values = mains[column].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    if column in WITHOUT_STATION:
        values = np.where(mains[WITHOUT_STATION[column]].to_numpy(dtype=float) > 0, np.nan, values)
    values = np.array([shown_figure(column, v, units) for v in values.tolist()], dtype=float)
    digits = 2 if units.is_us else 1
    return [
        None if not np.isfinite(v) else int(v) if float(v).is_integer() else round(float(v), digits)
        for v in values
    ]


def _straight(lines: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return lines from first to last vertex: enough for what is only drawn in grey."""
    if not len(lines):
        return lines
    ends = np.stack([shapely.get_point(lines, 0), shapely.get_point(lines, -1)], axis=1)
    return np.asarray(
        shapely.linestrings(shapely.get_coordinates(ends.ravel()).reshape(-1, 2, 2)), dtype=object
    )


def _encoded(lines: NDArray[np.object_], base: list[int] | None = None) -> tuple[list[int], list[list[int]]]:
    """Return a place and the vertices of lines as steps from it and from each other [1e-6 °]: lat, lon."""
    coords, line = shapely.get_coordinates(lines, return_index=True)
    if not len(coords):
        return base or [0, 0], []
    whole = np.rint(coords[:, ::-1] * _PER_DEGREE).astype(np.int64)
    start = base or [int(v) for v in whole.min(axis=0)]
    first = np.concatenate([[True], np.diff(line) != 0])
    step = np.diff(whole, axis=0, prepend=whole[:1])
    step[first] = whole[first] - np.array(start)
    cuts = np.flatnonzero(first)[1:]
    return start, [part.ravel().tolist() for part in np.split(step, cuts)]
