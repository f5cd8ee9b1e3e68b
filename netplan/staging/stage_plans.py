"""Plans of lengths of a renewal, each made when it is asked for, on one solved network."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from netplan.core.errors import NoPlanError
from netplan.excavations import work_excavations_minor
from netplan.isolation import MINOR_PER_UNIT
from netplan.network.work_section import WorkPart, WorkSection
from netplan.planfile.model import Option
from netplan.planfile.plan_result import PlanResult
from netplan.planning.context import PlanningContext
from netplan.planning.least_meters_off import least_meters_off
from netplan.planning.make_plan import make_plan
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.rank import isolation_problem
from netplan.planning.request import PlanRequest
from netplan.rules import Rules
from netplan.staging.renewal import Renewal
from netplan.staging.stage_borders import Pair

__all__ = ["PlansSpentError", "StagePlans", "StageWays", "burden_minor", "meters_off"]

DEAREST_OFF: Final = 1_000_000.0
"""Price of a meter off for an hour with which fewer meters come before all else (own) [currency/h]."""


class PlansSpentError(Exception):
    """As many plans were made as the rules allow."""


def meters_off(option: Option) -> int:
    """Return the meters that an option turns off."""
    return sum(one.meters for one in option.customers if one.effect == "off")


def burden_minor(option: Option) -> int:
    """Return the burden of an option [minor units]."""
    return round(option.burden * MINOR_PER_UNIT)


@dataclass(frozen=True, slots=True, eq=False)
class StageWays:
    """Options of a length with no more meters off than asked for.

    Parameters
    ----------
    result : PlanResult
        Cheapest option first.
    bound_minor : int
        No option of the length, listed or not, is cheaper [minor units].
    """

    result: PlanResult
    bound_minor: int

    @property
    def least_minor(self) -> int:
        """Burden of the cheapest option [minor units]."""
        return burden_minor(self.result.plan.options[0])


class StagePlans:
    """Answers to what a stage takes, for every length between two borders.

    Parameters
    ----------
    request : PlanRequest
        Network, rules, window and orders; its work is not looked at.
    renewal : Renewal
    borders : tuple of float
        Along the renewal [m].
    tell : callable
        Called with a few words on what is being done.

    Attributes
    ----------
    plans : int
        How many lengths were planned, once for each question.
    refused : dict of (int, int) to NoPlanError
        Why a length has no plan at all.
    cut_short : set of (int, int)
        Lengths whose search ended before it had shown that there is no plan.
    """

    def __init__(
        self,
        request: PlanRequest,
        renewal: Renewal,
        borders: tuple[float, ...],
        tell: Callable[[str], None],
    ) -> None:
        self.request = replace(request, weather=False, replaces=None)
        self.renewal, self.borders = renewal, borders
        self._tell = tell
        self.plans = 0
        self.refused: dict[Pair, NoPlanError] = {}
        self.cut_short: set[Pair] = set()
        self.context = PlanningContext.for_request(self._asked((0, len(borders) - 1)))

    def _asked(self, pair: Pair, most_off: int | None = None, options: int | None = None) -> PlanRequest:
        parts, _ = self.renewal.section(self.request.network, self.borders[pair[0]], self.borders[pair[1]])
        given = self.request.orders.max_meters_off
        most = min((most for most in (given, most_off) if most is not None), default=None)
        return replace(
            self.request,
            parts=parts,
            options=options or self.request.options,
            orders=replace(self.request.orders, max_meters_off=most),
        )

    def words(self, pair: Pair) -> str:
        """Return a length in words."""
        return f"{self.borders[pair[0]]:.0f} m to {self.borders[pair[1]]:.0f} m"

    def least_meters(self, pair: Pair) -> int:
        """Return how many meters are off at least on a length, by its zones alone.

        Raises
        ------
        NoPlanError
            When nothing isolates it.
        """
        request = self._asked(pair)
        context = self.context.with_request(request)
        _, section = self._section(pair)
        least = least_meters_off(context, isolation_problem(context, section))
        return 0 if least is None else least

    def fewest_meters(self, pair: Pair) -> tuple[int, int] | None:
        """Return the fewest meters off of any plan of a length, and what is proven of it.

        The plan is that of rules by which a meter off is dearer than everything else.

        Returns
        -------
        (int, int) or None
            Meters off of the plan, and how many are off at least; None where no plan was found.
        """
        request = self._asked(pair, options=1)
        request = replace(request, rules=_meters_first(request.rules))
        answer = self._plan(pair, request, "fewest meters off")
        if answer is None:
            return None
        option = answer.plan.options[0]
        found = meters_off(option)
        each = DEAREST_OFF * request.window_hours
        proven = found if option.proof.optimal else int(option.proof.lower_bound // each)
        return found, min(proven, found)

    def bound_minor(self, pair: Pair, most_off: int | None) -> int:
        """Return what no plan of a length undercuts [minor units], found without pressures.

        Raises
        ------
        NoPlanError
            When nothing isolates it.
        """
        request = self._asked(pair, most_off)
        context = self.context.with_request(request)
        _, section = self._section(pair)
        work_minor = work_excavations_minor(request.network, request.rules, section)
        try:
            outline = context.cuts(isolation_problem(context, section)).outline()
        except NoPlanError as error:
            if error.cut_short:
                return work_minor
            raise
        return outline.bound_minor + work_minor

    def ways(self, pair: Pair, most_off: int | None, *, always: bool = False) -> StageWays | None:
        """Return the options of a length, as many as the rules' ``staging.ways``; None where there is none.

        Parameters
        ----------
        pair : (int, int)
        most_off : int or None
            Meters off at most.
        always : bool
            Whether to plan it although the rules' number of plans is spent.

        Raises
        ------
        PlansSpentError
        """
        request = self._asked(pair, most_off, self.request.rules.staging.ways)
        result = self._plan(pair, request, "plan", always=always)
        if result is None:
            return None
        first = result.plan.options[0]
        bound = first.proof.lower_bound if not first.proof.optimal else first.burden
        return StageWays(result, round(min(bound, first.burden) * MINOR_PER_UNIT))

    def why_not(self, pair: Pair) -> NoPlanError:
        """Return why a length has no plan, with what would allow one."""
        request = self._asked(pair, options=1)
        try:
            make_plan(request, self._tell, PlanWatch(self.context.with_request(request)))
        except NoPlanError as error:
            return error
        return NoPlanError(f"a stage from {self.words(pair)} has a plan of its own")

    def _section(self, pair: Pair) -> tuple[tuple[WorkPart, ...], WorkSection]:
        return self.renewal.section(self.request.network, self.borders[pair[0]], self.borders[pair[1]])

    def _plan(
        self, pair: Pair, request: PlanRequest, what: str, *, always: bool = False
    ) -> PlanResult | None:
        if not always and self.plans >= self.request.rules.staging.plans_max:
            raise PlansSpentError
        self.plans += 1
        self._tell(f"stage {self.words(pair)}: {what}")
        try:
            return make_plan(request, watch=PlanWatch(self.context.with_request(request)), lift_orders=False)
        except NoPlanError as error:
            self.refused[pair] = error
            if error.cut_short:
                self.cut_short.add(pair)
            return None


def _meters_first(rules: Rules) -> Rules:
    """Return the rules with one price for every meter off, beyond that of all else."""
    off = rules.price.off_per_hour
    every = off.model_copy(update=dict.fromkeys(type(off).model_fields, DEAREST_OFF))
    return rules.model_copy(update={"price": rules.price.model_copy(update={"off_per_hour": every})})
