"""Who watches a plan being made: what stands of it already, and what the next one like it can start from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from netplan.planfile.model import Option
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption

if TYPE_CHECKING:
    from netplan.planning.rank import OptionIdentity, Ranking

__all__ = ["PlanWatch"]


def _nothing(*_: object) -> None:
    """Take no notice."""


@dataclass(eq=False)
class PlanWatch:
    """Hears what is known of a plan before the whole of it is.

    What it hears may be overruled by the plan itself: an order of the work that breaks a law drops an option,
    and what is felt at the boundary of a subnetwork is worked out again in a larger one.

    Parameters
    ----------
    whole : PlanningContext
        Of the whole network, for the request: its state before any stop may be known already.
    found : callable, optional
        Called with context, the options found so far, cheapest first, each priced and solved, and what no
        other one can undercut [minor units]; None where there is no other.
    written : callable, optional
        Called with the options that are complete so far, cheapest first.
    """

    whole: PlanningContext
    found: Callable[[PlanningContext, Sequence[EvaluatedOption], int | None], None] = _nothing
    written: Callable[[Sequence[Option]], None] = _nothing
    _rankings: dict[tuple[int, frozenset[OptionIdentity]], Ranking] = field(
        default_factory=dict, init=False, repr=False
    )

    def ranked(
        self,
        context: PlanningContext,
        barred: frozenset[OptionIdentity],
        rank: Callable[[], Ranking],
    ) -> Ranking:
        """Return a ranking, searched for once: a plan of the same orders that asks for more has it already.

        Parameters
        ----------
        context : PlanningContext
            On which it is searched for.
        barred : frozenset of OptionIdentity
        rank : callable
            Searches.
        """
        key = (len(context.request.network.nodes), barred)
        if key in self._rankings:
            context.scope.watch(self._rankings[key].search)
        else:
            self._rankings[key] = rank()
        return self._rankings[key]

    def hand_on(self, other: PlanWatch) -> None:
        """Give what was found to the watch of a plan of the same orders that asks for more."""
        other._rankings.update(self._rankings)

    def farther_out(self) -> None:
        """Forget what was found in a subnetwork that was too small."""
        self._rankings.clear()
