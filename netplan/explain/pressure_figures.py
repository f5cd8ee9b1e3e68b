"""The pressure at a stop or a customer: from a station along the way the gas comes, loss by loss."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR
from netplan.core.errors import BadInputError
from netplan.explain.explanation_sheet import Explanation, ExplanationSheet, SheetColumn, SheetTable, read
from netplan.explain.path_lengths import PathPiece, path_lengths
from netplan.explain.recorded_option import (
    FLOW_SOURCES,
    RecordedOption,
    friction,
    friction_words,
    give_gas,
    give_heights,
    one_place,
    rule_bore_mm,
    source_line,
)
from netplan.feeds import feed_loss_coefficient
from netplan.planfile.model import Stop

__all__ = ["explain_pressure", "live_node"]


_HALF_DIGIT_MBAR: Final = 0.5e-3
_SAME_MBAR: Final = 5e-4
_LOSS: Final = "16 / pi**2 * e * (f * L / d + K) * m**2 / d**4 * (1 + g * dh / e)"
_STEP: Final = "sqrt(P**2 - X) * exp(-g * dh / e)"


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


def live_node(recorded: RecordedOption, stop: Stop, *, was_there: bool = False) -> int:
    """Return the node on the live side of a stop that its pressure is stated at; -1 without one.

    It is that of the barrier nearest the work; the first one outward on the stop's main that was there before
    the stops where `was_there`.
    """
    pipes = recorded.state.pipes
    own = pipes.rows_of(stop.main_id, is_main=True)
    if stop.work_side == "from":
        sign, near_m, far_m, near, far = 1.0, pipes.from_m, pipes.to_m, pipes.from_node, pipes.to_node
    else:
        sign, near_m, far_m, near, far = -1.0, -pipes.to_m, -pipes.from_m, pipes.to_node, pipes.from_node
    at = sign * stop.chainage_m - 1e-3
    outward = [
        int(node)
        for row in own[np.lexsort((far_m[own], near_m[own]))].tolist()
        for node, place in ((near[row], near_m[row]), (far[row], far_m[row]))
        if place >= at
    ]
    known = [
        node
        for node in outward
        if math.isfinite(recorded.pressure_mbar(node))
        and (not was_there or math.isfinite(recorded.pressure_before_mbar(node)))
    ]
    return known[0] if known else -1


def explain_pressure(recorded: RecordedOption, ident: str) -> Explanation:
    """Explain the pressure at a stop, or at the meter inlet of a kept customer.

    Raises
    ------
    BadInputError
        When the option states no pressure for it.
    """
    node, stated, title, where = _target(recorded, ident)
    legs, start = _way(recorded, node)
    sheet = ExplanationSheet()
    give_gas(sheet, recorded)
    datum = give_heights(sheet, recorded)
    begin_mbar, origin = _begin(recorded, start)
    sheet.given("p_0", begin_mbar, "mbar gauge", "pressure the way starts with", origin)
    sheet.given("h_0", _height(recorded, start, datum), "m", "height there", f"layer nodes, node {start}")
    sheet.work("P_0", "p_0 * 100 + air * exp(-g * (h_0 - h0) / e_air)", "Pa absolute")
    if legs:
        _walk(sheet, recorded, legs, datum)
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
        within=_stated_to(recorded, ident) + 1e-4 + _by_rounding(recorded, legs),
        notes=(
            friction_words(),
            "The flows are those of the solved network: at every node what comes in goes out or is drawn.",
            "The way is the one by which most of the gas arrives; any other way gives the same pressure.",
            "Planning figure at the worst hour of the window; read the gauge before relying on it.",
        ),
        sources=tuple(source_line(key) for key in FLOW_SOURCES),
    )


def _stated_to(recorded: RecordedOption, ident: str) -> float:
    """Return how far a stated pressure may be from the solved one by its digits [mbar]."""
    # A pressure that a customer is kept at is rounded down, that at a stop to the nearest.
    at_stop = any(stop.id == ident for stop in recorded.option.stops)
    return _HALF_DIGIT_MBAR if at_stop else 2.0 * _HALF_DIGIT_MBAR


def _by_rounding(recorded: RecordedOption, legs: list[_Leg]) -> float:
    """Return what the digits stated of hoses on the way may do to a pressure [mbar]."""
    of = {f"bypass {bypass.id}": bypass for bypass in recorded.option.bypasses}
    return sum(
        hose.drop_mbar * (2.0 * _HALF_DIGIT_MBAR / max(hose.flow_m3h, 1e-3) + 0.5e-3 / hose.length_m)
        for leg in legs
        if (hose := of.get(leg.name)) is not None
    )


def _target(recorded: RecordedOption, ident: str) -> tuple[int, float, str, str]:
    for stop in recorded.option.stops:
        if stop.id == ident:
            node = live_node(recorded, stop)
            if stop.pressure_mbar is None or node < 0:
                raise BadInputError(f"{ident}: no gas on its live side after the stops, so no pressure")
            title = f"Pressure on the live side of stop {ident}, all stops in"
            return node, stop.pressure_mbar, title, f"{recorded.place}, stops {ident}, pressure_mbar"
    for customer in recorded.option.customers:
        if customer.id == ident and customer.pressure_mbar is not None:
            customers = recorded.state.customers
            title = f"Pressure at the meter inlet of customer {ident}, all stops in"
            where = f"{recorded.place}, customers {ident}, pressure_mbar"
            return (
                int(customers.node[customers.customer_id.find(ident)]),
                customer.pressure_mbar,
                title,
                where,
            )
    raise BadInputError(
        f"pressure:{ident}: the option states no pressure for it; give a stop or a kept customer"
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Links:
    """Open pipes and hoses that a way leads through, each in the direction the gas runs.

    `start` and `end` are the least nodes that pieces without a length join with those of the link.
    """

    name: list[str]
    from_m: Floats
    to_m: Floats
    flow_m3h: Floats
    bore_mm: Floats
    roughness_mm: Floats
    length_m: Floats
    loss: Floats
    start: Ints
    end: Ints

    def leg(self, row: int, *, ends_at: int) -> _Leg:
        """Return a link as a leg of the way that ends at one of its ends."""
        start, end = int(self.start[row]), int(self.end[row])
        other, at = (end, start) if start == ends_at else (start, end)
        return _Leg(
            name=self.name[row],
            from_m=float(self.from_m[row]),
            to_m=float(self.to_m[row]),
            flow_m3h=float(self.flow_m3h[row]),
            bore_mm=float(self.bore_mm[row]),
            roughness_mm=float(self.roughness_mm[row]),
            length_m=float(self.length_m[row]),
            loss=float(self.loss[row]),
            start=other,
            end=at,
        )


def _links(recorded: RecordedOption, place: dict[int, int]) -> _Links:
    pipes, hoses = recorded.state.pipes, recorded.state.feeds
    rows = np.flatnonzero(pipes.is_open & ((pipes.length_m > 0.0) | (pipes.loss_coefficient > 0.0)))
    more = np.flatnonzero(hoses.from_node >= 0)
    bores = np.array([rule_bore_mm(recorded, bore) for bore in hoses.bore_mm[more].tolist()], dtype=float)
    # The layer states it to two digits: worked out as for the drop of a hose.
    outlets = {bypass.id: bypass.outlets_mm for bypass in recorded.option.bypasses}
    loss = [
        feed_loss_coefficient(bore / MM_PER_M, recorded.rules, outlets[hoses.bypass_id[row]])
        for bore, row in zip(bores.tolist(), more.tolist(), strict=True)
    ]
    flow = np.append(pipes.flow_m3h[rows], hoses.flow_m3h[more] / hoses.parallel[more])
    ends_m = np.stack(
        [
            np.append(pipes.from_m[rows], np.zeros(len(more))),
            np.append(pipes.to_m[rows], hoses.length_m[more]),
        ]
    )
    nodes = np.stack(
        [
            np.append(pipes.from_node[rows], hoses.from_node[more]),
            np.append(pipes.to_node[rows], hoses.to_node[more]),
        ]
    )
    ends = np.array([[place[node] for node in end] for end in nodes.tolist()], dtype=np.int64)
    back = flow < 0.0
    ends_m[:, back], ends[:, back] = ends_m[::-1, back], ends[::-1, back]
    return _Links(
        name=[pipes.name(row) for row in rows.tolist()]
        + [f"bypass {hoses.bypass_id[row]}" for row in more.tolist()],
        from_m=ends_m[0],
        to_m=ends_m[1],
        flow_m3h=np.abs(flow),
        bore_mm=np.append(pipes.bore_mm[rows], bores),
        roughness_mm=np.append(pipes.roughness_mm[rows], hoses.roughness_mm[more]),
        length_m=np.append(pipes.length_m[rows], hoses.length_m[more]),
        loss=np.append(pipes.loss_coefficient[rows], loss),
        start=ends[0],
        end=ends[1],
    )


def _way(recorded: RecordedOption, node: int) -> tuple[list[_Leg], int]:
    """Return the way most of the gas comes to a node, from a station, and the node it starts at."""
    place = one_place(recorded)
    links = _links(recorded, place)
    end, flow = links.end, links.flow_m3h
    giving = recorded.state.stations
    stations = {place[int(n)] for n in giving.node[giving.flow_m3h > 0.0]}
    legs: list[_Leg] = []
    at = place[int(node)]
    for row in _still(links.start, end, flow, at, stations):
        legs.append(links.leg(row, ends_at=at))
        at = legs[-1].start
    while at not in stations:
        rows = np.flatnonzero((end == at) & (flow > 0.0))
        if not len(rows) or len(legs) > len(flow):
            raise BadInputError(f"plan.gpkg: no gas flows to node {node}; make the plan again")
        legs.append(links.leg(int(rows[np.argmax(flow[rows])]), ends_at=at))
        at = legs[-1].start
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


def _begin(recorded: RecordedOption, start: int) -> tuple[float, str]:
    place = one_place(recorded)
    stations = recorded.state.stations
    for row, node in enumerate(stations.node.tolist()):
        if place[node] == start:
            name, outlet_mbar = stations.station_id[row], float(stations.outlet_mbar[row])
            solved = recorded.pressure_mbar(node)
            if abs(solved - outlet_mbar) < _SAME_MBAR:
                return outlet_mbar, f"layer stations, {name}, outlet_mbar"
            why = "which senses elsewhere or is at capacity"
            return solved, f"layer nodes, node {node}: solved outlet of {name}, {why}"
    raise BadInputError("plan.gpkg: layer stations does not hold the station the gas comes from; plan again")


def _height(recorded: RecordedOption, node: int, datum: float) -> float:
    height = recorded.height_m(node)
    return height if math.isfinite(height) else datum


def _pieces(sheet: ExplanationSheet, legs: list[_Leg], columns: list[SheetColumn]) -> list[PathPiece]:
    """Return the legs with the gauge pressure at both ends, against the air at their height."""
    known, numbers = sheet.known, partial(sheet.numbers, columns)

    def gauge_mbar(pressure_pa_abs: float, height_m: float) -> float:
        air = known["air"] * math.exp(-known["g"] * (height_m - known["h0"]) / known["e_air"])
        return (pressure_pa_abs - air) / PA_PER_MBAR

    pieces, height_m = [], known["h_0"]
    for leg, start, end, rise_m in zip(legs, numbers("P"), numbers("P_next"), numbers("dh"), strict=True):
        pieces.append(
            PathPiece(
                name=leg.name,
                length_m=leg.length_m,
                bore_mm=leg.bore_mm,
                flow_m3h=leg.flow_m3h,
                start_mbar=gauge_mbar(start, height_m),
                end_mbar=gauge_mbar(end, height_m + rise_m),
            )
        )
        height_m += rise_m
    return pieces


def _walk(sheet: ExplanationSheet, recorded: RecordedOption, legs: list[_Leg], datum: float) -> None:
    rise = [_height(recorded, leg.end, datum) - _height(recorded, leg.start, datum) for leg in legs]
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
        SheetTable(
            "The way the gas comes, from the station",
            "layers pipes, bypasses and nodes of plan.gpkg",
            tuple(columns),
            follows=(("P", "P_next"),),
            path=path_lengths(_pieces(sheet, legs, columns)),
        )
    )
    sheet.given("P_end", at, "Pa absolute", "P_next of the last row", "the table above")
    height = _height(recorded, legs[-1].end, datum)
    sheet.given("h_end", height, "m", "height there", f"layer nodes, node {legs[-1].end}")
