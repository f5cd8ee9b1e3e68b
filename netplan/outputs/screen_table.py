"""The ranked table of the mains of a screen, as GeoParquet and CSV, and what its figures are called."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import NDArray

from netplan.outputs.notices_csv import spreadsheet_safe
from netplan.outputs.number_format import METRIC, Figures, Side
from netplan.screening.screen_columns import SEARCH_COLUMNS
from netplan.screening.screen_run import Screen

__all__ = [
    "BYPASS_WORDS",
    "CAUTION",
    "CAUTION_IN_FULL",
    "EMERGENCY_CAUTION",
    "FIGURE_NAMES",
    "LOWEST_FIRST",
    "WITHOUT_STATION",
    "figure_label",
    "rank_order",
    "ranked_mains",
    "shown_figure",
    "write_csv",
    "write_geoparquet",
]


def rank_order(screen: Screen, by: str) -> NDArray[np.int64]:
    """Return the rows of the mains, the worst first; those without the figure come last, ties by id.

    By minutes and stops of an emergency those come first that no ring parts from every station.
    """
    figure = screen.column(by)
    worst = figure if by in LOWEST_FIRST else -figure
    keys = [np.where(np.isnan(worst), np.inf, worst)]
    if by in WITHOUT_STATION:
        keys.append(-screen.column(WITHOUT_STATION[by]))
    order: NDArray[np.int64] = np.lexsort(keys)
    return order


def ranked_mains(screen: Screen, by: str) -> gpd.GeoDataFrame:
    """Return the mains as a layer in the working CRS, the worst first."""
    pipes = screen.network.pipes
    order = rank_order(screen, by)
    hidden = [name for name in SEARCH_COLUMNS if name in screen.table.column_names]
    table = screen.table.drop_columns(hidden).take(pa.array(order))
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
    for name in [name for name in TEXT_COLUMNS if name in frame]:
        frame[name] = [spreadsheet_safe(str(text)) if isinstance(text, str) else "" for text in frame[name]]
    frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


FIGURE_NAMES: Final = {
    "ends_customers": ("customers off if the whole main is cut out", ""),
    "customers": ("customers at risk at the cheapest stops, before any bypass", ""),
    "priority": ("priority customers among them", ""),
    "stranded": ("customers stranded", ""),
    "weak": ("customers below the least pressure", ""),
    "stops": ("stops", ""),
    "gas_m3": ("gas lost", "m³ at 15 °C, 101.325 kPa"),
    "burden_least": ("least burden", ""),
    "burden_without_feeds": ("burden without any feed", ""),
    "least_pressure_mbar": ("least pressure left", "mbar gauge"),
    "plan_burden": ("best option: burden", ""),
    "plan_customers": ("best option: customers off", ""),
    "plan_meters": ("best option: meters off", ""),
    "plan_stops": ("best option: stops", ""),
    "plan_bypasses": ("best option: bypasses", ""),
    "plan_hoses": ("best option: hoses", ""),
    "plan_feeds_m": ("best option: length of bypasses and hoses", "m"),
    "plan_opened": ("best option: valves opened", ""),
    "plan_least_pressure_mbar": ("best option: least pressure of a kept meter inlet", "mbar gauge"),
    "plan_gas_back_h": ("best option: until gas is back in the main", "h"),
    "plan_relit_h": ("best option: until the last meter is relit", "h"),
    "valves_minutes": ("emergency, by valves alone: time to shut", "min"),
    "valves_needed": ("emergency, by valves alone: valves", ""),
    "valves_meters": ("emergency, by valves alone: meters off", ""),
    "valves_stations": ("emergency, by valves alone: stations to shut", ""),
    "fastest_minutes": ("emergency, by the quickest method: time to shut", "min"),
    "fastest_stops": ("emergency, by the quickest method: stops", ""),
    "fastest_meters": ("emergency, by the quickest method: meters off", ""),
    "fastest_stations": ("emergency, by the quickest method: stations to shut", ""),
}
BYPASS_WORDS: Final = {"no": "not needed", "yes": "needed", "must": "needed for a priority customer"}
"""What the column bypass says, in words for people."""
WITHOUT_STATION: Final = {
    "valves_minutes": "valves_stations",
    "valves_needed": "valves_stations",
    "fastest_minutes": "fastest_stations",
    "fastest_stops": "fastest_stations",
}
"""Figures of an emergency that say little where stations have to be shut too, and how many those are."""
TEXT_COLUMNS: Final = (
    "main_id",
    "street",
    "system",
    "material",
    "reason",
    "stop_methods",
    "least_pressure_at",
    "plan_reason",
    "plan_stop_methods",
    "plan_feed_bores",
    "plan_opened_valves",
    "plan_least_pressure_at",
    "valves_shut_stations",
    "fastest_methods",
    "fastest_shut_stations",
)
CAUTION: Final = (
    "Planning figures only, from lower bounds: no option was priced in full. No permit and no approved "
    "procedure; the operator's rules, local codes and licensed, competent people govern."
)

EMERGENCY_CAUTION: Final = (
    "Emergency figures: recorded minutes, travel left out, a hit in the middle of each main. They permit "
    "nobody to go near gas: the operator's emergency procedure and the emergency services govern. Records "
    "may be wrong: prove every valve on site."
)


CAUTION_IN_FULL: Final = (
    "Planning figures only: of each main the best option, without the coldest weather it holds for and "
    "without papers. No permit and no approved procedure; the operator's rules, local codes and licensed, "
    "competent people govern."
)
LOWEST_FIRST: Final = ("least_pressure_mbar", "plan_least_pressure_mbar")
"""Figures that are worse the lower they are."""
_KINDS: Final = {
    "gas_m3": "volume",
    "least_pressure_mbar": "pressure",
    "plan_least_pressure_mbar": "pressure",
    "plan_feeds_m": "length",
}
"""What the figures of a screen measure that are shown in the reader's units."""


def shown_figure(figure: str, value: float, units: Figures) -> float:
    """Return a figure of a screen in the units shown, its least pressure rounded down; NaN stays."""
    if not units.is_us or figure not in _KINDS:
        return value
    side: Side = "down" if figure in LOWEST_FIRST else "nearest"
    shown = units.number(_KINDS[figure], value, side)
    return math.nan if shown is None else shown


def figure_label(figure: str, currency: str, units: Figures = METRIC) -> str:
    """Return the name of a figure with its unit."""
    name, unit = FIGURE_NAMES[figure]
    if units.is_us and figure in _KINDS:
        sign = units.kind(_KINDS[figure]).sign
        unit = f"{sign} at {units.reference}" if figure == "gas_m3" else f"{sign} gauge"
        unit = sign if figure == "plan_feeds_m" else unit
    unit = currency if figure.startswith(("burden", "plan_burden")) else unit
    return f"{name} [{unit}]" if unit else name
