"""What the popups say: a title and rows of name and value, all of it plain text."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from netplan.outputs.notice_list import CustomerInDoubt, record_words
from netplan.outputs.number_format import Figures
from netplan.outputs.route_words import route_words
from netplan.planfile import PieceState, SolvedState, StateCustomers
from netplan.planfile.model import Bypass, Excavation, Option, Stop
from netplan.planfile.naming import served_words
from netplan.planfile.station_words import barrier_words, station_fallback_words

__all__ = [
    "Rows",
    "bypass_popup",
    "cell_text",
    "customer_popup",
    "excavation_popup",
    "in_doubt_popup",
    "pipe_popup",
    "stop_popup",
]

Rows = list[tuple[str, str]]


def cell_text(value: object) -> str:
    """Return a cell of a layer as text; a missing one is empty."""
    return "" if value is None or value is pd.NA or value != value else str(value)


def _filled(rows: Rows) -> Rows:
    return [(name, value) for name, value in rows if value]


def stop_popup(stop: Stop, option: Option, units: Figures) -> dict[str, Any]:
    """Return what is said of a stop."""
    wall = "" if stop.wall_mm is None else f", wall {units.size(stop.wall_mm)}"
    rows: Rows = [
        ("method", f"{stop.method}, {stop.barriers} barrier{'s' if stop.barriers > 1 else ''}"),
        ("beside a station", units.sentence(barrier_words(stop))),
        ("fallback", station_fallback_words(stop, option.fallback) if stop.shuts_in else ""),
        ("main", f"{stop.main_id} at {units.chainage(stop.chainage_m)}"),
        ("valve", stop.valve_id or ""),
        ("street", f"{stop.street} ({stop.surface})" if stop.street else stop.surface),
        ("pipe", f"{units.pipe(stop.od_mm)} outside{wall}"),
        ("pressure", units.against(stop.pressure_mbar)),
        ("highest pressure in a station fault", units.against(stop.fault_pressure_mbar)),
        ("hole", stop.hole_id),
        ("longitude,latitude", f"{stop.lon:.6f},{stop.lat:.6f}"),
        ("grid", f"{stop.x:.2f} E, {stop.y:.2f} N"),
        ("why here", units.sentence(stop.reason)),
        ("records", units.sentence(f"{stop.confidence} {stop.confidence_note}".strip())),
    ]
    rows += [
        (
            "not nearer",
            f"{no.main_id} {units.length(no.from_m)} – {units.length(no.to_m)}: {units.sentence(no.reason)}",
        )
        for no in stop.not_nearer[:4]
    ]
    return {"title": f"Stop {stop.id}", "rows": _filled(rows)}


def excavation_popup(one: Excavation, units: Figures) -> Rows:
    """Return what is said of an excavation."""
    size = f"{units.length(one.length_m)} × {units.length(one.width_m)}, {units.length(one.depth_m)} deep"
    rows: Rows = [
        ("serves", served_words(one)),
        ("main", f"{one.main_id} at {units.chainage(one.chainage_m)}"),
        ("street", one.street),
        ("surface", ", ".join(one.surface)),
        ("size", size if one.cover_recorded else f"{size}; cover not on record"),
        ("shoring", "shored" if one.shoring else "not by depth alone"),
        ("traffic", "; ".join(one.traffic)),
        ("before digging", one.locate_first),
    ]
    return _filled(rows)


def bypass_popup(bypass: Bypass, units: Figures) -> dict[str, Any]:
    """Return what is said of a bypass."""
    number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
    rows: Rows = [
        ("flow", units.load(bypass.flow_m3h)),
        ("bore", number + units.bore(bypass.bore_mm)),
        ("outlets", " and ".join(units.bore(outlet) for outlet in bypass.outlets_mm)),
        ("route", route_words(bypass, units) if bypass.route else units.length(bypass.length_m)),
        (
            "pressure",
            f"{units.held(bypass.pressure_from_mbar)} to {units.held(bypass.pressure_to_mbar)}",
        ),
        ("drop", units.pressure(bypass.drop_mbar)),
        ("velocity", units.speed_reached(bypass.velocity_m_s)),
        (
            "holds down to",
            "not found" if bypass.minimum_air_temp_c is None else units.coldest(bypass.minimum_air_temp_c),
        ),
        ("note", units.sentence(bypass.note)),
    ]
    return {"title": f"{bypass.kind.capitalize()} {bypass.id}", "rows": _filled(rows)}


def customer_popup(customers: StateCustomers, row: int, option: Option, units: Figures) -> dict[str, Any]:
    """Return what is said of a customer; the restricted priority note is never part of it."""
    effect, ident = customers.effect[row] or "standby", customers.customer_id[row]
    words = {
        "off": "off: no gas until relit",
        "kept": "kept: gas stays on",
        "standby": "standby: off only if a planned stop fails",
    }
    known = {customer.id: customer for customer in option.customers}.get(ident)
    rows: Rows = [
        ("effect", words[effect]),
        ("standby", "off if a planned stop fails" if customers.standby[row] and effect != "standby" else ""),
        ("cause", customers.cause[row]),
        ("kept by", customers.kept_by[row]),
        ("priority", customers.priority[row].replace("_", " ")),
        ("category", customers.category[row]),
        ("meters", str(customers.meters[row])),
        ("pressure", "" if effect == "off" else units.held(float(customers.pressure_mbar[row]))),
        ("off from", (known.off_from or "").replace("T", " ") if known else ""),
        ("on by", (known.on_by or "").replace("T", " ") if known else ""),
        ("meter point", ident),
    ]
    return {"title": customers.address[row], "rows": _filled(rows)}


def in_doubt_popup(one: CustomerInDoubt) -> Rows:
    """Return what is said of a customer in doubt."""
    rows: Rows = [
        ("in doubt", "not off by the plan; would lose gas if a record is wrong"),
        ("priority", one.first.priority.replace("_", " ")),
        ("meters", str(one.first.meters)),
        *((f"prove {record_words(row)}", row.why) for row in one.rows),
        ("meter point", one.first.id),
    ]
    return _filled(rows)


def pipe_popup(state: SolvedState, row: int, units: Figures) -> dict[str, Any]:
    """Return what is said of a piece of main or service, a row of the state's pipes."""
    pipes, nodes = state.pipes, state.nodes
    ends = np.array([pipes.from_node[row], pipes.to_node[row]])
    before, after = (units.held(mbar) for mbar in nodes.at(nodes.pressure_mbar, ends).tolist())
    rows: Rows = [
        ("state", PieceState(pipes.state[row]).word),
        ("system", pipes.system[row]),
        ("from, to", f"{units.length(float(pipes.from_m[row]))} – {units.length(float(pipes.to_m[row]))}"),
        (
            "size",
            f"{units.pipe(float(pipes.od_mm[row]))} outside, bore {units.size(float(pipes.bore_mm[row]))}",
        ),
        ("flow", units.flow(abs(float(pipes.flow_m3h[row])))),
        ("pressure", f"{before} – {after}"),
        ("street", pipes.street[row]),
        ("valve", pipes.valve_id[row]),
        ("record of", pipes.record_date[row]),
    ]
    name = f"{'Main' if pipes.is_main[row] else 'Service'} {pipes.pipe_id[row]}"
    return {"title": name, "rows": _filled(rows)}
