"""A made-up solved state of the invented hamlet: a close cut out, and beyond it a bypass or nothing.

Nothing here is solved; figures only have to be plausible and all different.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.network.linear_reference import PipeLines
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category
from netplan.planfile import (
    PieceState,
    SolvedState,
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
)
from netplan.planfile import model as pm
from tests.support.hamlet import SCALE, X0, Y0

__all__ = ["MadeUp", "made_up_network", "made_up_state"]


def _split(network: Network, at: dict[int, list[float]]) -> dict[str, NDArray[np.float64]]:
    """Split the pieces of the network at the chainages of stops, adding nodes behind the network's."""
    pieces, rows = network.pieces, []
    xy = list(zip(network.nodes.x_m, network.nodes.y_m, strict=True))
    for k in range(len(pieces)):
        pipe, a, b = int(pieces.pipe[k]), float(pieces.from_m[k]), float(pieces.to_m[k])
        inner = sorted(c for c in at.get(pipe, []) if a < c < b)
        nodes = [int(pieces.from_node[k])]
        start = network.pipes.coords_m[network.pipes.coord_start[pipe]]
        end = network.pipes.coords_m[network.pipes.coord_start[pipe + 1] - 1]
        for chainage in inner:
            share = chainage / network.pipes.length_m[pipe]
            xy.append(tuple(start + share * (end - start)))
            nodes.append(len(xy) - 1)
        nodes.append(int(pieces.to_node[k]))
        marks = [a, *inner, b]
        rows += [(pipe, marks[i], marks[i + 1], nodes[i], nodes[i + 1]) for i in range(len(marks) - 1)]
    names = ("pipe", "from_m", "to_m", "from", "to")
    return {"xy": np.array(xy)} | {
        name: np.array(column) for name, column in zip(names, zip(*rows, strict=True), strict=True)
    }


@dataclass(frozen=True)
class MadeUp:
    """A made-up solved network: pieces and nodes of a state, and what customers and a hose have of it."""

    pipes: StatePipes
    nodes: StateNodes
    hose_nodes: tuple[int, int] | None
    customer_demand_m3h: NDArray[np.float64]
    customer_pressure_mbar: NDArray[np.float64]


def made_up_network(network: Network, zone: tuple[float, float], *, bypass: bool) -> MadeUp:
    """Draw the close cut out between two chainages; beyond it fed by a bypass, or without gas."""
    tail, cut_at = 8, [zone[0], zone[1]] + ([zone[0] - 2.3, zone[1] + 2.3] if bypass else [])
    parts = _split(network, {tail: cut_at})
    xy, pipe = parts["xy"], parts["pipe"].astype(np.int64)
    x = (xy[:, 0] - X0 - 400.0) / SCALE
    on_tail = (np.abs(xy[:, 1] - Y0 - 100.0) <= 12) & (x > 0.01)
    mid = (x[parts["from"]] + x[parts["to"]]) / 2
    piece_tail = on_tail[parts["from"]] | on_tail[parts["to"]]
    state = np.zeros(len(pipe), np.int8)
    state[piece_tail & (mid > zone[0]) & (mid < zone[1])] = PieceState.ISOLATED
    state[piece_tail & (mid >= zone[1])] = PieceState.FED if bypass else PieceState.STRANDED
    pressure = 27.0 - np.hypot(xy[:, 0] - X0, xy[:, 1] - Y0) * 0.008
    dead = on_tail & (x > zone[0] + 1e-6) & ((x < zone[1] - 1e-6) | (not bypass))
    before = pressure.copy()
    pressure[dead] = np.nan
    node = network.customers.attach_node
    demand = np.where(dead[node], 0.0, 0.231)
    node_demand = np.zeros(len(xy))
    np.add.at(node_demand, node, demand)
    ends = {c: int(np.abs(x - c + 1e3 * ~on_tail).argmin()) for c in cut_at}
    lines, start = PipeLines.of(network).part_vertices(pipe, parts["from_m"], parts["to_m"])
    n = len(pipe)
    pipes = StatePipes(
        is_main=pipe < network.pipes.n_mains,
        pipe_id=network.pipes.id.take(pipe),
        from_m=parts["from_m"],
        to_m=parts["to_m"],
        state=state,
        system=TextColumn(np.array(network.systems, dtype=object)[network.pipes.system[pipe]]),
        valve_id=TextColumn([""] * n),
        bore_mm=network.pipes.bore_m[pipe] * 1e3,
        roughness_mm=np.full(n, 7e-3),
        loss_coefficient=np.zeros(n),
        length_m=parts["to_m"] - parts["from_m"],
        from_node=parts["from"].astype(np.int64),
        to_node=parts["to"].astype(np.int64),
        flow_m3h=np.where(state == PieceState.ISOLATED, 0.0, 4.2),
        od_mm=network.pipes.od_m[pipe] * 1e3,
        street=network.pipes.street.take(pipe),
        record_date=network.pipes.record_date.take(pipe),
        line_start=start,
        line_xy_m=lines,
    )
    used = np.unique(np.concatenate([pipes.from_node, pipes.to_node]))
    nodes = StateNodes(
        node=used,
        height_m=np.full(len(used), np.nan),
        demand_m3h=node_demand[used],
        pressure_mbar=pressure[used],
        pressure_before_mbar=before[used],
        x_m=xy[used, 0],
        y_m=xy[used, 1],
    )
    hose = (ends[zone[0] - 2.3], ends[zone[1] + 2.3]) if bypass else None
    return MadeUp(pipes, nodes, hose, demand, np.where(dead[node], np.nan, pressure[node]))


