"""The ways to do each stage among which the cheapest series is chosen, and what none undercuts."""

from __future__ import annotations

from dataclasses import dataclass, field

from netplan.core.errors import NoPlanError
from netplan.staging.border_paths import least_sum_path, least_sum_through
from netplan.staging.fewest_off import FewestOff
from netplan.staging.stage_borders import Pair
from netplan.staging.stage_plans import PlansSpentError, StagePlans, StageWays

__all__ = ["PlannedLengths", "plan_lengths"]


@dataclass(slots=True, eq=False)
class PlannedLengths:
    """Lengths with their ways, and how far the question is settled.

    Parameters
    ----------
    ways : dict of (int, int) to StageWays
    bound_minor : int
        No series of stages costs less before what its stages share is taken off [minor units].
    is_every_length : bool
        Whether every length with so few meters off was planned.
    """

    ways: dict[Pair, StageWays] = field(default_factory=dict)
    bound_minor: int = 0
    is_every_length: bool = False


def plan_lengths(plans: StagePlans, fewest: FewestOff) -> PlannedLengths:
    """Plan the lengths that a series with the lowest burden may be made of.

    First what no plan of a length undercuts stands for it. The path with the least sum is planned, until one
    is planned throughout: before sharing, no other costs less. Then all other lengths are planned as far as
    the rules allow, those on the next cheapest paths first, because sharing may make another series the
    cheapest.

    Parameters
    ----------
    plans : StagePlans
    fewest : FewestOff
        No stage may have more meters off than its `most`.
    """
    search = _Search(plans, fewest)
    for pair in fewest.path:
        search.plan(pair, always=True)
    try:
        search.settle()
        search.plan_the_rest()
    except PlansSpentError:
        pass
    return search.planned()


class _Search:
    def __init__(self, plans: StagePlans, fewest: FewestOff) -> None:
        self._plans, self._most = plans, fewest.most
        self._count = len(plans.borders)
        self._low = {pair: 0 for pair, meters in fewest.least.items() if meters <= fewest.most}
        self._bounded: set[Pair] = set()
        self._ways: dict[Pair, StageWays] = {}

    def plan(self, pair: Pair, *, always: bool = False) -> None:
        """Plan a length; drop it where it has no plan."""
        answer = self._plans.ways(pair, self._most, always=always)
        if answer is None:
            del self._low[pair]
        else:
            self._ways[pair], self._low[pair] = answer, answer.bound_minor

    def settle(self) -> None:
        """Plan lengths until the path with the least sum is planned throughout."""
        while (path := least_sum_path(self._count, self._low)) is not None:
            unbounded = [pair for pair in path if pair not in self._bounded and pair not in self._ways]
            open_pairs = [pair for pair in path if pair not in self._ways]
            if not open_pairs:
                return
            for pair in unbounded:
                self._bound(pair)
            if not unbounded:
                # The longest first: where it has no plan, the path is none.
                self.plan(max(open_pairs, key=lambda pair: pair[1] - pair[0]))

    def plan_the_rest(self) -> None:
        """Plan the lengths that are left, in the order of the cheapest path that each is on."""
        while True:
            through = least_sum_through(self._count, self._low)
            left = [pair for pair in through if pair not in self._ways]
            if not left:
                return
            self.plan(min(left, key=lambda pair: (through[pair], pair)))

    def planned(self) -> PlannedLengths:
        """Return what was planned."""
        least = least_sum_path(self._count, self._low) or ()
        on_paths = least_sum_through(self._count, self._low)
        return PlannedLengths(
            self._ways, sum(self._low[pair] for pair in least), all(pair in self._ways for pair in on_paths)
        )

    def _bound(self, pair: Pair) -> None:
        self._bounded.add(pair)
        try:
            self._low[pair] = max(self._low[pair], self._plans.bound_minor(pair, self._most))
        except NoPlanError as error:
            self._plans.refused[pair] = error
            del self._low[pair]
