"""A plan as its folder holds it, to be checked again."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.planfile import SolvedState
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import option_of_rank

__all__ = ["IssuedPlan"]


@dataclass(frozen=True, slots=True, eq=False)
class IssuedPlan:
    """A plan as its folder holds it.

    Parameters
    ----------
    plan : Plan
    state : SolvedState
        Of the option that is to be rechecked.
    superseded_by : str
        What its folder says supersedes it; empty for nothing.
    revision : str
        Its revision code; empty where it has none.
    """

    plan: Plan
    state: SolvedState
    superseded_by: str = ""
    revision: str = ""

    @property
    def option(self) -> Option:
        """The option that is to be rechecked."""
        return option_of_rank(self.plan, self.state.option)
