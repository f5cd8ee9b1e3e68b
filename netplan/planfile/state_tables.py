"""The tables of a solved state: pipes, nodes, stations, feeds and customers as arrays.

Nodes are named by number: that of a node of the network the plan was made on, or a higher one for a stop or
the end of a hose. Units are those of plan.gpkg, so that writing and reading change no digit: pressures in
mbar gauge, flows and demands in m³/h at 15 °C and 101.325 kPa, bores, diameters and roughness in mm, lengths
and chainages in true metres, coordinates in planar metres of the plan's working CRS. NaN stands for a number
that is not known or not there, an empty text for a missing one.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.network.text_column import TextColumn

__all__ = [
    "PieceState",
    "StateCustomers",
    "StateFeeds",
    "StateNodes",
    "StatePipes",
    "StateStations",
    "StateTable",
]


class PieceState(IntEnum):
    """State of a piece of pipe after the stops are in."""

    LIVE = 0
    ISOLATED = 1
    STRANDED = 2
    CLOSED = 3
    FED = 4
    """Has gas through bypasses, hoses or opened valves alone, whether somebody draws it there or not."""
    OTHER_SYSTEM = 5
    """Of another pressure system in the same street: not solved, not touched by the work."""

    @property
    def word(self) -> str:
        """The word used in layers and legends."""
        return self.name.lower().replace("_", " ")


OPEN = (PieceState.LIVE, PieceState.FED, PieceState.STRANDED)
"""States in which a piece joins its ends."""


def _same(one: object, other: object) -> bool:
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return one.dtype == other.dtype and np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    return type(one) is type(other) and one == other


class StateTable:
    """Equal when every field is: arrays by kind and value, NaN equal to NaN."""

    __slots__ = ()
    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and all(
            _same(getattr(self, field.name), getattr(other, field.name))
            for field in fields(self)  # type: ignore[arg-type]
        )


@dataclass(frozen=True, slots=True, eq=False)
class StatePipes(StateTable):
    """Pieces of pipe; one that carries a stop is split at its barriers.

    Every row lies wholly inside or outside the zones. A row of no length is a valve, named in `valve_id`:
    solving again needs to know whether it is open.

    Parameters
    ----------
    is_main : bool array
        True for a main, False for a service.
    pipe_id : TextColumn
        Id within its layer.
    from_m, to_m : float arrays
        Chainages on the pipe [m], from_m <= to_m.
    state : int8 array
        Codes of `PieceState`.
    system, valve_id : TextColumn
        Pressure system; valve of a valve's own piece.
    bore_mm, roughness_mm : float arrays
        Inner diameter and wall roughness [mm].
    loss_coefficient : float array
        Local losses on the velocity head in the bore [-].
    length_m : float array
        True length [m].
    from_node, to_node : int64 arrays
        Numbers of the nodes at from_m and to_m.
    flow_m3h : float array
        Flow from from_node to to_node [m³/h at 15 °C, 101.325 kPa]; 0 where closed or empty.
    od_mm : float array
        Outside diameter [mm].
    street, record_date : TextColumn
        As recorded.
    line_start : int64 array, shape (n + 1,)
        Row i is drawn along ``line_xy_m[line_start[i]:line_start[i + 1]]``.
    line_xy_m : float array, shape (k, 2)
        Vertices from from_m to to_m, working CRS [m].
    """

    is_main: Flags
    pipe_id: TextColumn
    from_m: Floats
    to_m: Floats
    state: NDArray[np.int8]
    system: TextColumn
    valve_id: TextColumn
    bore_mm: Floats
    roughness_mm: Floats
    loss_coefficient: Floats
    length_m: Floats
    from_node: Ints
    to_node: Ints
    flow_m3h: Floats
    od_mm: Floats
    street: TextColumn
    record_date: TextColumn
    line_start: Ints
    line_xy_m: Floats

    def __len__(self) -> int:
        return len(self.from_m)

    @property
    def is_open(self) -> Flags:
        """Which pieces join their ends: all but those of a zone, closed valves and other systems."""
        return np.isin(self.state, OPEN)

    def rows_of(self, pipe_id: str, *, is_main: bool) -> Ints:
        """Return the rows of a pipe, in the order of the state."""
        named = np.array(self.pipe_id.numpy() == pipe_id, dtype=bool)
        return np.flatnonzero(named & (self.is_main == is_main))

    def lines(self, rows: Ints) -> NDArray[np.object_]:
        """Return rows as shapely lines, from from_m to to_m."""
        first, last = self.line_start[rows], self.line_start[rows + 1]
        size = last - first
        step = np.arange(int(size.sum())) - np.repeat(np.cumsum(size) - size, size)
        vertices = self.line_xy_m[np.repeat(first, size) + step]
        owner = np.repeat(np.arange(len(rows)), size)
        return np.asarray(shapely.linestrings(vertices, indices=owner), dtype=object)

    def name(self, row: int) -> str:
        """Return layer and id of a row, such as ``mains M0142``."""
        return f"{'mains' if self.is_main[row] else 'services'} {self.pipe_id[row]}"


@dataclass(frozen=True, slots=True, eq=False)
class StateNodes(StateTable):
    """The nodes that pieces and feeds of the state end at, by ascending number.

    Parameters
    ----------
    node : int64 array
        Number.
    height_m : float array
        Height of the pipe [m]; NaN where unknown.
    demand_m3h : float array
        Demand with the rules' margins, customers off left out [m³/h at 15 °C, 101.325 kPa].
    pressure_mbar : float array
        Solved pressure after the stops [mbar gauge]; NaN where there is no supply.
    pressure_before_mbar : float array
        Pressure before any stop [mbar gauge]; NaN without supply and at nodes that came with the stops.
    x_m, y_m : float arrays
        Place in the working CRS [m].
    """

    node: Ints
    height_m: Floats
    demand_m3h: Floats
    pressure_mbar: Floats
    pressure_before_mbar: Floats
    x_m: Floats
    y_m: Floats

    def __len__(self) -> int:
        return len(self.node)

    def rows(self, number: NDArray[np.integer]) -> Ints:
        """Return the row of each node number; -1 for one that is not there."""
        if not len(self.node):
            return np.full(len(number), -1, dtype=np.int64)
        row = np.minimum(np.searchsorted(self.node, number), len(self.node) - 1)
        return np.where(self.node[row] == number, row, -1)

    def at(self, values: Floats, number: NDArray[np.integer]) -> Floats:
        """Return a column's values at node numbers; NaN for a number that is not there."""
        row = self.rows(number)
        found = np.full(len(row), np.nan)
        found[row >= 0] = values[row[row >= 0]]
        return found


