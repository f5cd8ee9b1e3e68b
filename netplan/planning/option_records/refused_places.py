"""Places nearer to the work than a stop, and why the stop is not there."""

from __future__ import annotations

from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.rank import Ranking

__all__ = ["nearer_of"]


def nearer_of(
    context: PlanningContext, ranking: Ranking, option: EvaluatedOption
) -> tuple[tuple[model.NotNearer, ...], ...]:
    """Return, for each stop of an option, the lengths nearer to the work that were refused or dearer."""
    pipes = context.request.network.pipes
    return tuple(
        tuple(
            model.NotNearer(
                main_id=pipes.id[refusal.pipe],
                from_m=refusal.from_m,
                to_m=refusal.to_m,
                method=refusal.method,
                side=refusal.side,
                code=refusal.code,
                reason=refusal.words,
            )
            for refusal in of_stop
        )
        for of_stop in ranking.search.not_nearer(option.cut)
    )
