"""Kinds of feeds, the sizes each may have, and a feed with its figures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from netplan.core.constants import MM_PER_M
from netplan.feeds.hose_routes import HoseRoute
from netplan.hydraulics.flow_network import FlowState
from netplan.rules.rule_set import Rules

__all__ = ["Feed", "FeedKind", "FeedSize", "SizedFeed", "sizes_in_order"]


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
    crossings: int = 0
    route: HoseRoute | None = field(default=None, compare=False, repr=False)


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

    Parameters
    ----------
    feed : Feed
    rules : Rules
        ``bypass.bores_mm`` and ``bypass.parallel_max``.
    parallel : int, optional
        Only sizes with so many hoses.
    """
    if feed.valve_link >= 0:
        yield FeedSize(feed, 0.0)
        return
    counts = range(1, rules.bypass.parallel_max + 1) if parallel is None else (parallel,)
    for count in counts:
        for bore_mm in rules.bypass.bores_mm:
            yield FeedSize(feed, bore_mm / MM_PER_M, count)
