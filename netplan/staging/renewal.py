"""The renewal: mains in the order in which they lie along it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.errors import BadWorkError, quoted
from netplan.network.model import Network
from netplan.network.work_section import WorkPart, WorkSection, work_section

__all__ = ["Renewal", "RenewalLeg", "renewal_of_mains", "renewal_of_street"]


@dataclass(frozen=True, slots=True)
class RenewalLeg:
    """A main of the renewal.

    Parameters
    ----------
    pipe : int
        Row of the main.
    start_m : float
        Where it begins along the renewal [m].
    length_m : float
    forward : bool
        Whether chainages rise along the renewal.
    """

    pipe: int
    start_m: float
    length_m: float
    forward: bool


@dataclass(frozen=True, slots=True)
class Renewal:
    """Mains to be renewed from end to end, one after another; branches come after the way they branch off.

    Parameters
    ----------
    legs : tuple of RenewalLeg
    """

    legs: tuple[RenewalLeg, ...]

    @property
    def length_m(self) -> float:
        """Length of all mains [m]."""
        return self.legs[-1].start_m + self.legs[-1].length_m

    def section(
        self, network: Network, from_m: float, to_m: float
    ) -> tuple[tuple[WorkPart, ...], WorkSection]:
        """Return the work of a stage between two places along the renewal [m]."""
        parts = []
        for leg in self.legs:
            low, high = max(from_m - leg.start_m, 0.0), min(to_m - leg.start_m, leg.length_m)
            if high - low > 1e-6:
                if not leg.forward:
                    low, high = leg.length_m - high, leg.length_m - low
                parts.append(WorkPart(network.pipes.id[leg.pipe], max(low, 0.0), min(high, leg.length_m)))
        return tuple(parts), work_section(network, parts)


def renewal_of_street(network: Network, street: str) -> Renewal:
    """Return all live mains that record a street, in order.

    Raises
    ------
    BadWorkError
        When no main records it.
    """
    wanted = " ".join(street.split()).casefold()
    names = [" ".join(name.split()) for name in network.pipes.street.take(np.arange(network.pipes.n_mains))]
    rows = [row for row, name in enumerate(names) if name.casefold() == wanted]
    if not rows:
        near = difflib.get_close_matches(street, sorted(set(names) - {""}), n=3, cutoff=0.5)
        hint = f"did you mean {', '.join(near)}?" if near else "name a street as the mains record it"
        raise BadWorkError(f"no live main records the street {quoted(street)}; {hint}")
    return _in_order(network, rows)


def renewal_of_mains(network: Network, main_ids: Sequence[str]) -> Renewal:
    """Return some mains in the order in which they lie.

    Raises
    ------
    BadWorkError
        When one is unknown.
    """
    # The check of work sections knows unknown, abandoned and mistaken ids.
    rows = set()
    for name in main_ids:
        row = network.pipes.id.find(name, 0, network.pipes.n_mains)
        length = float(network.pipes.length_m[row]) if row >= 0 else 1.0
        rows.add(int(work_section(network, [WorkPart(name, 0.0, length)]).pipe[0]))
    return _in_order(network, sorted(rows))


def _in_order(network: Network, rows: Iterable[int]) -> Renewal:
    """Walk from an end that only one of the mains has; where no way goes on, from the next such end."""
    pieces = network.pieces
    first = {row: int(np.searchsorted(pieces.pipe, row)) for row in rows}
    last = {row: int(np.searchsorted(pieces.pipe, row, side="right")) - 1 for row in first}
    ends = {row: (int(pieces.from_node[first[row]]), int(pieces.to_node[last[row]])) for row in first}
    left = sorted(ends)
    legs: list[RenewalLeg] = []
    at: int | None = None
    start = 0.0
    while left:
        going = [row for row in left if at is not None and at in ends[row]]
        if going:
            row = going[0]
            forward = ends[row][0] == at
        else:
            row, forward = _beginning(left, ends)
        length = float(network.pipes.length_m[row])
        legs.append(RenewalLeg(row, start, length, forward))
        start += length
        at = ends[row][1] if forward else ends[row][0]
        left.remove(row)
    return Renewal(tuple(legs))


def _beginning(left: list[int], ends: dict[int, tuple[int, int]]) -> tuple[int, bool]:
    count: dict[int, int] = {}
    for row in left:
        for node in ends[row]:
            count[node] = count.get(node, 0) + 1
    for row in left:
        for node, forward in zip(ends[row], (True, False), strict=True):
            if count[node] == 1:
                return row, forward
    return left[0], True
