"""Cuts in the order of their bound, each priced in full, until the ranking is proven."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from netplan.core.constants import PA_PER_MBAR
from netplan.core.errors import NoPlanError
from netplan.feeds import TOO_DEAR, FeedPriceBound
from netplan.isolation import (
    MINOR_PER_UNIT,
    Cut,
    CutSearch,
    FeedBound,
    IsolationProblem,
    PendantComponent,
    look_up_in,
)
from netplan.network.station_pressures import set_outlet_pa_gauge
from netplan.network.work_section import WorkSection
from netplan.planning.candidate_progress import CandidateProgress
from netplan.planning.context import PlanningContext
from netplan.planning.cuts_within_day import CutsWithinDay
from netplan.planning.evaluate import price_cut
from netplan.planning.evaluated_option import EvaluatedOption, RefusedCut
from netplan.planning.excavations_of_cut import work_minor_of
from netplan.planning.infeasibility import require_possible
from netplan.planning.least_meters_off import require_few_off
from netplan.planning.least_stops import require_enough_stops
from netplan.planning.prepared_fallbacks import least_fallbacks_minor, with_prepared_fallbacks
from netplan.planning.search_budget import Budget, BudgetSpentError
from netplan.reference.gas import METRIC_STANDARD

__all__ = [
    "NO_OUTLET_PA_GAUGE",
    "OptionIdentity",
    "Ranking",
    "gas_outlet_pa_gauge",
    "isolation_problem",
    "look_up",
    "option_identity",
    "rank",
]

Tell = Callable[[str], None]
Found = Callable[[Sequence[EvaluatedOption], int | None], None]
OptionIdentity = tuple[frozenset[tuple[int, str, float]], bytes, int]
"""Stops by chain, method and place, customers off, and burden of an option."""

MOST_REASONS = 5
_FIGURES: Final = re.compile(r"\b[SB]?\d[\d.,]*\b")
"""Figures, and names of stops and bypasses."""
NO_OUTLET_PA_GAUGE: Final = 20 * PA_PER_MBAR
"""What a network that injections alone feed is taken to be at (own) [Pa gauge]."""


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """The best options and what is proven about them.

    Parameters
    ----------
    options : tuple of EvaluatedOption
        Cheapest first, each different from the others.
    next_bound_minor : int or None
        No option beyond those listed or priced is cheaper [minor units]; None: there is none beyond.
    reason : str
        Why the search stopped.
    cuts_priced : int
    refused : tuple of RefusedCut
        Cuts on which no option stands, in the order they came.
    search : CutSearch
        For why no place nearer to the work was taken.
    """

    options: tuple[EvaluatedOption, ...]
    next_bound_minor: int | None
    reason: str
    cuts_priced: int
    refused: tuple[RefusedCut, ...]
    search: CutSearch

    def lower_bound_minor(self, place: int) -> int:
        """Return what no different option can undercut at a place in the ranking [minor units]."""
        burden = self.options[place].burden_minor
        return burden if self.next_bound_minor is None else min(burden, self.next_bound_minor)


def isolation_problem(context: PlanningContext, section: WorkSection) -> IsolationProblem:
    """Return the question to the choice of stops."""
    request = context.request
    rules = request.rules
    pressure = gas_outlet_pa_gauge(context, section) + context.conditions.atmospheric_pressure_pa_abs
    density = context.gas.density_kg_per_m3(context.conditions.ground_temperature_k, pressure)
    content = density / context.gas.density_kg_per_m3_at(METRIC_STANDARD)
    gas_minor_per_m3 = rules.price.gas_per_m3 * MINOR_PER_UNIT * content * rules.purge.volumes_in
    return IsolationProblem(
        network=request.network,
        section=section,
        rules=rules,
        hours=request.window_hours,
        gas_minor_per_m3=gas_minor_per_m3,
        orders=replace(request.orders, max_stops=request.orders.max_stops or rules.choice.max_stops),
        feed_bound=_feed_bound(context, section),
        alternatives=frozenset(request.own_supply),
        every_place=True,
        most_meters=request.orders.max_meters_off,
    )


def gas_outlet_pa_gauge(context: PlanningContext, section: WorkSection) -> float:
    """Return the pressure at which the gas of a zone is priced: the greatest set outlet [Pa gauge]."""
    network = context.request.network
    outlet = set_outlet_pa_gauge(network, int(network.pipes.system[section.pipe[0]]))
    return outlet if np.isfinite(outlet) else NO_OUTLET_PA_GAUGE


def _feed_bound(context: PlanningContext, section: WorkSection) -> FeedBound:
    feeds = context.request.feeds_allowed
    of_feeds = FeedPriceBound(context.request.network, section, context.request.rules) if feeds else None
    owner, at = context.attachments
    had_gas = np.zeros(len(context.request.network.customers), dtype=bool)
    had_gas[owner[context.fed_before[at]]] = True
    all_had = bool(had_gas.all())

    def bound(tail: PendantComponent) -> int | None:
        if all_had:
            return None if of_feeds is None else of_feeds(tail)
        # Who had no gas before, behind a closed valve for instance, loses none: neither priced nor fed.
        losing = tail.customers()
        losing = losing[had_gas[losing]]
        if not len(losing):
            return 0
        feed = None if of_feeds is None else of_feeds(tail)
        if context.must_stay[losing].any():
            return feed
        off = int(context.off_minor[losing].sum())
        return off if feed is None else min(off, feed)

    return bound


def look_up(context: PlanningContext, section: WorkSection) -> None:
    """Work out beforehand what the choice of stops looks up in the context's network."""
    look_up_in(isolation_problem(context, section), context.index)


