"""All layers of a plan: the work, its stops and what belongs to them, the base map, the conditions."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from netplan.isolation import DEARER
from netplan.network.linear_reference import PipeLines
from netplan.network.model import Network
from netplan.outputs.layers.as_built_fittings import AS_BUILT_LAYER, as_built_rows
from netplan.outputs.layers.pipe_places import PipePlaces
from netplan.planfile import write_state
from netplan.planfile.model import Fallback, Option, Plan, PreparedFallback, Stop
from netplan.planfile.naming import served_words
from netplan.planfile.plan_result import PlanResult
from netplan.planning.option_records.state_extent import Extent, extent_of

__all__ = [
    "BASE_LAYERS",
    "base_rows",
    "condition_rows",
    "in_doubt_rows",
    "option_layers",
    "plan_layers",
    "work_rows",
]


def plan_layers(result: PlanResult) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of plan.gpkg, in the network's working CRS.

    Layers of an option carry its rank in `option`. A network below 50,000 pieces is drawn whole for each
    option; of a larger one, the surroundings of the work, and `conditions` says so.

    Parameters
    ----------
    result : PlanResult
        A plan with the network it is for and each option's solved state.

    Returns
    -------
    dict of str to GeoDataFrame
        ``work, stops, excavations, tappings, zones, bypasses, customers, pipes, nodes, stations, gauges,
        purge_points, fallback, in_doubt, refused, as_built_fittings``, the recorded ones of ``streets,
        buildings, water, rail``, and ``conditions``, which has no geometry. Pressures [mbar gauge], flows
        [m³/h at 15 °C, 101.325 kPa], lengths [m].
    """
    network, plan = result.network, result.plan
    lines = PipeLines.of(network)
    places = PipePlaces(network, lines)
    of_options: dict[str, list[gpd.GeoDataFrame]] = {}
    for option, state in zip(plan.options, result.states, strict=True):
        written = write_state(state, network.crs)
        left_out = written.pop("conditions")  # of every option the same
        left = {AS_BUILT_LAYER: as_built_rows(option, plan.rules["clearance"], places, network)}
        for name, rows in (option_layers(option, places) | written | left).items():
            of_options.setdefault(name, []).append(rows)
    layers = {"work": work_rows(plan, places)}
    layers |= {name: _stack(parts) for name, parts in of_options.items()}
    layers |= base_rows(network, extent_of(network, lines, plan.work, plan.options))
    layers["conditions"] = pd.concat([condition_rows(plan), left_out], ignore_index=True)
    return layers


def _stack(parts: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    filled = [part for part in parts if len(part)]
    if not filled:
        return parts[0]
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=parts[0].crs)


BASE_LAYERS = ("streets", "buildings", "water", "rail")


def base_rows(network: Network, extent: Extent) -> dict[str, gpd.GeoDataFrame]:
    """Return the base map layers that the network records, cut to the surroundings of the work."""
    box = shapely.box(*extent.box)
    layers = {}
    for name in BASE_LAYERS:
        source = network.base.get(name)
        if source is None or not len(source):
            continue
        layer = source[[c for c in ("name",) if c in source.columns] + [source.geometry.name]]
        layer = layer.rename_geometry("geometry") if source.geometry.name != "geometry" else layer
        touching = layer[layer.intersects(box)]
        if name != "buildings":
            touching = touching.assign(geometry=touching.intersection(box))
        touching = touching[~touching.is_empty].reset_index(drop=True)
        if len(touching):
            layers[name] = touching
    return layers


def condition_rows(plan: Plan) -> pd.DataFrame:
    """Return what the states were solved for, as name, value and unit; the states say what they leave out."""
    conditions, gas, pressure = plan.conditions, plan.rules.get("gas", {}), plan.rules.get("pressure", {})
    rows = [
        ("caution", plan.caution, ""),
        ("network", plan.network.content_sha256, "sha256"),
        ("start", conditions.start or "any working day", "local time"),
        ("hours", conditions.hours, "h"),
        ("air_temp_c", conditions.air_temp_c, "°C"),
        ("ground_temp_c", conditions.ground_temp_c, "°C"),
        ("demand_total_m3h", conditions.demand_total_m3h, "m³/h at 15 °C, 101.325 kPa"),
        ("worst_hour", conditions.worst_hour, "local time"),
        ("gas", gas.get("name") or _composition(gas.get("composition") or {}), "name or mole fractions"),
        ("minimum_mbar", pressure.get("minimum_mbar", ""), "mbar gauge"),
        ("margin_mbar", pressure.get("margin_mbar", ""), "mbar"),
        ("length_scale", plan.network.length_scale, "planar over true length"),
        ("note", conditions.note, ""),
    ]
    return pd.DataFrame(
        [(name, str(value), unit) for name, value, unit in rows], columns=["name", "value", "unit"]
    )


