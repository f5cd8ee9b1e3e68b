"""Everything the map of a plan draws, as plain JSON data; no file and no page is needed to ask for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from netplan.core.arrays import Ints
from netplan.outputs.layers.layers_of_plan import in_doubt_rows
from netplan.outputs.map.lat_lon import Flat, lines_of, points_of
from netplan.outputs.map.network_on_map import Box, base_of, district_of, network_of, pieces_of
from netplan.outputs.map.popups import (
    Rows,
    bypass_popup,
    cell_text,
    customer_popup,
    excavation_popup,
    in_doubt_popup,
    stop_popup,
)
from netplan.outputs.map.small_marks import point_marks, records_of, rows_of, station_marks
from netplan.outputs.notice_list import customers_in_doubt
from netplan.outputs.number_format import Figures, figures_for_weather
from netplan.planfile import SolvedState, StateCustomers, StateFeeds
from netplan.planfile.model import Bypass, Option, Plan, Stop
from netplan.planfile.revision import revision_code
from netplan.planfile.station_words import barrier_count

__all__ = ["map_data"]

Layers = Mapping[str, gpd.GeoDataFrame]
Marks = list[dict[str, Any]]


def map_data(
    plan: Plan, layers: Layers, states: Sequence[SolvedState], units: Figures, superseded: str = ""
) -> dict[str, Any]:
    """Return the data of the page; every text in it is data, to be shown as it is.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Its works and base map.
    states : sequence of SolvedState
        One for each option, in the order of the options.
    units : Figures
        How figures are written.
    superseded : str
        By what the plan is superseded, in words; empty where it stands.
    """
    units = figures_for_weather(units, plan)
    conditions = plan.conditions
    crs, district = layers["work"].crs, district_of(layers, states)
    replaced = f", replaces {plan.replaces.revision}" if plan.replaces else ""
    start = (conditions.start or "any working day").replace("T", " ")
    return {
        "caution": f"VOID: {superseded}. {plan.caution}" if superseded else plan.caution,
        "units": units.name,
        "work": [
            {
                "line": line,
                "title": "Work section",
                "rows": [("main", f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}")],
            }
            for line, w in zip(lines_of(layers["work"]), plan.work, strict=True)
        ],
        "heading": ("VOID: " if superseded else "")
        + ", ".join(f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}" for w in plan.work),
        "window": f"{start}, {conditions.hours:g} h, air {units.temperature(conditions.air_temp_c)}; "
        f"revision {revision_code(plan)}{replaced}",
        "network": {"digest": plan.network.content_sha256[:12], "crs": plan.network.crs},
        "base": base_of(layers),
        "light": network_of(states[0], crs, district),
        "options": [
            _option(option, layers, state, district, units)
            for option, state in zip(plan.options, states, strict=True)
        ],
        "addresses": _addresses(states[0].customers, crs),
    }


def _option(
    option: Option, layers: Layers, state: SolvedState, district: Box, units: Figures
) -> dict[str, Any]:
    crs = layers["work"].crs
    off = sum(c.meters for c in option.customers if c.effect == "off")
    kept = sum(c.meters for c in option.customers if c.effect == "kept")
    facts: Rows = [
        ("stops", f"{len(option.stops)} ({option.holes} holes)"),
        ("barriers", barrier_count(option.stops)),
        ("meters off", str(off)),
        ("meters kept by feeds", str(kept)),
        ("customers on standby", str(len(option.standby))),
        ("customers in doubt", str(len({row.id for row in option.in_doubt}))),
        ("bypasses, hoses", _count_by_kind(option)),
        ("gas lost", units.volume(option.vent.total_m3)),
        ("least pressure", units.held(option.pressures.after.least_mbar)),
        ("burden", f"{option.burden:,.0f} {option.currency}"),
    ]
    return {
        "rank": option.rank,
        "facts": facts,
        "warnings": [units.sentence(line) for line in option.warnings],
        "stops": _stops(option, layers, units),
        "bypasses": _bypasses(option, state.feeds, crs, units),
        "customers": _customers(option, state.customers, crs, units),
        "pieces": pieces_of(state, crs, district, units),
        "refused": _refused(option, layers, units),
        "excavations": _excavations(option, layers["work"].crs, units),
        "in_doubt": _in_doubt(option, layers),
        **point_marks(option, layers, units),
        "stations": station_marks(state.stations, option.shut_in, crs, units),
    }


def _count_by_kind(option: Option) -> str:
    """Return how many bypasses and hoses there are: "1 hose"."""
    words = {"bypass": ("bypass", "bypasses"), "hose": ("hose", "hoses")}
    count = {kind: sum(one.kind == kind for one in option.bypasses) for kind in words}
    return ", ".join(f"{n} {words[kind][n != 1]}" for kind, n in count.items() if n) or "none"


def _stops(option: Option, layers: Layers, units: Figures) -> Marks:
    rows = rows_of(layers, "stops", option.rank)
    return [
        {"at": at, "number": number, "kind": stop.kind, **stop_popup(stop, option, units)}
        | {
            "provisional": stop.confidence == "provisional",
            "line": _stop_line(stop, units),
        }
        for number, (stop, at) in enumerate(zip(option.stops, points_of(rows), strict=True), 1)
    ]


def _excavations(option: Option, crs: Any, units: Figures) -> Marks:
    outlines = gpd.GeoSeries([shapely.LineString(one.outline) for one in option.excavations], crs=crs)
    return [
        {"line": line, "title": f"Excavation {one.id}", "rows": excavation_popup(one, units)}
        for one, line in zip(option.excavations, lines_of(outlines), strict=True)
    ]


def _stop_line(stop: Stop, units: Figures) -> str:
    place = f"{stop.main_id} at {units.chainage(stop.chainage_m)}"
    number = f"{stop.barriers} barrier{'s' if stop.barriers > 1 else ''}"
    size, pressure = units.size(stop.od_mm), units.against(stop.pressure_mbar)
    return f"{stop.id}: {stop.method}, {number}, {place}, {size}, {pressure}"


def _bypass_line(bypass: Bypass, units: Figures) -> str:
    number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
    size = f"{number}{units.size(bypass.bore_mm)} bore, {units.length(bypass.length_m)}"
    drop = units.pressure(bypass.drop_mbar)
    return f"{bypass.id}: {bypass.kind}, {units.load(bypass.flow_m3h)}, {size}, drop {drop}"


def _bypasses(option: Option, feeds: StateFeeds, crs: Any, units: Figures) -> Marks:
    lines = lines_of(gpd.GeoSeries(feeds.lines(), crs=crs))
    return [
        {"line": line, "label": f"{bypass.id}  {units.load(bypass.flow_m3h)}", **bypass_popup(bypass, units)}
        | {"line_text": _bypass_line(bypass, units)}
        for bypass, line in zip(option.bypasses, lines, strict=True)
    ]


def _customers(option: Option, customers: StateCustomers, crs: Any, units: Figures) -> Marks:
    touched = np.array(customers.effect.numpy() != "", dtype=bool)
    rows = np.flatnonzero(touched | customers.standby)
    return [
        {
            "at": at,
            "effect": customers.effect[row] or "standby",
            "standby": bool(customers.standby[row]),
            "priority": bool(customers.priority[row]),
            "number": customers.number[row],
            "weak": customers.cause[row] == "below minimum",
        }
        | customer_popup(customers, row, option, units)
        for row, at in zip(rows.tolist(), _places(customers, rows, crs), strict=True)
    ]


def _places(customers: StateCustomers, rows: Ints, crs: Any) -> list[Flat | None]:
    points = shapely.points(customers.x_m[rows], customers.y_m[rows])
    return points_of(gpd.GeoSeries(points, crs=crs))


def _in_doubt(option: Option, layers: Layers) -> Marks:
    """Return one mark for each customer in doubt, with every doubtful record that its gas hangs on."""
    places = points_of(in_doubt_rows(option, layers["work"].crs))
    at = {row.id: place for row, place in zip(option.in_doubt, places, strict=True)}
    return [
        {
            "at": at[one.first.id],
            "priority": bool(one.first.priority),
            "title": one.first.address or one.first.id,
            "line": f"{one.first.address or one.first.id}: prove {one.records}",
            "rows": in_doubt_popup(one),
        }
        for one in customers_in_doubt(option)
    ]


def _refused(option: Option, layers: Layers, units: Figures) -> Marks:
    """Return the lengths where some method cannot be used, one line with all reasons for each length.

    That most lengths have no valve is seen without saying so.
    """
    if "option" not in layers["refused"]:  # plans of 0.1.0, where the layer is empty
        return []
    rows = rows_of(layers, "refused", option.rank)
    rows = rows[rows["code"] != "not-a-valve"].reset_index(drop=True)
    at_span: dict[tuple[str, float, float], dict[str, Any]] = {}
    for row, line in zip(records_of(rows), lines_of(rows), strict=True):
        main, span = cell_text(row["main_id"]), (row["from_m"], row["to_m"])
        say: Rows = [("main", f"{main} {units.length(span[0])} – {units.length(span[1])}")]
        thing = at_span.setdefault((main, *span), {"line": line, "methods": [], "rows": say})
        method, why = (
            cell_text(row["method"]),
            (f"no {cell_text(row['method'])}", units.sentence(cell_text(row["reason"]))),
        )
        if method not in thing["methods"]:
            thing["methods"].append(method)
        if why not in thing["rows"]:  # one for each side, or for each stop beyond
            thing["rows"].append(why)
    return [
        {"line": thing["line"], "title": f"No {' or '.join(thing['methods'])} here", "rows": thing["rows"]}
        for thing in at_span.values()
    ]


def _addresses(customers: StateCustomers, crs: Any) -> list[list[Any]]:
    places = _places(customers, np.arange(len(customers)), crs)
    return [
        [address, *at]
        for address, at in zip(customers.address, places, strict=True)
        if at is not None and address
    ]
