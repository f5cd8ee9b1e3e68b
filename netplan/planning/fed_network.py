"""The stopped network as a case for feeds: hoses tapped in, every way of feeding each deficient part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.excavations import CutExcavations, tee_elsewhere
from netplan.feeds import Feed, FeedKind, FeedSize, feed_links, hose_feeds, with_taps
from netplan.feeds.possible_feeds import HoseWay
from netplan.hydraulics import FlowNetwork
from netplan.isolation import Cut
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.deficient_parts import DeficientPart
from netplan.planning.feeds_for_part import (
    bypass_refused,
    bypass_ways,
    hose_ways_of,
    stops_of_bypass,
    valve_ways,
)
from netplan.planning.pressure_areas import Join
from netplan.planning.stopped_network import StoppedNetwork, tap_place
from netplan.rules import Rules

__all__ = ["FedNetwork", "closed_flow", "fed_network", "fed_network_with", "network_of_states"]


@dataclass(frozen=True, slots=True, eq=False)
class FedNetwork:
    """The stopped network with nodes where hoses are tapped in.

    Parameters
    ----------
    flow : FlowNetwork
        Links of the zone closed; hose taps at the end.
    stopped_link : int array, shape (links,)
        Link of the stopped network that each link is part of.
    feeds : tuple of tuple of Feed
        Ways of feeding each deficient part.
    hoses : dict
        Where a hose runs, by label of its feed.
    joins : dict
        Which pressure areas a feed joins, by its label.
    refused : tuple of str
        Why feeds within reach may not be used, each reason once.
    """

    flow: FlowNetwork
    stopped_link: Ints
    feeds: tuple[tuple[Feed, ...], ...]
    hoses: dict[str, HoseWay]
    joins: dict[str, Join]
    refused: tuple[str, ...] = ()


def closed_flow(stopped: StoppedNetwork) -> FlowNetwork:
    """Return the stopped network with every link of its zones closed."""
    links = stopped.flow.links
    return stopped.flow.with_links(replace(links, is_open=links.is_open & ~stopped.in_zone))


def network_of_states(
    stopped: StoppedNetwork, fed: FedNetwork, sizes: Sequence[FeedSize], rules: Rules
) -> FlowNetwork:
    """Return the network that every state of the work is a change of: all hoses in, no stop closed."""
    links = fed.flow.links
    is_open = links.is_open.copy()
    is_open[np.flatnonzero(stopped.in_zone & stopped.flow.links.is_open)] = True
    return fed.flow.with_links(replace(links, is_open=is_open).joined_with(feed_links(sizes, rules)))


def fed_network(
    context: PlanningContext,
    cut: Cut,
    reach: CutConnectivity,
    dug: CutExcavations,
    stopped: StoppedNetwork,
    deficient: Sequence[DeficientPart],
    pressure_pa_gauge: Floats,
    *,
    is_tapped: bool = True,
    straight: bool = False,
) -> FedNetwork:
    """Return the case for feeds.

    Parameters
    ----------
    context, cut, reach, dug, stopped
        The zone, what it cuts off and what is dug for it.
    deficient : sequence of DeficientPart
        Parts to feed.
    pressure_pa_gauge : float array, shape (states, stopped nodes)
        Solved without any feed, one row a state [Pa gauge]; NaN where stranded.
    is_tapped : bool
        False where the prices of feeds are all that is asked for: then hoses have no nodes, and the network
        is the stopped one.
    straight : bool
        Take every hose and bypass as the straight line, which no route is shorter than.
    """
    flow = closed_flow(stopped) if is_tapped else stopped.flow
    if not deficient or not context.request.feeds_allowed:
        return FedNetwork(flow, np.arange(flow.links.count), ((),) * len(deficient), {}, {})
    hosed = [
        hose_ways_of(context, reach, stopped, part, pressure_pa_gauge, straight=straight)
        for part in deficient
    ]
    ways = [some for some, _ in hosed]
    taps = [tap for some in ways for way in some for tap in (way.giving, way.fed)]
    tapped, node, link_of = flow, np.full(len(taps), -1), np.arange(flow.links.count)
    if is_tapped:
        tapped, node, link_of = with_taps(flow, taps)
    feeds: list[tuple[Feed, ...]] = []
    hoses: dict[str, HoseWay] = {}
    joins: dict[str, Join] = {}
    refused = {f"{_words(FeedKind.HOSE)}: {reason}": None for _, why in hosed for reason in why}
    start = 0
    for part, some in zip(deficient, ways, strict=True):
        stop = start + 2 * len(some)
        of_part = hose_feeds(some, node[start:stop:2], node[start + 1 : stop : 2])
        hoses.update(zip((feed.label for feed in of_part), some, strict=True))
        start = stop
        bypasses = bypass_ways(context, cut, stopped, part, pressure_pa_gauge, straight=straight)
        if not (straight or bypasses or of_part):
            too_long = bypass_refused(context, cut, stopped, part, pressure_pa_gauge)
            refused.update({too_long: None} if too_long else {})
        every = (
            *(replace(feed, tees_minor=_bypass_tees_minor(cut, dug, feed)) for feed in bypasses),
            # The straight line joins other places than the route, where tees may be dearer.
            *(
                replace(feed, tees_minor=0 if straight else _hose_tees_minor(dug, stopped, way))
                for feed, way in zip(of_part, some, strict=True)
            ),
            *valve_ways(context, reach, part),
        )
        joins.update((feed.label, _join(context, cut, stopped, feed, hoses)) for feed in every)
        some_feeds, why = _allowed(context, cut, part, every, joins)
        feeds.append(some_feeds)
        refused.update(dict.fromkeys(why))
    return FedNetwork(tapped, link_of, tuple(feeds), hoses, joins, tuple(refused))


def fed_network_with(
    context: PlanningContext,
    cut: Cut,
    dug: CutExcavations,
    stopped: StoppedNetwork,
    feeds: Sequence[Feed | HoseWay | None],
) -> FedNetwork:
    """Return the case for feeds that are given: of each deficient part one, or none.

    Parameters
    ----------
    context, cut, dug, stopped
        The zone, and what is dug for it.
    feeds : sequence of (Feed, HoseWay or None)
        A bypass or an opened valve of the stopped network; a hose that is tapped in here.
    """
    ways = [feed for feed in feeds if isinstance(feed, HoseWay)]
    tapped, node, link_of = with_taps(
        closed_flow(stopped), [tap for way in ways for tap in (way.giving, way.fed)]
    )
    tapped_in = hose_feeds(ways, node[0::2], node[1::2])
    hoses = {feed.label: way for feed, way in zip(tapped_in, ways, strict=True)}
    waiting = iter(tapped_in)
    found: list[tuple[Feed, ...]] = []
    for given in feeds:
        if given is None:
            found.append(())
        elif isinstance(given, HoseWay):
            found.append((replace(next(waiting), tees_minor=_hose_tees_minor(dug, stopped, given)),))
        elif given.kind is FeedKind.BYPASS:
            found.append((replace(given, tees_minor=_bypass_tees_minor(cut, dug, given)),))
        else:
            found.append((given,))
    joins = {feed.label: _join(context, cut, stopped, feed, hoses) for some in found for feed in some}
    return FedNetwork(tapped, link_of, tuple(found), hoses, joins)


def _bypass_tees_minor(cut: Cut, dug: CutExcavations, feed: Feed) -> int:
    """Return what the tees of a bypass that are not in their stops' own pits cost [minor units]."""
    tees = [tee_elsewhere(cut.stops[row]) for row in stops_of_bypass(feed.label)]
    return sum(dug.tee_minor(*tee) for tee in tees if tee is not None)


