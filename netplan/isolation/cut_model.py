"""What the choice of stops is asked (`IsolationProblem`), and what it answers (`Cut`)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.rules.rule_set import Rules

__all__ = [
    "MINOR_PER_UNIT",
    "Cut",
    "CutStop",
    "CutTapping",
    "CutZone",
    "FeedBound",
    "IsolationProblem",
    "Orders",
    "PendantComponent",
    "Refusal",
    "SameFeed",
    "Stretch",
    "ZonePiece",
]

MINOR_PER_UNIT: Final = 100
"""Minor units (cents) in one unit of the currency [-]; all prices here are whole minor units."""


@dataclass(frozen=True, slots=True, order=True)
class Stretch:
    """A length of a main: row in `Network.pipes` and two chainages [m], from_m <= to_m."""

    pipe: int
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True, order=True)
class Refusal:
    """A length of a main where a stop cannot be made by one method, and why.

    The chainages are those of the barrier nearest the work. `side` is the side of the barrier on which the
    zone would lie: "from" or "to".
    """

    pipe: int
    from_m: float
    to_m: float
    method: str
    side: str
    code: str
    words: str


@dataclass(frozen=True, slots=True)
class CutTapping:
    """A hole in the main or a barrier.

    Parameters
    ----------
    role : str
        zone_vent, barrier, vent, gauge or bypass.
    pipe : int
        Row of the main.
    chainage_m : float
        Place on that main [m].
    size_mm : float
        Outlet [mm]; 0 for a barrier that needs none.
    offset_m : float
        Distance along the mains from the barrier nearest the work, positive away from the work [m].
    """

    role: str
    pipe: int
    chainage_m: float
    size_mm: float
    offset_m: float


@dataclass(frozen=True, slots=True)
class CutStop:
    """A stop as placed.

    Parameters
    ----------
    method, kind : str
        Name and kind (bag, squeeze, valve) of the method of the rules.
    barriers : int
        1 or 2.
    pipe : int
        Row of the main.
    chainage_m : float
        Chainage of the barrier nearest the work [m].
    piece : int
        Row of the piece the barrier sits on: closing it takes the stop into a flow model.
    valve : int
        Row in `Network.valves`, or -1.
    work_side : str
        "from" or "to": on which side of the chainage the zone lies.
    live_node, zone_node : int
        Ends of `piece` on the live side and on the zone side; zone_node is -1 where the work section itself
        lies between the stop and that end.
    tappings : tuple of CutTapping
        In order away from the work; of a valve its zone vent and its gauge, on the mains beside it.
    bypass_elsewhere : bool
        True when the bypass tee, or an outlet for one, does not fit on this piece: it is on the next one,
        away from the work, or nowhere.
    price_minor : int
        Price of this stop [minor units].
    fault_pressure_pa_gauge : float
        Highest pressure in a station fault [Pa gauge].
    chain : int
        Number of the chain of mains between junctions, for telling options apart.
    reason : str
        Why here, in a line.
    provisional : tuple of str
        Why the place is not certain; empty when the records carry it.
    record_joints : tuple of str
        Those of these lines that name a joint of two mains taken for a mere record boundary.
    beyond : tuple of Stretch
        What another assembly farther out keeps off on the mains that follow the stop's own: lengths where
        its barrier nearest the work would bring it nearer than a tapping's clearance.
    """

    method: str
    kind: str
    barriers: int
    pipe: int
    chainage_m: float
    piece: int
    valve: int
    work_side: str
    live_node: int
    zone_node: int
    tappings: tuple[CutTapping, ...]
    bypass_elsewhere: bool
    price_minor: int
    fault_pressure_pa_gauge: float
    chain: int
    reason: str = ""
    provisional: tuple[str, ...] = ()
    record_joints: tuple[str, ...] = ()
    beyond: tuple[Stretch, ...] = ()


@dataclass(frozen=True, slots=True, order=True)
class ZonePiece:
    """A length of pipe inside a zone: piece row, pipe row (main or service), chainages [m]."""

    piece: int
    pipe: int
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True, eq=False)
class CutZone:
    """A connected isolated zone.

    Parameters
    ----------
    work : tuple of int
        Indices of the parts of the work section that lie in it.
    nodes : int32 array
        Network nodes in it, ascending.
    pieces : tuple of ZonePiece
        All lengths of pipe in it, services included: whole pieces, and those that end at a stop.
    """

    work: tuple[int, ...]
    nodes: NDArray[np.int32]
    pieces: tuple[ZonePiece, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """One way to isolate the work: its stops, its zones and what they cost at least.

    Parameters
    ----------
    stops : tuple of CutStop
        Sorted by pipe and chainage.
    zones : tuple of CutZone
        One or more connected zones; together they hold the whole work section.
    customers : int32 array
        Rows of the customers with an attachment in a zone: off, or to be kept by an alternative supply.
    severed : int32 array
        Those of them that also have an attachment outside every zone.
    priority_customers : int32 array
        Those of them with a priority.
    shut_in_stations : tuple of int
        Stations that these stops leave with no customer to feed: their outlet valve is one of the stops.
    stops_minor, interruption_minor, gas_minor, stranded_minor : int
        Parts of the bound [minor units]: prices of stops; customers in the zones for the window; gas of the
        zones; the least that the surely stranded pendant components add.
    bound_minor : int
        Their sum: no option built on this cut has a lower burden.
    gas_volume_m3 : float
        Geometric volume of the pipes in the zones [m³].
    found : object
        How it was found, for `CutSearch.not_nearer`.
    """

    stops: tuple[CutStop, ...]
    zones: tuple[CutZone, ...]
    customers: NDArray[np.int32]
    severed: NDArray[np.int32]
    priority_customers: NDArray[np.int32]
    shut_in_stations: tuple[int, ...]
    stops_minor: int
    interruption_minor: int
    gas_minor: int
    stranded_minor: int
    bound_minor: int
    gas_volume_m3: float
    found: Any = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class PendantComponent:
    """A part that is surely left without a station when a stop goes on the bridge to it.

    Parameters
    ----------
    piece : int
        A piece of the segment that joins it to everything else.
    near_node, far_node : int
        Ends of that segment: on the work's side, and the first node of the pendant component.
    interruption_minor : int
        Turning all customers off that hang on the pendant component alone [minor units].
    must_feed : bool
        Whether it holds a customer that may not go off.
    customers : callable
        Returns the rows of the customers that hang on the pendant component alone, ascending.
    """

    piece: int
    near_node: int
    far_node: int
    interruption_minor: int
    must_feed: bool
    customers: Callable[[], NDArray[np.int32]]


FeedBound = Callable[[PendantComponent], int | None]


@dataclass(frozen=True, slots=True)
class SameFeed:
    """A feed bound that is the same for every pendant component: worked out once for all questions.

    Parameters
    ----------
    price_minor : int or None
        [minor units]; None: no feed can.
    """

    price_minor: int | None

    def __call__(self, _component: PendantComponent) -> int | None:
        """Return the bound [minor units]."""
        return self.price_minor


@dataclass(frozen=True, slots=True)
class Orders:
    """What the planner orders: places of stops to force or to forbid, and customers to keep on.

    Parameters
    ----------
    force : tuple of Stretch
        Places where a stop must be: from_m == to_m is the chainage of the barrier nearest the work.
    force_valves : tuple of int
        Valve rows that must be stops.
    forbid : tuple of Stretch
        Lengths where no barrier nearest the work may be.
    forbid_valves : tuple of int
        Valve rows that must not be stops.
    keep_out : tuple of shapely polygons
        Areas in the working CRS without any stop.
    max_stops : int
        Most stops; 0 means no limit.
    keep_customers : tuple of int
        Customer rows that stay on: never in a zone.
    tapped : tuple of Stretch
        Places (from_m == to_m) that the plan taps or closes for something else: no tapping of a stop comes
        nearer than the clearance of tappings to fittings. Stops that are ordered stand as they are.
    max_meters_off : int, optional
        Most meters off, in zones or cut off without a feed; None means no limit.
    """

    force: tuple[Stretch, ...] = ()
    force_valves: tuple[int, ...] = ()
    forbid: tuple[Stretch, ...] = ()
    forbid_valves: tuple[int, ...] = ()
    keep_out: tuple[Any, ...] = ()
    max_stops: int = 0
    keep_customers: tuple[int, ...] = ()
    tapped: tuple[Stretch, ...] = ()
    max_meters_off: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class IsolationProblem:
    """One question to the choice of stops.

    Parameters
    ----------
    network : Network
    section : WorkSection
        The lengths that must be gas-free.
    rules : Rules
    hours : float
        Length of the window [h].
    gas_minor_per_m3 : float
        Price of making one cubic metre of pipe gas-free and bringing it back [minor units per m³ of geometric
        volume]: gas price × line content factor × purge multiple, from the caller.
    orders : Orders
    feed_bound : callable, optional
        A lower bound on any feed that can serve a pendant component [minor units]; None from it: no feed can.
        Without it the pendant components add nothing.
    alternatives : frozenset of int, optional
        Customer rows with a named alternative supply: the only priority customers that may be in a zone.
        None: priority customers are only reported.
    every_place : bool
        Whether cuts that differ only in the place of a stop on its chain are all given. Those that hold the
        same customers look alike without flow, but feeds may reach the one and not the other.
    most_meters : int, optional
        Most meters that zones may hold, each customer counting one at least; no limit by default.
    off_minor : int64 array, optional
        Price of each customer in a zone [minor units]; that of the rules for the window when left out.
    laid : tuple of CutTapping, optional
        Tappings of stops that a cut does not have, but which are there beside it: what is tapped beside its
        valves keeps clear of them. They change no choice and no price.
    """

    network: Network
    section: WorkSection
    rules: Rules
    hours: float
    gas_minor_per_m3: float
    orders: Orders = field(default_factory=Orders)
    feed_bound: FeedBound | None = None
    alternatives: frozenset[int] | None = None
    every_place: bool = False
    most_meters: int | None = None
    off_minor: NDArray[np.int64] | None = None
    laid: tuple[CutTapping, ...] = ()
