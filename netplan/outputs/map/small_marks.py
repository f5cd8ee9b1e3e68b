"""The small marks of the map: gauges, purge points, fallback stops, tappings and stations."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

import geopandas as gpd
import shapely

from netplan.outputs.map.lat_lon import points_of
from netplan.outputs.map.popups import Rows, cell_text
from netplan.outputs.number_format import Figures
from netplan.planfile import StateStations
from netplan.planfile.model import Option
from netplan.planfile.station_words import SHUT_IN
from netplan.procedure.step_case import fallback_words

__all__ = ["point_marks", "records_of", "rows_of", "station_marks"]

Layers = Mapping[str, gpd.GeoDataFrame]
Marks = list[dict[str, Any]]


def rows_of(layers: Layers, name: str, option: int) -> gpd.GeoDataFrame:
    """Return the rows of a layer that belong to an option."""
    rows = layers[name]
    return rows[rows["option"] == option].reset_index(drop=True)


def records_of(rows: gpd.GeoDataFrame) -> Marks:
    """Return the rows without their geometry."""
    return [
        {str(k): v for k, v in record.items()} for record in rows.drop(columns="geometry").to_dict("records")
    ]


def _where(row: dict[str, Any], units: Figures) -> tuple[str, str]:
    return "main", f"{cell_text(row['main_id'])} at {units.chainage(row['chainage_m'])}"


def _gauge(row: dict[str, Any], units: Figures) -> Rows:
    marks = [(name, units.needed(row[f"{name}_mbar"])) for name in ("normal", "warning", "abort")]
    customer = cell_text(row.get("customer"))
    read: Rows = [("read at", f"test point of the meter of {customer}")] if customer else []
    return [*read, _where(row, units), *marks]


def _purge(row: dict[str, Any], units: Figures) -> Rows:
    say: Rows = [("role", cell_text(row["role"])), _where(row, units)]
    if cell_text(row["stack_bore_mm"]):
        say.append(("stack bore", units.bore(row["stack_bore_mm"])))
    if cell_text(row["note"]):
        say.append(("note", units.sentence(cell_text(row["note"]))))
    return say


def _fallback(row: dict[str, Any], units: Figures) -> Rows:
    minutes = cell_text(row["minutes"])
    prepared = cell_text(row.get("prepared_id"))
    return [
        ("when", f"{cell_text(row['stop_id'])}: {cell_text(row['failure'])}"),
        ("use", f"{cell_text(row['method'])} {cell_text(row['valve_id'])}".strip()),
        _where(row, units),
        ("minutes", f"{float(minutes):.0f}" if minutes else "not known"),
        ("also off", f"{row['standby']} customers"),
        *([("prepared", f"{prepared}: dug, tapped and proved")] if prepared else []),
    ]


def _words(option: Option, row: dict[str, Any], units: Figures) -> Rows:
    def place(main_id: str, chainage_m: float) -> str:
        return f"{main_id} at {units.chainage(chainage_m)}"

    asked = (cell_text(row["stop_id"]), cell_text(row["failure"]))
    return [
        ("do", fallback_words(one, place)) for one in option.fallback if (one.stop_id, one.failure) == asked
    ]


def _tapping(row: dict[str, Any], units: Figures) -> Rows:
    return [("stop", cell_text(row["stop_id"])), _where(row, units), ("outlet", units.bore(row["size_mm"]))]


def station_marks(stations: StateStations, shut_in: Collection[str], crs: Any, units: Figures) -> Marks:
    """Return the regulator stations of a state: place, title and what is said of each.

    Parameters
    ----------
    stations : StateStations
    shut_in : collection of str
        Ids of those that the option's stops leave with nothing to feed.
    crs : any
        CRS of the places.
    units : Figures
    """
    places = gpd.GeoSeries(shapely.points(stations.x_m, stations.y_m), crs=crs)
    return [
        {
            "at": at,
            "id": stations.station_id[row],
            "role": "",
            "title": f"Regulator station {stations.station_id[row]}",
            "rows": [
                ("outlet", units.pressure(float(stations.outlet_mbar[row]))),
                ("highest pressure in a station fault", units.against(float(stations.max_outlet_mbar[row]))),
                (
                    "gives",
                    SHUT_IN
                    if stations.station_id[row] in shut_in
                    else units.load(float(stations.flow_m3h[row])),
                ),
                ("capacity", units.capacity(float(stations.capacity_m3h[row]))),
            ],
        }
        for row, at in enumerate(points_of(places))
        if at is not None
    ]


_KINDS: tuple[tuple[str, str, str, Callable[[dict[str, Any], Figures], Rows]], ...] = (
    ("gauges", "Gauge", "gauge_id", _gauge),
    ("purge_points", "Purge point", "point_id", _purge),
    ("fallback", "Fallback for stop", "stop_id", _fallback),
    ("tappings", "Tapping:", "role", _tapping),
)


def _mark_id(name: str, row: dict[str, Any], column: str) -> str:
    """Return what stands on the mark: the plan's id; F and the stop for a fallback that is not prepared."""
    if name == "fallback":
        return cell_text(row.get("prepared_id")) or f"F {cell_text(row[column])}"
    return cell_text(row[column])


def point_marks(option: Option, layers: Layers, units: Figures) -> dict[str, Marks]:
    """Return the small marks of an option by layer: place, title and what is said of each; no stations."""
    found = {}
    for name, title, id_, say in _KINDS:
        rows = rows_of(layers, name, option.rank)
        found[name] = [
            {
                "at": at,
                "id": _mark_id(name, row, id_),
                "role": cell_text(row.get("role")),
                "title": f"{title} {cell_text(row[id_])}",
                "rows": say(row, units) + (_words(option, row, units) if name == "fallback" else []),
            }
            for row, at in zip(records_of(rows), points_of(rows), strict=True)
            if at is not None
        ]
    return found
