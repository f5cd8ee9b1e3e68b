"""Subnetworks that were taken for the latest orders, kept for the next ones on the same mains."""

from __future__ import annotations

from collections import OrderedDict
from typing import Final

from netplan.core.arrays import Floats
from netplan.network.model import Network
from netplan.network.subnetwork import Subnetwork, subnetwork_of

__all__ = ["KeptSubnetworks"]

MOST_KEPT: Final = 4
"""Subnetworks that are kept (own) [-]."""


class KeptSubnetworks:
    """The latest subnetworks of one network."""

    def __init__(self) -> None:
        self._known: OrderedDict[tuple[bytes, int], Subnetwork | None] = OrderedDict()

    def at(self, network: Network, xy_m: Floats, at_least: int) -> Subnetwork | None:
        """Return what `subnetwork_of` returns for some places: of the latest ones each is taken once."""
        key = (xy_m.tobytes(), at_least)
        if key not in self._known:
            self._known[key] = subnetwork_of(network, xy_m, at_least)
            if len(self._known) > MOST_KEPT:
                self._known.popitem(last=False)
        self._known.move_to_end(key)
        return self._known[key]

    def latest(self) -> tuple[Subnetwork, ...]:
        """Return those that are kept, the latest first."""
        return tuple(one for one in reversed(self._known.values()) if one is not None)
