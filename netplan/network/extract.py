"""Extracting some nodes of a network, with all that hangs on them, as a network of its own."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Ints
from netplan.network.model import Injections, Network, SensingPoints
from netplan.network.text_column import TextColumn

__all__ = ["ExtractedRows", "extract"]

Table = TypeVar("Table")


@dataclass(frozen=True, slots=True, eq=False)
class ExtractedRows:
    """Which rows of a whole network the rows of a part of it are; all ascending.

    Parameters
    ----------
    node, piece, pipe, valve, station, customer : int arrays
    """

    node: Ints
    piece: Ints
    pipe: Ints
    valve: Ints
    station: Ints
    customer: Ints


def extract(
    network: Network, chosen: Flags, unattached: Flags | None = None
) -> tuple[Network, ExtractedRows]:
    """Return the network of some nodes alone, and which rows of the whole it holds.

    Pieces of pipe are taken with both their ends, a pipe with any of its pieces: its length and its course
    stay whole. Findings and base maps are left out.

    Parameters
    ----------
    network : Network
    chosen : bool array, shape (nodes,)
    unattached : bool array, shape (customers,), optional
        Customers that come along though they are attached to none of the nodes; none by default.
    """
    node_row = np.cumsum(chosen) - 1
    pieces, pipes, valves = network.pieces, network.pipes, network.valves
    piece = np.flatnonzero(chosen[pieces.from_node] & chosen[pieces.to_node])
    pipe = np.unique(pieces.pipe[piece]).astype(np.int64)
    pipe_row = _numbers(pipe, len(pipes))
    valve = np.flatnonzero((valves.piece >= 0) & np.isin(valves.piece, piece))
    valve_row = _numbers(valve, len(valves))
    station = np.flatnonzero(_at(chosen, network.stations.node))
    station_row = _numbers(station, len(network.stations))
    fitting = np.flatnonzero(
        (network.fittings.pipe >= 0) & (_renumbered(pipe_row, network.fittings.pipe) >= 0)
    )
    part_pieces = _rows(pieces, piece)
    part_valves = _rows(valves, valve)
    stations = _rows(network.stations, station)
    fittings = _rows(network.fittings, fitting)
    node = np.flatnonzero(chosen)
    customers, customer = _customers(network, chosen, node_row, unattached)
    part = replace(
        network,
        nodes=_rows(network.nodes, node),
        pipes=_pipes(network, pipe),
        pieces=replace(
            part_pieces,
            pipe=_renumbered(pipe_row, part_pieces.pipe),
            from_node=node_row[part_pieces.from_node].astype(np.int32),
            to_node=node_row[part_pieces.to_node].astype(np.int32),
            valve=_renumbered(valve_row, part_pieces.valve),
        ),
        valves=replace(
            part_valves,
            pipe=_renumbered(pipe_row, part_valves.pipe),
            piece=_renumbered(_numbers(piece, len(pieces)), part_valves.piece),
        ),
        stations=replace(
            stations,
            node=_renumbered(node_row, stations.node),
            sensing_node=_inside(chosen, node_row, stations.sensing_node),
        ),
        sensing=_sensing(network, chosen, node_row, station_row),
        injections=_injections(network, chosen, node_row),
        customers=customers,
        fittings=replace(fittings, pipe=_renumbered(pipe_row, fittings.pipe)),
        unread=None if network.unread is None else network.unread.renumbered(_numbers(node, len(chosen))),
        findings=(),
        base={},
    )
    return part, ExtractedRows(node, piece, pipe, valve, station, customer)


def _rows(table: Table, rows: Ints) -> Table:
    """Return some rows of a table all of whose columns have one value a row."""
    columns: dict[str, Any] = {}
    for field in fields(table):  # type: ignore[arg-type]
        column = getattr(table, field.name)
        columns[field.name] = column.take(rows) if isinstance(column, TextColumn) else column[rows]
    return replace(table, **columns)  # type: ignore[type-var]


def _numbers(rows: Ints, count: int) -> Ints:
    """Return the new row of each old one, -1 for those left out."""
    number = np.full(count, -1, dtype=np.int64)
    number[rows] = np.arange(len(rows))
    return number


def _renumbered(number: Ints, old: NDArray[np.int32]) -> NDArray[np.int32]:
    if not len(number):
        return np.full(len(old), -1, dtype=np.int32)
    return np.where(old >= 0, number[np.maximum(old, 0)], -1).astype(np.int32)


def _at(chosen: Flags, node: NDArray[np.int32]) -> Flags:
    return np.asarray((node >= 0) & chosen[np.maximum(node, 0)])


def _inside(chosen: Flags, node_row: Ints, node: NDArray[np.int32]) -> NDArray[np.int32]:
    return np.where(_at(chosen, node), node_row[np.maximum(node, 0)], -1).astype(np.int32)


def _pipes(network: Network, rows: Ints) -> Any:
    pipes = network.pipes
    columns: dict[str, Any] = {}
    for field in fields(pipes):
        column = getattr(pipes, field.name)
        if field.name not in ("n_mains", "coords_m", "coord_start"):
            columns[field.name] = column.take(rows) if isinstance(column, TextColumn) else column[rows]
    count = np.diff(pipes.coord_start)[rows]
    start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    vertex = np.arange(start[-1]) + np.repeat(pipes.coord_start[:-1][rows] - start[:-1], count)
    return replace(
        pipes,
        **columns,
        n_mains=int((rows < pipes.n_mains).sum()),
        coords_m=pipes.coords_m[vertex],
        coord_start=start,
    )


def _sensing(network: Network, chosen: Flags, node_row: Ints, station_row: Ints) -> SensingPoints:
    here = np.flatnonzero(_at(chosen, network.sensing.node))
    return SensingPoints(
        _renumbered(station_row, network.sensing.station[here]),
        _renumbered(node_row, network.sensing.node[here]),
    )


def _injections(network: Network, chosen: Flags, node_row: Ints) -> Injections:
    here = np.flatnonzero(_at(chosen, network.injections.node))
    return Injections(network.injections.id.take(here), _renumbered(node_row, network.injections.node[here]))


def _customers(network: Network, chosen: Flags, node_row: Ints, unattached: Flags | None) -> tuple[Any, Ints]:
    table = network.customers
    owner = np.repeat(np.arange(len(table)), np.diff(table.attach_start))
    here = chosen[table.attach_node]
    rows = np.unique(owner[here])
    if unattached is not None:
        rows = np.union1d(rows, np.flatnonzero(unattached))
    columns: dict[str, Any] = {}
    for field in fields(table):
        column = getattr(table, field.name)
        if field.name not in ("attach_start", "attach_node"):
            columns[field.name] = column.take(rows) if isinstance(column, TextColumn) else column[rows]
    count = np.bincount(owner[here], minlength=len(table))[rows]
    attached = replace(
        table,
        **columns,
        attach_start=np.concatenate([[0], np.cumsum(count)]).astype(np.int32),
        attach_node=node_row[table.attach_node[here]].astype(np.int32),
    )
    return attached, rows