@dataclass(frozen=True, slots=True, eq=False)
class StateStations(StateTable):
    """Regulator stations that lie on a main.

    Parameters
    ----------
    station_id : TextColumn
    node : int64 array
        Number of the outlet node; it need not be among the nodes of the state.
    outlet_mbar, max_outlet_mbar : float arrays
        Set outlet pressure, and the highest pressure in a station fault [mbar gauge]; the latter NaN where
        not recorded.
    capacity_m3h : float array
        The most it can give [m³/h at 15 °C, 101.325 kPa]; NaN where not recorded.
    flow_m3h : float array
        What it gives, in the same unit; NaN where not solved.
    sensing_node : int64 array
        Number of the node whose pressure it holds; -1 for its own outlet.
    x_m, y_m : float arrays
        Place in the working CRS [m].
    """

    station_id: TextColumn
    node: Ints
    outlet_mbar: Floats
    max_outlet_mbar: Floats
    capacity_m3h: Floats
    flow_m3h: Floats
    sensing_node: Ints
    x_m: Floats
    y_m: Floats

    def __len__(self) -> int:
        return len(self.node)


@dataclass(frozen=True, slots=True, eq=False)
class StateFeeds(StateTable):
    """Bypasses and hoses of the option; an opened valve is a piece of pipe.

    Figures are those of plan.json, with its digits; parallel lines are one row with their number.

    Parameters
    ----------
    bypass_id, kind : TextColumn
        Id, and ``bypass`` or ``hose``.
    from_main, to_main : TextColumn
        Mains that it is tapped into.
    from_chainage_m, to_chainage_m : float arrays
        Where on them [m].
    from_node, to_node : int64 arrays
        Numbers of its end nodes; -1 for one that is no link of the state.
    length_m, bore_mm : float arrays
        Of one line [m], [mm].
    parallel : int64 array
        Lines side by side.
    roughness_mm, loss_coefficient : float arrays
        Wall roughness [mm]; local losses on the velocity head in the bore [-].
    flow_m3h : float array
        Flow of all lines together [m³/h at 15 °C, 101.325 kPa].
    drop_mbar, velocity_m_s : float arrays
        Pressure lost [mbar]; velocity at actual conditions [m/s].
    pressure_from_mbar, pressure_to_mbar : float arrays
        Pressure at its ends [mbar gauge].
    minimum_air_temp_c : float array
        Air temperature down to which it holds [°C]; NaN when not found.
    route_start : int64 array, shape (rows + 1,)
        Where each begins in `route_xy_m`; the last is its length.
    route_xy_m : float array, shape (vertices, 2)
        Ends and bends in the working CRS [m].
    """

    bypass_id: TextColumn
    kind: TextColumn
    from_main: TextColumn
    from_chainage_m: Floats
    to_main: TextColumn
    to_chainage_m: Floats
    from_node: Ints
    to_node: Ints
    length_m: Floats
    bore_mm: Floats
    parallel: Ints
    roughness_mm: Floats
    loss_coefficient: Floats
    flow_m3h: Floats
    drop_mbar: Floats
    velocity_m_s: Floats
    pressure_from_mbar: Floats
    pressure_to_mbar: Floats
    minimum_air_temp_c: Floats
    route_start: Ints
    route_xy_m: Floats

    def __len__(self) -> int:
        return len(self.from_node)

    def lines(self) -> NDArray[np.object_]:
        """Return the routes as shapely lines."""
        kind = shapely.GeometryType.LINESTRING
        return np.asarray(shapely.from_ragged_array(kind, self.route_xy_m, (self.route_start,)), dtype=object)


