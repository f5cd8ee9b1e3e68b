"""The pressure at a stop or a customer: from a station along the way the gas comes, loss by loss."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from netplan.bypass import feed_loss_coefficient
from netplan.constants import MM_PER_M
from netplan.errors import BadInputError
from netplan.plan.explaining.flow import FLOW_SOURCES, friction, friction_words, give_gas, give_heights
from netplan.plan.explaining.folder import OPEN, Folder, one_place, rule_bore_mm, source_line
from netplan.plan.explaining.sheet import Explanation, Sheet, Table, read
from netplan.plan.model import Stop

__all__ = ["explain_pressure", "live_node"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_HALF_DIGIT_MBAR: Final = 0.5e-3
_SAME_MBAR: Final = 5e-4


@dataclass(frozen=True, slots=True)
class _Leg:
    """One length of pipe or hose on the way, in the direction the gas runs."""

    name: str
    from_m: float
    to_m: float
    flow_m3h: float
    bore_mm: float
    roughness_mm: float
    length_m: float
    loss: float
    start: int
    end: int


def live_node(folder: Folder, stop: Stop, *, was_there: bool = False) -> int:
    """Return the node on the live side of a stop that its pressure is stated at; -1 without one.

    It is that of the barrier nearest the work; the first one outward on the stop's main that was there before
    the stops where `was_there`.
    """
    own = folder.pipes[(folder.pipes.layer == "mains") & (folder.pipes.pipe_id == stop.main_id)]
    at = stop.chainage_m
    if stop.work_side == "from":
        rows = own[own.to_m >= at - 1e-3].sort_values(["from_m", "to_m"])
        ends = [int(n) for row in rows.itertuples() for n in (row.from_node, row.to_node)]
        places = [float(m) for row in rows.itertuples() for m in (row.from_m, row.to_m)]
        outward = [n for n, m in zip(ends, places, strict=True) if m >= at - 1e-3]
    else:
        rows = own[own.from_m <= at + 1e-3].sort_values(["to_m", "from_m"], ascending=False)
        ends = [int(n) for row in rows.itertuples() for n in (row.to_node, row.from_node)]
        places = [float(m) for row in rows.itertuples() for m in (row.to_m, row.from_m)]
        outward = [n for n, m in zip(ends, places, strict=True) if m <= at + 1e-3]
    known = [
        node
        for node in outward
        if math.isfinite(folder.node_value(node, "pressure_mbar"))
        and (not was_there or math.isfinite(folder.node_value(node, "pressure_before_mbar")))
    ]
    return known[0] if known else -1


def explain_pressure(folder: Folder, ident: str) -> Explanation:
    """Explain the pressure at a stop, or at the meter inlet of a kept customer.

    Raises
    ------
    BadInputError
        When the option states no pressure for it.
    """
    node, stated, title, where = _target(folder, ident)
    legs, start = _way(folder, node)
    sheet = Sheet()
    give_gas(sheet, folder)
    datum = give_heights(sheet, folder)
    begin_mbar, origin = _begin(folder, start)
    sheet.given("p_0", begin_mbar, "mbar gauge", "pressure the way starts with", origin)
    sheet.given("h_0", _height(folder, start, datum), "m", "height there", f"layer nodes, node {start}")
    sheet.work("P_0", "p_0 * 100 + air * exp(-g * (h_0 - h0) / e_air)", "Pa absolute")
    if legs:
        _walk(sheet, folder, legs, datum)
    else:
        sheet.given("P_end", sheet.known["P_0"], "Pa absolute", "at the station itself", origin)
        sheet.given("h_end", sheet.known["h_0"], "m", "height there", f"layer nodes, node {start}")
    result = sheet.work(
        "p", "(P_end - air * exp(-g * (h_end - h0) / e_air)) / 100", "mbar gauge", "against the air there"
    )
    return Explanation(
        figure=f"pressure:{ident}",
        title=title,
        parts=tuple(sheet.parts),
        result=result,
        unit="mbar gauge",
        stated=stated,
        where=where,
        within=_stated_to(folder, ident) + 1e-4 + _by_rounding(folder, legs),
        notes=(
            friction_words(),
            "The flows are those of the solved network: at every node what comes in goes out or is drawn.",
            "The way is the one by which most of the gas arrives; any other way gives the same pressure.",
            "Planning figure at the worst hour of the window; read the gauge before relying on it.",
        ),
        sources=tuple(source_line(key) for key in FLOW_SOURCES),
    )


def _stated_to(folder: Folder, ident: str) -> float:
    """Return how far a stated pressure may be from the solved one by its digits [mbar]."""
    # A pressure that a customer is kept at is rounded down, that at a stop to the nearest.
    at_stop = any(stop.id == ident for stop in folder.option.stops)
    return _HALF_DIGIT_MBAR if at_stop else 2.0 * _HALF_DIGIT_MBAR


def _by_rounding(folder: Folder, legs: list[_Leg]) -> float:
    """Return what the digits stated of hoses on the way may do to a pressure [mbar]."""
    of = {f"bypass {bypass.id}": bypass for bypass in folder.option.bypasses}
    return sum(
        hose.drop_mbar * (2.0 * _HALF_DIGIT_MBAR / max(hose.flow_m3h, 1e-3) + 0.5e-3 / hose.length_m)
        for leg in legs
        if (hose := of.get(leg.name)) is not None
    )


def _target(folder: Folder, ident: str) -> tuple[int, float, str, str]:
    for stop in folder.option.stops:
        if stop.id == ident:
            node = live_node(folder, stop)
            if stop.pressure_mbar is None or node < 0:
                raise BadInputError(f"{ident}: no gas on its live side after the stops, so no pressure")
            title = f"Pressure on the live side of stop {ident}, all stops in"
            return node, stop.pressure_mbar, title, f"{folder.place}, stops {ident}, pressure_mbar"
    for customer in folder.option.customers:
        if customer.id == ident and customer.pressure_mbar is not None:
            rows = folder.customers[folder.customers.customer_id == ident]
            title = f"Pressure at the meter inlet of customer {ident}, all stops in"
            where = f"{folder.place}, customers {ident}, pressure_mbar"
            return int(rows.node.iloc[0]), customer.pressure_mbar, title, where
    raise BadInputError(
        f"pressure:{ident}: the option states no pressure for it; give a stop or a kept customer"
    )


def _links(folder: Folder) -> Any:
    """Return open pipes and hoses as links, each in the direction the gas runs."""
    pipes = folder.pipes[folder.pipes.state.isin(OPEN)]
    columns = [
        *("from_m", "to_m", "flow_m3h", "bore_mm", "roughness_mm", "length_m", "loss_coefficient"),
        *("from_node", "to_node"),
    ]
    table = pipes[columns].assign(name=pipes.layer + " " + pipes.pipe_id.astype(str))
    hoses = folder.bypasses
    more = pd.DataFrame(
        {
            "from_m": 0.0,
            "to_m": hoses.length_m,
            "flow_m3h": hoses.flow_m3h / hoses.parallel,
            "bore_mm": [rule_bore_mm(folder, bore) for bore in hoses.bore_mm],
            "roughness_mm": hoses.roughness_mm,
            "length_m": hoses.length_m,
            # The layer states it to two digits: worked out as for the drop of a hose.
            "loss_coefficient": [
                feed_loss_coefficient(rule_bore_mm(folder, bore) / MM_PER_M, folder.rules)
                for bore in hoses.bore_mm
            ],
            "from_node": hoses.from_node,
            "to_node": hoses.to_node,
            "name": "bypass " + hoses.bypass_id.astype(str),
        }
    )
    every = pd.concat([table, more[more.from_node >= 0]], ignore_index=True)
    back = every.flow_m3h < 0.0
    for one, other in (("from_node", "to_node"), ("from_m", "to_m")):
        every.loc[back, [one, other]] = every.loc[back, [other, one]].to_numpy()
    return every.assign(flow_m3h=every.flow_m3h.abs())


def _way(folder: Folder, node: int) -> tuple[list[_Leg], int]:
    """Return the way most of the gas comes to a node, from a station, and the node it starts at."""
    place = one_place(folder)
    links = _links(folder)
    links = links[(links.length_m > 0.0) | (links.loss_coefficient > 0.0)]
    start = np.array([place[int(n)] for n in links.from_node])
    end = np.array([place[int(n)] for n in links.to_node])
    flow = links.flow_m3h.to_numpy(float)
    giving = folder.stations[folder.stations.flow_m3h > 0.0]
    stations = {place[int(n)] for n in giving.node}
    legs: list[_Leg] = []

    def add(row: int, at: int) -> int:
        """Add the link of a row, that ends at a node; return its other end."""
        one, other = (
            (int(end[row]), int(start[row])) if start[row] == at else (int(start[row]), int(end[row]))
        )
        link = links.iloc[row]
        legs.append(
            _Leg(
                *(str(link["name"]), float(link.from_m), float(link.to_m), float(link.flow_m3h)),
                *(float(link.bore_mm), float(link.roughness_mm), float(link.length_m)),
                *(float(link.loss_coefficient), one, other),
            )
        )
        return one

    at = place[int(node)]
    for row in _still(start, end, flow, at, stations):
        at = add(row, at)
    while at not in stations:
        rows = np.flatnonzero((end == at) & (flow > 0.0))
        if not len(rows) or len(legs) > len(links):
            raise BadInputError(f"plan.gpkg: no gas flows to node {node}; make the plan again")
        at = add(int(rows[np.argmax(flow[rows])]), at)
    return legs[::-1], at


def _still(start: Ints, end: Ints, flow: Floats, at: int, stations: set[int]) -> list[int]:
    """Return the links of a dead end without a draw, from a node to where gas flows or a station gives it.

    Nothing flows in them: the pressure is that of the other end.
    """
    came: dict[int, tuple[int, int]] = {at: (-1, -1)}
    queue = [at]
    for node in queue:
        if node in stations or bool(((end == node) & (flow > 0.0)).any()):
            rows: list[int] = []
            here = node
            while here != at:
                row, here = came[here]
                rows.append(row)
            return rows[::-1]
        for row in np.flatnonzero((start == node) | (end == node)).tolist():
            other = int(end[row]) if start[row] == node else int(start[row])
            if other not in came:
                came[other] = (row, node)
                queue.append(other)
    return []


def _begin(folder: Folder, start: int) -> tuple[float, str]:
    place = one_place(folder)
    for row in folder.stations.itertuples():
        if place[int(row.node)] == start:
            solved = folder.node_value(int(row.node), "pressure_mbar")
            if abs(solved - row.outlet_mbar) < _SAME_MBAR:
                return float(row.outlet_mbar), f"layer stations, {row.station_id}, outlet_mbar"
            why = "which senses elsewhere or is at capacity"
            return solved, f"layer nodes, node {row.node}: solved outlet of {row.station_id}, {why}"
    raise BadInputError("plan.gpkg: layer stations does not hold the station the gas comes from; plan again")


def _height(folder: Folder, node: int, datum: float) -> float:
    height = folder.node_value(node, "height_m")
    return height if math.isfinite(height) else datum


def _walk(sheet: Sheet, folder: Folder, legs: list[_Leg], datum: float) -> None:
    rise = [_height(folder, leg.end, datum) - _height(folder, leg.start, datum) for leg in legs]
    columns = [
        read("way", "", (leg.name for leg in legs)),
        read("from", "m", (leg.from_m for leg in legs), "chainage"),
        read("to", "m", (leg.to_m for leg in legs), "chainage"),
        read("Q", "m³/h", (leg.flow_m3h for leg in legs), "flow at 15 °C, 101.325 kPa"),
        read("d", "m", (leg.bore_mm / MM_PER_M for leg in legs), "bore"),
        read("k", "m", (leg.roughness_mm / MM_PER_M for leg in legs), "roughness"),
        read("L", "m", (leg.length_m for leg in legs), "length"),
        read("K", "", (leg.loss for leg in legs), "local losses"),
        read("dh", "m", rise, "rise"),
    ]
    columns.append(sheet.column("m", "rho * Q / 3600", "kg/s", columns, "mass flow"))
    columns.append(sheet.column("Re", "4 * m / (pi * d * mu)", "", columns, "Reynolds number"))
    pairs = zip(*(sheet.numbers(columns, name) for name in ("Re", "k", "d")), strict=True)
    columns.append(
        read("f", "", (friction(re, k / d) for re, k, d in pairs), "friction factor, see the note")
    )
    columns.append(sheet.column("X", _LOSS, "Pa²", columns, "loss of squared pressure"))
    at, starts = sheet.known["P_0"], []
    for loss, up in zip(sheet.numbers(columns, "X"), sheet.numbers(columns, "dh"), strict=True):
        starts.append(at)
        row = [read("P", "", (at,)), read("X", "", (loss,)), read("dh", "", (up,))]
        at = sheet.column("P_next", _STEP, "", row).number(0)
    columns.append(read("P", "Pa absolute", starts, "at the start of the row: P_next of the row before"))
    columns.append(sheet.column("P_next", _STEP, "Pa absolute", columns, "at its end"))
    sheet.table(
        Table(
            "The way the gas comes, from the station",
            "layers pipes, bypasses and nodes of plan.gpkg",
            tuple(columns),
            follows=(("P", "P_next"),),
        )
    )
    sheet.given("P_end", at, "Pa absolute", "P_next of the last row", "the table above")
    height = _height(folder, legs[-1].end, datum)
    sheet.given("h_end", height, "m", "height there", f"layer nodes, node {legs[-1].end}")


_LOSS: Final = "16 / pi**2 * e * (f * L / d + K) * m**2 / d**4 * (1 + g * dh / e)"
_STEP: Final = "sqrt(P**2 - X) * exp(-g * dh / e)"
