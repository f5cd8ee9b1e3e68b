"""The work pack: what planner, crew and engineer carry, as one PDF."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR, ZERO_CELSIUS_K
from netplan.feeds import Feed, FeedKind, FeedSize, drop_curve
from netplan.hydraulics import FlowConditions
from netplan.outputs.documents.bypass_kit_list import kit_rows
from netplan.outputs.documents.drop_drawing import drop_drawing
from netplan.outputs.documents.let_by_sheet import let_by_part
from netplan.outputs.documents.loss_sheet import loss_sheet_part
from netplan.outputs.documents.plan_drawing import plan_drawing, work_drawing
from netplan.outputs.documents.readings_table import readings_part
from netplan.outputs.documents.step_list_table import step_list_part
from netplan.outputs.documents.stop_sheets import bag_part, squeeze_part
from netplan.outputs.documents.stop_sketch import offsets_of
from netplan.outputs.documents.svg_drawing import legend_svg
from netplan.outputs.documents.tappings_list import tappings_part
from netplan.outputs.documents.timeline_drawing import timeline_drawing, timeline_part
from netplan.outputs.documents.typeset import typeset
from netplan.outputs.documents.work_pack_cover import cover_part
from netplan.outputs.documents.work_pack_excavations import excavation_part
from netplan.outputs.documents.work_pack_stops import prepared_part, stop_part
from netplan.outputs.documents.work_pack_tables import data_part, gas_part, network_part
from netplan.outputs.figures_for_rules import figures_for_plan
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.route_words import route_words, street_words
from netplan.planfile import SolvedState, StatePipes
from netplan.planfile.model import Bypass, Option, Plan, WeatherLine
from netplan.planfile.plan_json import option_of_rank
from netplan.planfile.revision import revision_code
from netplan.reference.gas import gas_from_composition, named_gas
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules import checked_rules

__all__ = ["bypass_curve", "work_pack_pdf"]


Layers = Mapping[str, gpd.GeoDataFrame]
_SIGN_OFF = (
    "planned by",
    "checked by, bypass and pressures",
    "accepted by, person in charge on site",
    "notices sent by",
)


def work_pack_pdf(
    plan: Plan, layers: Layers, state: SolvedState, *, units: Figures = METRIC, superseded: str = ""
) -> bytes:
    """Return the work pack of an option as PDF.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        As `plan_layers` returns and `read_plan_layers` reads them.
    state : SolvedState
        That of the option it is made for.
    units : Figures
        How figures are written.
    superseded : str
        By what the plan is superseded, in words; empty where it stands.
    """
    units = figures_for_plan(units, plan)
    option = option_of_rank(plan, state.option)
    stops, pictures = stop_part(plan, option, layers, state.pipes, units)
    map_mm = 175.0 if units.is_us else 190.0  # letter paper is shorter
    pictures |= {"plan": plan_drawing(option, layers, state, units, height_mm=map_mm)}
    pictures["legend"] = legend_svg()
    detail = work_drawing(option, layers, state, units, height_mm=map_mm)
    pictures |= {} if detail is None else {"detail": detail}
    drawn = timeline_drawing(option, plan.conditions)
    pictures |= {} if drawn is None else {"timeline": drawn}
    for k, bypass in enumerate(option.bypasses):
        pictures[f"bypass-{k}"] = bypass_curve(plan, bypass, units)
    data: dict[str, Any] = {
        "paper": units.paper,
        "option": str(state.option),
        "revision": revision_code(plan),
        "replaces": plan.replaces.revision if plan.replaces else "",
        "superseded": superseded,
        "work": ", ".join(
            f"{w.main_id}, {units.length(w.from_m)} to {units.length(w.to_m)}" for w in plan.work
        ),
        "caution": plan.caution,
        "contents": _contents(option),
        "sign-off": list(_SIGN_OFF),
        "not-checked": list(plan.not_checked),
        "origin": f"Network {plan.network.content_sha256[:16]}, {plan.network.crs}.",
        "stops": stops,
        **excavation_part(option, units),
        "prepared": prepared_part(option, units),
        "bypasses": [
            _bypass(k, bypass, units)
            | {"ends": _feed_ends(bypass, plan, layers, state.pipes, units)}
            | {"kit": kit_rows(option, bypass, units)}
            for k, bypass in enumerate(option.bypasses)
        ],
        "has-detail": detail is not None,
        "weather-note": ", purge draw included" if _draw_counts(plan) else "",
        "weather": [_weather(line, units) for line in option.weather],
        # The loss sheet says more of the same: what escapes, and what to do.
        "losses": [
            (one.what, one.id, str(len(one.customers)), one.note)
            for one in (() if option.loss_sheet else option.losses)
        ],
        "valves": [f"{v.valve_id}: {units.load(v.flow_m3h)}" for v in option.opened_valves],
        **cover_part(plan, option, units),
        **loss_sheet_part(option, state.customers, units),
        **step_list_part(option, plan.conditions, units),
        **readings_part(option, units),
        **timeline_part(option, plan.conditions),
        **let_by_part(option, units),
        **squeeze_part(plan, option, units),
        **bag_part(plan, option, units),
        **tappings_part(option, units),
        **gas_part(option, units),
        **network_part(plan, option, state.stations, units),
        **data_part(plan, option, state.pipes, units),
    }
    return typeset("pack.typ", data, pictures)


def _contents(option: Option) -> list[str]:
    """Return the parts of the pack, as its cover lists them: those that it has."""
    kinds = {stop.kind for stop in option.stops} | {one.kind for one in option.prepared_fallbacks}
    parts = (
        ("loss sheet", bool(option.loss_sheet)),
        ("timeline", option.timeline is not None),
        ("step list", True),
        ("readings", any(step.readings for step in option.steps)),
        ("plan map", True),
        ("customers in doubt", True),
        ("excavations", True),
        ("stop schedule", True),
        ("tappings", any(item.kind == "tapping" for item in option.items)),
        ("squeeze sheet", "squeeze" in kinds),
        ("bag sheet", "bag" in kinds),
        ("let-by tests", any(step.let_by for step in option.steps)),
        ("feeds", True),
        ("vent and purge", True),
        ("pressures", True),
        ("options compared", True),
        ("data findings", True),
        ("formulas and sources", True),
    )
    return [name for name, is_there in parts if is_there]


def _weather(line: WeatherLine, units: Figures) -> tuple[str, str, str, str]:
    coldest = line.coldest_air_temp_c
    until = "at no temperature" if coldest is None else f"{units.coldest(coldest)} air"
    return (
        line.feed or "option",
        "without this feed" if line.choice == "none" else units.hose_sizes(line.choice),
        until,
        units.sentence(line.fails_by) or "–",
    )


def _outlets(bypass: Bypass, units: Figures) -> list[tuple[str, str]]:
    """Return the outlets of a bypass, where they are on record; each of its hoses has tees of its own."""
    ends = [units.bore(outlet) for outlet in bypass.outlets_mm]
    each = f", {bypass.parallel} at either end" if bypass.parallel > 1 else ""
    return [("outlets, from and to", f"{' and '.join(ends)}{each}")] if ends else []


def _bypass(k: int, bypass: Bypass, units: Figures) -> dict[str, Any]:
    number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
    rows = [
        ("from", f"{bypass.from_.main_id} at {units.chainage(bypass.from_.chainage_m)}"),
        ("to", f"{bypass.to.main_id} at {units.chainage(bypass.to.chainage_m)}"),
        ("flow to carry", units.load(bypass.flow_m3h)),
        ("bore, length", f"{number}{units.bore(bypass.bore_mm)}, {units.length(bypass.length_m)}"),
        ("route", route_words(bypass, units)),
        *_outlets(bypass, units),
        (
            "pressure at both ends",
            f"{units.held(bypass.pressure_from_mbar)}, {units.held(bypass.pressure_to_mbar)}",
        ),
        ("drop", units.pressure(bypass.drop_mbar)),
        ("velocity", units.speed_reached(bypass.velocity_m_s)),
        ("spare flow", units.capacity(bypass.spare_m3h)),
        (
            "holds down to",
            "not found"
            if bypass.minimum_air_temp_c is None
            else f"{units.coldest(bypass.minimum_air_temp_c)} air",
        ),
        ("customers kept", str(bypass.customers)),
    ]
    if bypass.note:
        rows.append(("note", units.sentence(bypass.note)))
    return {"key": str(k), "title": f"{bypass.kind.capitalize()} {bypass.id}", "rows": rows}


def _feed_ends(
    bypass: Bypass,
    plan: Plan,
    layers: Mapping[str, gpd.GeoDataFrame],
    pipes: StatePipes,
    units: Figures,
) -> list[tuple[str, str]]:
    """Return where the tees of a bypass or hose go, taped out as a stop is, and the streets it lies along."""
    scale = plan.network.length_scale
    rows: list[tuple[str, str]] = []
    for name, end in (("from", bypass.from_), ("to", bypass.to)):
        rows.append((f"tee {name}, grid", f"{end.x:.2f} E, {end.y:.2f} N"))
        offsets = offsets_of(end, layers, pipes, scale)
        tape = "; ".join(f"{units.chainage(o.distance_m)} from {o.what}" for o in offsets)
        rows.append((f"tee {name}, tape", tape or "nothing is recorded near it: set out from coordinates"))
    along = street_words(bypass, layers, scale, units)
    rows += [("streets", "; ".join(along))] if along else []
    return rows


_NEIGHBOURS = 2


def bypass_curve(plan: Plan, bypass: Bypass, units: Figures) -> str:
    """Return the drop against flow of a bypass as SVG, with the planned point.

    The curves are those of the hose's law alone, at the planned pressure of its giving end; the network
    around it is not solved anew.
    """
    rules = checked_rules(plan.rules, "plan.json: rules")
    gas = named_gas(rules.gas.name) if rules.gas.name else gas_from_composition(rules.gas.composition or {})
    conditions = FlowConditions(gas, ZERO_CELSIUS_K + plan.conditions.ground_temp_c)
    feed = Feed(FeedKind(bypass.kind), bypass.id, 0, 1, bypass.length_m, outlets_mm=bypass.outlets_mm)
    widest = min(bypass.outlets_mm, default=math.inf)
    fitting = (bore for bore in rules.bypass.bores_mm if nominal_outlet_mm(bore) <= widest)
    bores = sorted({*fitting, bypass.bore_mm})
    own = bores.index(bypass.bore_mm)
    curves = [
        drop_curve(
            FeedSize(feed, bore / MM_PER_M, bypass.parallel),
            bypass.pressure_from_mbar * PA_PER_MBAR,
            conditions,
            rules,
            points=121,
        )
        for bore in bores[max(own - _NEIGHBOURS, 0) : own + _NEIGHBOURS + 1]
    ]
    return drop_drawing(
        curves, bypass.flow_m3h / SECONDS_PER_HOUR, bypass.drop_mbar * PA_PER_MBAR, units, bypass.id
    )


def _draw_counts(plan: Plan) -> bool:
    """Return whether the draw of the purge is counted in every state, by the rules of the plan."""
    purge: Mapping[str, Any] = plan.rules.get("purge", {})
    return bool(purge.get("draw_is_load", True))