@dataclass(frozen=True, slots=True, eq=False)
class StateCustomers(StateTable):
    """Customers with what happens to them, and what their demand rests on.

    Priority note and telephone are left out on purpose: they are for the call sheet alone.

    Parameters
    ----------
    customer_id : TextColumn
    effect : TextColumn
        ``off``, ``kept``, or empty where nothing happens.
    cause, kept_by : TextColumn
        Why, and the feed that keeps it.
    standby : bool array
        Whether it stands by for a fallback.
    address, street, number, postcode, town, category, priority, language : TextColumn
        As recorded; the category by its word.
    meters : int64 array
        Meters at the point.
    demand_m3h : float array
        Demand with the rules' margins [m³/h at 15 °C, 101.325 kPa]; 0 when off.
    pressure_mbar : float array
        Pressure at the meter inlet [mbar gauge]; NaN when off.
    node : int64 array
        Number of the node its pressure stands on; -1 for none.
    annual_kwh, peak_kw : float arrays
        Yearly energy [kWh] and peak power [kW]; NaN where not recorded.
    part : int64 array
        Label of the part of the network that feeds it after the stops: those of one part share the uplift of
        small groups.
    pressure_before_mbar : float array
        Pressure at the meter inlet before any stop [mbar gauge]; NaN without.
    drawn_start : int64 array, shape (n + 1,)
        Customer i draws from the nodes ``drawn_node[drawn_start[i]:drawn_start[i + 1]]``.
    drawn_node : int64 array
        Numbers of nodes outside the zones that had gas before the stops.
    x_m, y_m : float arrays
        Place in the working CRS [m].
    """

    customer_id: TextColumn
    effect: TextColumn
    cause: TextColumn
    kept_by: TextColumn
    standby: Flags
    address: TextColumn
    street: TextColumn
    number: TextColumn
    postcode: TextColumn
    town: TextColumn
    category: TextColumn
    priority: TextColumn
    language: TextColumn
    meters: Ints
    demand_m3h: Floats
    pressure_mbar: Floats
    node: Ints
    annual_kwh: Floats
    peak_kw: Floats
    part: Ints
    pressure_before_mbar: Floats
    drawn_start: Ints
    drawn_node: Ints
    x_m: Floats
    y_m: Floats

    def __len__(self) -> int:
        return len(self.node)

    @property
    def is_off(self) -> Flags:
        """Which customers have no gas after the stops."""
        return np.array(self.effect.numpy() == "off", dtype=bool)

    def drawn_by(self) -> Ints:
        """Return the customer's row for each of `drawn_node`."""
        return np.repeat(np.arange(len(self)), np.diff(self.drawn_start))