def _hose_tees_minor(dug: CutExcavations, stopped: StoppedNetwork, way: HoseWay) -> int:
    """Return what the tees of a hose that are away from every stop cost [minor units]."""
    return sum(dug.tee_minor(*tap_place(dug.network, stopped, tap)) for tap in (way.giving, way.fed))


def _allowed(
    context: PlanningContext,
    cut: Cut,
    part: DeficientPart,
    feeds: Sequence[Feed],
    joins: Mapping[str, Join],
) -> tuple[tuple[Feed, ...], list[str]]:
    """Return the feeds of a part that the pressure areas allow, and why the others may not be used."""
    cut_off = [] if part.weak else [part.nodes]
    # Most feeds join the same two areas.
    why = {
        join: context.areas.refused(cut, [join], cut_off)
        for join in dict.fromkeys(joins[feed.label] for feed in feeds)
    }
    allowed = tuple(feed for feed in feeds if not why[joins[feed.label]])
    reasons = [(feed, why[joins[feed.label]]) for feed in feeds]
    return allowed, [f"{_words(feed.kind, feed.label)}: {reason}" for feed, reason in reasons if reason]


def _join(
    context: PlanningContext, cut: Cut, stopped: StoppedNetwork, feed: Feed, hoses: Mapping[str, HoseWay]
) -> Join:
    """Return the pressure areas that a feed joins: that of its giving end first."""
    pieces = context.request.network.pieces
    if feed.kind is FeedKind.BYPASS:
        node = [cut.stops[stop].live_node for stop in stops_of_bypass(feed.label)]
    elif feed.kind is FeedKind.HOSE:
        way = hoses[feed.label]
        node = [int(pieces.from_node[stopped.piece[tap.link]]) for tap in (way.giving, way.fed)]
    else:
        node = [feed.from_node, feed.to_node]
    giving, fed = context.areas.of_node[node].tolist()
    return giving, fed


def _words(kind: FeedKind, label: str = "") -> str:
    if kind is FeedKind.VALVE:
        return f"valve {label} may not be opened"
    return f"a {kind.value} may not be laid"
