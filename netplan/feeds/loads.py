"""What a network with feeds in has to carry: every hour, and gas for purging in on top of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from netplan.core.arrays import Floats
from netplan.feeds.constraint_margin import ConstraintMargin

__all__ = ["Draw", "FeedLoads", "as_loads"]


@dataclass(frozen=True, slots=True)
class Draw:
    """Gas taken at a node [m³/s at 15 °C, 101.325 kPa] beside the customers' demand."""

    node: int
    flow_m3_per_s_std: float

    def on(self, demand_m3_per_s_std: Floats) -> Floats:
        """Return a node demand with the draw on top [m³/s at 15 °C, 101.325 kPa]."""
        drawn = demand_m3_per_s_std.copy()
        drawn[self.node] += self.flow_m3_per_s_std
        return drawn


@dataclass(frozen=True, slots=True, eq=False)
class FeedLoads:
    """Node demands that all have to be carried.

    Parameters
    ----------
    hours : tuple of float arrays, shape (nodes,)
        Demand in each hour that counts, all margins in [m³/s at 15 °C, 101.325 kPa]; the first is the one
        that figures are given for.
    draws : tuple of tuple of Draw
        For each purge the places where its gas may be taken: at one of them every hour must hold. What holds
        with a draw holds without, so that the bare hours need no solving then.
    beyond : tuple of ConstraintMargin
        How inlets stand in each hour that nothing done here changes; empty where there are none.
    """

    hours: tuple[Floats, ...]
    draws: tuple[tuple[Draw, ...], ...] = ()
    beyond: tuple[ConstraintMargin, ...] = ()

    def groups(self) -> Iterator[tuple[Draw | None, ...]]:
        """Yield the alternatives of each purge; one of nothing where there is none."""
        yield from self.draws or ((None,),)

    def under(self, draw: Draw | None) -> Iterator[Floats]:
        """Yield the demand of every hour with a draw on top."""
        return (demand if draw is None else draw.on(demand) for demand in self.hours)

    def in_hour(self, row: int) -> FeedLoads:
        """Return the loads of one hour alone; of the first where there is no such row."""
        place = row if row < len(self.hours) else 0
        return replace(self, hours=(self.hours[place],), beyond=self.beyond[place : place + 1])

    def changed(self, change: Callable[[Floats], Floats]) -> FeedLoads:
        """Return the same with every hour's demand changed."""
        return replace(self, hours=tuple(change(demand) for demand in self.hours))


def as_loads(demand: Floats | FeedLoads) -> FeedLoads:
    """Return one node demand as loads; loads as they are."""
    return demand if isinstance(demand, FeedLoads) else FeedLoads((demand,))
