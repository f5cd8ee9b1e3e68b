"""Feeds as links of the flow network, and nodes where they are tapped in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.constants import MM_PER_M
from netplan.core.errors import BadInputError
from netplan.feeds.feed_kinds import FeedSize
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork
from netplan.rules.rule_set import Rules

__all__ = ["Tap", "feed_links", "feed_loss_coefficient", "with_taps"]

TAPPING_LOSS: Final = 1.5
"""Loss of one tapping on the velocity head in its outlet [-]: sharp entry 0.5 or full exit 1.0, with the
turn into the main (source key ``tapping_loss``)."""
TAPPINGS: Final = 2


def feed_loss_coefficient(bore_m: float, rules: Rules, outlets_mm: Sequence[float] = ()) -> float:
    """Return the local losses of one hose on the velocity head in its bore [-].

    The rules' ``bypass.loss_coefficient`` covers bends and tappings as wide as the hose. Where the hose is
    wider than the outlet at one of its ends, the loss of that tapping counts on the outlet's own velocity
    head, (bore / outlet)⁴ times that in the hose.

    Parameters
    ----------
    bore_m : float
        Bore of the hose [m].
    rules : Rules
    outlets_mm : sequence of float
        Bores of the outlets at its two ends [mm]; both ``bypass.tapping_bore_mm`` where not on record.
    """
    outlets = tuple(outlets_mm) or (rules.bypass.tapping_bore_mm,) * TAPPINGS
    wider = [max((bore_m * MM_PER_M / outlet) ** 4 - 1.0, 0.0) for outlet in outlets]
    return rules.bypass.loss_coefficient + TAPPING_LOSS * sum(wider)


def feed_links(sizes: Sequence[FeedSize], rules: Rules) -> FlowLinks:
    """Return the hoses of feeds as links, one for each hose, in order; valves add none."""
    hoses = [size for size in sizes for _ in range(size.parallel) if size.feed.valve_link < 0]
    return FlowLinks(
        from_node=np.array([size.feed.from_node for size in hoses], dtype=np.int64),
        to_node=np.array([size.feed.to_node for size in hoses], dtype=np.int64),
        length_m=np.array([size.feed.length_m for size in hoses], dtype=float),
        bore_m=np.array([size.bore_m for size in hoses], dtype=float),
        roughness_m=np.full(len(hoses), rules.bypass.roughness_mm / MM_PER_M),
        loss_coefficient=np.array(
            [feed_loss_coefficient(size.bore_m, rules, size.feed.outlets_mm) for size in hoses], dtype=float
        ),
    )


@dataclass(frozen=True, slots=True, order=True)
class Tap:
    """A place on a link where a hose is tapped in: share of its length from its first node, in (0, 1)."""

    link: int
    share: float


def with_taps(
    network: FlowNetwork, taps: Sequence[Tap]
) -> tuple[FlowNetwork, NDArray[np.int64], NDArray[np.int64]]:
    """Return the network with a node at every tap.

    A tapped link keeps its number for its first part; the parts beyond each tap are new links at the end.

    Returns
    -------
    network : FlowNetwork
        The same flow, with more nodes.
    node : int array, shape (taps,)
        New node of each tap, numbered after the network's own.
    link_of : int array, shape (links,)
        For every link of the new network the link of the old one it is part of.

    Raises
    ------
    BadInputError
        When a tap does not lie inside its link.
    """
    for tap in taps:
        if not (0 <= tap.link < network.links.count and 0.0 < tap.share < 1.0):
            raise BadInputError(f"tap at {tap.share:g} of link {tap.link}: not inside a link; move it")
    links = network.links
    node = np.full(len(taps), -1, dtype=np.int64)
    to_node, length, loss = links.to_node.copy(), links.length_m.copy(), links.loss_coefficient.copy()
    height = network.node_height_m
    added: list[tuple[int, int, int, float, float]] = []
    heights: list[float] = []
    for link in sorted({tap.link for tap in taps}):
        rows = sorted((i for i, tap in enumerate(taps) if tap.link == link), key=lambda i: taps[i].share)
        cuts = [taps[i].share for i in rows] + [1.0]
        ends = [network.node_count + len(heights) + k for k in range(len(rows))]
        start, stop = int(links.from_node[link]), int(links.to_node[link])
        whole, whole_loss = float(links.length_m[link]), float(links.loss_coefficient[link])
        to_node[link], length[link], loss[link] = ends[0], whole * cuts[0], whole_loss * cuts[0]
        for k, row in enumerate(rows):
            node[row] = ends[k]
            heights.append(float(height[start] + taps[row].share * (height[stop] - height[start])))
            share = cuts[k + 1] - cuts[k]
            beyond = ends[k + 1] if k + 1 < len(rows) else stop
            added.append((link, ends[k], beyond, whole * share, whole_loss * share))
    old = np.array([row[0] for row in added], dtype=np.int64)
    new = FlowLinks(
        from_node=np.concatenate([links.from_node, np.array([row[1] for row in added], dtype=np.int64)]),
        to_node=np.concatenate([to_node, np.array([row[2] for row in added], dtype=np.int64)]),
        length_m=np.concatenate([length, np.array([row[3] for row in added], dtype=float)]),
        bore_m=np.concatenate([links.bore_m, links.bore_m[old]]),
        roughness_m=np.concatenate([links.roughness_m, links.roughness_m[old]]),
        loss_coefficient=np.concatenate([loss, np.array([row[4] for row in added], dtype=float)]),
        is_open=np.concatenate([links.is_open, links.is_open[old]]),
    )
    tapped = FlowNetwork(
        network.node_count + len(heights),
        new,
        network.station_node,
        network.station_pressure_pa_gauge,
        network.station_capacity_m3_per_s_std,
        network.station_sensing_node,
        np.concatenate([height, np.array(heights)]),
    )
    return tapped, node, np.concatenate([np.arange(links.count), old])
