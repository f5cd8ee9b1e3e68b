"""The burden that ranks options, element by element, and the relighting queue behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from netplan.core.constants import ATMOSPHERE_PA_ABS, PA_PER_MBAR, ZERO_CELSIUS_K
from netplan.customers import RelightOrder, relight_order
from netplan.explain.explanation_sheet import Explanation, ExplanationSheet, SheetTable, read
from netplan.explain.recorded_option import RecordedOption, rule_origin, source_line
from netplan.planfile import PieceState
from netplan.planfile.model import PreparedFallback, Stop
from netplan.reference.gas import METRIC_STANDARD

__all__ = ["explain_burden", "explain_relighting"]

_HALF_MINOR: Final = 0.005


def explain_burden(recorded: RecordedOption) -> Explanation:
    """Explain the burden: stops, interruption, feeds, gas, excavations and prepared fallbacks."""
    sheet = ExplanationSheet()
    option = recorded.option
    money = option.currency
    _stops(sheet, recorded)
    _interruption(sheet, recorded)
    _feeds(sheet, recorded)
    elements = _gas(sheet, recorded)
    _excavations(sheet, recorded)
    _fallbacks(sheet, recorded)
    terms = "stops + interruption + feeds + gas + excavations + fallbacks"
    result = sheet.work("burden", terms, money)
    parts = option.burden_parts
    stated = (
        f"The plan's parts: stops {parts.stops}, interruption {parts.interruption}, feeds {parts.feeds}, "
        f"gas {parts.gas}, excavations {parts.excavations}, fallbacks {parts.fallbacks} {money}."
    )
    return Explanation(
        figure="burden",
        title="Burden: the one figure that ranks options",
        parts=tuple(sheet.parts),
        result=result,
        unit=money,
        stated=option.burden,
        where=f"{recorded.place}, burden",
        within=_HALF_MINOR * (elements + 2 * len(option.bypasses) + len(option.excavations) + 1),
        notes=(
            stated,
            f"The plan rounds the gas of each of up to {elements} lengths to 0.01 {money}, then adds up.",
            f"Here it is added up first: half of 0.01 {money} a length is what the two may differ by.",
            "Lowest burden on the recorded data is all that the figure says: it is no word on safety.",
        ),
        sources=(source_line("example"), source_line("own")),
    )


def _stops(sheet: ExplanationSheet, recorded: RecordedOption) -> None:
    _priced(sheet, recorded, recorded.option.stops, "stop", "Stops", "stops")


def _fallbacks(sheet: ExplanationSheet, recorded: RecordedOption) -> None:
    rows, money = recorded.option.prepared_fallbacks, recorded.option.currency
    if rows:
        _priced(sheet, recorded, rows, "fallback", "Prepared fallbacks", "fallbacks")
    else:
        origin = rule_origin(recorded.rules, "fallback.prepared")
        sheet.given("fallbacks", 0.0, money, "no fallback is prepared", origin)


def _priced(
    sheet: ExplanationSheet,
    recorded: RecordedOption,
    stops: Sequence[Stop | PreparedFallback],
    name: str,
    title: str,
    result: str,
) -> None:
    methods = {method.name: method for method in recorded.rules.method}
    columns = [
        read(name, "", (f"{s.id} {s.method}" for s in stops)),
        read("base", "", (methods[s.method].price for s in stops), "rule method price"),
        read("per_mm", "1/mm", (methods[s.method].price_per_mm_od for s in stops), "rule price_per_mm_od"),
        read("OD", "mm", (s.od_mm for s in stops), "outside diameter, plan.json, od_mm"),
        read(
            "surface",
            "",
            (float(getattr(methods[s.method].price_surface, s.surface)) for s in stops),
            "rule price_surface, by plan.json, surface",
        ),
        read(
            "pit",
            "",
            (_pit(recorded, s.surface) if s.kind == "valve" else 0.0 for s in stops),
            "a valve's pit: rule excavation.price, with price_surface",
        ),
    ]
    columns.append(sheet.column("price", "base + per_mm * OD + surface + pit", "", columns))
    origin = f"plan.json, {'prepared_' * (name == 'fallback')}{result}; rules [[method]] of plan.json"
    sheet.table(SheetTable(title, origin, tuple(columns)))
    sheet.sum(result, columns[-1], recorded.option.currency)


def _pit(recorded: RecordedOption, surface: str) -> float:
    """Return the price of one excavation that no method's price includes, over a surface."""
    excavation = recorded.rules.excavation
    return excavation.price + float(getattr(excavation.price_surface, surface))