def option_identity(option: EvaluatedOption) -> OptionIdentity:
    """Return what an option is known by when the same search runs again."""
    stops = frozenset((stop.chain, stop.method, stop.chainage_m) for stop in option.cut.stops)
    return stops, option.off.tobytes(), option.burden_minor


def rank(
    context: PlanningContext,
    section: WorkSection,
    tell: Tell,
    barred: frozenset[OptionIdentity] = frozenset(),
    heard: Found = lambda *_: None,
) -> Ranking:
    """Return the best different options.

    Parameters
    ----------
    context : PlanningContext
    section : WorkSection
    tell : callable
        Called with a few words on what is being done.
    barred : frozenset of OptionIdentity
        Options that do not stand: neither listed, nor a reason to list no dearer one with the same stops.
    heard : callable, optional
        Called with the options so far and the bound of all others, whenever there is one more.

    Raises
    ------
    NoPlanError
        When no set of stops isolates the work, or none of them stands once priced in full.
    """
    request = context.request
    problem = isolation_problem(context, section)
    require_enough_stops(context, problem)
    require_few_off(context, problem)
    budget = Budget(request.rules.choice, context.solutions, request.rules.fallback)
    found = _Found(request.wanted, barred)
    progress = CandidateProgress(tell, request.rules.choice.max_zones, request.rules.price.currency)
    refused: list[RefusedCut] = []
    is_cut_short = False
    next_bound: int | None = None
    unsettled: list[int] = []
    reason = ""
    cuts = CutsWithinDay(context, problem)
    # The work's own excavation costs the same whatever the stops: the search leaves it out.
    work_minor = work_minor_of(context)
    while (cut := cuts.next_cut()) is not None:
        if not budget.zones:
            # Asked once there is a cut at all: what keeps every cut away is said by the search itself.
            require_possible(context, problem)
        worst, bound = found.worst_minor, cuts.bound_minor + work_minor
        if worst is not None and bound >= worst:
            next_bound, reason = bound, "no further set of stops can be cheaper"
            break
        progress.tell(budget.zones + 1, bound, found.best_minor, worst)
        try:
            with budget.one_zone():
                answer = _priced(context, problem, cut, bound, worst)
            budget.fallback_zones += worst is not None
        except BudgetSpentError as spent:
            next_bound, reason, is_cut_short = bound, str(spent), True
            break
        if not isinstance(answer, RefusedCut):
            for option in answer:
                found.add(with_prepared_fallbacks(context, problem, option, found.worst_minor))
            budget.has_options = bool(found.options)
            heard(tuple(found.options), bound)
            continue
        refused.append(answer)
        budget.count_refused(_FIGURES.sub("#", answer.reason))
        if answer.is_cut_short:
            unsettled.append(bound)
        if answer.by_hours and not cuts.is_limited:
            # Zones that take too long may come by the thousand before the first that does not.
            cuts.limit()
    else:
        reason = cuts.end
        if cuts.gave_up:
            next_bound, is_cut_short = cuts.bound_minor + work_minor, True
    if unsettled and not (found.options and min(unsettled) >= found.options[-1].burden_minor):
        # An option may stand on a cut of which not every combination of feeds was judged.
        next_bound = min(unsettled) if next_bound is None else min(next_bound, *unsettled)
        reason, is_cut_short = (reason if is_cut_short else "too many ways to feed a zone's parts"), True
    if not found.options:
        raise _no_plan(refused, reason, budget, is_cut_short=is_cut_short)
    heard(tuple(found.options), next_bound)
    return Ranking(tuple(found.options), next_bound, reason, budget.zones, tuple(refused), cuts.search)


