"""Stops of the work pack: schedule, sketches, tappings, what to do when one fails."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from netplan.outputs.documents.stop_sketch import assembly_drawing, offsets_of, stop_sketch
from netplan.outputs.number_format import Figures
from netplan.planfile import StatePipes
from netplan.planfile.model import Option, Plan, Stop
from netplan.planfile.station_words import barrier_words, station_fallback_words
from netplan.procedure.step_case import fallback_words

__all__ = ["prepared_part", "stop_part"]

_ROLES = {
    "zone_vent": "zone vent",
    "barrier": "barrier",
    "vent": "vent",
    "gauge": "gauge",
    "bypass": "bypass tee",
    "purge_in": "purge in",
}
_NOT_NEARER_SHOWN = 4


def stop_part(
    plan: Plan,
    option: Option,
    layers: Mapping[str, gpd.GeoDataFrame],
    pipes: StatePipes,
    units: Figures,
) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Return the stops' data, and their drawings by name."""
    stops, pictures = [], {}
    for number, stop in enumerate(option.stops, 1):
        key = str(number)
        offsets = offsets_of(stop, layers, pipes, plan.network.length_scale)
        pictures[f"stop-{key}"] = stop_sketch(stop, option, pipes, layers, offsets, units)
        assembly = assembly_drawing(stop, units)
        if assembly is not None:
            pictures[f"assembly-{key}"] = assembly
        stops.append(
            {
                **_schedule(stop, units),
                "key": key,
                "has-assembly": assembly is not None,
                "rows": _rows(stop, option, units),
                "offsets": [
                    {"label": o.label, "what": o.what, "distance": units.chainage(o.distance_m)}
                    for o in offsets
                ],
                "tappings": _tappings(stop, units),
                "not-nearer": _not_nearer(stop, units),
                "fallback": _fallback(stop, option, units),
            }
        )
    return stops, pictures


def prepared_part(option: Option, units: Figures) -> list[tuple[str, ...]]:
    """Return a row for each fallback stop that the plan prepares."""
    return [
        (
            one.id,
            ", ".join(one.serves),
            one.method + (f" {one.valve_id}" if one.valve_id else ""),
            one.main_id,
            units.chainage(one.chainage_m),
            f"{one.street}, {one.surface}" if one.street else one.surface,
            one.hole_id,
            ", ".join(
                f"{_ROLES[t.role]} {units.chainage(t.chainage_m)}" for t in one.tappings if t.size_mm > 0
            ),
        )
        for one in option.prepared_fallbacks
    ]


def _schedule(stop: Stop, units: Figures) -> dict[str, str]:
    return {
        "id": stop.id,
        "method": stop.method,
        "barriers": str(stop.barriers),
        "main": stop.main_id,
        "at": units.chainage(stop.chainage_m),
        "street": f"{stop.street}, {stop.surface}" if stop.street else stop.surface,
        "hole": stop.hole_id,
        "od": units.pipe(stop.od_mm),
        "pressure": units.against(stop.pressure_mbar),
        "fault": units.against(stop.fault_pressure_mbar),
    }


def _barriers(stop: Stop) -> str:
    if stop.shuts_in:
        return barrier_words(stop)
    return f"{stop.barriers}, {'with a vent between' if stop.barriers == 2 else 'single'}"


def _rows(stop: Stop, option: Option, units: Figures) -> list[tuple[str, str]]:
    wall = "wall not known" if stop.wall_mm is None else f"wall {units.size(stop.wall_mm)}"
    side = "higher chainage" if stop.work_side == "to" else "lower chainage"
    rows = [
        ("barriers", units.sentence(_barriers(stop))),
        ("pipe", f"{units.pipe(stop.od_mm)}, {wall}, bore {units.size(stop.bore_mm)}"),
        ("zone lies", f"towards {side}"),
        ("grid", f"{stop.x:.2f} E, {stop.y:.2f} N"),
        ("lat, lon", f"{stop.lat:.6f}, {stop.lon:.6f}"),
        ("hole", stop.hole_id),
        ("time to set", f"{stop.minutes:.0f} min"),
        ("why here", units.sentence(stop.reason)),
        ("records", units.sentence(f"{stop.confidence}. {stop.confidence_note}".strip())),
    ]
    if stop.shuts_in:
        missing = station_fallback_words(stop, option.fallback)
        rows.insert(1, ("fallback", missing or "see below"))
    if stop.valve_id:
        rows.insert(0, ("valve", stop.valve_id))
    return rows


def _tappings(stop: Stop, units: Figures) -> list[dict[str, str]]:
    ordered = sorted(stop.tappings, key=lambda t: -t.away_from(stop))
    return [
        {
            "role": _ROLES[t.role],
            "at": units.chainage(t.chainage_m)
            + (f" on {t.main_id}" if t.main_id not in ("", stop.main_id) else ""),
            "size": (f"{t.count} × " if t.count > 1 else "") + units.bore(t.size_mm) if t.size_mm else "",
        }
        for t in ordered
    ]


def _not_nearer(stop: Stop, units: Figures) -> list[str]:
    shown = [
        f"{n.main_id} {units.length(n.from_m)} to {units.length(n.to_m)} ({n.method}): "
        + units.sentence(n.reason)
        for n in stop.not_nearer[:_NOT_NEARER_SHOWN]
    ]
    more = len(stop.not_nearer) - _NOT_NEARER_SHOWN
    return [*shown, f"and {more} more in plan.json"] if more > 0 else shown


def _fallback(stop: Stop, option: Option, units: Figures) -> list[str]:
    def place(main_id: str, chainage_m: float) -> str:
        return f"{main_id} at {units.chainage(chainage_m)}"

    found = []
    for fallback in option.fallback:
        if fallback.stop_id != stop.id:
            continue
        note = f" ({fallback.note})" if fallback.note and fallback.minutes is not None else ""
        found.append(
            units.sentence(
                f"{fallback.failure}: {fallback_words(fallback, place, with_stations=False)}{note}"
            )
        )
    return found