def _excavations(sheet: ExplanationSheet, recorded: RecordedOption) -> None:
    """Explain what excavations cost that neither a stop nor a feed pays for."""
    rules = recorded.rules.excavation
    rows = [(one.id, price) for one in recorded.option.excavations for price in one.prices]
    columns = [
        read("excavation", "", (f"{ident} {price.what}" for ident, price in rows)),
        read("base", "", (rules.price for _ in rows), "rule excavation.price"),
        read(
            "surface",
            "",
            (float(getattr(rules.price_surface, price.surface)) for _, price in rows),
            "rule excavation.price_surface, by plan.json, surface",
        ),
        read("beyond", "m", (price.beyond_m for _, price in rows), "work beyond excavation.length_m"),
        read("per_m", "1/m", (rules.price_per_m for _ in rows), "rule excavation.price_per_m"),
    ]
    columns.append(sheet.column("price", "base + surface + beyond * per_m", "", columns))
    sheet.table(SheetTable("Excavations", "plan.json, excavations", tuple(columns)))
    sheet.sum("excavations", columns[-1], recorded.option.currency)


def _queue(recorded: RecordedOption) -> tuple[list[str], RelightOrder, list[float]]:
    customers = recorded.state.customers
    off = np.flatnonzero(customers.is_off)
    off = off[np.argsort(customers.customer_id.numpy()[off], kind="stable")]
    rates = [float(getattr(recorded.rules.price.off_per_hour, word)) for word in customers.category.take(off)]

    def texts(name: str) -> list[str]:
        return list(getattr(customers, name).take(off))

    queue = relight_order(
        texts("customer_id"),
        texts("address"),
        texts("street"),
        texts("number"),
        texts("postcode"),
        texts("priority"),
        customers.meters[off],
        rates,
    )
    return texts("customer_id"), queue, rates


def _interruption(sheet: ExplanationSheet, recorded: RecordedOption) -> None:
    ids, queue, rates = _queue(recorded)
    order = queue.order.tolist()
    behind = np.cumsum(queue.meters).tolist()
    sheet.given(
        "hours", recorded.plan.conditions.hours, "h", "window without gas", "plan.json, conditions, hours"
    )
    sheet.given(
        "pace",
        recorded.rules.crew.relights_per_hour,
        "1/h",
        "meters relit in an hour",
        rule_origin(recorded.rules, "crew.relights_per_hour"),
    )
    columns = [
        read("customer", "", (ids[row] for row in order)),
        read("rate", "1/h", (rates[row] for row in order), "rule price.off_per_hour by category"),
        read("meters", "", queue.meters.astype(float), "layer customers, meters"),
        read("relit", "", behind, "meters relit with this one, in the order of the crew"),
    ]
    columns.append(
        sheet.column("price", "rate * meters * (hours + relit / pace)", "", columns, "window, then the queue")
    )
    sheet.table(
        SheetTable(
            "Customers off, in the order they are relit", "layer customers of plan.gpkg", tuple(columns)
        )
    )
    sheet.sum("interruption", columns[-1], recorded.option.currency)


def _feeds(sheet: ExplanationSheet, recorded: RecordedOption) -> None:
    price, bypasses = recorded.rules.price, recorded.option.bypasses
    columns = [
        read("feed", "", (b.id for b in bypasses)),
        read("n", "", (float(b.parallel) for b in bypasses), "plan.json, parallel"),
        read("fixed", "", (price.bypass for _ in bypasses), "rule price.bypass"),
        read(
            "per_m",
            "1/m",
            (price.bypass_per_m if b.kind == "bypass" else price.hose_per_m for b in bypasses),
            "rule price.bypass_per_m or price.hose_per_m",
        ),
        read("L", "m", (b.length_m for b in bypasses), "plan.json, length_m"),
        read("crossings", "", (float(b.crossings) for b in bypasses), "plan.json, crossings"),
        read("ramp", "", (price.ramp for _ in bypasses), "rule price.ramp"),
        read("tees", "", (b.tees_price for b in bypasses), "excavations for tees, plan.json, tees_price"),
    ]
    columns.append(sheet.column("price", "n * (fixed + per_m * L + ramp * crossings) + tees", "", columns))
    sheet.table(SheetTable("Bypasses and hoses", "plan.json, bypasses", tuple(columns)))
    sheet.sum("hoses", columns[-1], recorded.option.currency)
    valves = recorded.option.opened_valves
    sheet.given("n_valves", float(len(valves)), "", "opened valves", "plan.json, opened_valves")
    sheet.given("valve", price.open_valve, "", "opening one", rule_origin(recorded.rules, "price.open_valve"))
    sheet.work("feeds", "hoses + n_valves * valve", recorded.option.currency)