def made_up_state(network: Network, option: pm.Option, made: MadeUp) -> SolvedState:
    stations, xy = network.stations, np.stack([network.nodes.x_m, network.nodes.y_m])
    at = stations.node.astype(np.int64)
    return SolvedState(
        option=option.rank,
        left_out="",
        pipes=made.pipes,
        nodes=made.nodes,
        stations=StateStations(
            station_id=stations.id,
            node=at,
            outlet_mbar=stations.outlet_pa_gauge / 100.0,
            max_outlet_mbar=stations.max_outlet_pa_gauge / 100.0,
            capacity_m3h=stations.capacity_m3_per_s_std * 3600.0,
            flow_m3h=np.array([31.4]),
            sensing_node=stations.sensing_node.astype(np.int64),
            x_m=xy[0][at],
            y_m=xy[1][at],
        ),
        feeds=_feeds(option, made.hose_nodes or (-1, -1)),
        customers=_customers(network, option, made),
    )


def _feeds(option: pm.Option, nodes: tuple[int, int]) -> StateFeeds:
    def column(*path: str) -> list[Any]:
        found: list[Any] = list(option.bypasses)
        for name in path:
            found = [getattr(one, name) for one in found]
        return found

    def numbers(*path: str) -> NDArray[np.float64]:
        return np.array(column(*path), dtype=float)

    count = len(option.bypasses)
    return StateFeeds(
        bypass_id=TextColumn(column("id")),
        kind=TextColumn(column("kind")),
        from_main=TextColumn(column("from_", "main_id")),
        from_chainage_m=numbers("from_", "chainage_m"),
        to_main=TextColumn(column("to", "main_id")),
        to_chainage_m=numbers("to", "chainage_m"),
        from_node=np.full(count, nodes[0], dtype=np.int64),
        to_node=np.full(count, nodes[1], dtype=np.int64),
        length_m=numbers("length_m"),
        bore_mm=numbers("bore_mm"),
        parallel=np.ones(count, dtype=np.int64),
        roughness_mm=np.full(count, 0.01),
        loss_coefficient=numbers("loss_coefficient"),
        flow_m3h=numbers("flow_m3h"),
        drop_mbar=numbers("drop_mbar"),
        velocity_m_s=numbers("velocity_m_s"),
        pressure_from_mbar=numbers("pressure_from_mbar"),
        pressure_to_mbar=numbers("pressure_to_mbar"),
        minimum_air_temp_c=numbers("minimum_air_temp_c"),
        route_start=np.cumsum([0, *(len(one.course) for one in option.bypasses)]).astype(np.int64),
        route_xy_m=np.array([xy for one in option.bypasses for xy in one.course], dtype=float).reshape(-1, 2),
    )


def _customers(network: Network, option: pm.Option, made: MadeUp) -> StateCustomers:
    customers, affected = network.customers, {row.id: row for row in option.customers}
    touched = [affected.get(id_) for id_ in customers.id]
    count = len(customers)
    return StateCustomers(
        customer_id=customers.id,
        effect=TextColumn([row and row.effect for row in touched]),
        cause=TextColumn([row and row.cause for row in touched]),
        kept_by=TextColumn([row and row.kept_by for row in touched]),
        standby=np.array([id_ in option.standby for id_ in customers.id], dtype=bool),
        address=customers.address,
        street=customers.street,
        number=customers.number,
        postcode=customers.postcode,
        town=customers.town,
        category=TextColumn([Category(int(code)).word for code in customers.category]),
        priority=customers.priority,
        language=customers.language,
        meters=customers.meters.astype(np.int64),
        demand_m3h=made.customer_demand_m3h,
        pressure_mbar=made.customer_pressure_mbar,
        node=customers.attach_node.astype(np.int64),
        annual_kwh=customers.annual_kwh,
        peak_kw=customers.peak_kw,
        part=np.zeros(count, dtype=np.int64),
        pressure_before_mbar=made.nodes.at(made.nodes.pressure_before_mbar, customers.attach_node),
        drawn_start=np.arange(count + 1),
        drawn_node=customers.attach_node.astype(np.int64),
        x_m=customers.x_m,
        y_m=customers.y_m,
    )
