"""Everything the page draws, as plain JSON data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from netplan.outputs.doubtful import customers_in_doubt
from netplan.outputs.figures import Figures
from netplan.outputs.layers.works import in_doubt_rows
from netplan.outputs.map.network import base_of, network_of, pieces_of
from netplan.outputs.map.popups import (
    Rows,
    bypass_popup,
    customer_popup,
    in_doubt_popup,
    stop_popup,
    text_of,
)
from netplan.outputs.map.shapes import lines_of, points_of
from netplan.outputs.map.small import records_of, rows_of, small_things
from netplan.outputs.weather_digits import figures_for_weather
from netplan.plan.model import Bypass, Option, Plan, Stop

__all__ = ["map_data"]

Layers = Mapping[str, gpd.GeoDataFrame]
Things = list[dict[str, Any]]


def map_data(plan: Plan, layers: Layers, units: Figures) -> dict[str, Any]:
    """Return the data of the page; every text in it is data, to be shown as it is."""
    units = figures_for_weather(units, plan)
    conditions = plan.conditions
    start = (conditions.start or "any working day").replace("T", " ")
    return {
        "caution": plan.caution,
        "units": units.name,
        "work": [
            {
                "line": line,
                "title": "Work section",
                "rows": [("main", f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}")],
            }
            for line, w in zip(lines_of(layers["work"]), plan.work, strict=True)
        ],
        "heading": ", ".join(
            f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}" for w in plan.work
        ),
        "window": f"{start}, {conditions.hours:g} h, air {units.temperature(conditions.air_temp_c)}",
        "network": {"digest": plan.network.content_sha256[:12], "crs": plan.network.crs},
        "base": base_of(layers),
        "light": network_of(layers),
        "options": [_option(option, layers, units) for option in plan.options],
        "addresses": _addresses(layers),
    }


def _option(option: Option, layers: Layers, units: Figures) -> dict[str, Any]:
    off = sum(c.meters for c in option.customers if c.effect == "off")
    kept = sum(c.meters for c in option.customers if c.effect == "kept")
    holes = len({stop.hole_id for stop in option.stops if stop.kind != "valve"})
    facts: Rows = [
        ("stops", f"{len(option.stops)} ({holes} holes)"),
        ("meters off", str(off)),
        ("meters kept by feeds", str(kept)),
        ("customers on standby", str(len(option.standby))),
        ("customers in doubt", str(len({row.id for row in option.in_doubt}))),
        ("bypasses", str(len(option.bypasses))),
        ("gas lost", units.volume(option.vent.total_m3)),
        ("least pressure", units.held(option.pressures.after.least_mbar)),
        ("burden", f"{option.burden:,.0f} {option.currency}"),
    ]
    return {
        "rank": option.rank,
        "facts": facts,
        "warnings": [units.sentence(line) for line in option.warnings],
        "stops": _stops(option, layers, units),
        "bypasses": _bypasses(option, layers, units),
        "customers": _customers(option, layers, units),
        "pieces": pieces_of(layers, option.rank, units),
        "refused": _refused(option, layers, units),
        "in_doubt": _in_doubt(option, layers),
        **small_things(option, layers, units),
    }


def _stops(option: Option, layers: Layers, units: Figures) -> Things:
    rows = rows_of(layers, "stops", option.rank)
    return [
        {"at": at, "number": number, "kind": stop.kind, **stop_popup(stop, units)}
        | {
            "provisional": stop.confidence == "provisional",
            "line": _stop_line(stop, units),
        }
        for number, (stop, at) in enumerate(zip(option.stops, points_of(rows), strict=True), 1)
    ]


def _stop_line(stop: Stop, units: Figures) -> str:
    place = f"{stop.main_id} at {units.chainage(stop.chainage_m)}"
    return f"{stop.id}: {stop.method}, {place}, {units.size(stop.od_mm)}, {units.against(stop.pressure_mbar)}"


def _bypass_line(bypass: Bypass, units: Figures) -> str:
    number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
    size = f"{number}{units.size(bypass.bore_mm)} bore, {units.length(bypass.length_m)}"
    drop = units.pressure(bypass.drop_mbar)
    return f"{bypass.id}: {bypass.kind}, {units.load(bypass.flow_m3h)}, {size}, drop {drop}"


def _bypasses(option: Option, layers: Layers, units: Figures) -> Things:
    rows = rows_of(layers, "bypasses", option.rank)
    return [
        {"line": line, "label": f"{bypass.id}  {units.load(bypass.flow_m3h)}", **bypass_popup(bypass, units)}
        | {"line_text": _bypass_line(bypass, units)}
        for bypass, line in zip(option.bypasses, lines_of(rows), strict=True)
    ]


def _customers(option: Option, layers: Layers, units: Figures) -> Things:
    rows = layers["customers"]
    rows = rows[(rows["option"] == option.rank) & (rows["effect"].notna() | rows["standby"].astype(bool))]
    rows = rows.reset_index(drop=True)
    things = []
    for record, at in zip(rows.drop(columns="geometry").to_dict("records"), points_of(rows), strict=True):
        row = {str(k): v for k, v in record.items()}
        effect = text_of(row["effect"]) or "standby"
        thing = {
            "at": at,
            "effect": effect,
            "standby": bool(row["standby"]),
            "priority": bool(text_of(row["priority"])),
            "number": text_of(row["number"]),
        }
        thing["weak"] = text_of(row["cause"]) == "below minimum"
        things.append(thing | customer_popup(row, option, units))
    return things


def _in_doubt(option: Option, layers: Layers) -> Things:
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


def _refused(option: Option, layers: Layers, units: Figures) -> Things:
    """Return the lengths where some method cannot be used, one line with all reasons for each length.

    That most lengths have no valve is seen without saying so.
    """
    if "option" not in layers["refused"]:  # plans of 0.1.0, where the layer is empty
        return []
    rows = rows_of(layers, "refused", option.rank)
    rows = rows[rows["code"] != "not-a-valve"].reset_index(drop=True)
    at_span: dict[tuple[str, float, float], dict[str, Any]] = {}
    for row, line in zip(records_of(rows), lines_of(rows), strict=True):
        main, span = text_of(row["main_id"]), (row["from_m"], row["to_m"])
        say: Rows = [("main", f"{main} {units.length(span[0])} – {units.length(span[1])}")]
        thing = at_span.setdefault((main, *span), {"line": line, "methods": [], "rows": say})
        method, why = (
            text_of(row["method"]),
            (f"no {text_of(row['method'])}", units.sentence(text_of(row["reason"]))),
        )
        if method not in thing["methods"]:
            thing["methods"].append(method)
        if why not in thing["rows"]:  # one for each side, or for each stop beyond
            thing["rows"].append(why)
    return [
        {"line": thing["line"], "title": f"No {' or '.join(thing['methods'])} here", "rows": thing["rows"]}
        for thing in at_span.values()
    ]


def _addresses(layers: Layers) -> list[list[Any]]:
    rows = layers["customers"]
    rows = rows[rows["option"] == rows["option"].min()] if len(rows) else rows
    rows = rows.drop_duplicates("customer_id").reset_index(drop=True)
    return [
        [text_of(address), *at]
        for address, at in zip(rows["address"], points_of(rows), strict=True)
        if at is not None and text_of(address)
    ]
