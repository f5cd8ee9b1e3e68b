"""Supernodes as `flood` reads them: made once for a network, shared by all questions alike."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from netplan.isolation.bridges import Bridge, Bridges
from netplan.isolation.flood import Arc, Spot
from netplan.isolation.ground import Ground
from netplan.isolation.mincut import INFINITE

__all__ = ["NotPlainError", "Spots"]

_MOST_KEPT: Final = 400_000
"""Supernodes remembered at a time (own): some hundred megabytes [-]."""


class NotPlainError(Exception):
    """A node that a spot cannot stand for: customers attached elsewhere too, or a run back to itself."""


class Spots:
    """The supernodes of a network under one set of prices, one feed bound and one set of kept customers.

    Parameters
    ----------
    ground : Ground
    bridges : Bridges
    barred : callable
        Whether a supernode may never be in a zone.
    many : bool
        Whether so many questions come that it pays to price all plain supernodes at once.
    """

    def __init__(
        self, ground: Ground, bridges: Bridges, barred: Callable[[int], bool], *, many: bool
    ) -> None:
        self._many = many
        self._ground, self._index, self._bridges, self._barred = ground, ground.index, bridges, barred
        self._fixed: dict[int, Spot] = {}
        self._mixed: dict[int, tuple[int, tuple[Arc | Bridge, ...]]] = {}
        self.get = self._fixed.get

    def at(self, supernode: int, work: list[int]) -> Spot:
        """Return a spot that `get` does not know.

        Parameters
        ----------
        work : list of int
            Places of the work in the order of tails.

        Raises
        ------
        NotPlainError
        """
        mixed = self._mixed.get(supernode)
        if mixed is None:
            mixed = self._made(supernode)
            if len(self._fixed) + len(self._mixed) >= _MOST_KEPT:
                self._fixed.clear()
                self._mixed.clear()
            plain = tuple(arc for arc in mixed[1] if not isinstance(arc, Bridge))
            if len(plain) == len(mixed[1]):
                spot = self._fixed[supernode] = (mixed[0], plain)
                return spot
            self._mixed[supernode] = mixed
        outlet, arcs = mixed[0], []
        for arc in mixed[1]:
            if isinstance(arc, Bridge):
                (forth, back, pay, _), _, _ = arc.priced(work)
                outlet += pay
                arcs.append((arc.number, arc.far, forth, back))
            else:
                arcs.append(arc)
        return min(outlet, INFINITE), tuple(arcs)

    def _made(self, supernode: int) -> tuple[int, tuple[Arc | Bridge, ...]]:
        index, ground = self._index, self._ground
        if ground.has_several.item(supernode):
            raise NotPlainError
        outlet = INFINITE if self._barred(supernode) else ground.node_minor.item(supernode)
        plain = ground.plain_spots if self._many else None
        if plain is not None and plain.is_plain.item(supernode):
            return min(outlet + plain.pay_minor.item(supernode), INFINITE), plain.arcs(supernode)
        arcs: list[Arc | Bridge] = []
        for run in index.runs_at(supernode).tolist():
            a, b = index.run_a.item(run), index.run_b.item(run)
            if a == b:
                raise NotPlainError
            at_a, far = (True, b) if a == supernode else (False, a)
            bridge = self._bridges.at(run, supernode, far)
            if bridge is not None:
                arcs.append(bridge)
                continue
            forth, back, pay, _ = self._bridges.arcs(run, at_a, 0, 0)
            outlet += pay
            arcs.append((2 * run + (not at_a), far, forth, back))
        return min(outlet, INFINITE), tuple(arcs)
