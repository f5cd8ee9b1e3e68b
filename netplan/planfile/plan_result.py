"""What planning hands to the outputs: the plan, the network it is for, and each option's solved state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from netplan.network.model import Network
from netplan.planfile.model import Plan
from netplan.planfile.solved_state import SolvedState

__all__ = ["PlanResult"]


@dataclass(frozen=True, slots=True, eq=False)
class PlanResult:
    """A plan with what it was made from.

    Parameters
    ----------
    plan : Plan
    network : Network
        What the plan was made on: of a large network the vicinity of the work.
    states : tuple of SolvedState
        One for each option, in the order of the options.
    notes_in_doubt : mapping of str to str
        Priority notes of customers in doubt by id, for the call sheet alone: some are on no pipe, and so not
        in `network`.
    telephones_in_doubt : mapping of str to str
        Their telephone numbers, restricted in the same way.
    """

    plan: Plan
    network: Network
    states: tuple[SolvedState, ...]
    notes_in_doubt: Mapping[str, str] = field(default_factory=dict)
    telephones_in_doubt: Mapping[str, str] = field(default_factory=dict)
