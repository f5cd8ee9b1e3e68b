"""Everything the map of a plan draws, as plain JSON data; no file and no page is needed to ask for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from netplan.core.arrays import Ints
from netplan.outputs.figures_for_rules import figures_for_plan
from netplan.outputs.layers.layers_of_plan import in_doubt_rows
from netplan.outputs.map.lat_lon import Flat, lines_of, points_of
from netplan.outputs.map.network_on_map import Box, base_of, district_of, network_of, pieces_of
from netplan.outputs.map.option_facts import facts_of, feed_line, main_lengths
from netplan.outputs.map.popups import (
    bypass_popup,
    customer_popup,
    excavation_popup,
    in_doubt_popup,
    stop_popup,
)
from netplan.outputs.map.refused_lengths import refused_lengths, refused_metres
from netplan.outputs.map.small_marks import point_marks, rows_of, station_marks
from netplan.outputs.notice_list import customers_in_doubt
from netplan.outputs.number_format import Figures
from netplan.planfile import SolvedState, StateCustomers, StateFeeds, StatePipes
from netplan.planfile.model import Option, Plan, Stop
from netplan.planfile.option_differences import options_in_words
from netplan.planfile.revision import revision_code

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
    units = figures_for_plan(units, plan)
    conditions = plan.conditions
    crs, district = layers["work"].crs, district_of(layers, states)
    replaced = f", replaces {plan.replaces.revision}" if plan.replaces else ""
    start = (conditions.start or "any working day").replace("T", " ")
    return {
        "caution": f"VOID: {superseded}. {plan.caution}" if superseded else plan.caution,
        "units": units.name,
        "reference": units.reference,
        "work": [
            {
                "line": line,
                "title": "Work section",
                "rows": [("main", f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}")],
                "id": f"Work {units.length(w.to_m - w.from_m)}",
            }
            for line, w in zip(lines_of(layers["work"]), plan.work, strict=True)
        ],
        "work_length": units.length(sum(w.to_m - w.from_m for w in plan.work)),
        "heading": ("VOID: " if superseded else "")
        + ", ".join(f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}" for w in plan.work),
        "window": f"{start}, {conditions.hours:g} h, air {units.temperature(conditions.air_temp_c)}; "
        f"revision {revision_code(plan)}{replaced}",
        "network": {"digest": plan.network.content_sha256[:12], "crs": plan.network.crs},
        "base": base_of(layers),
        "light": network_of(states[0], crs, district),
        "options": [
            _option(option, plan, layers, state, district, units, words)
            for option, state, words in zip(
                plan.options, states, options_in_words(plan.options, units), strict=True
            )
        ],
    }


def _option(
    option: Option,
    plan: Plan,
    layers: Layers,
    state: SolvedState,
    district: Box,
    units: Figures,
    differs: str,
) -> dict[str, Any]:
    crs = layers["work"].crs
    return {
        "rank": option.rank,
        "facts": facts_of(option, plan, units),
        "differs": differs,
        "lengths": main_lengths(state, district, units),
        "refused_length": refused_metres(option, layers, units),
        "warnings": [units.sentence(line) for line in option.warnings],
        "stops": _stops(option, layers, units),
        "bypasses": _bypasses(option, plan, state.feeds, crs, units),
        "opened_valves": _opened(option, state.pipes, crs, units),
        "customers": _customers(option, state.customers, crs, units),
        "pieces": pieces_of(state, crs, district, units),
        "refused": refused_lengths(option, layers, units),
        "excavations": _excavations(option, layers["work"].crs, units),
        "in_doubt": _in_doubt(option, layers),
        **point_marks(option, layers, units),
        "stations": station_marks(state.stations, option.shut_in, crs, units),
    }


def _stops(option: Option, layers: Layers, units: Figures) -> Marks:
    rows = rows_of(layers, "stops", option.rank)
    return [
        {"at": at, "id": stop.id, "kind": stop.kind, **stop_popup(stop, option, units)}
        | {
            "provisional": stop.confidence == "provisional",
            "method": stop.method,
            "line": _stop_line(stop, units),
        }
        for stop, at in zip(option.stops, points_of(rows), strict=True)
    ]


def _excavations(option: Option, crs: Any, units: Figures) -> Marks:
    outlines = gpd.GeoSeries([shapely.LineString(one.outline) for one in option.excavations], crs=crs)
    return [
        {"line": line, "id": one.id, "title": f"Excavation {one.id}", "rows": excavation_popup(one, units)}
        for one, line in zip(option.excavations, lines_of(outlines), strict=True)
    ]


def _stop_line(stop: Stop, units: Figures) -> str:
    place = f"{stop.main_id} at {units.chainage(stop.chainage_m)}"
    number = f"{stop.barriers} barrier{'s' if stop.barriers > 1 else ''}"
    size, pressure = units.pipe(stop.od_mm), units.against(stop.pressure_mbar)
    return f"{stop.id}: {stop.method}, {number}, {place}, {size}, {pressure}"


def _bypasses(option: Option, plan: Plan, feeds: StateFeeds, crs: Any, units: Figures) -> Marks:
    lines = lines_of(gpd.GeoSeries(feeds.lines(), crs=crs))
    return [
        {"line": line, "label": f"{bypass.id}  {units.load(bypass.flow_m3h)}", **bypass_popup(bypass, units)}
        | {"id": bypass.id, "kind": bypass.kind, "line_text": feed_line(bypass, plan, units)}
        for bypass, line in zip(option.bypasses, lines, strict=True)
    ]


def _opened(option: Option, pipes: StatePipes, crs: Any, units: Figures) -> Marks:
    """Return a mark for each boundary valve that is opened as a feed."""
    names = pipes.valve_id.numpy()
    found: Marks = []
    for valve in option.opened_valves:
        for row in np.flatnonzero(np.array(names == valve.valve_id, dtype=bool))[:1].tolist():
            place = gpd.GeoSeries([shapely.Point(pipes.line_xy_m[pipes.line_start[row]])], crs=crs)
            flow = units.load(valve.flow_m3h)
            found.append(
                {
                    "at": points_of(place)[0],
                    "id": valve.valve_id,
                    "title": f"Opened valve {valve.valve_id}",
                    "rows": [("main", pipes.pipe_id[row]), ("flow", flow)],
                    "line_text": f"{valve.valve_id}: opened valve, {flow}",
                }
            )
    return found


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
            "id": customers.customer_id[row],
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