def _composition(parts: dict[str, float]) -> str:
    return ", ".join(f"{name} {share:g}" for name, share in sorted(parts.items()))


_STOP_COLUMNS = (
    *("option", "stop_id", "number", "method", "kind", "barriers", "main_id", "chainage_m", "valve_id"),
    *(
        "work_side",
        "od_mm",
        "wall_mm",
        "bore_mm",
        "pressure_mbar",
        "fault_pressure_mbar",
        "street",
        "surface",
    ),
    *("hole_id", "price", "minutes", "confidence", "confidence_note", "reason"),
)


def work_rows(plan: Plan, places: PipePlaces) -> gpd.GeoDataFrame:
    """Return the lengths to be made gas-free."""
    return places.frame(
        ("main_id", "from_m", "to_m"),
        ((w.main_id, w.from_m, w.to_m, places.part("mains", w.main_id, w.from_m, w.to_m)) for w in plan.work),
    )


def option_layers(option: Option, places: PipePlaces) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of one option's stops and what belongs to them."""
    rank = option.rank
    tapped: list[Stop | PreparedFallback] = [*option.stops, *option.prepared_fallbacks]
    return {
        "stops": _stops(option, places),
        "excavations": _excavations(option, places),
        "tappings": places.frame(
            ("option", "stop_id", "role", "main_id", "chainage_m", "size_mm"),
            (
                (
                    rank,
                    s.id,
                    t.role,
                    t.main_id or s.main_id,
                    t.chainage_m,
                    t.size_mm,
                    places.point(t.main_id or s.main_id, t.chainage_m),
                )
                for s in tapped
                for t in s.tappings
            ),
        ),
        "zones": places.frame(
            ("option", "zone", "layer", "pipe_id", "from_m", "to_m"),
            (
                (
                    rank,
                    k,
                    p.layer,
                    p.pipe_id,
                    p.from_m,
                    p.to_m,
                    places.part(p.layer, p.pipe_id, p.from_m, p.to_m),
                )
                for k, zone in enumerate(option.zones)
                for p in zone.pipes
            ),
        ),
        "gauges": places.frame(
            (
                *("option", "gauge_id", "main_id", "chainage_m"),
                *("normal_mbar", "warning_mbar", "abort_mbar", "customer"),
            ),
            (
                (
                    *(rank, g.id, g.main_id, g.chainage_m),
                    *(g.normal_mbar, g.warning_mbar, g.abort_mbar, g.customer),
                    places.point(g.main_id, g.chainage_m),
                )
                for g in option.gauges
            ),
        ),
        "purge_points": places.frame(
            ("option", "point_id", "role", "main_id", "chainage_m", "stack_bore_mm", "note"),
            (
                (
                    *(rank, p.id, p.role, p.main_id, p.chainage_m, _number(p.stack_bore_mm), p.note),
                    places.point(p.main_id, p.chainage_m),
                )
                for p in option.purge.points
            ),
        ),
        "fallback": _fallback(option, places),
        "refused": _refused(option, places),
        "in_doubt": in_doubt_rows(option, places.crs),
    }


_DOUBT_COLUMNS = ("id", "address", "priority", "layer", "record_id", "why", "meters")


def in_doubt_rows(option: Option, crs: Any) -> gpd.GeoDataFrame:
    """Return the customers in doubt, a row for each doubtful record, at their places."""
    data: dict[str, list[Any]] = {"option": [option.rank] * len(option.in_doubt)}
    data |= {name: [getattr(row, name) for row in option.in_doubt] for name in _DOUBT_COLUMNS}
    points = [shapely.Point(row.x, row.y) for row in option.in_doubt]
    return gpd.GeoDataFrame(data, geometry=points, crs=crs)


