"""A priced cut: one complete answer, before it is written down as an option."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.demand import DiversityGroups
from netplan.feeds import SizedFeed
from netplan.gas import PurgePlan
from netplan.hydraulics import FlowState
from netplan.isolation import Cut, CutStop
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.deficient_parts import DeficientPart
from netplan.planning.fed_network import FedNetwork
from netplan.planning.pressure_areas import Join
from netplan.planning.purge_loads import PurgeDraw
from netplan.planning.stopped_network import StoppedNetwork
from netplan.planning.work_states import WorkStates
from netplan.procedure.hours_by_counts import OrderCounts

__all__ = ["EvaluatedOption", "PreparedStop", "RefusedCut"]


NOTHING = OrderCounts(())
"""Counts of an option of which nobody has asked yet how long it takes."""


@dataclass(frozen=True, slots=True)
class RefusedCut:
    """A cut on which no option stands, and why, in one line.

    Parameters
    ----------
    cut : Cut
    reason : str
    by_hours : bool
        Whether it is refused because its stops and the meters of its zones alone take longer than the day.
    is_cut_short : bool
        Whether not every combination of feeds was judged: an option may stand on it all the same.
    """

    cut: Cut
    reason: str
    by_hours: bool = False
    is_cut_short: bool = False


@dataclass(frozen=True, slots=True)
class PreparedStop:
    """A fallback stop that is dug, tapped and proved before the first stop goes in, and paid.

    Parameters
    ----------
    stop : CutStop
        With its price, hole included.
    serves : tuple of int
        Places in the cut of the stops that it is the fallback of.
    """

    stop: CutStop
    serves: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class EvaluatedOption:
    """A cut priced in full: the cheapest option that stands on it.

    Parameters
    ----------
    cut : Cut
    reach : CutConnectivity
        What is cut off, before any feed.
    deficient : tuple of DeficientPart
        Stranded and weak parts with customers.
    feeds : tuple of (SizedFeed or None)
        Feed of each deficient part; None where it is off, or weak and helped by another part's feed.
    part_off : tuple of bool
        Which deficient parts are off.
    stopped : StoppedNetwork or None
        The network with the stops drawn in; None without deficient parts, where nothing had to be drawn.
    fed : FedNetwork or None
        The same with hoses tapped in.
    work : WorkStates
        Every state of the work.
    off : int array
        Rows of all customers off, ascending.
    draws : tuple of PurgeDraw
        What purging each zone in takes from the live side.
    flow_m3_per_s_std : float array, shape (customers,)
        Flow of each customer at the hour of the greatest total while the stops are in
        [m³/s at 15 °C, 101.325 kPa]; 0 where off.
    stops_minor, interruption_minor, feeds_minor, gas_minor, excavations_minor : int
        Parts of the burden [minor units].
    joins : tuple of Join
        Pressure areas that its feeds join.
    fallbacks_minor : int
        Price of the prepared fallbacks, part of the burden [minor units]; 0 where none are prepared.
    prepared : tuple of PreparedStop
        Fallback stops that the plan prepares, each place once.
    failed_feeds : tuple of (str, str)
        Feeds that do not do, by label, and why.
    counts : OrderCounts
        What its order of work is made of, as the day was found long enough for it.
    purges : tuple of (PurgePlan, int)
        How its zones are purged: the plan of each connected part, and its lengths of main.
    """

    cut: Cut
    reach: CutConnectivity
    deficient: tuple[DeficientPart, ...]
    feeds: tuple[SizedFeed | None, ...]
    part_off: tuple[bool, ...]
    stopped: StoppedNetwork | None
    fed: FedNetwork | None
    work: WorkStates
    off: Ints
    draws: tuple[PurgeDraw, ...]
    flow_m3_per_s_std: Floats
    stops_minor: int
    interruption_minor: int
    feeds_minor: int
    gas_minor: int
    excavations_minor: int
    joins: tuple[Join, ...] = ()
    fallbacks_minor: int = 0
    prepared: tuple[PreparedStop, ...] = ()
    failed_feeds: tuple[tuple[str, str], ...] = ()
    counts: OrderCounts = NOTHING
    purges: tuple[tuple[PurgePlan, int], ...] = ()

    @property
    def burden_minor(self) -> int:
        """The one figure that ranks options [minor units]."""
        parts = (self.stops_minor, self.interruption_minor, self.feeds_minor, self.gas_minor)
        return sum(parts) + self.excavations_minor + self.fallbacks_minor

    @property
    def final(self) -> FlowState:
        """The state with all stops in at the hour of the greatest total."""
        return self.work.states[-1].state

    @property
    def gone(self) -> Flags:
        """Whether each customer is off."""
        gone = np.zeros(len(self.flow_m3_per_s_std), dtype=bool)
        gone[self.off] = True
        return gone

    @property
    def groups(self) -> DiversityGroups:
        """With whom each customer shares uplift and diversity while the stops are in."""
        return self.reach.groups(self.gone)
