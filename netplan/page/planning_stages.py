"""The answers to one order after the other, on tables that are kept; each stage says more."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import chain
from typing import Any, Final

from netplan.core.errors import NoPlanError
from netplan.isolation import Cut
from netplan.network.model import Network
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.network.work_part import WorkPart
from netplan.network.work_section import WorkSection, work_section
from netplan.outputs.option_differences import with_differences
from netplan.page.order_conflicts import conflicts_in_every_zone, conflicts_of
from netplan.page.page_orders import PageOrders, request_of
from netplan.page.stage_figures import (
    figures_of_cut,
    figures_of_found,
    figures_of_option,
    rank_of_found,
)
from netplan.planfile.model import Option
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.make_plan import make_plan
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.rank import isolation_problem, look_up
from netplan.planning.request import PlanRequest, orders_in_words
from netplan.planning.subnetwork_context import contexts_for, contexts_kept
from netplan.rules import Rules

__all__ = ["CancelledError", "PlanningStages"]

MOST_OPTIONS: Final = 50
MOST_WINDOWS: Final = 3
"""Windows (start, hours, air temperature) whose state before any stop is kept (own) [-]."""
Send = Callable[[str, dict[str, Any]], None]


class CancelledError(Exception):
    """A newer order is there."""


class PlanningStages:
    """Plans for one network under one set of rules; the state before any stop is solved once a window.

    Parameters
    ----------
    network : Network
    rules : Rules
    """

    def __init__(self, network: Network, rules: Rules) -> None:
        self._network, self._rules = network, rules
        self._whole: OrderedDict[tuple[object, ...], PlanningContext] = OrderedDict()

    def warm_up(self, check: Callable[[], None]) -> None:
        """Work out what every order needs, on the first main of the network, and leave off when told to.

        Parameters
        ----------
        check : callable
            What it raises ends it.
        """
        pipes = self._network.pipes
        if not pipes.n_mains:
            return
        part = WorkPart(pipes.id[0], 0.0, float(pipes.length_m[0]))
        request = PlanRequest(network=self._network, parts=(part,), rules=self._rules, weather=False)
        whole = self._context(request)
        check()
        _solve_before(whole)
        check()
        _ = whole.hose_routes
        section = work_section(self._network, request.parts)
        near = next(contexts_for(whole, section))
        check()
        look_up(near, work_section(near.request.network, request.parts))

    def answer(self, orders: PageOrders, check: Callable[[], None], send: Send) -> None:
        """Send the answers to some orders.

        Parameters
        ----------
        orders : PageOrders
        check : callable
            Raises `CancelledError` where a newer order is there; asked before every flow solution.
        send : callable
            Takes the name of a stage and its answer.

        Raises
        ------
        CancelledError
            When a newer order has come.
        NetplanError
            When there is no plan, or the orders are none.
        """
        request = request_of(orders, self._network, self._rules, options=MOST_OPTIONS, weather=False)
        kept = self._context(request)
        conflicts = conflicts_of(request) or self._send_bound(kept.with_request(request, check), send)
        if conflicts:
            send("conflict", {"words": "; ".join(conflicts)})
            return
        check()
        _solve_before(kept)
        whole = kept.with_request(request, check)
        heard = _Heard(request, send)
        watch = PlanWatch(whole, heard.found, heard.written)

        def tell(words: str) -> None:
            send("progress", {"words": words})

        result = make_plan(request, tell, watch)
        heard.complete("options", result.plan.options)
        # What was found is kept; the weather takes longer than all that came before.
        cold = PlanWatch(whole.with_request(replace(request, weather=True), check))
        watch.hand_on(cold)
        result = make_plan(cold.whole.request, tell, cold)
        heard.complete("weather", result.plan.options)

    def _context(self, request: PlanRequest) -> PlanningContext:
        """Return a context of the request's window, the state before any stop kept."""
        window = (request.start, request.hours, request.air_temp_c)
        if window not in self._whole:
            self._whole[window] = PlanningContext.for_request(request)
            if len(self._whole) > MOST_WINDOWS:
                self._whole.popitem(last=False)
        self._whole.move_to_end(window)
        return self._whole[window]

    def _send_bound(self, whole: PlanningContext, send: Send) -> tuple[str, ...]:
        """Send the cheapest cut by connectivity, or return orders that no zone can keep.

        Where there is no cut, the plan says why.
        """
        section = work_section(self._network, whole.request.parts)
        for near in chain(contexts_kept(whole, section), contexts_for(whole, section)):
            # What is read at the boundary of a subnetwork is asked again in a larger one.
            with suppress(BoundaryAffectedError):
                here = work_section(near.request.network, whole.request.parts)
                cut, conflicts = _cheapest(near, here)
                near.scope.check_unaffected()
                if cut is not None:
                    send("bound", figures_of_cut(near, here, cut))
                return conflicts
        return ()


def _cheapest(context: PlanningContext, section: WorkSection) -> tuple[Cut | None, tuple[str, ...]]:
    """Return the cheapest cut by connectivity, None where there is none; or orders that no zone can keep."""
    with suppress(NoPlanError):
        problem = isolation_problem(context, section)
        conflicts = conflicts_in_every_zone(context, problem)
        return (None if conflicts else next(context.cuts(problem), None)), conflicts
    return None, ()


def _solve_before(kept: PlanningContext) -> None:
    """Solve the state before any stop on the context that is kept, where every order finds it."""
    _ = kept.demand, kept.fed_before, kept.before_by_hour, kept.weak_before


class _Heard:
    """Sends what is known of the options of one order as it comes."""

    def __init__(self, request: PlanRequest, send: Send) -> None:
        self._request, self._send = request, send
        self._orders = list(orders_in_words(request))
        self._found: list[dict[str, Any]] = []
        self._known: dict[int, tuple[EvaluatedOption, dict[str, Any]]] = {}

    def found(
        self, context: PlanningContext, options: Sequence[EvaluatedOption], bound_minor: int | None
    ) -> None:
        """Send options that are priced and solved: the best at once, the others as they come."""
        try:
            context.scope.check_unaffected()
            figures = [
                {**self._figures_of(context, one), **rank_of_found(one, rank, bound_minor)}
                for rank, one in enumerate(options, 1)
            ]
        except BoundaryAffectedError:
            return  # a larger subnetwork is taken
        if not self._found:
            self._tell("option", figures[:1])
        if len(figures) > 1:
            self._tell("options", figures)
        self._found = figures

    def _figures_of(self, context: PlanningContext, option: EvaluatedOption) -> dict[str, Any]:
        """Return the figures of an option, worked out when it is found and kept with it."""
        known = self._known.get(id(option))
        if known is None:
            known = self._known[id(option)] = option, figures_of_found(context, option)
        return known[1]

    def written(self, options: Sequence[Option]) -> None:
        """Send the options with those complete that are."""
        complete = [figures_of_option(self._request, one) for one in options]
        self._tell("options", [*complete, *self._found[len(complete) :]])

    def complete(self, stage: str, options: Sequence[Option]) -> None:
        """Send the options as they stand in the plan."""
        self._tell(stage, [figures_of_option(self._request, one) for one in options])

    def _tell(self, stage: str, figures: list[dict[str, Any]]) -> None:
        self._send(stage, {"options": with_differences(figures), "orders": self._orders})
