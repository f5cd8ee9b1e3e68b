"""The tables of a joined network: structs of arrays, SI units, read-only by convention.

Pipes are the features of the mains and services layers. Nodes are the places where they end, join or
carry a valve. Pieces are the parts of pipes between neighbouring nodes: the links of the graph. A valve is
a piece of its own, of length zero, so that closing it opens one link and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Codes, Flags, Floats, Ints32
from netplan.core.findings import Finding
from netplan.network.external_network import ExternalNetwork
from netplan.network.text_column import TextColumn
from netplan.network.unread_districts import UnreadDistricts
from netplan.network.valve_table import Valves

__all__ = [
    "Customers",
    "Fittings",
    "Injections",
    "KeepOut",
    "Network",
    "Nodes",
    "Pieces",
    "Pipes",
    "SensingPoints",
    "SetAside",
    "Stations",
    "Valves",
]


def _no_rows() -> Ints32:
    return np.zeros(0, dtype=np.int32)


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Places where pipes end, join or carry a valve; one row a node.

    Parameters
    ----------
    x_m, y_m : float arrays
        Coordinates in the working CRS [m].
    height_m : float array
        Height of the pipe [m]; NaN where no geometry carries Z.
    system : int16 array
        Index into `Network.systems`.
    """

    x_m: Floats
    y_m: Floats
    height_m: Floats
    system: NDArray[np.int16]

    def __len__(self) -> int:
        return len(self.x_m)


@dataclass(frozen=True, slots=True, eq=False)
class Pipes:
    """Live pipes as recorded: mains first, then services, each sorted by id.

    Parameters
    ----------
    id : TextColumn
        Feature id, unique within its layer.
    n_mains : int
        Rows [0, n_mains) are mains; the rest are services.
    material, surface, joint, host, excess_flow_valve : uint8 arrays
        Codes of `vocabulary.Material`, `Surface`, `Joint`, `Host`, `YesNo`.
    od_m, wall_m, bore_m : float arrays
        Outside diameter, wall and bore [m]; bore is always known, wall may be NaN for iron and steel.
    sdr : float array
        Standard dimension ratio [-]; NaN where not recorded.
    mop_pa_gauge : float array
        Greatest operating pressure [Pa gauge]; NaN where not recorded.
    system : int16 array
        Index into `Network.systems`.
    year, depth_m : float arrays
        Year laid; cover [m]. NaN where not recorded.
    resin, street, record_date : TextColumn
        As recorded; empty where not.
    length_m : float array
        True plan length: length in the working CRS over the projection's scale [m].
    coords_m : float array, shape (k, 2)
        Vertices of all pipes one after another, working CRS [m].
    coord_start : int64 array, shape (n + 1,)
        Pipe i has the vertices ``coords_m[coord_start[i]:coord_start[i + 1]]``.
    """

    id: TextColumn
    n_mains: int
    material: Codes
    od_m: Floats
    wall_m: Floats
    bore_m: Floats
    sdr: Floats
    mop_pa_gauge: Floats
    system: NDArray[np.int16]
    surface: Codes
    joint: Codes
    host: Codes
    excess_flow_valve: Codes
    year: Floats
    depth_m: Floats
    resin: TextColumn
    street: TextColumn
    record_date: TextColumn
    length_m: Floats
    coords_m: Floats
    coord_start: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.length_m)


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Pieces:
    """Parts of pipes between neighbouring nodes, sorted by pipe, then chainage.

    Parameters
    ----------
    pipe : int32 array
        Row in `Pipes`.
    from_m, to_m : float arrays
        Chainages on the pipe [m], from_m <= to_m; equal for a valve.
    from_node, to_node : int32 arrays
        Nodes at from_m and to_m.
    valve : int32 array
        Row in `Valves` for a valve's own piece of length zero, else -1.
    is_open : bool array
        False for a closed valve; a valve of unknown state counts as open here and is never a stop.
    """

    pipe: Ints32
    from_m: Floats
    to_m: Floats
    from_node: Ints32
    to_node: Ints32
    valve: Ints32
    is_open: Flags

    def __len__(self) -> int:
        return len(self.pipe)

    def rows_of(self, pipe: int) -> range:
        """Return the rows of the pieces of a pipe."""
        # Keys of the column's own type: for others numpy makes a copy of the whole column.
        first, last = self.pipe.searchsorted(np.array([pipe, pipe + 1], self.pipe.dtype)).tolist()
        return range(first, last)


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """Regulator stations, sorted by id.

    Parameters
    ----------
    id : TextColumn
    node : int32 array
        Node of the outlet; -1 when it lies on no main.
    outlet_pa_gauge : float array
        Set outlet pressure [Pa gauge].
    max_outlet_pa_gauge : float array
        The most the outlet can reach in a fault [Pa gauge]; NaN where not recorded.
    capacity_m3_per_s_std : float array
        Greatest flow [m³/s at 15 °C, 101.325 kPa]; NaN where not recorded.
    sensing_node : int32 array
        Node whose pressure it holds; -1 when it senses at its own outlet or nothing is recorded.
    inlet_valve : TextColumn
        Id of the valve that shuts it off from the pipe that feeds it; empty where not recorded.
    inlet_is_operable : bool array
        Whether that valve is in the valves layer, known to be operable, and not on the outlet side.
    vent_between : uint8 array
        Code of `vocabulary.YesNo`: whether the space between inlet and outlet valve can be vented to the air.
    """

    id: TextColumn
    node: Ints32
    outlet_pa_gauge: Floats
    max_outlet_pa_gauge: Floats
    capacity_m3_per_s_std: Floats
    sensing_node: Ints32
    inlet_valve: TextColumn
    inlet_is_operable: Flags
    vent_between: Codes

    def __len__(self) -> int:
        return len(self.id)