def _gas(sheet: ExplanationSheet, recorded: RecordedOption) -> int:
    rules, gas = recorded.rules, recorded.gas
    known = recorded.plan.conditions.gas_outlet_mbar
    outlet = float(recorded.state.stations.outlet_mbar.max()) if known is None else known
    kelvin = ZERO_CELSIUS_K + rules.gas.ground_temp_c
    dense = gas.density_kg_per_m3(kelvin, outlet * PA_PER_MBAR + ATMOSPHERE_PA_ABS)
    zones = recorded.option.zones
    columns = [
        read("zone", "", (f"zone {k + 1}" for k in range(len(zones)))),
        read("G", "m³", (zone.internal_volume_m3 for zone in zones), "plan.json, internal_volume_m3"),
    ]
    sheet.table(SheetTable("Zones", "plan.json, zones", tuple(columns)))
    sheet.sum("volume", columns[-1], "m³ actual")
    sheet.given(
        "rho_g",
        dense,
        "kg/m³",
        f"density in the ground at the highest station outlet, {outlet:g} mbar gauge",
        "plan.json, conditions, gas_outlet_mbar; table components.csv (source iso_6976)",
    )
    sheet.given(
        "rho",
        gas.density_kg_per_m3_at(METRIC_STANDARD),
        "kg/m³",
        "density at 15 °C, 101.325 kPa",
        "the same table",
    )
    sheet.given("n_in", rules.purge.volumes_in, "", "volumes", rule_origin(rules, "purge.volumes_in"))
    sheet.given(
        "per_m3", rules.price.gas_per_m3, "1/m³", "price of gas", rule_origin(rules, "price.gas_per_m3")
    )
    sheet.work("gas", "volume * rho_g / rho * n_in * per_m3", recorded.option.currency)
    isolated = int((recorded.state.pipes.state == PieceState.ISOLATED).sum())
    # Each isolated length, and what the work and each stop cut it into.
    return isolated + len(recorded.option.stops) + len(recorded.plan.work)


def explain_relighting(recorded: RecordedOption) -> Explanation:
    """Explain how long relighting takes: the steps of the work order count on it."""
    ids, queue, _ = _queue(recorded)
    sheet = ExplanationSheet()
    columns = [
        read("customer", "", (ids[row] for row in queue.order.tolist())),
        read("meters", "", queue.meters.astype(float), "layer customers, meters"),
    ]
    sheet.table(
        SheetTable(
            "Customers off, in the order they are relit", "layer customers of plan.gpkg", tuple(columns)
        )
    )
    sheet.sum("count", columns[-1], "meters")
    sheet.given(
        "pace",
        recorded.rules.crew.relights_per_hour,
        "1/h",
        "meters relit in an hour",
        rule_origin(recorded.rules, "crew.relights_per_hour"),
    )
    result = sheet.work("time", "count / pace * 60", "min")
    stated, rounds = _stated_minutes(recorded)
    return Explanation(
        figure="relighting",
        title="Time the crew needs to relight everybody who is off",
        parts=tuple(sheet.parts),
        result=result,
        unit="min",
        stated=stated,
        where=f"{recorded.place}, steps of relighting, minutes together",
        within=0.05 * max(rounds, 1),
        notes=(
            "Priority customers first, then the dearest to wait, then as a person walks.",
            f"Doors that do not open take a second visit: {rule_origin(recorded.rules, 'crew.no_access')}.",
        ),
        sources=(source_line("example"), source_line("own")),
    )


def _stated_minutes(recorded: RecordedOption) -> tuple[float, int]:
    stages = ("service purged before relighting", "relight")
    rounds = [step.minutes for step in recorded.option.steps if step.stage in stages and step.minutes]
    return sum(rounds), len(rounds)