def _priced(
    context: PlanningContext, problem: IsolationProblem, cut: Cut, bound_minor: int, most_minor: int | None
) -> tuple[EvaluatedOption, ...] | RefusedCut:
    """Return the options on a cut below a burden, prepared fallbacks left out; not where they rule it out."""
    if most_minor is None:
        return price_cut(context, cut)
    fallbacks_minor = least_fallbacks_minor(context, problem, cut, most_minor - bound_minor)
    if bound_minor + fallbacks_minor >= most_minor:
        return RefusedCut(cut, TOO_DEAR)
    return price_cut(context, cut, most_minor - fallbacks_minor)


def _no_plan(refused: list[RefusedCut], reason: str, budget: Budget, *, is_cut_short: bool) -> NoPlanError:
    """Return the error that says no plan was found, and only of a finished search that there is none."""
    message = "no set of stops holds every constraint"
    if is_cut_short:
        tried = f"{budget.zones} zones, {budget.solves} flow solutions"
        message = f"no plan found within the budget ({tried}), but one may exist"
    return NoPlanError(message, (*_reasons(refused), reason), cut_short=is_cut_short)


def _reasons(refused: list[RefusedCut]) -> list[str]:
    """Return what stands in the way, each once: not again with other figures or at another stop."""
    seen: dict[str, str] = {}
    for answer in refused:
        seen.setdefault(_FIGURES.sub("#", answer.reason), answer.reason)
    return list(seen.values())[:MOST_REASONS]


class _Found:
    """The best different options so far, cheapest first."""

    def __init__(self, wanted: int, barred: frozenset[OptionIdentity]) -> None:
        self.wanted = wanted
        self._barred = barred
        self.options: list[EvaluatedOption] = []
        self._keys: dict[object, EvaluatedOption] = {}

    @property
    def best_minor(self) -> int | None:
        """Burden of the best so far; None while there is none."""
        return self.options[0].burden_minor if self.options else None

    @property
    def worst_minor(self) -> int | None:
        """What the next cut must undercut; None while there is room."""
        return self.options[-1].burden_minor if len(self.options) == self.wanted else None

    def add(self, option: EvaluatedOption) -> None:
        if option_identity(option) in self._barred:
            return
        key = (frozenset((stop.chain, stop.method) for stop in option.cut.stops), option.off.tobytes())
        known = self._keys.get(key)
        if known is not None and known.burden_minor <= option.burden_minor:
            return
        self._keys[key] = option
        # Ties keep the order in which the cuts came, which depends on the data alone.
        self.options = sorted(self._keys.values(), key=lambda o: o.burden_minor)[: self.wanted]
