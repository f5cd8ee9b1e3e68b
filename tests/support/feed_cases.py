"""Networks for tests of feeds: the reference ring, and seeded random towns with a part to feed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.feeds import (
    Feed,
    FeedCase,
    FeedKind,
    FeedSize,
    Inlets,
    SizedFeed,
    UnfedPart,
    feed_loss_coefficient,
    feed_parts,
)
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.rules import Rules, read_rules
from tests.support.feed_reference import Hose, per_second

__all__ = ["RING_DEMAND", "Town", "hoses_of", "random_town", "ring", "ring_rules", "smallest_feed"]

Floats = NDArray[np.float64]

# Reference looped network of this project: nodes 1 to 6 are rows 0 to 5; from, to, length m, bore mm.
RING_PIPES = {
    "a": (1, 2, 200.0, 147.2),
    "b": (2, 3, 150.0, 102.2),
    "c": (1, 4, 180.0, 102.2),
    "d": (4, 3, 220.0, 102.2),
    "e": (2, 5, 160.0, 102.2),
    "f": (5, 6, 140.0, 102.2),
    "g": (3, 6, 170.0, 73.6),
}
RING_DEMAND = per_second(np.array([0.0, 60.0, 75.0, 40.0, 48.0, 90.0]))


def ring(closed: str = "") -> FlowNetwork:
    """Return the reference ring with some of its pipes closed, fed at node 1 with 25 mbar."""
    rows = list(RING_PIPES.values())
    links = FlowLinks(
        from_node=np.array([row[0] - 1 for row in rows]),
        to_node=np.array([row[1] - 1 for row in rows]),
        length_m=np.array([row[2] for row in rows]),
        bore_m=np.array([row[3] / 1e3 for row in rows]),
        roughness_m=np.full(len(rows), 7e-6),
        is_open=np.array([name not in closed for name in RING_PIPES]),
    )
    return FlowNetwork(6, links, np.array([0]), np.array([2500.0]))


def ring_rules(bores_mm: list[float], **pressure: float) -> Rules:
    """Return rules for the ring: 19 mbar without margin, plain hoses as wide as their tappings."""
    return read_rules(
        overrides={
            "bypass": {
                "bores_mm": bores_mm,
                "loss_coefficient": 0.0,
                "tapping_bore_mm": 51.4,
                "roughness_mm": 0.007,
                "parallel_max": 1,
            },
            "pressure": {"minimum_mbar": 19.0, "margin_mbar": 0.0, **pressure},
        }
    )


def smallest_feed(case: FeedCase, feed: Feed, rules: Rules) -> SizedFeed | str:
    """Return the feed as planning sizes it for a part that must stay on, or why none holds."""
    nowhere = np.zeros(0, dtype=np.int64)
    answer = feed_parts(case, [UnfedPart("part", (feed,), nowhere, nowhere, None)], rules)
    return answer.reason if answer.verdict is None else next(sized for sized in answer.feeds if sized)


def hoses_of(size: FeedSize, rules: Rules) -> list[Hose]:
    """Return a sized feed as plain hoses for the independent solver."""
    return [
        Hose(
            size.feed.from_node,
            size.feed.to_node,
            size.feed.length_m,
            size.bore_m,
            feed_loss_coefficient(size.bore_m, rules),
            rules.bypass.roughness_mm / 1e3,
        )
    ] * size.parallel


@dataclass(frozen=True, slots=True, eq=False)
class Town:
    """A random town with the stops in: network, demand, the inlets to hold, and a way of feeding the part."""

    network: FlowNetwork
    demand: Floats
    inlets: Inlets
    feed: Feed

    def case(self, conditions: FlowConditions) -> FeedCase:
        """Return it as a case to feed."""
        return FeedCase(FlowSolver(self.network, conditions), self.demand, self.inlets)


def random_town(seed: int, rules: Rules) -> Town:
    """Return a street grid fed at a corner with one or two street mains closed, and a bypass beside one.

    Depending on the seed what lies behind is stranded, or still fed the long way round and weak.
    """
    rng = np.random.default_rng(seed)
    width, height = int(rng.integers(2, 5)), int(rng.integers(2, 5))
    place = {(x, y): x * height + y for x in range(width) for y in range(height)}
    edges = [((x, y), (x + 1, y)) for x in range(width - 1) for y in range(height)]
    edges += [((x, y), (x, y + 1)) for x in range(width) for y in range(height - 1)]
    kept = [edge for edge in edges if rng.random() > 0.25 or edge[0] == (0, 0)]
    # A tail of two streets at the far corner, whose first street is stopped in half of the towns.
    count = width * height
    ends = [(place[a], place[b]) for a, b in kept] + [(count - 1, count), (count, count + 1)]
    lengths = rng.uniform(60.0, 160.0, len(ends))
    bores = rng.choice([0.1022, 0.1308, 0.1472], len(ends))
    tail = len(ends) - 2
    closed = {tail} if seed % 2 else {int(rng.integers(0, tail))}
    is_open = np.array([row not in closed for row in range(len(ends))])
    start, stop = ends[min(closed)]
    links = FlowLinks(
        from_node=np.array([a for a, _ in ends]),
        to_node=np.array([b for _, b in ends]),
        length_m=lengths,
        bore_m=bores,
        roughness_m=np.full(len(ends), 7e-6),
        is_open=is_open,
    )
    network = FlowNetwork(count + 2, links, np.array([0]), rng.uniform(2500.0, 4000.0, 1))
    demand = per_second(rng.uniform(4.0, 30.0, count + 2))
    feed = Feed(FeedKind.BYPASS, "bypass", start, stop, float(rng.uniform(8.0, 50.0)))
    required = (rules.pressure.minimum_mbar + rules.pressure.margin_mbar) * 100.0
    nodes = np.arange(count + 2)
    return Town(network, demand, Inlets(nodes, np.full(count + 2, required)), feed)
