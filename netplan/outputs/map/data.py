"""Everything the page draws, as plain JSON data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from netplan.outputs.figures import Figures
from netplan.outputs.map.network import base_of, network_of, pieces_of
from netplan.outputs.map.popups import Rows, bypass_popup, customer_popup, stop_popup, text_of
from netplan.outputs.map.shapes import Flat, lines_of, points_of
from netplan.plan.model import Option, Plan

__all__ = ["map_data"]

Layers = Mapping[str, gpd.GeoDataFrame]
Things = list[dict[str, Any]]


def map_data(plan: Plan, layers: Layers, units: Figures) -> dict[str, Any]:
    """Return the data of the page; every text in it is data, to be shown as it is."""
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
        "refused": _refused(layers, units),
        "options": [_option(option, layers, units) for option in plan.options],
        "addresses": _addresses(layers),
    }


def _of(layers: Layers, name: str, option: int) -> tuple[list[dict[str, Any]], gpd.GeoDataFrame]:
    rows = layers[name]
    rows = rows[rows["option"] == option].reset_index(drop=True)
    return [
        {str(k): v for k, v in record.items()} for record in rows.drop(columns="geometry").to_dict("records")
    ], rows


def _option(option: Option, layers: Layers, units: Figures) -> dict[str, Any]:
    off = sum(c.meters for c in option.customers if c.effect == "off")
    kept = sum(c.meters for c in option.customers if c.effect == "kept")
    holes = len({stop.hole_id for stop in option.stops if stop.kind != "valve"})
    facts: Rows = [
        ("stops", f"{len(option.stops)} ({holes} holes)"),
        ("meters off", str(off)),
        ("meters kept by feeds", str(kept)),
        ("bypasses", str(len(option.bypasses))),
        ("gas lost", units.volume(option.vent.total_m3)),
        ("least pressure", units.pressure(option.pressures.after.least_mbar)),
        ("burden", f"{option.burden:,.0f} {option.currency}"),
    ]
    return {
        "rank": option.rank,
        "facts": facts,
        "warnings": list(option.warnings),
        "stops": _stops(option, layers, units),
        "bypasses": _bypasses(option, layers, units),
        "customers": _customers(option, layers, units),
        "pieces": pieces_of(layers, option.rank, units),
        **_small(option, layers, units),
    }


def _stops(option: Option, layers: Layers, units: Figures) -> Things:
    _, rows = _of(layers, "stops", option.rank)
    return [
        {"at": at, "number": number, "kind": stop.kind, **stop_popup(stop, units)}
        | {
            "provisional": stop.confidence == "provisional",
            "line": f"{stop.id}: {stop.method}, {stop.main_id} at {units.length(stop.chainage_m)}, {units.size(stop.od_mm)}, {units.pressure(stop.pressure_mbar)}",
        }
        for number, (stop, at) in enumerate(zip(option.stops, points_of(rows), strict=True), 1)
    ]


def _bypasses(option: Option, layers: Layers, units: Figures) -> Things:
    _, rows = _of(layers, "bypasses", option.rank)
    return [
        {"line": line, "label": f"{bypass.id}  {units.flow(bypass.flow_m3h)}", **bypass_popup(bypass, units)}
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
            "priority": bool(text_of(row["priority"])),
            "number": text_of(row["number"]),
        }
        thing["weak"] = text_of(row["cause"]) == "below minimum"
        things.append(thing | customer_popup(row, option, units))
    return things


def _things(rows: list[dict[str, Any]], places: list[Flat | None], title: str, id_: str, say: Any) -> Things:
    return [
        {
            "at": at,
            "role": text_of(row.get("role")),
            "title": f"{title} {text_of(row[id_])}",
            "rows": say(row),
        }
        for row, at in zip(rows, places, strict=True)
        if at is not None
    ]


def _small(option: Option, layers: Layers, units: Figures) -> dict[str, Things]:
    def where(row: dict[str, Any]) -> tuple[str, str]:
        return "main", f"{text_of(row['main_id'])} at {units.length(row['chainage_m'])}"

    def gauge(row: dict[str, Any]) -> Rows:
        marks = [(n, units.pressure(row[f"{n}_mbar"])) for n in ("normal", "warning", "abort")]
        return [where(row), *marks]

    def purge(row: dict[str, Any]) -> Rows:
        stack = (
            [("stack bore", units.size(row["stack_bore_mm"]))]
            if row["stack_bore_mm"] == row["stack_bore_mm"]
            else []
        )
        return [("role", text_of(row["role"])), where(row), *stack, ("note", text_of(row["note"]))]

    def fallback(row: dict[str, Any]) -> Rows:
        minutes = row["minutes"]
        return [
            ("when", f"{text_of(row['stop_id'])}: {text_of(row['failure'])}"),
            ("use", f"{text_of(row['method'])} {text_of(row['valve_id'])}".strip()),
            where(row),
            ("minutes", "" if minutes != minutes else f"{minutes:.0f}"),
            ("also off", f"{row['standby']} customers"),
        ]

    def tapping(row: dict[str, Any]) -> Rows:
        return [("stop", text_of(row["stop_id"])), where(row), ("outlet", units.size(row["size_mm"]))]

    def station(row: dict[str, Any]) -> Rows:
        return [
            ("outlet", units.pressure(row["outlet_mbar"])),
            ("most in a fault", units.pressure(row["max_outlet_mbar"])),
            ("gives", units.flow(row["flow_m3h"])),
            ("capacity", units.flow(row["capacity_m3h"])),
        ]

    found = {}
    for name, title, id_, say in (
        ("gauges", "Gauge", "gauge_id", gauge),
        ("purge_points", "Purge point", "point_id", purge),
        ("fallback", "Fallback for stop", "stop_id", fallback),
        ("tappings", "Tapping:", "role", tapping),
        ("stations", "Regulator station", "station_id", station),
    ):
        rows, table = _of(layers, name, option.rank)
        found[name] = _things(rows, points_of(table), title, id_, say)
    return found


def _refused(layers: Layers, units: Figures) -> Things:
    rows = layers["refused"].reset_index(drop=True)
    records = rows.drop(columns="geometry").to_dict("records")
    return [
        {
            "line": line,
            "title": f"No {text_of(record['method'])} here",
            "rows": [
                (
                    "main",
                    f"{text_of(record['main_id'])} {units.length(record['from_m'])} – {units.length(record['to_m'])}",
                ),
                ("why", text_of(record["reason"])),
            ],
        }
        for record, line in zip(records, lines_of(rows), strict=True)
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
