"""Tables of the work pack: gas, order of the work, pressures, options, data and formulas."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import PurePath
from typing import Any

import numpy as np

from netplan.core.sources import source
from netplan.outputs.documents.readings_table import gauge_place
from netplan.outputs.number_format import Figures
from netplan.planfile import StatePipes, StateStations
from netplan.planfile.model import Option, Plan
from netplan.planfile.naming import state_words
from netplan.planfile.station_words import SHUT_IN

__all__ = ["data_part", "gas_part", "network_part"]


def gas_part(option: Option, units: Figures) -> dict[str, Any]:
    """Return the vent and purge sheet."""
    vent, purge = option.vent, option.purge
    zone = sum(zone.internal_volume_m3 for zone in option.zones)
    length = sum(zone.length_m for zone in option.zones)
    minutes = [("out", purge.minutes_out), ("in", purge.minutes_in)]
    return {
        "vent": [
            ("zone", f"{units.length(length)}, pipe volume {units.space(zone)}"),
            ("line content", units.volume(vent.line_content_m3)),
            ("of it, by its pressure", units.volume(vent.of_which_pressure_part_m3)),
            ("purge", units.volume(vent.purge_m3)),
            ("total gas lost", units.volume(vent.total_m3)),
            ("methane", units.mass(vent.methane_kg)),
            ("CO2e", f"{units.mass(vent.co2e_kg)} {vent.gwp}".strip()),
            ("volumes at", units.sentence(vent.reference)),
        ],
        "purge": [
            ("volumes out, in", f"{purge.volumes_out:g}, {purge.volumes_in:g}"),
            ("least velocity", units.speed_reached(purge.least_velocity_m_s)),
            ("least flow", units.load(purge.least_flow_m3h)),
            *((f"time {name}", f"{value:.0f} min") for name, value in minutes if value is not None),
        ],
        "purge-points": [
            {
                "id": p.id,
                "role": "in" if p.role == "feed" else p.role,  # “feed” is a bypass on all other sheets
                "place": f"{p.main_id} at {units.chainage(p.chainage_m)}",
                "stack": "" if p.stack_bore_mm is None else units.bore(p.stack_bore_mm),
                "outlet": "" if p.outlet_mm is None else units.bore(p.outlet_mm),
                "least": "" if p.least_m3h is None else units.load(p.least_m3h),
                "given": "" if p.flow_in_m3h is None else units.capacity(p.flow_in_m3h),
                "slug": "" if p.slug_m3 is None else units.space(p.slug_m3),
                "note": units.sentence(p.note),
            }
            for p in purge.points
        ],
        "end-points": [units.sentence(line) for line in purge.end_points],
        "purge-notes": [units.sentence(line) for line in purge.notes],
    }


def network_part(plan: Plan, option: Option, stations: StateStations, units: Figures) -> dict[str, Any]:
    """Return pressures, gauges, stations, and the options beside each other."""
    pressures = option.pressures
    states = [("before any stop", pressures.before.least_mbar, pressures.before.at)]
    states += [(state_words(state.after_step), state.least_mbar, state.at) for state in option.states]
    states.append(("all stops and feeds in", pressures.after.least_mbar, pressures.after.at))
    weak = len(pressures.weak_before)
    return {
        "pressures": [{"state": n, "least": units.held(p), "at": at} for n, p, at in states],
        "weak-before": f"{weak} meter points are below the minimum before any stop: see plan.json."
        if weak
        else "",
        "gauges": [
            {
                "id": g.id,
                "place": gauge_place(g, units),
                "normal": units.needed(g.normal_mbar),
                "warning": units.needed(g.warning_mbar),
                "abort": units.needed(g.abort_mbar),
            }
            for g in option.gauges
        ],
        "station-rows": [
            {
                "id": stations.station_id[row],
                "outlet": units.pressure(float(stations.outlet_mbar[row])),
                "flow": SHUT_IN
                if stations.station_id[row] in option.shut_in
                else units.load(float(stations.flow_m3h[row])),
                "capacity": units.capacity(float(stations.capacity_m3h[row])),
            }
            for row in range(len(stations))
        ],
        "options": [_compared(one, units) for one in plan.options],
        "proof": _proof(option),
    }


def _compared(option: Option, units: Figures) -> list[str]:
    off = sum(c.meters for c in option.customers if c.effect == "off")
    kept = sum(c.meters for c in option.customers if c.effect == "kept")
    return [
        str(option.rank),
        str(len(option.stops)),
        str(option.holes),
        str(off),
        str(kept),
        str(len(option.bypasses) + len(option.opened_valves)),
        units.volume(option.vent.total_m3),
        units.held(option.pressures.after.least_mbar),
        f"{option.burden:,.0f} {option.currency}",
    ]


def _proof(option: Option) -> str:
    proof = option.proof
    if proof.optimal and option.rank == 1:
        return "Option 1 has the lowest burden on the recorded data. This says nothing about safety."
    if proof.optimal:
        return f"Beyond those listed, no different option is cheaper than option {option.rank}."
    return f"Not proven: lower bound {proof.lower_bound:,.2f}, gap {proof.gap:,.2f} ({proof.reason})."


def data_part(plan: Plan, option: Option, pipes: StatePipes, units: Figures) -> dict[str, Any]:
    """Return age and confidence of the data, the findings, and what the figures rest on."""
    provisional = [stop.id for stop in option.stops if stop.confidence == "provisional"]
    scale = f"planar lengths divided by {plan.network.length_scale:.6f}"
    return {
        "data-facts": [
            ("records of the mains", _record_dates(option, pipes)),
            ("provisional stops", ", ".join(provisional) or "none"),
            ("working CRS", f"{plan.network.crs} {plan.network.crs_note}".strip()),
            ("lengths", scale),
            ("demand of the network", units.load(plan.conditions.demand_total_m3h)),
            ("source", PurePath(plan.provenance.source).name),
        ],
        "findings": [
            {
                "severity": f.severity,
                "place": f"{f.layer} {f.feature_id}".strip() or "network",
                "what": units.sentence(f.what),
                "mend": units.sentence(f.mend),
            }
            for f in plan.findings
        ],
        "doubts": [
            {
                "place": f"{row.layer} {row.feature_id}" + (f" and {row.other_id}" if row.other_id else ""),
                "taken": units.sentence(row.taken_as),
                "may": units.sentence(row.may_be),
                "what": units.sentence(row.what),
            }
            for row in option.trust.would_change
        ],
        "formulas": _formulas(),
    }


def _record_dates(option: Option, pipes: StatePipes) -> str:
    touched = {stop.main_id for stop in option.stops} | {
        part.pipe_id for zone in option.zones for part in zone.pipes if part.layer == "mains"
    }
    rows = np.flatnonzero(pipes.is_main & np.isin(pipes.pipe_id.numpy(), list(touched)))
    recorded = list(zip(pipes.record_date.take(rows), pipes.pipe_id.take(rows), strict=True))
    dates = sorted({date for date, _ in recorded if date.strip()})
    if not dates:
        return "no date of record on the mains of this plan: confirm by trial hole"
    without = len({main for date, main in recorded if not date.strip()})
    text = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
    return f"{text}; {without} mains without a date" if without else text


def _formulas() -> list[dict[str, Any]]:
    text = resources.files("netplan.outputs.documents").joinpath("formulas.toml").read_text(encoding="utf-8")
    return [
        {**row, "sources": [source(key).line() for key in row["sources"]]}
        for row in tomllib.loads(text)["formula"]
    ]
