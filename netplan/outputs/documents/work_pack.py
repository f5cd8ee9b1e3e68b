"""The work pack: what planner, crew and engineer carry, as one PDF."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR, ZERO_CELSIUS_K
from netplan.feeds import Feed, FeedKind, FeedSize, drop_curve
from netplan.hydraulics import FlowConditions
from netplan.outputs.charts import chart_svg, drop_chart
from netplan.outputs.documents.plan_drawing import plan_drawing, work_drawing
from netplan.outputs.documents.stop_sketch import offsets_of
from netplan.outputs.documents.svg_drawing import legend_svg
from netplan.outputs.documents.typeset import typeset
from netplan.outputs.documents.work_pack_excavations import excavation_part
from netplan.outputs.documents.work_pack_stops import prepared_part, stop_part
from netplan.outputs.documents.work_pack_tables import data_part, gas_part, network_part, order_part
from netplan.outputs.notice_list import CustomerInDoubt, customers_in_doubt, record_words
from netplan.outputs.number_format import METRIC, Figures, figures_for_weather
from netplan.outputs.route_words import route_words, street_words
from netplan.planfile import SolvedState, StatePipes
from netplan.planfile.first_warnings import first_warnings
from netplan.planfile.model import Bypass, Option, Plan, WeatherLine
from netplan.planfile.plan_json import option_of_rank
from netplan.planfile.station_words import barrier_count
from netplan.reference.gas import gas_from_composition, named_gas
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules import checked_rules

__all__ = ["bypass_curve", "work_pack_pdf"]


Layers = Mapping[str, gpd.GeoDataFrame]
_CONTENTS = (
    *(
        "plan map",
        "customers in doubt",
        "excavations",
        "stop schedule",
        "feeds",
        "vent and purge",
        "step list",
        "pressures",
        "options compared",
    ),
    *("data findings", "formulas and sources"),
)
_SIGN_OFF = (
    "planned by",
    "checked by, bypass and pressures",
    "accepted by, person in charge on site",
    "notices sent by",
)


def work_pack_pdf(plan: Plan, layers: Layers, state: SolvedState, *, units: Figures = METRIC) -> bytes:
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
    """
    units = figures_for_weather(units, plan)
    option = option_of_rank(plan, state.option)
    first = first_warnings(option)
    stops, pictures = stop_part(plan, option, layers, state.pipes, units)
    pictures |= {"plan": plan_drawing(option, layers, state, height_mm=190.0), "legend": legend_svg()}
    detail = work_drawing(option, layers, state)
    pictures |= {} if detail is None else {"detail": detail}
    for k, bypass in enumerate(option.bypasses):
        pictures[f"bypass-{k}"] = bypass_curve(plan, bypass, units)
    data: dict[str, Any] = {
        "option": str(state.option),
        "work": ", ".join(
            f"{w.main_id}, {units.length(w.from_m)} to {units.length(w.to_m)}" for w in plan.work
        ),
        "caution": plan.caution,
        "contents": list(_CONTENTS),
        "sign-off": list(_SIGN_OFF),
        "warnings-first": [units.sentence(line) for line in option.warnings if line in first],
        "warnings": [units.sentence(line) for line in option.warnings if line not in first],
        "not-checked": list(plan.not_checked),
        "origin": f"Network {plan.network.content_sha256[:16]}, {plan.network.crs}.",
        "stops": stops,
        **excavation_part(option, units),
        "prepared": prepared_part(option, units),
        "bypasses": [
            _bypass(k, bypass, units) | {"ends": _feed_ends(bypass, plan, layers, state.pipes, units)}
            for k, bypass in enumerate(option.bypasses)
        ],
        "has-detail": detail is not None,
        "weather": [_weather(line, units) for line in option.weather],
        "losses": [(one.what, one.id, str(len(one.customers)), one.note) for one in option.losses],
        "valves": [f"{v.valve_id}: {units.load(v.flow_m3h)}" for v in option.opened_valves],
        **_cover(plan, option, units),
        **gas_part(option, units),
        **order_part(option, units),
        **network_part(plan, option, state.stations, units),
        **data_part(plan, option, state.pipes, units),
    }
    return typeset("pack.typ", data, pictures)


