"""A solved state from the layers of plan.gpkg."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.errors import BadInputError
from netplan.network.text_column import TextColumn
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
from netplan.planfile.write_state import LEFT_OUT, SEPARATOR

__all__ = ["read_state"]

_COLUMNS: Final = {
    "pipes": PIPES,
    "nodes": NODES,
    "stations": STATIONS,
    "bypasses": BYPASSES,
    "customers": CUSTOMERS,
}
_IS_MAIN: Final = {Layer.MAINS.word: True, Layer.SERVICES.word: False}
_STATE: Final = {state.word: int(state) for state in PieceState}


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
        needed = [column.name for column in columns if column.kind is not ColumnKind.DERIVED]
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
    ends = shapely.get_coordinates(np.asarray(rows.geometry.array, dtype=object)).reshape(-1, 2, 2)
    return StateFeeds(
        **_fields("bypasses", rows),
        from_x_m=ends[:, 0, 0],
        from_y_m=ends[:, 0, 1],
        to_x_m=ends[:, 1, 0],
        to_y_m=ends[:, 1, 1],
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
        for column in _COLUMNS[layer]
        if column.name != "option" and column.kind not in (ColumnKind.PACKED, ColumnKind.DERIVED)
    }


def _values(layer: str, column: LayerColumn, values: Any) -> TextColumn | NDArray[Any]:
    if column.kind in (ColumnKind.TEXT, ColumnKind.TEXT_OR_NULL):
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
