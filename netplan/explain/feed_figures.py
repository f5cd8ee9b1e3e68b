"""Flow, drop and velocity of a bypass or hose."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.core.errors import BadInputError
from netplan.explain.explanation_sheet import Explanation, ExplanationSheet, SheetTable, read
from netplan.explain.recorded_option import (
    FLOW_SOURCES,
    RecordedOption,
    friction,
    friction_words,
    give_gas,
    give_heights,
    one_place,
    rule_bore_mm,
    rule_origin,
    source_line,
)
from netplan.feeds.feed_links import TAPPING_LOSS
from netplan.graph.connected_components import component_labels
from netplan.planfile.model import Bypass

__all__ = ["explain_drop", "explain_flow", "explain_velocity"]

_FLOW_DIGIT: Final = 0.5e-3
_DROP_DIGIT: Final = 0.5e-3
_VELOCITY_DIGIT: Final = 0.5e-2


def _bypass(recorded: RecordedOption, ident: str) -> tuple[Bypass, int]:
    """Return a bypass as the plan states it, and its row among the feeds of the state."""
    for bypass in recorded.option.bypasses:
        if bypass.id == ident:
            return bypass, recorded.state.feeds.bypass_id.find(ident)
    raise BadInputError(
        f"{ident}: option {recorded.option.rank} has no such bypass or hose; list its figures"
    )


@dataclass(frozen=True, slots=True)
class _FedPart:
    """What a bypass feeds: nodes, and whether it is the only supply."""

    nodes: frozenset[int]
    alone: bool


def _part_fed(recorded: RecordedOption, row: int) -> _FedPart:
    pipes, feeds = recorded.state.pipes, recorded.state.feeds
    a, b = pipes.from_node[pipes.is_open], pipes.to_node[pipes.is_open]
    start, end = int(feeds.from_node[row]), int(feeds.to_node[row])
    nodes = np.unique(np.concatenate([a, b, [start, end]]))
    label, _ = component_labels(len(nodes), np.searchsorted(nodes, a), np.searchsorted(nodes, b))
    inside = frozenset(nodes[label == label[np.searchsorted(nodes, end)]].tolist())
    stations = set(recorded.state.stations.node.tolist())
    others = np.arange(len(feeds)) != row
    ends = {*feeds.from_node[others].tolist(), *feeds.to_node[others].tolist()}
    alone = start not in inside and not (inside & (stations | ends))
    return _FedPart(inside, alone)


def explain_flow(recorded: RecordedOption, ident: str) -> Explanation:
    """Explain what a bypass carries: what its part draws, or the balance at its far end.

    Raises
    ------
    BadInputError
        When the option has no such bypass.
    """
    bypass, row = _bypass(recorded, ident)
    part = _part_fed(recorded, row)
    sheet = ExplanationSheet()
    note = "Demand is at the worst hour of the window, with all margins of the planning rules."
    if part.alone:
        result = _by_customers(sheet, recorded, part)
        title = f"Flow of {ident}: what the customers it alone feeds draw"
    else:
        result = _by_balance(sheet, recorded, row)
        title = f"Flow of {ident}: balance at its far end, where other gas arrives too"
        note += " The other flows are those of the solved network."
    return Explanation(
        figure=f"flow:{ident}",
        title=title,
        parts=tuple(sheet.parts),
        result=result,
        unit="m³/h at 15 °C, 101.325 kPa",
        stated=bypass.flow_m3h,
        where=f"{recorded.place}, bypasses {ident}, flow_m3h",
        within=_FLOW_DIGIT,
        notes=(note,),
        sources=tuple(source_line(key) for key in ("gas_profiles", "gas_profile_hours")),
    )


def _by_customers(sheet: ExplanationSheet, recorded: RecordedOption, part: _FedPart) -> float:
    customers = recorded.state.customers
    ways, owner = np.diff(customers.drawn_start), customers.drawn_by()
    inside = np.bincount(
        owner, weights=np.isin(customers.drawn_node, list(part.nodes)), minlength=len(customers)
    )
    rows = np.flatnonzero(~customers.is_off & (inside > 0.0) & (customers.demand_m3h > 0.0))
    columns = [
        read("customer", "", customers.customer_id.take(rows)),
        read("q", "m³/h", customers.demand_m3h[rows].tolist(), "demand, layer customers, demand_m3h"),
        read("s", "", inside[rows].tolist(), "services in this part"),
        read("n", "", ways[rows].astype(float).tolist(), "services in use"),
    ]
    columns.append(sheet.column("draw", "q * s / n", "m³/h", columns, "drawn from this part"))
    sheet.table(SheetTable("Customers of the part", "layer customers of plan.gpkg", tuple(columns)))
    return sheet.sum("Q", columns[-1], "m³/h at 15 °C, 101.325 kPa", "all of it comes through the bypass")


def _by_balance(sheet: ExplanationSheet, recorded: RecordedOption, row: int) -> float:
    place = one_place(recorded)
    pipes, feeds, nodes = recorded.state.pipes, recorded.state.feeds, recorded.state.nodes
    at = place[int(feeds.to_node[row])]
    names, flows = [], []
    for pipe in np.flatnonzero(pipes.is_open).tolist():
        one, other = place[int(pipes.from_node[pipe])], place[int(pipes.to_node[pipe])]
        if one != other and at in (one, other):
            names.append(f"{pipes.name(pipe)} {pipes.from_m[pipe]:.3f}–{pipes.to_m[pipe]:.3f} m")
            flows.append(float(pipes.flow_m3h[pipe]) * (1.0 if one == at else -1.0))
    for hose in range(len(feeds)):
        one, other = place[int(feeds.from_node[hose])], place[int(feeds.to_node[hose])]
        if hose != row and at in (one, other):
            names.append(f"bypass {feeds.bypass_id[hose]}")
            flows.append(float(feeds.flow_m3h[hose]) * (1.0 if one == at else -1.0))
    for node, demand_m3h in zip(nodes.node.tolist(), nodes.demand_m3h.tolist(), strict=True):
        if place[node] == at and demand_m3h > 0.0:
            names.append(f"drawn at node {node}")
            flows.append(demand_m3h)
    columns = [
        read("what", "", names),
        read("out", "m³/h", flows, "leaving the place the bypass ends at; below zero: arriving"),
    ]
    sheet.table(
        SheetTable("Balance where the bypass ends", "layers pipes and nodes of plan.gpkg", tuple(columns))
    )
    return sheet.sum("Q", columns[-1], "m³/h at 15 °C, 101.325 kPa", "the bypass brings what leaves")


def _give_hose(sheet: ExplanationSheet, recorded: RecordedOption, bypass: Bypass, row: int) -> None:
    give_gas(sheet, recorded)
    datum = give_heights(sheet, recorded)
    feeds = recorded.state.feeds
    for name, node in (("h_1", int(feeds.from_node[row])), ("h_2", int(feeds.to_node[row]))):
        height = recorded.height_m(node)
        known = datum if math.isnan(height) else height
        sheet.given(name, known, "m", "height of an end of the hose", f"layer nodes, node {node}")
    where = f"{recorded.place}, bypasses {bypass.id}"
    sheet.given("Q", bypass.flow_m3h, "m³/h", "flow at 15 °C, 101.325 kPa", f"{where}, flow_m3h")
    sheet.given("n", float(bypass.parallel), "", "hoses side by side", f"{where}, parallel")
    sheet.given("d", rule_bore_mm(recorded, bypass.bore_mm) / MM_PER_M, "m", "bore", f"{where}, bore_mm")
    sheet.given(
        "p_1",
        bypass.pressure_from_mbar,
        "mbar gauge",
        "pressure where gas enters",
        f"{where}, pressure_from_mbar",
    )
    sheet.work("P_1", "p_1 * 100 + air * exp(-g * (h_1 - h0) / e_air)", "Pa absolute")
    sheet.work("m", "rho * Q / 3600 / n", "kg/s", "mass flow of one hose")


def explain_velocity(recorded: RecordedOption, ident: str) -> Explanation:
    """Explain the velocity in a bypass."""
    bypass, row = _bypass(recorded, ident)
    sheet = ExplanationSheet()
    _give_hose(sheet, recorded, bypass, row)
    sheet.work("A", "pi / 4 * d**2", "m²", "area of the bore")
    sheet.work("rho_1", "P_1 / e", "kg/m³", "density at the pressure where gas enters")
    result = sheet.work("v", "m / (rho_1 * A)", "m/s", "actual")
    limit = recorded.rules.bypass.velocity_max_m_s
    return Explanation(
        figure=f"velocity:{ident}",
        title=f"Velocity of the gas in {ident}",
        parts=tuple(sheet.parts),
        result=result,
        unit="m/s",
        stated=bypass.velocity_m_s,
        where=f"{recorded.place}, bypasses {ident}, velocity_m_s",
        within=_VELOCITY_DIGIT,
        notes=(f"Allowed: {limit:g} m/s ({rule_origin(recorded.rules, 'bypass.velocity_max_m_s')}).",),
        sources=(source_line("iso_6976"), source_line("iso_13443")),
    )


def explain_drop(recorded: RecordedOption, ident: str) -> Explanation:
    """Explain the pressure lost in a bypass."""
    bypass, row = _bypass(recorded, ident)
    rules = recorded.rules.bypass
    sheet = ExplanationSheet()
    _give_hose(sheet, recorded, bypass, row)
    where = f"{recorded.place}, bypasses {ident}"
    sheet.given("L", bypass.length_m, "m", "length", f"{where}, length_m")
    sheet.given(
        "k",
        rules.roughness_mm / MM_PER_M,
        "m",
        "roughness",
        rule_origin(recorded.rules, "bypass.roughness_mm"),
    )
    sheet.given(
        "K_0",
        rules.loss_coefficient,
        "",
        "bends and tappings",
        rule_origin(recorded.rules, "bypass.loss_coefficient"),
    )
    _give_outlets(sheet, recorded, bypass)
    sheet.given("c", TAPPING_LOSS, "", "one tapping", "source tapping_loss")
    way = "K_0 + c * max((d / d_1)**4 - 1, 0) + c * max((d / d_2)**4 - 1, 0)"
    sheet.work("K", way, "", "on the velocity head in the hose")
    reynolds = sheet.work("Re", "4 * m / (pi * d * mu)", "", "Reynolds number")
    factor = friction(reynolds, sheet.known["k"] / sheet.known["d"])
    sheet.given("f", factor, "", "Darcy friction factor", "Re, k and d above, by the law in the notes")
    sheet.work("X", "16 / pi**2 * e * (f * L / d + K) * m**2 / d**4", "Pa²", "loss of squared pressure")
    way = "sqrt(P_1**2 - X * (1 + g * (h_2 - h_1) / e)) * exp(-g * (h_2 - h_1) / e)"
    sheet.work("P_2", way, "Pa absolute", "after friction and the weight of the gas")
    sheet.work("p_2", "(P_2 - air * exp(-g * (h_2 - h0) / e_air)) / 100", "mbar gauge")
    result = sheet.work("drop", "p_1 - p_2", "mbar")
    return Explanation(
        figure=f"drop:{ident}",
        title=f"Pressure lost in {ident}",
        parts=tuple(sheet.parts),
        result=result,
        unit="mbar",
        stated=bypass.drop_mbar,
        where=f"{where}, drop_mbar",
        within=_DROP_DIGIT + _by_rounding(bypass),
        notes=(
            friction_words(),
            "In a longer hose laid over a hill the heights between its ends do not count.",
        ),
        sources=tuple(source_line(key) for key in (*FLOW_SOURCES, "tapping_loss")),
    )


def _give_outlets(sheet: ExplanationSheet, recorded: RecordedOption, bypass: Bypass) -> None:
    """Give the bores of the outlets at both ends; of before they were on record, the rules' one."""
    where = f"{recorded.place}, bypasses {bypass.id}"
    origin = rule_origin(recorded.rules, "bypass.tapping_bore_mm")
    outlets = bypass.outlets_mm or (recorded.rules.bypass.tapping_bore_mm,) * 2
    ends = (("d_1", "giving", "outlet_from_mm"), ("d_2", "fed", "outlet_to_mm"))
    for (name, end, key), outlet in zip(ends, outlets, strict=True):
        source = f"{where}, {key}" if bypass.outlets_mm else origin
        sheet.given(name, outlet / MM_PER_M, "m", f"bore of the outlet at its {end} end", source)


def _by_rounding(bypass: Bypass) -> float:
    """Return what the digits that plan.json states of flow, length and pressure may do to a drop [mbar]."""
    return (
        bypass.drop_mbar * (2.0 * _FLOW_DIGIT / max(bypass.flow_m3h, 1e-3) + 0.5e-3 / bypass.length_m) + 1e-4
    )