def _weather(line: WeatherLine, units: Figures) -> tuple[str, str, str, str]:
    coldest = line.coldest_air_temp_c
    until = "in no weather looked at" if coldest is None else f"{units.coldest(coldest)} air"
    return line.feed or "option", line.choice, until, units.sentence(line.fails_by) or "–"


def _cover(plan: Plan, option: Option, units: Figures) -> dict[str, Any]:
    conditions = plan.conditions
    off = [c for c in option.customers if c.effect == "off"]
    kept = [c for c in option.customers if c.effect == "kept"]
    methods = sorted({stop.method for stop in option.stops})
    doubts = customers_in_doubt(option)
    return {
        "cover": [
            ("start", (conditions.start or "any working day").replace("T", " ")),
            ("hours", f"{conditions.hours:g}"),
            (
                "air, ground",
                f"{units.temperature(conditions.air_temp_c)}, {units.temperature(conditions.ground_temp_c)}",
            ),
            ("stops", f"{len(option.stops)}: {', '.join(methods)}"),
            ("barriers", barrier_count(option.stops)),
            ("holes", str(option.holes)),
            ("feeds", str(len(option.bypasses) + len(option.opened_valves))),
        ],
        "people": [
            ("meters off", f"{sum(c.meters for c in off)} at {len(off)} meter points"),
            ("meters kept", f"{sum(c.meters for c in kept)} at {len(kept)} meter points"),
            ("standby", f"{len(option.standby)} meter points"),
            ("priority off", str(sum(bool(c.priority) for c in off))),
            ("priority kept", str(sum(bool(c.priority) for c in kept))),
            ("in doubt", _in_doubt_words(doubts)),
        ],
        "priority-in-doubt": [
            f"{one.first.priority.replace('_', ' ')}, {one.first.address or one.first.id}: "
            f"prove {one.records} before the first stop"
            for one in doubts
            if one.first.priority
        ],
        "in-doubt": [
            {
                "priority": one.first.priority.replace("_", " "),
                "address": one.first.address,
                "point": one.first.id,
                "meters": str(one.first.meters),
                "records": [[record_words(row), row.why] for row in one.rows],
            }
            for one in doubts
        ],
    }


def _in_doubt_words(doubts: Sequence[CustomerInDoubt]) -> str:
    if not doubts:
        return "none"
    return f"{sum(one.first.meters for one in doubts)} at {len(doubts)} meter points: a record to prove"


def _outlets(bypass: Bypass, units: Figures) -> list[tuple[str, str]]:
    """Return the outlets of a bypass, where they are on record; each of its hoses has tees of its own."""
    ends = [units.size(outlet) for outlet in bypass.outlets_mm]
    each = f", {bypass.parallel} at either end" if bypass.parallel > 1 else ""
    return [("outlets, from and to", f"{' and '.join(ends)}{each}")] if ends else []


def _bypass(k: int, bypass: Bypass, units: Figures) -> dict[str, Any]:
    number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
    rows = [
        ("from", f"{bypass.from_.main_id} at {units.chainage(bypass.from_.chainage_m)}"),
        ("to", f"{bypass.to.main_id} at {units.chainage(bypass.to.chainage_m)}"),
        ("flow to carry", units.load(bypass.flow_m3h)),
        ("bore, length", f"{number}{units.size(bypass.bore_mm)}, {units.length(bypass.length_m)}"),
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
    figure = drop_chart(
        curves, bypass.flow_m3h / SECONDS_PER_HOUR, bypass.drop_mbar * PA_PER_MBAR, units, bypass.id
    )
    return chart_svg(figure).decode("utf-8")
