"""How much of a network is planned on: all of it, or a part; and what lies outside, which stays as it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.demand import DiversityGroups
from netplan.feeds import ConstraintMargin
from netplan.isolation import CutSearch, reads_boundary
from netplan.network.model import Customers, Network
from netplan.network.unread_districts import DistrictsNeededError

__all__ = ["LoadedStation", "Lowest", "NetworkScope", "OutsideSummary", "lowest_of"]


@dataclass(frozen=True, slots=True)
class Lowest:
    """A meter inlet: its pressure [Pa gauge] and its customer's id."""

    pressure_pa_gauge: float
    customer_id: str


@dataclass(frozen=True, slots=True)
class LoadedStation:
    """A station, the greatest share of its capacity that it gives [-], and its capacity [m³/s at 15 °C]."""

    station_id: str
    share: float
    capacity_m3_per_s_std: float


@dataclass(frozen=True, slots=True)
class OutsideSummary:
    """The rest of the network; nothing where a plan is made in all of it.

    Parameters
    ----------
    lowest, held : tuples of (Lowest or None)
        Of all its meter inlets, and of those that held before any stop, in each hour to check; empty or None
        without any.
    weak, high : tuples of str
        Customers that fall short in some hour before any stop, and those above the highest allowed pressure.
    station_flow_m3_per_s_std : tuple of dict
        What its stations give in each hour to check, by id [m³/s at 15 °C, 101.325 kPa].
    loaded : tuple of LoadedStation
        Its stations that have a capacity.
    on_no_pipe : int
        Customers that lie on no pipe.
    """

    lowest: tuple[Lowest | None, ...] = ()
    held: tuple[Lowest | None, ...] = ()
    weak: tuple[str, ...] = ()
    high: tuple[str, ...] = ()
    station_flow_m3_per_s_std: tuple[dict[str, float], ...] = ()
    loaded: tuple[LoadedStation, ...] = ()
    on_no_pipe: int = 0


def lowest_of(inlets: tuple[Lowest | None, ...]) -> tuple[Lowest, int] | None:
    """Return the lowest inlet of all hours and the place of its hour, the first of several."""
    known = [(one.pressure_pa_gauge, place, one) for place, one in enumerate(inlets) if one is not None]
    if not known:
        return None
    _, place, lowest = min(known, key=lambda one: one[:2])
    return lowest, place


class NetworkScope:
    """All of a network: nothing lies outside, so that every check holds.

    Of a source by district it is all that was read, and what comes near the rest asks for more of it.
    The scope of a subnetwork is `netplan.planning.subnetwork_context.SubnetworkScope`.

    Parameters
    ----------
    network : Network
        What is planned on.
    """

    def __init__(self, network: Network) -> None:
        self._network = network
        self._searches: list[CutSearch] = []

    @property
    def all_customers(self) -> Customers:
        """Customers of the whole network, those on no pipe among them."""
        return self._network.customers

    @property
    def customer_rows(self) -> Ints:
        """Row among all customers of each customer of the network that is planned on."""
        return np.arange(len(self._network.customers))

    @property
    def outside(self) -> OutsideSummary:
        """What lies outside."""
        return OutsideSummary()

    def margins_outside(self, air_temp_c: float, hours: Sequence[int]) -> tuple[ConstraintMargin, ...]:  # noqa: ARG002
        """Return how the inlets outside that held before any stop stand in hours of other weather [°C]."""
        return ()

    def watch(self, search: CutSearch) -> None:
        """Take note of a search for stops, for `check_unaffected`."""
        if self._network.unread is not None:
            self._searches.append(search)

    def check_unaffected(self) -> None:
        """Check that no search for stops read anything at the boundary.

        Raises
        ------
        BoundaryAffectedError
            When one did: outside it might have found something else.
        DistrictsNeededError
            When one came to a closed valve to a system that was not read.
        """
        unread = self._network.unread
        if unread is None:
            return
        for search in self._searches:
            if reads_boundary(search):
                read = np.zeros(len(self._network.nodes), dtype=bool)
                read[np.isin(search.index.super_of, search.local.looked_at())] = True
                unread.check_valves(read)
                # It came to a boundary by a valve farther on.
                raise DistrictsNeededError(systems=unread.valve_system.tolist())

    def check_valves(self, nodes: Flags) -> None:
        """Check that what lies behind the closed valves at some nodes was read.

        Parameters
        ----------
        nodes : bool array, shape (nodes of the network that is planned on,)

        Raises
        ------
        DistrictsNeededError
            When it was not.
        """
        if self._network.unread is not None:
            self._network.unread.check_valves(nodes)

    def check_same_demand(self, groups: DiversityGroups) -> None:
        """Check that customers outside draw as before when these are fed together.

        Raises
        ------
        BoundaryAffectedError
            When their uplift or diversity moves: then the whole network is another one.
        """

    def check_within(self, x_m: Floats, y_m: Floats, margin_m: float) -> None:
        """Check that all that lies so near to some places [m] is in the network that is planned on.

        Raises
        ------
        BoundaryAffectedError
            When something may lie outside.
        DistrictsNeededError
            When something of it may not have been read.
        """
        if self._network.unread is not None:
            self._network.unread.check_near(x_m, y_m, margin_m)
