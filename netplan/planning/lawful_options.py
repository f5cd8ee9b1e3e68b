"""Options whose order of the work breaks a law are dropped: nothing unlawful is printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from netplan.core.errors import NoPlanError
from netplan.core.findings import Finding, Severity
from netplan.planfile import model
from netplan.planning.option_records.option_state import StateSource
from netplan.procedure.order_laws import LawBreach, law_breaches
from netplan.rules import Rules

__all__ = ["DroppedOption", "LawfulOptions", "NoLawfulPlanError", "lawful_options"]

MOST_NAMED: Final = 5
"""Breaches of one option that a message names (own)."""


class NoLawfulPlanError(NoPlanError):
    """Options were found, but the order of the work of each breaks a law (exit code 3)."""


@dataclass(frozen=True, slots=True)
class DroppedOption:
    """An option that is no option, and the laws its order breaks.

    Parameters
    ----------
    rank : int
        The rank that it had among all that were found.
    burden : float
        Its burden [currency of the rules].
    breaches : tuple of LawBreach
    """

    rank: int
    burden: float
    breaches: tuple[LawBreach, ...]

    def words(self) -> str:
        """Return why it was dropped, in one line."""
        named = "; ".join(breach.words() for breach in self.breaches[:MOST_NAMED])
        more = len(self.breaches) - MOST_NAMED
        return f"{named}; and {more} more" if more > 0 else named


@dataclass(frozen=True, slots=True)
class LawfulOptions:
    """The options that stand, ranked anew, and those that were dropped.

    Parameters
    ----------
    sources : tuple of StateSource
        Each with its option as it stands in the plan.
    dropped : tuple of DroppedOption
        Those of earlier searches first.
    unlawful : tuple of StateSource
        What this search found of them.
    """

    sources: tuple[StateSource, ...]
    dropped: tuple[DroppedOption, ...]
    unlawful: tuple[StateSource, ...] = ()

    def require(self, *, more_beyond: bool) -> None:
        """Raise where no option stands.

        Parameters
        ----------
        more_beyond : bool
            Whether options beyond these may exist.

        Raises
        ------
        NoLawfulPlanError
            Naming the laws.
        """
        if not self.sources:
            raise NoLawfulPlanError(
                "no option found has an order of the work that keeps every law",
                tuple(f"option {one.rank}: {one.words()}" for one in self.dropped),
                cut_short=more_beyond,
            )

    @property
    def options(self) -> tuple[model.Option, ...]:
        """The options that stand, cheapest first."""
        return tuple(source.option for source in self.sources)

    def findings(self) -> tuple[Finding, ...]:
        """Return a warning for each option that was dropped."""
        return tuple(
            Finding(
                "option-dropped",
                "",
                "",
                Severity.WARNING,
                f"the option found at rank {one.rank} is not listed, as its order of the work breaks a law: "
                f"{one.words()}",
                "choose among the options listed, or change the orders or rules that lead to it",
            )
            for one in self.dropped
        )


def lawful_options(
    sources: Sequence[StateSource],
    conditions: model.Conditions,
    rules: Rules,
    earlier: Sequence[DroppedOption] = (),
) -> LawfulOptions:
    """Return the options whose order breaks no law, ranked anew.

    Parameters
    ----------
    sources : sequence of StateSource
        Cheapest first, each with its complete option.
    conditions : Conditions
    rules : Rules
    earlier : sequence of DroppedOption
        Those that earlier searches found and this one left out.
    """
    kept: list[StateSource] = []
    unlawful: list[StateSource] = []
    dropped = list(earlier)
    for source in sources:
        option = source.option
        breaches = law_breaches(option, conditions, rules)
        if breaches:
            rank = option.rank + sum(one.burden <= option.burden for one in earlier)
            dropped.append(DroppedOption(rank, option.burden, breaches))
            unlawful.append(source)
        else:
            kept.append(source)
    if dropped:
        ranked = [_ranked(source.option, rank, dropped) for rank, source in enumerate(kept, 1)]
        kept = [replace(source, option=option) for source, option in zip(kept, ranked, strict=True)]
    return LawfulOptions(tuple(kept), tuple(dropped), tuple(unlawful))


def _ranked(option: model.Option, rank: int, dropped: Sequence[DroppedOption]) -> model.Option:
    """Return an option at its new rank; what is proven of it holds among options that keep the laws."""
    # A dropped option is none: what is left is as cheap as before among those that stand.
    laws = sorted({breach.law for one in dropped for breach in one.breaches})
    numbers = ", ".join(map(str, laws))
    ranks = ", ".join(str(rank) for rank in sorted(one.rank for one in dropped))
    reason = option.proof.reason.replace(f"for rank {option.rank}:", f"for rank {rank}:")
    why = f"what was found at rank {ranks} is dropped, as its order breaks law {numbers}"
    proof = option.proof.model_copy(update={"reason": f"{reason}; {why}"})
    return option.model_copy(update={"rank": rank, "proof": proof})
