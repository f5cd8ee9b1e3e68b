"""Kinds of feeds, the sizes each may have, and a feed with its figures."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from netplan.core.constants import MM_PER_M
from netplan.core.errors import BadInputError
from netplan.feeds.hose_routes import HoseRoute
from netplan.hydraulics.flow_network import FlowState
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules.rule_set import Rules

__all__ = ["MOST_PARALLEL", "Feed", "FeedKind", "FeedSize", "SizedFeed", "sizes_in_order"]


MOST_PARALLEL: Final = 10
"""Hoses side by side that the rules may allow at most [-]."""


class FeedKind(StrEnum):
    """How a part is fed."""

    BYPASS = "bypass"
    """Temporary pipe across the zone, tapped on the live side of two stops."""
    HOSE = "hose"
    """Temporary hose from another live main of the system."""
    VALVE = "valve"
    """A closed, operable boundary valve between compatible parts of one system, opened."""


@dataclass(frozen=True, slots=True, order=True)
class Feed:
    """A way of feeding a part, not sized yet.

    Parameters
    ----------
    kind : FeedKind
    label : str
        Names it in reports and breaks ties; unique among the feeds of one case.
    from_node, to_node : int
        Nodes of the flow network on the giving and on the fed side.
    length_m : float
        Length of the hose, slack included [m]; 0 for a valve.
    valve_link : int
        Link of the flow network that opening the valve opens; -1 for a bypass or hose.
    tees_minor : int
        Price of the excavations of its tees that lie away from every stop [minor units].
    outlets_mm : tuple of float
        Nominal size of the outlet that each hose is tapped through at its giving and its fed end [mm]; empty
        where it is not on record, then as wide as ``bypass.tapping_bore_mm`` and no limit to the hose.
    tees : tuple of int
        Tees that there is room for at its giving and its fed end, one for each hose; empty for no limit.
    crossings : int
        Carriageways that a bypass or hose crosses.
    route : HoseRoute or None
        Where a bypass or hose lies; None where only its length is known.
    """

    kind: FeedKind
    label: str
    from_node: int
    to_node: int
    length_m: float = 0.0
    valve_link: int = -1
    tees_minor: int = 0
    outlets_mm: tuple[float, ...] = ()
    tees: tuple[int, ...] = ()
    crossings: int = 0
    route: HoseRoute | None = field(default=None, compare=False, repr=False)

    @property
    def most_parallel(self) -> int:
        """Hoses side by side that both ends have room to be tapped for."""
        return min(self.tees, default=MOST_PARALLEL)


@dataclass(frozen=True, slots=True)
class FeedSize:
    """A feed with a size: so many hoses side by side of one bore [m]; bore 0 for a valve."""

    feed: Feed
    bore_m: float
    parallel: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class SizedFeed:
    """A feed that holds, with its figures in the solved network.

    Parameters
    ----------
    size : FeedSize
    loss_coefficient : float
        Local losses on the velocity head in the bore of one hose, tappings included [-].
    flow_m3_per_s_std : float
        Flow from the giving to the fed side, all hoses together [m³/s at 15 °C, 101.325 kPa].
    velocity_m_per_s : float
        Actual velocity in each hose, at the upstream pressure [m/s]; 0 for a valve.
    pressure_from_pa_gauge, pressure_to_pa_gauge : float
        Pressure at both ends [Pa gauge].
    least_pa_gauge : float
        Least pressure of all inlets [Pa gauge].
    least_inlet : int
        Row of that inlet; -1 when there is none.
    price_minor : int
        Price in whole minor units of the rules' currency.
    state : FlowState
        The solved network with every feed of the case in.
    """

    size: FeedSize
    loss_coefficient: float
    flow_m3_per_s_std: float
    velocity_m_per_s: float
    pressure_from_pa_gauge: float
    pressure_to_pa_gauge: float
    least_pa_gauge: float
    least_inlet: int
    price_minor: int
    state: FlowState

    @property
    def drop_pa(self) -> float:
        """Pressure lost in the feed [Pa], positive with the flow."""
        return self.pressure_from_pa_gauge - self.pressure_to_pa_gauge


def sizes_in_order(feed: Feed, rules: Rules, parallel: int | None = None) -> Iterator[FeedSize]:
    """Yield the sizes of a feed from the smallest: one hose by bore, then two side by side, and so on.

    No hose is wider than the outlets at its two ends, by nominal size.

    Parameters
    ----------
    feed : Feed
    rules : Rules
        ``bypass.bores_mm`` and ``bypass.parallel_max``.
    parallel : int, optional
        Only sizes with so many hoses.

    Raises
    ------
    BadInputError
        When no bore of the rules is as narrow as the outlets.
    """
    if feed.valve_link >= 0:
        yield FeedSize(feed, 0.0)
        return
    widest = min(feed.outlets_mm, default=math.inf)
    bores = [bore_mm for bore_mm in rules.bypass.bores_mm if nominal_outlet_mm(bore_mm) <= widest]
    if not bores:
        raise BadInputError(
            f"{feed.label}: no bore of bypass.bores_mm goes through its outlets of {widest:g} mm; "
            "give a narrower one"
        )
    most = min(rules.bypass.parallel_max, feed.most_parallel)
    counts = range(1, most + 1) if parallel is None else (parallel,)
    for count in counts:
        for bore_mm in bores:
            yield FeedSize(feed, bore_mm / MM_PER_M, count)