@dataclass(frozen=True, slots=True, eq=False)
class SensingPoints:
    """Sensing points: row of the station they belong to (-1 unknown) and their node (-1 on no main)."""

    station: Ints32
    node: Ints32

    def __len__(self) -> int:
        return len(self.node)


@dataclass(frozen=True, slots=True, eq=False)
class Injections:
    """Other sources of gas, sorted by id; node -1 when on no main."""

    id: TextColumn
    node: Ints32

    def __len__(self) -> int:
        return len(self.id)


@dataclass(frozen=True, slots=True, eq=False)
class Customers:
    """Meter points, sorted by id.

    Parameters
    ----------
    id, address, street, number, postcode, town, priority, priority_note, telephone, language : TextColumn
        As recorded; `priority_note` and `telephone` are restricted to the call sheet.
    category : uint8 array
        Code of `vocabulary.Category`.
    meters : int32 array
        Meters at the point.
    annual_kwh, peak_kw : float arrays
        Yearly energy [kWh] and peak power [kW]; NaN where not recorded.
    service_regulator : uint8 array
        Code of `vocabulary.YesNo`.
    x_m, y_m : float arrays
        Place in the working CRS [m].
    attach_start : int32 array, shape (n + 1,)
        Customer i is attached at ``attach_node[attach_start[i]:attach_start[i + 1]]``; none for a
        customer found on no pipe, several for two services or two candidate mains.
    attach_node : int32 array
        Nodes of the attachments.
    attached_by : uint8 array
        Code of `vocabulary.Attachment`: by its service ids, by some of them where others are not recorded, by
        one that ends far away while another service ends beside the customer, or by what lies nearest.
    """

    id: TextColumn
    address: TextColumn
    street: TextColumn
    number: TextColumn
    postcode: TextColumn
    town: TextColumn
    category: Codes
    priority: TextColumn
    priority_note: TextColumn
    telephone: TextColumn
    meters: Ints32
    annual_kwh: Floats
    peak_kw: Floats
    service_regulator: Codes
    language: TextColumn
    x_m: Floats
    y_m: Floats
    attach_start: Ints32
    attach_node: Ints32
    attached_by: Codes

    def __len__(self) -> int:
        return len(self.id)


@dataclass(frozen=True, slots=True, eq=False)
class Fittings:
    """Fittings placed on pipes, sorted by pipe, chainage, id; pipe -1 when on no pipe."""

    id: TextColumn
    kind: Codes
    pipe: Ints32
    chainage_m: Floats

    def __len__(self) -> int:
        return len(self.id)


@dataclass(frozen=True, slots=True, eq=False)
class KeepOut:
    """Areas where no stop may be dug: shapely polygons in the working CRS and the reason of each."""

    geometry: NDArray[np.object_]
    reason: TextColumn

    def __len__(self) -> int:
        return len(self.reason)


@dataclass(frozen=True, slots=True, eq=False)
class SetAside:
    """Live pipes without a usable size: taken as not live, their pieces closed; kept live for an emergency.

    Parameters
    ----------
    pipe : int32 array
        Rows in `Pipes`, ascending.
    code, what, mend : TextColumn
        Of the error about each.
    like_least, like_greatest : int32 arrays
        Sound pipes of least and greatest bore of its kind: rows in `Pipes`.
    """

    pipe: Ints32 = field(default_factory=_no_rows)
    code: TextColumn = field(default_factory=TextColumn)
    what: TextColumn = field(default_factory=TextColumn)
    mend: TextColumn = field(default_factory=TextColumn)
    like_least: Ints32 = field(default_factory=_no_rows)
    like_greatest: Ints32 = field(default_factory=_no_rows)

    def __len__(self) -> int:
        return len(self.pipe)


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """A joined network of one or several pressure systems.

    Parameters
    ----------
    source : str
        What it was read from, for provenance.
    content_sha256 : str
        Digest of the normalised layers sorted by id: the same data in any order or format agree.
    crs : str
        Working CRS: an authority code where there is one, else WKT. Always projected, in metres.
    crs_note : str
        How the working CRS was reached, when it isn't the CRS of the data; else empty.
    scale : float
        Scale of the projection at the middle of the network: planar length over true length [-].
    systems : tuple of str
        Names of the pressure systems, sorted.
    recorded : frozenset of str
        Layers that the source holds: what isn't recorded makes figures provisional.
    findings : tuple of Finding
        What reading and joining noticed, in order.
    base : mapping
        Base map layers (GeoDataFrames in the working CRS) by name.
    not_live : TextColumn
        Ids of the mains that are recorded as abandoned or proposed and left out.
    beyond : ExternalNetwork, optional
        What a part of a larger network hangs on; None for a whole one.
    set_aside : SetAside
        Live pipes without a usable size that are taken as not live; of a whole network alone.
    unread : UnreadDistricts, optional
        What of a source by district was not read; None where everything was.
    """

    source: str
    content_sha256: str
    crs: str
    crs_note: str
    scale: float
    systems: tuple[str, ...]
    recorded: frozenset[str]
    nodes: Nodes
    pipes: Pipes
    pieces: Pieces
    valves: Valves
    stations: Stations
    sensing: SensingPoints
    injections: Injections
    customers: Customers
    fittings: Fittings
    keep_out: KeepOut
    findings: tuple[Finding, ...] = ()
    base: Mapping[str, Any] = field(default_factory=dict)
    not_live: TextColumn = field(default_factory=TextColumn)
    beyond: ExternalNetwork | None = None
    set_aside: SetAside = field(default_factory=SetAside)
    unread: UnreadDistricts | None = None
