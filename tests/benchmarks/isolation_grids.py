"""Joined networks of street grids made from a seed, straight as arrays: what the choice of stops is timed on.

Square blocks of 80 m with a fifth of the street links left out; every link is one main with four service tees,
so it makes nine pipes between nodes; one link in twenty-five has a valve near its start. One regulator station
stands in every 40 x 40 blocks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.network.model import (
    Customers,
    Fittings,
    Injections,
    KeepOut,
    Network,
    Nodes,
    Pieces,
    Pipes,
    SensingPoints,
    Stations,
    Valves,
)
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category, Material, Surface
from netplan.network.work_section import WorkSection

TEES, BLOCK_M, SERVICE_M, STATION_EVERY = 4, 80.0, 9.0, 40
OD_BORE_M = ((0.315, 0.2578), (0.180, 0.1472), (0.125, 0.1022))
Longs = NDArray[np.int64]


def isolation_grid(n_pipes: int, seed: int = 1) -> Network:
    """Return a grid with about `n_pipes` pipes between nodes."""
    rng = np.random.default_rng(seed)
    blocks = max(3, round((n_pipes / (2 * 0.8 * (2 * TEES + 1))) ** 0.5))
    side = blocks + 1
    row, column = np.divmod(np.arange(side * side), side)
    east, north = np.flatnonzero(column < blocks), np.flatnonzero(row < blocks)
    start, end = np.concatenate([east, north]), np.concatenate([east + 1, north + side])
    street = np.concatenate([row[east], column[north]])
    stays = (street % 10 == 0) | (rng.random(start.size) >= 0.2)
    start, end, street = start[stays], end[stays], street[stays]
    links = len(start)
    has_valve = rng.random(links) < 0.04
    corners = side * side
    tee = corners + np.arange(links * TEES).reshape(links, TEES)
    service_end = tee + links * TEES
    valve_from = corners + 2 * links * TEES + np.arange(links)
    valve_to = valve_from + links
    gaps = rng.dirichlet(np.full(TEES + 1, 3.0), links) * (BLOCK_M - 20.0)
    at = 15.0 + np.cumsum(gaps, axis=1)[:, :-1]
    x = np.concatenate([column * BLOCK_M, np.zeros(2 * links * TEES + 2 * links)])
    y = np.concatenate([row * BLOCK_M, np.zeros(2 * links * TEES + 2 * links)])
    step = np.stack([x[end] - x[start], y[end] - y[start]]) / BLOCK_M
    for node, along in (
        (tee, at),
        (service_end, at),
        (valve_from, np.full(links, 8.0)),
        (valve_to, np.full(links, 8.0)),
    ):
        shape = (slice(None), None) if node.ndim == 2 else (slice(None),)
        aside = SERVICE_M if node is service_end else 0.0
        x[node] = x[start][shape] + step[0][shape] * along - step[1][shape] * aside
        y[node] = y[start][shape] + step[1][shape] * along + step[0][shape] * aside
    pieces = _pieces(links, start, end, tee, service_end, valve_from, valve_to, at, has_valve)
    pipes = _pipes(rng, links, street, x, y, start, end, tee, service_end)
    valve_piece = np.flatnonzero(pieces.valve >= 0)
    valves = Valves(
        id=TextColumn([f"V{n:07d}" for n in range(len(valve_piece))]),
        state=np.zeros(len(valve_piece), np.uint8),
        operable=np.zeros(len(valve_piece), np.uint8),
        pipe=pieces.pipe[valve_piece],
        piece=valve_piece.astype(np.int32),
        chainage_m=pieces.from_m[valve_piece],
    )
    middle = np.arange(STATION_EVERY // 2, side, STATION_EVERY)
    middle = middle if middle.size else np.array([blocks // 2])
    station = (middle[:, None] * side + middle[None, :]).ravel().astype(np.int32)
    return _network(rng, x, y, pipes, pieces, valves, station, service_end.ravel())


def _pieces(
    links: int,
    start: Longs,
    end: Longs,
    tee: Longs,
    service_end: Longs,
    valve_from: Longs,
    valve_to: Longs,
    at: NDArray[np.float64],
    has_valve: NDArray[np.bool_],
) -> Pieces:
    """Return the pieces: seven a main, less two where there is no valve; one a service."""
    eight = np.full(links, 8.0)
    first_node = np.where(has_valve, valve_to, start)
    nodes = np.column_stack([start, valve_from, first_node, tee, end])
    places = np.column_stack(
        [np.zeros(links), eight, np.where(has_valve, eight, 0.0), at, np.full(links, BLOCK_M)]
    )
    from_node, to_node = nodes[:, :-1].ravel(), nodes[:, 1:].ravel()
    from_m, to_m = places[:, :-1].ravel(), places[:, 1:].ravel()
    width = nodes.shape[1] - 1
    slot = np.tile(np.arange(width), links)
    wanted = (slot >= 2) | np.repeat(has_valve, width)
    valve = np.full(links * width, -1)
    is_valve = (slot == 1) & wanted
    valve[is_valve] = np.arange(is_valve.sum())
    services = links * TEES
    pipe = np.concatenate([np.repeat(np.arange(links), width)[wanted], links + np.arange(services)])
    return Pieces(
        pipe=pipe.astype(np.int32),
        from_m=np.concatenate([from_m[wanted], np.zeros(services)]),
        to_m=np.concatenate([to_m[wanted], np.full(services, SERVICE_M)]),
        from_node=np.concatenate([from_node[wanted], tee.ravel()]).astype(np.int32),
        to_node=np.concatenate([to_node[wanted], service_end.ravel()]).astype(np.int32),
        valve=np.concatenate([valve[wanted], np.full(services, -1)]).astype(np.int32),
        is_open=np.ones(len(pipe), np.bool_),
    )


def _pipes(
    rng: np.random.Generator,
    links: int,
    street: Longs,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    start: Longs,
    end: Longs,
    tee: Longs,
    service_end: Longs,
) -> Pipes:
    services = links * TEES
    n = links + services
    size = np.select([street % 10 == 0, street % 5 == 0], [0, 1], 2)
    od, bore = (np.array([pair[i] for pair in OD_BORE_M])[size] for i in (0, 1))
    a, b = np.concatenate([start, tee.ravel()]), np.concatenate([end, service_end.ravel()])
    surface = rng.choice([Surface.VERGE, Surface.FOOTWAY, Surface.CARRIAGEWAY], links)
    blank = TextColumn([""] * n)
    nothing = np.full(n, np.nan)
    return Pipes(
        id=TextColumn([*(f"M{i:07d}" for i in range(links)), *(f"S{i:07d}" for i in range(services))]),
        n_mains=links,
        material=np.full(n, Material.PE100, np.uint8),
        od_m=np.concatenate([od, np.full(services, 0.032)]),
        wall_m=nothing,
        bore_m=np.concatenate([bore, np.full(services, 0.026)]),
        sdr=np.full(n, 11.0),
        mop_pa_gauge=nothing,
        system=np.zeros(n, np.int16),
        surface=np.concatenate([surface, np.zeros(services)]).astype(np.uint8),
        joint=np.ones(n, np.uint8),
        host=np.zeros(n, np.uint8),
        excess_flow_valve=np.zeros(n, np.uint8),
        year=np.full(n, 2001.0),
        depth_m=nothing,
        resin=blank,
        street=blank,
        record_date=blank,
        length_m=np.concatenate([np.full(links, BLOCK_M), np.full(services, SERVICE_M)]),
        coords_m=np.stack([np.stack([x[a], y[a]], 1), np.stack([x[b], y[b]], 1)], 1).reshape(-1, 2),
        coord_start=2 * np.arange(n + 1, dtype=np.int64),
    )


def _network(
    rng: np.random.Generator,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    pipes: Pipes,
    pieces: Pieces,
    valves: Valves,
    station: NDArray[np.int32],
    meter: Longs,
) -> Network:
    count = len(meter)
    blank = TextColumn([""] * count)
    category = rng.choice([Category.HOUSEHOLD, Category.BUSINESS], count, p=[0.96, 0.04])
    none = TextColumn()
    return Network(
        source="grid",
        content_sha256="",
        crs="EPSG:25832",
        crs_note="",
        scale=1.0,
        systems=("LP",),
        recorded=frozenset({"mains", "services", "customers", "regulators", "fittings", "valves"}),
        nodes=Nodes(x, y, np.full(len(x), np.nan), np.zeros(len(x), np.int16)),
        pipes=pipes,
        pieces=pieces,
        valves=valves,
        stations=Stations(
            id=TextColumn([f"R{n:04d}" for n in range(len(station))]),
            node=station,
            outlet_pa_gauge=np.full(len(station), 2500.0),
            max_outlet_pa_gauge=np.full(len(station), 5000.0),
            capacity_m3_per_s_std=np.full(len(station), np.nan),
            sensing_node=np.full(len(station), -1, np.int32),
            inlet_valve=TextColumn([""] * len(station)),
            inlet_is_operable=np.zeros(len(station), bool),
            vent_between=np.zeros(len(station), np.uint8),
        ),
        sensing=SensingPoints(np.zeros(0, np.int32), np.zeros(0, np.int32)),
        injections=Injections(none, np.zeros(0, np.int32)),
        customers=Customers(
            id=TextColumn([f"C{n:07d}" for n in range(count)]),
            address=blank,
            street=blank,
            number=blank,
            postcode=blank,
            town=blank,
            category=category.astype(np.uint8),
            meters=np.ones(count, np.int32),
            priority=blank,
            priority_note=blank,
            telephone=blank,
            annual_kwh=np.full(count, 15000.0),
            peak_kw=np.full(count, np.nan),
            service_regulator=np.zeros(count, np.uint8),
            language=blank,
            x_m=x[meter],
            y_m=y[meter],
            attach_start=np.arange(count + 1, dtype=np.int32),
            attach_node=meter.astype(np.int32),
            attached_by=np.ones(count, np.uint8),
        ),
        fittings=Fittings(none, np.zeros(0, np.uint8), np.zeros(0, np.int32), np.zeros(0)),
        keep_out=KeepOut(np.zeros(0, dtype=object), none),
    )


def sections(network: Network, count: int, seed: int = 7) -> list[WorkSection]:
    """Return work sections of 3 to 60 m on mains drawn at random."""
    rng = np.random.default_rng(seed)
    found = []
    for row in rng.choice(network.pipes.n_mains, count, replace=False):
        length = float(network.pipes.length_m[row])
        long = rng.uniform(3.0, 60.0)
        low = rng.uniform(0.0, length - long)
        found.append(WorkSection(np.array([row], np.int32), np.array([low]), np.array([low + long])))
    return found
