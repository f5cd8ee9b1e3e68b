"""A solved state written to the layers of plan.gpkg and read from them, by one list of columns.

A column has the name of the field of the state it holds; `option` is the rank of the option. Those marked
`derived` or `packed` are worked out when written: a pressure at an end of a pipe is that of its node, a list
of nodes is one text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from netplan.core.errors import BadInputError
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Layer
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import (
    PieceState,
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
)

__all__ = [
    "BYPASSES",
    "CUSTOMERS",
    "LEFT_OUT",
    "NODES",
    "PIPES",
    "SEPARATOR",
    "STATIONS",
    "ColumnKind",
    "LayerColumn",
    "read_state",
    "write_state",
]

LEFT_OUT: Final = "left_out"
"""Row of the layer conditions that says what of a large network the layers do not hold."""
SEPARATOR: Final = ";"
"""Between the numbers of the nodes that a customer draws from."""
_LAYERS: Final = np.array([Layer.SERVICES.word, Layer.MAINS.word], dtype=object)
_STATES: Final = np.array([state.word for state in PieceState], dtype=object)
_IS_MAIN: Final = {Layer.MAINS.word: True, Layer.SERVICES.word: False}
_STATE: Final = {state.word: int(state) for state in PieceState}


class ColumnKind(Enum):
    """What a column of a layer holds."""

    TEXT = "text, empty where missing"
    TEXT_OR_NULL = "text, null where missing"
    TEXT_OR_ABSENT = "text; no such column where none has any, as in plans of an older version"
    FLAG = "true or false"
    INT32 = "whole number of 32 bits"
    INT64 = "whole number of 64 bits"
    FLOAT = "number, null where not known"
    PACKED = "worked out when written, taken apart when read"
    DERIVED = "worked out when written, not read"


@dataclass(frozen=True, slots=True)
class LayerColumn:
    """A column of a layer.

    Parameters
    ----------
    name : str
    kind : ColumnKind
    """

    name: str
    kind: ColumnKind


def _columns(*parts: tuple[ColumnKind, str]) -> tuple[LayerColumn, ...]:
    return tuple(LayerColumn(name, kind) for kind, names in parts for name in names.split())


PIPES: Final = _columns(
    (ColumnKind.INT32, "option"),
    (ColumnKind.PACKED, "layer"),
    (ColumnKind.TEXT, "pipe_id"),
    (ColumnKind.FLOAT, "from_m to_m"),
    (ColumnKind.PACKED, "state"),
    (ColumnKind.TEXT, "system"),
    (ColumnKind.TEXT_OR_NULL, "valve_id"),
    (ColumnKind.FLOAT, "bore_mm roughness_mm loss_coefficient length_m"),
    (ColumnKind.INT32, "from_node to_node"),
    (ColumnKind.FLOAT, "flow_m3h"),
    (ColumnKind.DERIVED, "pressure_from_mbar pressure_to_mbar"),
    (ColumnKind.FLOAT, "od_mm"),
    (ColumnKind.TEXT, "street record_date"),
)
NODES: Final = _columns(
    (ColumnKind.INT32, "option node"),
    (ColumnKind.FLOAT, "height_m demand_m3h pressure_mbar pressure_before_mbar"),
)
STATIONS: Final = _columns(
    (ColumnKind.INT32, "option"),
    (ColumnKind.TEXT, "station_id"),
    (ColumnKind.INT32, "node"),
    (ColumnKind.FLOAT, "outlet_mbar max_outlet_mbar capacity_m3h flow_m3h"),
    (ColumnKind.INT32, "sensing_node"),
)
BYPASSES: Final = _columns(
    (ColumnKind.INT64, "option"),
    (ColumnKind.TEXT, "bypass_id kind from_main"),
    (ColumnKind.FLOAT, "from_chainage_m"),
    (ColumnKind.TEXT, "to_main"),
    (ColumnKind.FLOAT, "to_chainage_m"),
    (ColumnKind.INT64, "from_node to_node"),
    (ColumnKind.FLOAT, "length_m bore_mm"),
    (ColumnKind.INT64, "parallel"),
    (ColumnKind.FLOAT, "roughness_mm loss_coefficient flow_m3h drop_mbar velocity_m_s"),
    (ColumnKind.FLOAT, "pressure_from_mbar pressure_to_mbar minimum_air_temp_c"),
)
CUSTOMERS: Final = _columns(
    (ColumnKind.INT32, "option"),
    (ColumnKind.TEXT, "customer_id"),
    (ColumnKind.TEXT_OR_NULL, "effect cause kept_by"),
    (ColumnKind.FLAG, "standby"),
    (ColumnKind.TEXT, "address street number postcode"),
    (ColumnKind.TEXT_OR_ABSENT, "town"),
    (ColumnKind.TEXT, "category priority language"),
    (ColumnKind.INT32, "meters"),
    (ColumnKind.FLOAT, "demand_m3h pressure_mbar"),
    (ColumnKind.INT32, "node"),
    (ColumnKind.FLOAT, "annual_kwh peak_kw"),
    (ColumnKind.INT32, "part"),
    (ColumnKind.PACKED, "nodes"),
    (ColumnKind.FLOAT, "pressure_before_mbar"),
)
_COLUMNS: Final = {
    "pipes": PIPES,
    "nodes": NODES,
    "stations": STATIONS,
    "bypasses": BYPASSES,
    "customers": CUSTOMERS,
}

_MAY_BE_ABSENT: Final = (ColumnKind.DERIVED, ColumnKind.TEXT_OR_ABSENT)

_DTYPES: Final = {
    ColumnKind.FLAG: np.bool_,
    ColumnKind.INT32: np.int32,
    ColumnKind.INT64: np.int64,
    ColumnKind.FLOAT: np.float64,
}


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
        if column.kind is not ColumnKind.TEXT_OR_ABSENT or any(getattr(table, column.name))
    }
    return gpd.GeoDataFrame(pd.DataFrame(data), geometry=geometry, crs=crs)


def _column_values(kind: ColumnKind, values: Any) -> NDArray[Any]:
    if kind in (ColumnKind.TEXT, ColumnKind.TEXT_OR_ABSENT):
        return np.asarray(values.numpy())
    if kind is ColumnKind.TEXT_OR_NULL:
        return np.array([text or None for text in values], dtype=object)
    return np.asarray(values).astype(_DTYPES[kind]) if kind in _DTYPES else np.asarray(values)


def read_state(layers: Mapping[str, Any], option: int) -> SolvedState:
    """Return the solved state of an option from its layers.

    Parameters
    ----------
    layers : mapping of str to table
        Layers of plan.gpkg, or as `write_state` returns them.
    option : int
        Rank of the option.

    Raises
    ------
    BadInputError
        When a layer or column is not there, or holds what it cannot.
    """
    for name, columns in _COLUMNS.items():
        needed = [column.name for column in columns if column.kind not in _MAY_BE_ABSENT]
        missing = [column for column in needed if name not in layers or column not in layers[name]]
        if missing:
            raise BadInputError(
                f"plan.gpkg: layer {name} lacks {missing[0]!r}, as in plans of an older version; plan again"
            )
    left_out = _condition(layers, LEFT_OUT)
    rows = {name: layers[name][layers[name].option == option].reset_index(drop=True) for name in _COLUMNS}
    return SolvedState(
        option=option,
        left_out=left_out,
        pipes=_pipes(rows["pipes"]),
        nodes=_nodes(rows["nodes"]),
        stations=StateStations(**_fields("stations", rows["stations"]), **_place(rows["stations"])),
        feeds=_feeds(rows["bypasses"]),
        customers=_customers(rows["customers"]),
    )


def _condition(layers: Mapping[str, Any], name: str) -> str:
    table = layers.get("conditions")
    if table is None or "name" not in table or "value" not in table:
        raise BadInputError("plan.gpkg: layer conditions is not there; make the plan again")
    value = table.value[table.name == name]
    return str(value.iloc[0]) if len(value) and isinstance(value.iloc[0], str) else ""


def _pipes(rows: Any) -> StatePipes:
    lines = np.asarray(rows.geometry.array, dtype=object)
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    return StatePipes(
        **_fields("pipes", rows),
        is_main=np.array(_known("pipes", "layer", rows.layer, _IS_MAIN), dtype=bool),
        state=np.array(_known("pipes", "state", rows.state, _STATE), dtype=np.int8),
        line_start=np.searchsorted(owner, np.arange(len(rows) + 1)).astype(np.int64),
        line_xy_m=xy,
    )


def _nodes(rows: Any) -> StateNodes:
    nodes = StateNodes(**_fields("nodes", rows), **_place(rows))
    if (np.diff(nodes.node) <= 0).any():
        raise BadInputError("plan.gpkg: layer nodes has a node twice or out of order; make the plan again")
    return nodes


def _feeds(rows: Any) -> StateFeeds:
    lines = np.asarray(rows.geometry.array, dtype=object)
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    return StateFeeds(
        **_fields("bypasses", rows),
        route_start=np.searchsorted(owner, np.arange(len(rows) + 1)).astype(np.int64),
        route_xy_m=xy,
    )


def _customers(rows: Any) -> StateCustomers:
    lists = [text.split(SEPARATOR) if text else [] for text in _texts(rows.nodes)]
    start = np.zeros(len(lists) + 1, dtype=np.int64)
    np.cumsum([len(numbers) for numbers in lists], out=start[1:])
    return StateCustomers(
        **_fields("customers", rows),
        **_place(rows),
        drawn_start=start,
        drawn_node=np.array([int(number) for numbers in lists for number in numbers], dtype=np.int64),
    )


def _place(rows: Any) -> dict[str, Any]:
    points = np.asarray(rows.geometry.array, dtype=object)
    return {"x_m": shapely.get_x(points), "y_m": shapely.get_y(points)}


def _fields(layer: str, rows: Any) -> dict[str, Any]:
    return {
        column.name: _values(layer, column, rows[column.name])
        if column.name in rows
        else TextColumn([""] * len(rows))
        for column in _COLUMNS[layer]
        if column.name != "option" and column.kind not in (ColumnKind.PACKED, ColumnKind.DERIVED)
    }


def _values(layer: str, column: LayerColumn, values: Any) -> TextColumn | NDArray[Any]:
    if column.kind in (ColumnKind.TEXT, ColumnKind.TEXT_OR_NULL, ColumnKind.TEXT_OR_ABSENT):
        return TextColumn(_texts(values))
    if column.kind is ColumnKind.FLOAT:
        return np.asarray(values.to_numpy(float))
    if values.isna().any():
        raise BadInputError(
            f"plan.gpkg: layer {layer}: {column.name} is empty somewhere; make the plan again"
        )
    return np.asarray(values.to_numpy(np.bool_ if column.kind is ColumnKind.FLAG else np.int64))


def _texts(values: Any) -> list[str]:
    return [value if isinstance(value, str) else "" for value in values]


def _known(layer: str, column: str, words: Any, codes: Mapping[str, int]) -> list[int]:
    unknown = next((word for word in words if word not in codes), None)
    if unknown is not None:
        raise BadInputError(
            f"plan.gpkg: layer {layer}: {column} {str(unknown)[:40]!r} is not known; make the plan again"
        )
    return [codes[word] for word in words]
