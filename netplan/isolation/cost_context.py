"""What many questions about one network share: prices off, positions, bridges, sensing points."""

from __future__ import annotations

from functools import cached_property, lru_cache
from typing import Final

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.constraints import Sensing, open_segments, sensing_pairs
from netplan.isolation.cut_model import MINOR_PER_UNIT, Orders
from netplan.isolation.pendant_components import PendantComponents, pendant_components
from netplan.isolation.segment_geometry import SegmentGeometry
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.stop_exclusions import stop_exclusions
from netplan.isolation.stop_placement import StopPlacement
from netplan.isolation.stop_prices import SimpleSegments, cost_simple_segments
from netplan.isolation.work_segments import WorkSegments
from netplan.network.model import Network
from netplan.network.topology import fed_nodes
from netplan.network.vocabulary import Category
from netplan.rules.rule_set import Rules

__all__ = ["CostContext", "cost_context_of", "interruption_minor"]

_MOST_KEPT: Final = 4


def interruption_minor(network: Network, rules: Rules, hours: float) -> NDArray[np.int64]:
    """Return the price of each customer without gas for the window [minor units], rounded one by one."""
    rates = np.array([float(getattr(rules.price.off_per_hour, category.word)) for category in Category])
    customers = network.customers
    price = rates[customers.category] * customers.meters * hours * MINOR_PER_UNIT
    rounded: NDArray[np.int64] = np.rint(price).astype(np.int64)
    return rounded