def _stops(option: Option, places: PipePlaces) -> gpd.GeoDataFrame:
    rows = []
    for number, stop in enumerate(option.stops, 1):
        known = {
            "option": option.rank,
            "stop_id": stop.id,
            "number": number,
            "wall_mm": _number(stop.wall_mm),
            "pressure_mbar": _number(stop.pressure_mbar),
            "fault_pressure_mbar": _number(stop.fault_pressure_mbar),
        }
        values = [known[name] if name in known else getattr(stop, name) for name in _STOP_COLUMNS]
        rows.append((*values, shapely.Point(stop.x, stop.y)))
    return places.frame(_STOP_COLUMNS, rows)


def _excavations(option: Option, places: PipePlaces) -> gpd.GeoDataFrame:
    """Return the outlines of the excavations with what each serves and asks for."""
    return places.frame(
        (
            *("option", "excavation_id", "serves", "main_id", "chainage_m", "street", "surface"),
            *("length_m", "width_m", "depth_m", "shoring", "traffic", "locate_first", "price", "included_in"),
        ),
        (
            (
                *(option.rank, one.id, served_words(one), one.main_id, one.chainage_m, one.street),
                *(", ".join(one.surface), one.length_m, one.width_m, one.depth_m),
                *("yes" if one.shoring else "no", "; ".join(one.traffic), one.locate_first),
                *(one.price, ", ".join(one.included_in), shapely.Polygon(one.outline)),
            )
            for one in option.excavations
        ),
    )


def _fallback(option: Option, places: PipePlaces) -> gpd.GeoDataFrame:
    rows: list[tuple[object, ...]] = []
    for f in option.fallback:
        rows += _shut(option, f)
        rows += [
            (
                *(option.rank, f.stop_id, f.failure, use.method, use.valve_id, use.main_id, use.chainage_m),
                *(_number(f.minutes), len(f.standby), use.prepared_id, shapely.Point(use.x, use.y)),
            )
            for use in f.use
        ]
        rows += _moved(option, f)
    return places.frame(
        (
            *("option", "stop_id", "failure", "method", "valve_id", "main_id", "chainage_m", "minutes"),
            *("standby", "prepared_id"),
        ),
        rows,
    )


def _refused(option: Option, places: PipePlaces) -> gpd.GeoDataFrame:
    """Return the lengths nearer to the work than each stop where a method cannot be used.

    A length where a stop can be made, but dearer, is none of them. A valve that cannot be used has no length;
    plan.json has it among `not_nearer` of the stop.
    """
    return places.frame(
        ("option", "stop_id", "main_id", "from_m", "to_m", "method", "side", "code", "reason"),
        (
            (
                *(
                    option.rank,
                    stop.id,
                    no.main_id,
                    no.from_m,
                    no.to_m,
                    no.method,
                    no.side,
                    no.code,
                    no.reason,
                ),
                places.part("mains", no.main_id, no.from_m, no.to_m),
            )
            for stop in option.stops
            for no in stop.not_nearer
            if no.code != DEARER and no.to_m > no.from_m
        ),
    )


def _shut(option: Option, fallback: Fallback) -> list[tuple[object, ...]]:
    """Return a row for each feed that is shut when a stop fails, at the end where that is done."""
    return [
        (
            *(option.rank, fallback.stop_id, fallback.failure, f"shut {one.what} {one.feed_id}"),
            *(one.feed_id if one.what == "opened valve" else None, one.main_id, one.chainage_m),
            *(_number(fallback.minutes), len(fallback.standby), "", shapely.Point(one.x, one.y)),
        )
        for one in fallback.shut
    ]


def _moved(option: Option, fallback: Fallback) -> list[tuple[object, ...]]:
    """Return a row for each hose that is moved, at its new tee, with the minutes of the move alone."""
    return [
        (
            *(option.rank, fallback.stop_id, fallback.failure, f"move {one.what} {one.feed_id} here"),
            *(None, one.to.main_id, one.to.chainage_m, one.minutes, len(one.off_meanwhile), ""),
            shapely.Point(one.to.x, one.to.y),
        )
        for one in fallback.moves
    ]


def _number(value: float | None) -> float:
    return float("nan") if value is None else value
