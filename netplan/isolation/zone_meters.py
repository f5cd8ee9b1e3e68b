"""How many meters lie in a zone for certain: a limit on them ends families of zones that are too large."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.local_graph import SOURCE, LocalGraph

__all__ = ["ZoneMeters"]


class ZoneMeters:
    """Counts the meters at local nodes, those of customers with several attachments once.

    Parameters
    ----------
    local : LocalGraph
    most : int
        Most meters that a zone may hold [-].
    """

    def __init__(self, local: LocalGraph, most: int) -> None:
        self._local, self._most = local, most
        index = local.index
        self._of_customer: NDArray[np.int64] = np.maximum(index.network.customers.meters, 1).astype(np.int64)
        self._at: dict[int, tuple[int, tuple[int, ...]]] = {}
        work = [self._at_supernode(supernode) for supernode in local.work.supernodes]
        self._work = sum(single for single, _ in work)
        self._work_several = {row for _, rows in work for row in rows}

    def too_many(self, nodes: Iterable[int]) -> bool:
        """Return whether every zone with these local nodes holds more meters than allowed."""
        total, several = self._work, set(self._work_several)
        supernode = self._local.supernode
        for node in nodes:
            if node != SOURCE and supernode[node] >= 0:
                single, rows = self._at_supernode(supernode[node])
                total += single
                several.update(rows)
        return total + sum(map(self._of_customer.item, several)) > self._most

    def _at_supernode(self, supernode: int) -> tuple[int, tuple[int, ...]]:
        """Return the meters of customers attached at a supernode alone, and the other customers there."""
        found = self._at.get(supernode)
        if found is None:
            index = self._local.index
            # A customer may be attached twice at one supernode.
            rows = np.unique(index.customers_at(supernode))
            several = index.multi_attached[rows]
            single = int(self._of_customer[rows[~several]].sum())
            found = self._at[supernode] = single, tuple(rows[several].tolist())
        return found
