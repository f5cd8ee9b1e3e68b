"""Pressure areas before the work, and what a feed that joins two of them may bring upon either.

An area is a connected part of the network as recorded, before any stop. Feeds are opened before the stops go
in, so that in the first states of the work a feed joins the whole area it takes gas from with the whole area
of the part it feeds. Stops only part what was joined: no later state, fallbacks included, lets a station
reach farther than that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut, CutStop
from netplan.network.model import Network
from netplan.network.station_pressures import PartSupply, least_mop_of_parts, supply_of_parts
from netplan.rules import Rules, StopMethod

__all__ = ["Join", "PressureAreas", "pressure_areas"]

Join = tuple[int, int]
"""Two areas that a feed joins: the giving one and that of the part it feeds."""

ROUNDING_PA: Final = 1e-6
"""What rounding may cost a comparison of recorded pressures [Pa]."""


@dataclass(frozen=True, slots=True, eq=False)
class PressureAreas:
    """The pressure areas of a network.

    Parameters
    ----------
    network : Network
    rules : Rules
    of_node : int array, shape (nodes,)
        Area of each node.
    supply : PartSupply
        What the stations of each area are set to and can reach.
    least_mop_pa_gauge : float array, shape (areas,)
        Least recorded operating limit of its mains [Pa gauge]; NaN where none is.
    """

    network: Network
    rules: Rules
    of_node: Ints
    supply: PartSupply
    least_mop_pa_gauge: Floats
    _joined: dict[tuple[Join, ...], Floats] = field(default_factory=dict, repr=False)

    def outlets_refused(self, giving: int, fed: int) -> str:
        """Return why two areas may not be joined at all, by their stations; empty when they may."""
        if giving == fed:
            return ""
        supply, allowed = self.supply, self.rules.pressure.outlet_difference_mbar
        for outlet in (supply.outlet_high_pa_gauge, supply.outlet_low_pa_gauge):
            low, high = sorted((float(outlet[giving]), float(outlet[fed])))
            if not np.isfinite((low, high)).all():
                return "it would join areas of which one has no station with a set outlet"
            if high - low > allowed * PA_PER_MBAR + ROUNDING_PA:
                return (
                    f"it would join areas set to {low / PA_PER_MBAR:g} and {high / PA_PER_MBAR:g} mbar, more "
                    f"than {allowed:g} mbar apart (rule pressure.outlet_difference_mbar)"
                )
        if supply.fault_is_missing[[giving, fed]].any():
            return "it would join areas of which one has a station without a recorded max_outlet_mbar"
        return ""

    def joined_fault_pa_gauge(self, joins: Sequence[Join]) -> Floats:
        """Return the highest fault pressure that can reach each area once feeds join some [Pa gauge].

        NaN without a station.
        """
        key = tuple(joins)
        if key not in self._joined:
            self._joined[key] = self._fault_pa_gauge(key)
        return self._joined[key]

    def _fault_pa_gauge(self, joins: Sequence[Join]) -> Floats:
        count = len(self.supply.fault_pa_gauge)
        ends = np.array(joins, dtype=np.int64).reshape(-1, 2).T
        label, _ = component_labels(count, ends[0], ends[1])
        highest = np.full(count, np.nan)
        np.fmax.at(highest, label, self.supply.fault_pa_gauge)
        return highest[label]

    def refused(self, cut: Cut, joins: Sequence[Join], fed_nodes: Iterable[Flags] = ()) -> str:
        """Return why feeds may not join areas round a cut; empty when they may.

        Parameters
        ----------
        cut : Cut
        joins : sequence of (int, int)
        fed_nodes : iterable of bool arrays, shape (nodes,)
            Nodes of the cut-off parts that are fed: no fault pressure may exceed the operating limit of a
            main there, whether the feeds raise it or not.
        """
        for giving, fed in joins:
            reason = self.outlets_refused(giving, fed)
            if reason:
                return reason
        fault = self.joined_fault_pa_gauge(joins)
        return (
            self._area_refused(fault)
            or next(filter(None, (self._main_refused(nodes, fault) for nodes in fed_nodes)), "")
            or next(filter(None, (self._rating_refused(stop, fault) for stop in cut.stops)), "")
        )

    def rated(self, stop: CutStop, joins: Sequence[Join]) -> frozenset[str]:
        """Return the names of the methods that are rated for what can reach a stop with the feeds in."""
        arrives = self.stop_fault_pa_gauge(stop, joins)
        return frozenset(m.name for m in self.rules.method if not arrives > _limit_pa_gauge(m) + ROUNDING_PA)

    def stop_fault_pa_gauge(self, stop: CutStop, joins: Sequence[Join]) -> float:
        """Return the highest fault pressure that can reach a stop in any state of the work [Pa gauge]."""
        return self._at_stop(stop, self.joined_fault_pa_gauge(joins))

    def _is_raised(self, area: Ints, fault: Floats) -> Flags:
        own = self.supply.fault_pa_gauge[area]
        return fault[area] > np.where(np.isnan(own), -np.inf, own) + ROUNDING_PA

    def _area_refused(self, fault: Floats) -> str:
        """Return why what is raised in a whole area may not be."""
        every = np.arange(len(fault))
        limit = self.rules.pressure.fault_maximum_mbar * PA_PER_MBAR
        for area in every[self._is_raised(every, fault)].tolist():
            mop = float(self.least_mop_pa_gauge[area])
            if fault[area] > mop + ROUNDING_PA:
                return _above(fault[area], mop, "the operating limit (mop_mbar) of a main")
            if fault[area] > limit + ROUNDING_PA:
                return _above(fault[area], limit, "what may reach a meter (rule pressure.fault_maximum_mbar)")
        return ""

    def _main_refused(self, nodes: Flags, fault: Floats) -> str:
        """Return why a fault pressure may not reach the mains between some nodes."""
        pieces, pipes = self.network.pieces, self.network.pipes
        rows = np.flatnonzero(nodes[pieces.from_node] & nodes[pieces.to_node] & (pieces.pipe < pipes.n_mains))
        arrives, mop = fault[self.of_node[pieces.from_node[rows]]], pipes.mop_pa_gauge[pieces.pipe[rows]]
        above = np.flatnonzero(arrives > mop + ROUNDING_PA)
        if not len(above):
            return ""
        first = int(above[0])
        main = pipes.id[int(pieces.pipe[rows[first]])]
        return _above(arrives[first], mop[first], f"the operating limit (mop_mbar) of main {main}")

    def _rating_refused(self, stop: CutStop, fault: Floats) -> str:
        method = next(m for m in self.rules.method if m.name == stop.method)
        limit, arrives = _limit_pa_gauge(method), self._at_stop(stop, fault)
        if arrives > limit + ROUNDING_PA:
            return _above(arrives, limit, f"the rating of a {method.name}")
        return ""

    def _at_stop(self, stop: CutStop, fault: Floats) -> float:
        """Return the greater of what a stop sees without feeds and what they let through [Pa gauge]."""
        pieces = self.network.pieces
        area = self.of_node[[int(pieces.from_node[stop.piece]), int(pieces.to_node[stop.piece])]]
        raised = np.where(self._is_raised(area, fault), fault[area], np.nan)
        return float(np.fmax(stop.fault_pressure_pa_gauge, np.fmax.reduce(raised)))


def _limit_pa_gauge(method: StopMethod) -> float:
    return (method.rating_mbar - method.rating_margin_mbar) * PA_PER_MBAR


def _above(arrives_pa: float, limit_pa: float, of_what: str) -> str:
    return (
        f"with it a station fault of {arrives_pa / PA_PER_MBAR:g} mbar would exceed {of_what}, "
        f"{limit_pa / PA_PER_MBAR:g} mbar"
    )


def pressure_areas(network: Network, rules: Rules, of_node: Ints, of_beyond: Ints) -> PressureAreas:
    """Return the pressure areas of a network.

    Parameters
    ----------
    network : Network
    rules : Rules
    of_node : int array, shape (nodes,)
        Connected part of each node before any stop.
    of_beyond : int array, shape (parts beyond the boundary,)
        The same for parts beyond the boundary; empty for a whole network.
    """
    count = int(max(of_node.max(initial=-1), of_beyond.max(initial=-1))) + 1
    beyond = of_beyond if network.beyond is not None else None
    return PressureAreas(
        network,
        rules,
        of_node,
        supply_of_parts(network, of_node, count, beyond),
        least_mop_of_parts(network, of_node, count, beyond),
    )
