"""Flow, drop and velocity of a bypass or hose."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from netplan.bypass.links import TAPPING_LOSS, TAPPINGS
from netplan.constants import MM_PER_M
from netplan.errors import BadInputError
from netplan.graph.components import component_labels
from netplan.plan.explaining.flow import FLOW_SOURCES, friction, friction_words, give_gas, give_heights
from netplan.plan.explaining.folder import OPEN, Folder, one_place, rule_bore_mm, rule_origin, source_line
from netplan.plan.explaining.sheet import Explanation, Sheet, Table, read
from netplan.plan.model import Bypass

__all__ = ["explain_drop", "explain_flow", "explain_velocity"]

_FLOW_DIGIT: Final = 0.5e-3
_DROP_DIGIT: Final = 0.5e-3
_VELOCITY_DIGIT: Final = 0.5e-2


def _bypass(folder: Folder, ident: str) -> tuple[Bypass, Any]:
    for bypass in folder.option.bypasses:
        if bypass.id == ident:
            rows = folder.bypasses[folder.bypasses.bypass_id == ident]
            return bypass, next(rows.itertuples())
    raise BadInputError(f"{ident}: option {folder.option.rank} has no such bypass or hose; list its figures")


@dataclass(frozen=True, slots=True)
class _Part:
    """What a bypass feeds: nodes, and whether it is the only supply."""

    nodes: frozenset[int]
    alone: bool


def _part_fed(folder: Folder, row: Any) -> _Part:
    pipes = folder.pipes[folder.pipes.state.isin(OPEN)]
    nodes = np.unique(
        np.concatenate([pipes.from_node, pipes.to_node, [row.from_node, row.to_node]]).astype(np.int64)
    )
    a, b = (np.searchsorted(nodes, pipes[end].to_numpy(np.int64)) for end in ("from_node", "to_node"))
    label, _ = component_labels(len(nodes), a, b)
    mine = label[np.searchsorted(nodes, int(row.to_node))]
    inside = frozenset(nodes[label == mine].tolist())
    stations = {int(node) for node in folder.stations.node}
    others = folder.bypasses[folder.bypasses.bypass_id != row.bypass_id]
    ends = {int(n) for end in ("from_node", "to_node") for n in others[end]}
    alone = int(row.from_node) not in inside and not (inside & (stations | ends))
    return _Part(inside, alone)


def explain_flow(folder: Folder, ident: str) -> Explanation:
    """Explain what a bypass carries: what its part draws, or the balance at its far end.

    Raises
    ------
    BadInputError
        When the option has no such bypass.
    """
    bypass, row = _bypass(folder, ident)
    part = _part_fed(folder, row)
    sheet = Sheet()
    note = "Demand is at the worst hour of the window, with all margins of the planning rules."
    if part.alone:
        result = _by_customers(sheet, folder, part)
        title = f"Flow of {ident}: what the customers it alone feeds draw"
    else:
        result = _by_balance(sheet, folder, row)
        title = f"Flow of {ident}: balance at its far end, where other gas arrives too"
        note += " The other flows are those of the solved network."
    return Explanation(
        figure=f"flow:{ident}",
        title=title,
        parts=tuple(sheet.parts),
        result=result,
        unit="m³/h at 15 °C, 101.325 kPa",
        stated=bypass.flow_m3h,
        where=f"{folder.place}, bypasses {ident}, flow_m3h",
        within=_FLOW_DIGIT,
        notes=(note,),
        sources=tuple(source_line(key) for key in ("gas_profiles", "gas_profile_hours")),
    )


def _by_customers(sheet: Sheet, folder: Folder, part: _Part) -> float:
    rows = []
    for customer in folder.customers.itertuples():
        if customer.effect == "off" or not isinstance(customer.nodes, str) or not customer.nodes:
            continue
        ways = [int(node) for node in customer.nodes.split(";")]
        inside = sum(node in part.nodes for node in ways)
        if inside and customer.demand_m3h > 0.0:
            rows.append((str(customer.customer_id), float(customer.demand_m3h), inside, len(ways)))
    columns = [
        read("customer", "", (row[0] for row in rows)),
        read("q", "m³/h", (row[1] for row in rows), "demand, layer customers, demand_m3h"),
        read("s", "", (float(row[2]) for row in rows), "services in this part"),
        read("n", "", (float(row[3]) for row in rows), "services in use"),
    ]
    columns.append(sheet.column("draw", "q * s / n", "m³/h", columns, "drawn from this part"))
    sheet.table(Table("Customers of the part", "layer customers of plan.gpkg", tuple(columns)))
    return sheet.sum("Q", columns[-1], "m³/h at 15 °C, 101.325 kPa", "all of it comes through the bypass")


def _by_balance(sheet: Sheet, folder: Folder, row: Any) -> float:
    place = one_place(folder)
    at = place[int(row.to_node)]
    names, flows = [], []
    for pipe in folder.pipes[folder.pipes.state.isin(OPEN)].itertuples():
        one, other = place[int(pipe.from_node)], place[int(pipe.to_node)]
        if one != other and at in (one, other):
            names.append(f"{pipe.layer} {pipe.pipe_id} {pipe.from_m:.3f}–{pipe.to_m:.3f} m")
            flows.append(float(pipe.flow_m3h) * (1.0 if one == at else -1.0))
    for other_hose in folder.bypasses.itertuples():
        if other_hose.bypass_id != row.bypass_id and at in (
            place[int(other_hose.from_node)],
            place[int(other_hose.to_node)],
        ):
            sign = 1.0 if place[int(other_hose.from_node)] == at else -1.0
            names.append(f"bypass {other_hose.bypass_id}")
            flows.append(float(other_hose.flow_m3h) * sign)
    for node in folder.nodes.itertuples():
        if place.get(int(node.node)) == at and node.demand_m3h > 0.0:
            names.append(f"drawn at node {node.node}")
            flows.append(float(node.demand_m3h))
    columns = [
        read("what", "", names),
        read("out", "m³/h", flows, "leaving the place the bypass ends at; below zero: arriving"),
    ]
    sheet.table(Table("Balance where the bypass ends", "layers pipes and nodes of plan.gpkg", tuple(columns)))
    return sheet.sum("Q", columns[-1], "m³/h at 15 °C, 101.325 kPa", "the bypass brings what leaves")


def _give_hose(sheet: Sheet, folder: Folder, bypass: Bypass, row: Any) -> None:
    give_gas(sheet, folder)
    datum = give_heights(sheet, folder)
    for name, node in (("h_1", int(row.from_node)), ("h_2", int(row.to_node))):
        height = folder.node_value(node, "height_m")
        known = datum if math.isnan(height) else height
        sheet.given(name, known, "m", "height of an end of the hose", f"layer nodes, node {node}")
    where = f"{folder.place}, bypasses {bypass.id}"
    sheet.given("Q", bypass.flow_m3h, "m³/h", "flow at 15 °C, 101.325 kPa", f"{where}, flow_m3h")
    sheet.given("n", float(bypass.parallel), "", "hoses side by side", f"{where}, parallel")
    sheet.given("d", rule_bore_mm(folder, bypass.bore_mm) / MM_PER_M, "m", "bore", f"{where}, bore_mm")
    sheet.given(
        "p_1",
        bypass.pressure_from_mbar,
        "mbar gauge",
        "pressure where gas enters",
        f"{where}, pressure_from_mbar",
    )
    sheet.work("P_1", "p_1 * 100 + air * exp(-g * (h_1 - h0) / e_air)", "Pa absolute")
    sheet.work("m", "rho * Q / 3600 / n", "kg/s", "mass flow of one hose")


def explain_velocity(folder: Folder, ident: str) -> Explanation:
    """Explain the velocity in a bypass."""
    bypass, row = _bypass(folder, ident)
    sheet = Sheet()
    _give_hose(sheet, folder, bypass, row)
    sheet.work("A", "pi / 4 * d**2", "m²", "area of the bore")
    sheet.work("rho_1", "P_1 / e", "kg/m³", "density at the pressure where gas enters")
    result = sheet.work("v", "m / (rho_1 * A)", "m/s", "actual")
    limit = folder.rules.bypass.velocity_max_m_s
    return Explanation(
        figure=f"velocity:{ident}",
        title=f"Velocity of the gas in {ident}",
        parts=tuple(sheet.parts),
        result=result,
        unit="m/s",
        stated=bypass.velocity_m_s,
        where=f"{folder.place}, bypasses {ident}, velocity_m_s",
        within=_VELOCITY_DIGIT,
        notes=(f"Allowed: {limit:g} m/s ({rule_origin(folder.rules, 'bypass.velocity_max_m_s')}).",),
        sources=(source_line("iso_6976"), source_line("iso_13443")),
    )


def explain_drop(folder: Folder, ident: str) -> Explanation:
    """Explain the pressure lost in a bypass."""
    bypass, row = _bypass(folder, ident)
    rules = folder.rules.bypass
    sheet = Sheet()
    _give_hose(sheet, folder, bypass, row)
    where = f"{folder.place}, bypasses {ident}"
    sheet.given("L", bypass.length_m, "m", "length", f"{where}, length_m")
    sheet.given(
        "k", rules.roughness_mm / MM_PER_M, "m", "roughness", rule_origin(folder.rules, "bypass.roughness_mm")
    )
    sheet.given(
        "K_0",
        rules.loss_coefficient,
        "",
        "bends and tappings",
        rule_origin(folder.rules, "bypass.loss_coefficient"),
    )
    sheet.given(
        "d_t",
        rules.tapping_bore_mm / MM_PER_M,
        "m",
        "bore of the tapped outlets",
        rule_origin(folder.rules, "bypass.tapping_bore_mm"),
    )
    sheet.given("c", TAPPINGS * TAPPING_LOSS, "", "two tappings of 1.5 each", "source tapping_loss")
    sheet.work("K", "K_0 + c * max((d / d_t)**4 - 1, 0)", "", "on the velocity head in the hose")
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


def _by_rounding(bypass: Bypass) -> float:
    """Return what the digits that plan.json states of flow, length and pressure may do to a drop [mbar]."""
    return (
        bypass.drop_mbar * (2.0 * _FLOW_DIGIT / max(bypass.flow_m3h, 1e-3) + 0.5e-3 / bypass.length_m) + 1e-4
    )
