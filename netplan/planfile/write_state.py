"""A solved state as layers of plan.gpkg."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from netplan.network.vocabulary import Layer
from netplan.planfile.columns import BYPASSES, CUSTOMERS, NODES, PIPES, STATIONS, ColumnKind, LayerColumn
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import (
    PieceState,
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
)

__all__ = ["LEFT_OUT", "SEPARATOR", "write_state"]

LEFT_OUT: Final = "left_out"
"""Row of the layer conditions that says what of a large network the layers do not hold."""
SEPARATOR: Final = ";"
"""Between the numbers of the nodes that a customer draws from."""

_DTYPES: Final = {
    ColumnKind.FLAG: np.bool_,
    ColumnKind.INT32: np.int32,
    ColumnKind.INT64: np.int64,
    ColumnKind.FLOAT: np.float64,
}
_LAYERS: Final = np.array([Layer.SERVICES.word, Layer.MAINS.word], dtype=object)
_STATES: Final = np.array([state.word for state in PieceState], dtype=object)


def write_state(state: SolvedState, crs: str) -> dict[str, gpd.GeoDataFrame]:
    """Return a state as layers of plan.gpkg; `read_state` gives the same state back, every digit.

    Parameters
    ----------
    state : SolvedState
    crs : str
        Working CRS of the plan, which the state's coordinates are in.

    Returns
    -------
    dict of str to GeoDataFrame
        ``bypasses, customers, pipes, nodes, stations``, rows with the rank of the option in `option`, and
        ``conditions``, a table without geometry: the one row of that layer that the state answers for.
    """
    rank, nodes = state.option, state.nodes
    points = shapely.points
    return {
        "bypasses": _bypasses(rank, state.feeds, crs),
        "customers": _customer_table(rank, state.customers, crs),
        "pipes": _pipe_table(rank, state.pipes, nodes, crs),
        "nodes": _layer(rank, NODES, nodes, points(nodes.x_m, nodes.y_m), crs),
        "stations": _layer(
            rank, STATIONS, state.stations, points(state.stations.x_m, state.stations.y_m), crs
        ),
        "conditions": pd.DataFrame([(LEFT_OUT, state.left_out, "")], columns=["name", "value", "unit"]),
    }


def _pipe_table(rank: int, pipes: StatePipes, nodes: StateNodes, crs: str) -> gpd.GeoDataFrame:
    worked_out = {
        "layer": _LAYERS[pipes.is_main.astype(int)],
        "state": _STATES[pipes.state],
        "pressure_from_mbar": nodes.at(nodes.pressure_mbar, pipes.from_node),
        "pressure_to_mbar": nodes.at(nodes.pressure_mbar, pipes.to_node),
    }
    return _layer(rank, PIPES, pipes, pipes.lines(np.arange(len(pipes))), crs, worked_out)


def _bypasses(rank: int, feeds: StateFeeds, crs: str) -> gpd.GeoDataFrame:
    if not len(feeds):
        return gpd.GeoDataFrame({column.name: [] for column in BYPASSES}, geometry=[], crs=crs)
    return _layer(rank, BYPASSES, feeds, feeds.lines(), crs)


def _customer_table(rank: int, customers: StateCustomers, crs: str) -> gpd.GeoDataFrame:
    start, node = customers.drawn_start.tolist(), customers.drawn_node.tolist()
    lists = [SEPARATOR.join(map(str, node[a:b])) for a, b in pairwise(start)]
    points = shapely.points(customers.x_m, customers.y_m)
    return _layer(rank, CUSTOMERS, customers, points, crs, {"nodes": np.array(lists, dtype=object)})


def _layer(
    rank: int,
    columns: Sequence[LayerColumn],
    table: StatePipes | StateNodes | StateStations | StateFeeds | StateCustomers,
    geometry: Any,
    crs: str,
    worked_out: Mapping[str, NDArray[Any]] | None = None,
) -> gpd.GeoDataFrame:
    known = {"option": np.full(len(table), rank), **(worked_out or {})}
    data = {
        column.name: _column_values(
            column.kind, known[column.name] if column.name in known else getattr(table, column.name)
        )
        for column in columns
    }
    return gpd.GeoDataFrame(pd.DataFrame(data), geometry=geometry, crs=crs)


def _column_values(kind: ColumnKind, values: Any) -> NDArray[Any]:
    if kind is ColumnKind.TEXT:
        return np.asarray(values.numpy())
    if kind is ColumnKind.TEXT_OR_NULL:
        return np.array([text or None for text in values], dtype=object)
    return np.asarray(values).astype(_DTYPES[kind]) if kind in _DTYPES else np.asarray(values)