class CostContext:
    """One network under one set of rules, window and gas price.

    Parameters
    ----------
    index : SegmentGraph
    rules : Rules
    hours : float
        Length of the window [h].
    gas_minor_per_m3 : float
        Price of the gas of a cubic metre of pipe [minor units].
    off_minor : int64 array, optional
        Price of each customer without gas for the window [minor units]; by the rules when left out.

    Attributes
    ----------
    shared_costs : list
        The last few `SharedCosts` made of it, with what they hold for.
    kept : callable
        Returns the customers that may not go off, the same set for the same request.
    """

    def __init__(
        self,
        index: SegmentGraph,
        rules: Rules,
        hours: float,
        gas_minor_per_m3: float,
        off_minor: NDArray[np.int64] | None = None,
    ) -> None:
        self.index, self.rules = index, rules
        self.gas_minor_per_m3 = gas_minor_per_m3
        self.off_minor = interruption_minor(index.network, rules, hours) if off_minor is None else off_minor
        barred = stop_exclusions(index.network, Orders())
        self.placement = StopPlacement(index, rules, gas_minor_per_m3, barred)
        self.shared_costs: list[tuple[object, object]] = []
        self.kept = lru_cache(maxsize=8)(self._kept)

    @cached_property
    def segments(self) -> SimpleSegments:
        """Costs of stops on all simple segments."""
        placement = self.placement
        return cost_simple_segments(
            self.index, self.rules, self.gas_minor_per_m3, placement.unobstructed, placement.codes
        )

    @cached_property
    def _priced(self) -> NDArray[np.bool_]:
        return self.segments.is_simple.copy()

    @cached_property
    def cost_a(self) -> NDArray[np.int64]:
        """Least price of a stop on each segment with the zone at its a end, once `price_segment` saw it."""
        return self.segments.cost_minor.copy()

    @cached_property
    def cost_b(self) -> NDArray[np.int64]:
        """Least price of a stop on each segment with the zone at its b end, once `price_segment` saw it."""
        return self.segments.cost_minor.copy()

    def price_segment(self, segment: int) -> tuple[int, int]:
        """Return the least price of a stop on a segment with the zone at its a end and at its b end."""
        if not self._priced.item(segment):
            for costs, at_a in ((self.cost_a, True), (self.cost_b, False)):
                choices = self.placement.segment_choices(segment, at_a)
                costs[segment] = choices[0].cost_minor if choices else INFINITE
            self._priced[segment] = True
        return self.cost_a.item(segment), self.cost_b.item(segment)

    @cached_property
    def node_minor(self) -> NDArray[np.int64]:
        """What each supernode costs in a zone: customers attached nowhere else, gas of its services."""
        gas = np.rint(self.gas_minor_per_m3 * self.index.super_volume_m3).astype(np.int64)
        both: NDArray[np.int64] = gas + self.single_minor
        return both

    @cached_property
    def single_minor(self) -> NDArray[np.int64]:
        """Price of the customers attached at each supernode alone."""
        index = self.index
        return self._summed(np.where(index.multi_attached, 0, self.off_minor))

    def _summed(self, minor: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the sum of a price of each customer over those attached at each supernode [minor units]."""
        index = self.index
        running = np.concatenate([[0], np.cumsum(minor[index.customer_row])])
        total: NDArray[np.int64] = running[index.customer_start[1:]] - running[index.customer_start[:-1]]
        return total

    @cached_property
    def had_gas(self) -> NDArray[np.bool_]:
        """Which customers a station or an injection reaches before any stop: no other can be stranded."""
        customers = self.index.network.customers
        owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
        fed = fed_nodes(self.index.network, injections=True)[customers.attach_node]
        had: NDArray[np.bool_] = np.zeros(len(customers), dtype=np.bool_)
        had[owner[fed]] = True
        return had

    @cached_property
    def has_multi_attached(self) -> NDArray[np.bool_]:
        """Which supernodes have a customer who is attached elsewhere too."""
        index = self.index
        running = np.concatenate([[0], np.cumsum(index.multi_attached[index.customer_row])])
        several: NDArray[np.bool_] = running[index.customer_start[1:]] > running[index.customer_start[:-1]]
        return several

    def supernodes_of(self, customers: frozenset[int]) -> frozenset[int]:
        """Return the supernodes that customers are attached at."""
        table, found = self.index.network.customers, set()
        for row in sorted(customers):
            nodes = table.attach_node[table.attach_start[row] : table.attach_start[row + 1]]
            found.update(self.index.super_of[nodes].tolist())
        return frozenset(found)

    def work_gas_minor(self, work: WorkSegments) -> int:
        """Return the price of the gas in the work section itself [minor units]."""
        bore = self.index.network.pipes.bore_m
        volumes = [
            0.25 * np.pi * bore.item(of.pipe) ** 2 * (of.to_m - of.from_m) for _, of, _ in work.covered
        ]
        return sum(self.placement.gas_minor(volume) for volume in volumes)

    def remainder_gas_minor(self, geometry: SegmentGeometry) -> int:
        """Return the price of the gas of what is left of a segment beside the work [minor units]."""
        bore = self.index.network.pipes.bore_m.item(geometry.legs[0].pipe)
        return self.placement.gas_minor(0.25 * np.pi * bore**2 * geometry.length_m)

    @cached_property
    def is_open(self) -> NDArray[np.bool_]:
        """Which segments are open from end to end."""
        return open_segments(self.index)

    @cached_property
    def sensing(self) -> tuple[Sensing, ...]:
        """Stations that sense away from their outlet."""
        return sensing_pairs(self.index, self.is_open)

    @cached_property
    def pendants(self) -> PendantComponents:
        """Bridges and what hangs on them."""
        return pendant_components(self.index)

    @cached_property
    def off_prefix(self) -> NDArray[np.int64]:
        """Running sum, in depth-first preorder, of the price of customers attached at one supernode alone.

        Those that had no gas before any stop lose none: they count nothing.
        """
        loses = self.had_gas & ~self.index.multi_attached
        return self.pendants.prefix(self._summed(np.where(loses, self.off_minor, 0)))

    @cached_property
    def priority(self) -> NDArray[np.bool_]:
        """Which customers have a priority."""
        return np.array(pc.not_equal(self.index.network.customers.priority.arrow, ""), dtype=np.bool_)

    def losing(self, customers: frozenset[int]) -> frozenset[int]:
        """Return those of some customers that had gas before any stop."""
        return frozenset(row for row in customers if self.had_gas.item(row))

    def _kept(self, ordered: tuple[int, ...], alternatives: frozenset[int] | None) -> frozenset[int]:
        """Return the customers that may not go off: by order, or by priority without an alternative."""
        kept = frozenset(ordered)
        if alternatives is not None:
            kept |= frozenset(self.priority.nonzero()[0].tolist()) - alternatives
        return kept


def cost_context_of(
    index: SegmentGraph,
    rules: Rules,
    hours: float,
    gas_minor_per_m3: float,
    off_minor: NDArray[np.int64] | None = None,
) -> CostContext:
    """Return the costs under these prices, from the few kept with the index where they are among them."""
    figures = (hours, gas_minor_per_m3)
    for kept, known, own in index.cost_contexts:
        if isinstance(kept, CostContext) and kept.rules is rules and known == figures and own is off_minor:
            return kept
    costs = CostContext(index, rules, hours, gas_minor_per_m3, off_minor)
    index.cost_contexts.insert(0, (costs, figures, off_minor))
    del index.cost_contexts[_MOST_KEPT:]
    return costs
