"""Districts: parts of a network that share no pipe, so that each can be screened alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.network.model import Network
from netplan.network.topology import components

__all__ = ["district_nodes"]


def district_nodes(network: Network) -> NDArray[np.int32]:
    """Return the district of each node, numbered by their first mains: joined by pipes, open or closed.

    A closed valve does not part districts here, because a zone may reach up to it from both sides.
    """
    part = components(network, np.ones(len(network.pieces), dtype=bool))
    # Numbers follow the pieces, which follow the ids: the order of nodes does not matter.
    met = part[network.pieces.from_node]
    _, first = np.unique(met, return_index=True)
    number = np.full(int(part.max(initial=-1)) + 1, -1, dtype=np.int32)
    number[met[np.sort(first)]] = np.arange(len(first))
    return np.asarray(number[part])
