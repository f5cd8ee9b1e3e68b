"""A state after the stops, rebuilt from plan.gpkg alone and solved by pandapipes.

Nothing of the planning code is used: the layers are read as a stranger would, pipes that carry gas become
pandapipes pipes, valves join their ends, bypasses are hoses side by side. The friction law is the one of
this project on both sides (see tests.support.pandapipes_flow), so that what is compared is the solution.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pyogrio

from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork
from netplan.reference.gas import named_gas
from tests.support.pandapipes_flow import answer_of, build, solve_net

__all__ = ["Rebuilt", "rebuild"]

LIVE = ("live", "fed")


@dataclass(frozen=True)
class Rebuilt:
    """The solved state: pressure by node [mbar gauge], flow [m³/h] and velocity [m/s] by bypass id."""

    pressure_mbar: dict[int, float]
    bypass_flow_m3h: dict[str, float]
    bypass_velocity_m_s: dict[str, float]

    def at(self, nodes: Any) -> np.ndarray:
        """Return the pressures at nodes [mbar gauge]; NaN without gas."""
        return np.array([self.pressure_mbar.get(int(node), np.nan) for node in nodes])


def read(path: Path, option: int) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of one option."""
    layers = {}
    for name in ("pipes", "nodes", "stations", "bypasses", "customers"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            rows = pyogrio.read_dataframe(path, layer=name)
        layers[name] = rows[rows.option == option].reset_index(drop=True)
    conditions = pyogrio.read_dataframe(path, layer="conditions")
    layers["conditions"] = conditions.set_index("name").value
    return layers


def rebuild(layers: dict[str, Any], bore_mm: dict[str, tuple[float, int, float]] | None = None) -> Rebuilt:
    """Solve the state, by other bores where wanted: bypass id to (bore mm, hoses, loss coefficient)."""
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(int(node) for node in layers["nodes"].node)
    pipes = layers["pipes"][layers["pipes"].state.isin(LIVE)]
    joined = nx.utils.UnionFind(graph.nodes)
    for row in pipes[pipes.length_m <= 0.0].itertuples():
        joined.union(int(row.from_node), int(row.to_node))
    links: list[tuple[int, int, float, float, float, float]] = [
        (
            joined[int(r.from_node)],
            joined[int(r.to_node)],
            r.length_m,
            r.bore_mm,
            r.roughness_mm,
            r.loss_coefficient,
        )
        for r in pipes[pipes.length_m > 0.0].itertuples()
    ]
    hoses: list[str] = []
    for row in layers["bypasses"].itertuples():
        bore, count, loss = (row.bore_mm, row.parallel, row.loss_coefficient)
        if bore_mm and row.bypass_id in bore_mm:
            bore, count, loss = bore_mm[row.bypass_id]
        for _ in range(int(count)):
            links.append(
                (
                    joined[int(row.from_node)],
                    joined[int(row.to_node)],
                    row.length_m,
                    bore,
                    row.roughness_mm,
                    loss,
                )
            )
            hoses.append(row.bypass_id)
    graph.add_edges_from((a, b) for a, b, *_ in links)
    sources = {joined[int(node)] for node in layers["stations"].node}
    fed = sorted(set().union(*(nx.node_connected_component(graph, s) for s in sources if s in graph)))
    place = {node: i for i, node in enumerate(fed)}
    kept = [i for i, link in enumerate(links) if link[0] in place]
    table = np.array([links[i] for i in kept], dtype=float).reshape(len(kept), -1)
    demand = np.zeros(len(fed))
    for row in layers["nodes"].itertuples():
        if joined[int(row.node)] in place:
            demand[place[joined[int(row.node)]]] += row.demand_m3h / 3600.0
    # A station that gives nothing is locked up and holds no pressure; one that senses afar holds, at its
    # outlet, what the layer of nodes says.
    stations = layers["stations"][layers["stations"].flow_m3h > 0.0]
    stations = stations[[joined[int(node)] in place for node in stations.node]]
    outlet = stations.node.map(layers["nodes"].set_index("node").pressure_mbar)
    network = FlowNetwork(
        len(fed),
        FlowLinks(
            np.array([place[links[i][0]] for i in kept]),
            np.array([place[links[i][1]] for i in kept]),
            table[:, 2],
            table[:, 3] / 1e3,
            table[:, 4] / 1e3,
            table[:, 5],
        ),
        np.array([place[joined[int(node)]] for node in stations.node]),
        outlet.to_numpy(float) * 100.0,
    )
    heights = _heights(layers, links, joined, fed)
    return _solved(
        layers, network, heights, demand, hoses, kept, len(links), {n: joined[n] for n in list(joined)}, place
    )


def _heights(layers: dict[str, Any], links: list[Any], joined: Any, fed: list[int]) -> np.ndarray:
    """Return heights over that of a known node [m], unknown ones from the nearest known along the pipes."""
    known = {
        joined[int(row.node)]: float(row.height_m)
        for row in layers["nodes"].itertuples()
        if row.height_m == row.height_m
    }
    if not known:
        return np.zeros(len(fed))
    graph: nx.Graph[int] = nx.Graph()
    for start, stop, length, *_ in links:
        shorter = min(length, graph.get_edge_data(start, stop, {"weight": np.inf})["weight"])
        graph.add_edge(start, stop, weight=shorter)
    sources = {node for node in known if node in graph}
    _, ways = nx.multi_source_dijkstra(graph, sources)
    least = min(known.values())
    return np.array([known[ways[node][0]] - least if node in ways else 0.0 for node in fed])


def _solved(
    layers: dict[str, Any],
    network: FlowNetwork,
    heights: np.ndarray,
    demand: np.ndarray,
    hoses: list[str],
    kept: list[int],
    link_count: int,
    root: dict[int, int],
    place: dict[int, int],
) -> Rebuilt:
    said = layers["conditions"]
    conditions = FlowConditions(
        named_gas(str(said["gas"])), ground_temperature_k=273.15 + float(said["ground_temp_c"])
    )
    gas = conditions.properties()
    # Gas lighter than the air outside gains gauge pressure uphill: solved level, put back afterwards. The
    # densities are those at the air pressure, so that 50 m are within 0.04 mbar.
    air = 101_325.0 / conditions.air_pressure_per_density()
    uphill = (air - 101_325.0 * 1.02 / gas.pressure_per_density) * 9.80665 * heights
    level = network.station_pressure_pa_gauge - uphill[network.station_node]
    net = build(replace(network, station_pressure_pa_gauge=level), demand, conditions)
    solve_net(net, same_law=True)
    answer = answer_of(net)
    pressure = {
        node: float(answer.pressure_pa_gauge[place[own]] + uphill[place[own]]) / 100.0
        for node, own in root.items()
        if own in place
    }
    flow: dict[str, float] = {}
    velocity: dict[str, float] = {}
    first = link_count - len(hoses)
    for hose, ident in enumerate(hoses):
        row = kept.index(first + hose)
        mass = float(answer.flow_kg_per_s[row])
        flow[ident] = flow.get(ident, 0.0) + mass / gas.density_kg_per_m3_std * 3600.0
        ends = network.links.from_node[row], network.links.to_node[row]
        absolute = 101_325.0 + float(answer.pressure_pa_gauge[ends[0] if mass >= 0 else ends[1]])
        area = np.pi / 4.0 * float(network.links.bore_m[row]) ** 2
        velocity[ident] = abs(mass) * gas.pressure_per_density / absolute / area
    return Rebuilt(pressure, flow, velocity)
