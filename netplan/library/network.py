"""The joined network as a graph and as tables, and the properties of the gas in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.hydraulics.flow_case import gas_of
from netplan.network.linear_reference import lines_between
from netplan.network.model import Network
from netplan.network.topology import neighbourhood, to_networkx
from netplan.network.vocabulary import Category, Layer, ValveState
from netplan.network.work_section import WorkPart, work_section
from netplan.rules import Rules, default_rules

if TYPE_CHECKING:
    import networkx as nx

__all__ = ["gas_properties", "network_graph", "network_tables"]

_J_PER_MJ = 1e6


def network_graph(
    network: Network, around: tuple[str, float, float] | None = None, *, within_m: float = 100.0
) -> nx.MultiGraph[int]:
    """Return the network, or what lies round a length of main, as a networkx graph.

    Nodes carry ``x_m``, ``y_m``, ``height_m`` [m], ``system``, ``stations`` and ``customers`` (ids). An edge
    is a piece of pipe between two nodes, or a valve, which has no length: ``layer``, ``pipe_id``, ``from_m``,
    ``to_m``, ``length_m``, ``bore_m`` [m], ``is_open`` and, for a valve, ``valve_id``. Every node and piece
    becomes a Python object, so that a city takes a while.

    Parameters
    ----------
    network : Network
        As returned by `read_network`.
    around : (str, float, float), optional
        Main, and chainages from and to [m]; default the whole network.
    within_m : float
        How far along the pipes from there, closed valves passed [m, true length].

    Raises
    ------
    BadWorkError
        When there is no such length of main.
    MissingExtraError
        When networkx is not installed: it comes with the extra `graph`.

    Examples
    --------
    >>> import networkx
    >>> street = netplan.network_graph(network, ("M0142", 158, 162), within_m=60)
    >>> networkx.number_connected_components(street)
    1
    """
    if around is None:
        return to_networkx(network)
    section = work_section(network, (WorkPart(around[0], float(around[1]), float(around[2])),))
    pieces = network.pieces
    low, high = float(section.from_m.min()), float(section.to_m.max())
    on = (pieces.pipe == section.pipe[0]) & (pieces.to_m >= low) & (pieces.from_m <= high)
    ends = np.concatenate([pieces.from_node[on], pieces.to_node[on]])
    return to_networkx(network, neighbourhood(network, ends, within_m))


def network_tables(network: Network) -> dict[str, gpd.GeoDataFrame]:
    """Return the joined network as tables with geometry, in its working CRS.

    Parameters
    ----------
    network : Network
        As returned by `read_network`.

    Returns
    -------
    dict of str to GeoDataFrame
        ``pieces`` of mains and services between nodes, valves among them as pieces of no length; ``nodes``;
        ``customers`` with the first node they are supplied at, -1 for none; ``stations`` on mains. Lengths
        are true ones [m], sizes [mm], pressures [mbar gauge], flows [m³/h at 15 °C, 101.325 kPa].

    Raises
    ------
    ProjectionError
        When the network's CRS is not known to the geometry library.

    Examples
    --------
    >>> tables = netplan.network_tables(network)
    >>> tables["pieces"].groupby("layer").pipe_id.nunique().to_dict()
    {'mains': 194, 'services': 1384}
    """
    return {
        "pieces": _pieces(network),
        "nodes": _frame(
            network,
            {
                "node": np.arange(len(network.nodes)),
                "height_m": network.nodes.height_m,
                "system": np.array(network.systems, dtype=object)[network.nodes.system],
            },
            shapely.points(network.nodes.x_m, network.nodes.y_m),
        ),
        "customers": _customers(network),
        "stations": _stations(network),
    }


def _frame(network: Network, columns: Mapping[str, object], geometry: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.DataFrame(dict(columns)), geometry=geometry, crs=network.crs)


def _pieces(network: Network) -> gpd.GeoDataFrame:
    pieces, pipes, valves = network.pieces, network.pipes, network.valves
    pipe = pieces.pipe.astype(np.int64)
    valve_id, state = np.full(len(pieces), None, dtype=object), np.full(len(pieces), None, dtype=object)
    rows = np.flatnonzero(pieces.valve >= 0)
    valve_id[rows] = valves.id.take(pieces.valve[rows].astype(np.int64)).numpy()
    state[rows] = [ValveState(int(code)).word for code in valves.state[pieces.valve[rows]]]
    layers = np.array([layer.word for layer in Layer], dtype=object)
    columns = {
        "layer": layers[(pipe >= pipes.n_mains).astype(int)],
        "pipe_id": pipes.id.take(pipe).numpy(),
        "from_m": pieces.from_m,
        "to_m": pieces.to_m,
        "length_m": pieces.to_m - pieces.from_m,
        "from_node": pieces.from_node,
        "to_node": pieces.to_node,
        "od_mm": pipes.od_m[pipe] * MM_PER_M,
        "bore_mm": pipes.bore_m[pipe] * MM_PER_M,
        "system": np.array(network.systems, dtype=object)[pipes.system[pipe]],
        "is_open": pieces.is_open,
        "valve_id": valve_id,
        "valve_state": state,
    }
    return _frame(network, columns, lines_between(network, pipe, pieces.from_m, pieces.to_m))


def _customers(network: Network) -> gpd.GeoDataFrame:
    customers = network.customers
    node = np.full(len(customers), -1, dtype=np.int64)
    attached = np.flatnonzero(np.diff(customers.attach_start) > 0)
    node[attached] = customers.attach_node[customers.attach_start[attached]]
    every = np.arange(len(customers))
    columns = {
        "customer_id": customers.id.take(every).numpy(),
        "address": customers.address.take(every).numpy(),
        "category": np.array(Category.words(), dtype=object)[customers.category],
        "priority": customers.priority.take(every).numpy(),
        "meters": customers.meters,
        "node": node,
    }
    return _frame(network, columns, shapely.points(customers.x_m, customers.y_m))


def _stations(network: Network) -> gpd.GeoDataFrame:
    stations = network.stations
    rows = np.flatnonzero(stations.node >= 0)
    node = stations.node[rows]
    columns = {
        "station_id": stations.id.take(rows).numpy(),
        "node": node,
        "outlet_mbar": stations.outlet_pa_gauge[rows] / PA_PER_MBAR,
        "max_outlet_mbar": stations.max_outlet_pa_gauge[rows] / PA_PER_MBAR,
        "capacity_m3h": stations.capacity_m3_per_s_std[rows] * SECONDS_PER_HOUR,
    }
    return _frame(network, columns, shapely.points(network.nodes.x_m[node], network.nodes.y_m[node]))


def gas_properties(rules: Rules | None = None) -> pd.Series:
    """Return the properties of the rules' gas, to check its composition against a bill or a standard.

    Parameters
    ----------
    rules : Rules, optional
        Planning rules; default those that ship with the package.

    Returns
    -------
    Series
        Molar mass [kg/mol], density [kg/m³], relative density [-], gross and net calorific value and Wobbe
        index [MJ/m³], all real and per volume at 15 °C, 101.325 kPa, combustion at 15 °C.

    Raises
    ------
    BadInputError
        When the composition of the gas is impossible.

    Examples
    --------
    >>> print(netplan.gas_properties()["gross_wobbe_mj_per_m3"].round(1))
    49.7
    """
    gas = gas_of(rules or default_rules())
    return pd.Series(
        {
            "molar_mass_kg_per_mol": gas.molar_mass_kg_per_mol,
            "density_kg_per_m3": gas.density_kg_per_m3_at(),
            "relative_density": gas.relative_density(),
            "gross_calorific_value_mj_per_m3": gas.gross_calorific_value_j_per_m3() / _J_PER_MJ,
            "net_calorific_value_mj_per_m3": gas.net_calorific_value_j_per_m3() / _J_PER_MJ,
            "gross_wobbe_mj_per_m3": gas.wobbe_j_per_m3() / _J_PER_MJ,
            "net_wobbe_mj_per_m3": gas.net_wobbe_j_per_m3() / _J_PER_MJ,
        },
        name=gas.name,
    )
