"""What of a source by district was not read, so that whoever comes near it asks for more districts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.errors import BadInputError

__all__ = ["DistrictsNeededError", "UnreadDistricts"]


class DistrictsNeededError(BadInputError):
    """An answer may hang on districts that were not read: read them too and ask again.

    Parameters
    ----------
    districts : iterable of int
        Numbers of districts in the index.
    systems : iterable of int
        Numbers of pressure systems in the index, of which every district is needed.
    """

    def __init__(self, districts: Iterable[int] = (), systems: Iterable[int] = ()) -> None:
        super().__init__("the answer may hang on districts that were not read; read them too")
        self.districts = tuple(sorted(set(districts)))
        self.systems = tuple(sorted(set(systems)))


@dataclass(frozen=True, slots=True, eq=False)
class UnreadDistricts:
    """Districts that were not read, and pressure systems left out because they go on in those.

    Parameters
    ----------
    district : int array
        Numbers of the districts that were not read.
    box_m : float array, shape (districts, 4)
        Least x and y, greatest x and y of all that each holds, working CRS [m].
    xy_m : float array, shape (n, 2)
        Nodes of the mains that were read and left out, working CRS [m].
    system : int array, shape (n,)
        Pressure system of each of them.
    longest_m : float
        Length of the longest piece of these mains, working CRS [m].
    valve_node : int array, shape (k,)
        Node of the network on the near side of each closed valve to such a system; -1 where it is not held.
    valve_far : int array, shape (k,)
        Node on its far side, beyond which nothing is held; -1 likewise.
    valve_system : int array, shape (k,)
        The system on the far side.
    system_outlet_pa_gauge : float array, shape (systems of the network,)
        Greatest set outlet of all stations of the source, read or not [Pa gauge]; NaN without any.
    """

    district: Ints
    box_m: Floats
    xy_m: Floats
    system: Ints
    longest_m: float
    valve_node: Ints
    valve_far: Ints
    valve_system: Ints
    system_outlet_pa_gauge: Floats

    def renumbered(self, number: Ints) -> UnreadDistricts:
        """Return the same for a part of the network; `number` has the new row of each node, -1 without."""

        def new(node: Ints) -> Ints:
            return np.where(node >= 0, number[np.maximum(node, 0)], -1)

        return replace(self, valve_node=new(self.valve_node), valve_far=new(self.valve_far))

    def far_nodes(self) -> Ints:
        """Return the nodes beyond which nothing is held."""
        return self.valve_far[self.valve_far >= 0]

    def check_near(self, x_m: Floats, y_m: Floats, margin_m: float) -> None:
        """Check that nothing that was not read lies so near to some places [m].

        Raises
        ------
        DistrictsNeededError
            When something may: it names the districts and systems.
        """
        if not len(x_m):
            return
        west, south, east, north = self.box_m.T
        districts: set[int] = set()
        systems: set[int] = set()
        box = (x_m.min(), y_m.min(), x_m.max(), y_m.max())
        for row in np.flatnonzero(_apart(west, south, east, north, box) <= margin_m).tolist():
            apart = np.maximum(
                np.maximum(west[row] - x_m, x_m - east[row]), np.maximum(south[row] - y_m, y_m - north[row])
            )
            if (apart <= margin_m).any():
                districts.add(int(self.district[row]))
        reach = margin_m + self.longest_m
        x, y = self.xy_m.T
        for row in np.flatnonzero(_apart(x, y, x, y, box) <= reach).tolist():
            if int(self.system[row]) in systems:
                continue
            if (np.maximum(np.abs(x_m - x[row]), np.abs(y_m - y[row])) <= reach).any():
                systems.add(int(self.system[row]))
        if districts or systems:
            raise DistrictsNeededError(districts, systems)

    def check_valves(self, nodes: Flags) -> None:
        """Check that no closed valve leads from some nodes to a system that was left out.

        Parameters
        ----------
        nodes : bool array, shape (nodes of the network,)

        Raises
        ------
        DistrictsNeededError
            When one does.
        """
        near = (self.valve_node >= 0) & nodes[np.maximum(self.valve_node, 0)]
        far = (self.valve_far >= 0) & nodes[np.maximum(self.valve_far, 0)]
        if (near | far).any():
            raise DistrictsNeededError(systems=self.valve_system[near | far].tolist())


def _apart(
    west: Floats, south: Floats, east: Floats, north: Floats, box: tuple[float, float, float, float]
) -> Floats:
    """Return how far boxes lie from another one, in the direction in which it is farthest [m]."""
    aside = np.maximum(west - box[2], box[0] - east)
    return np.asarray(np.maximum(aside, np.maximum(south - box[3], box[1] - north)), dtype=float)
