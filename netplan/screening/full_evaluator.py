"""The best option of a plan of each main, on one network whose state before any stop is solved once."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any, Final

from netplan.core.errors import BadInputError, NetplanError, NoPlanError, NotSolvedError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option
from netplan.planning.context import PlanningContext
from netplan.planning.make_plan import best_option, make_plan
from netplan.planning.plan_watch import PlanWatch
from netplan.planning.request import PlanRequest
from netplan.rules import Rules
from netplan.screening.plan_outcomes import NO_PLAN, NOT_SETTLED, PLAN_STANDS, counted
from netplan.screening.screen_settings import ScreenSettings, span_of

__all__ = ["FullEvaluator"]

MIN_PER_H: Final = 60.0
HOURS_DIGITS: Final = 2
MOST_REASONS: Final = 3
"""Reasons of one main that a row names (own) [-]."""
NO_CLOCK_S: Final = 1e9
"""Seconds after which the clock ends a search: never, so that a busy machine changes no row (own) [s]."""


class FullEvaluator:
    """Answers a main with the figures of the best option that ``plan`` finds for it, weather left out.

    Searches end after the rules' numbers of zones and solutions, never by the clock.

    Parameters
    ----------
    network : Network
        The whole network.
    rules : Rules
    settings : ScreenSettings
    """

    def __init__(self, network: Network, rules: Rules, settings: ScreenSettings) -> None:
        choice = rules.choice.model_copy(update={"seconds": NO_CLOCK_S})
        self._network, self._settings = network, settings
        self._base = PlanRequest(
            network,
            (),
            rules.model_copy(update={"choice": choice}),
            start=settings.start,
            hours=settings.hours,
            air_temp_c=settings.air_temp_c,
            options=1,
            weather=False,
        )

    @cached_property
    def context(self) -> PlanningContext:
        """The whole network, with all that is the same for every main worked out.

        Raises
        ------
        BadNetworkError
            When no station feeds it.
        """
        context = PlanningContext.for_request(self._base)
        _ = context.index, context.attachments, context.own_part, context.before_flow_m3_per_s_std
        _ = (
            context.before_by_hour,
            context.pressures_before_pa_gauge,
            context.weak_before,
            context.hose_routes,
        )
        return context

    @cached_property
    def _why_none(self) -> NetplanError | None:
        """Why no main of the network has a plan."""
        try:
            self.context.before.require_solved()
        except (BadInputError, NotSolvedError) as error:
            return error
        return None

    def row(self, main: int) -> dict[str, Any]:
        """Return the columns ``plan_*`` of a main.

        Parameters
        ----------
        main : int
            Row in the network's pipes.
        """
        if self._why_none is not None:
            return _without_plan(self._why_none)
        length_m = self._network.pipes.length_m.item(main)
        part = WorkPart(self._network.pipes.id[main], *span_of(length_m, self._settings))
        request = replace(self._base, parts=(part,))
        try:
            return _of_option(self._best(request))
        except (BadInputError, NoPlanError, NotSolvedError) as error:
            return _without_plan(error)

    def _best(self, request: PlanRequest) -> Option:
        if len(self._network.set_aside):
            # Then a plan is proven not to hang on that: three plans, each on a network of its own.
            return make_plan(request, lift_orders=False).plan.options[0]
        return best_option(request, PlanWatch(self.context.with_request(request)))


def _without_plan(error: NetplanError) -> dict[str, Any]:
    if not isinstance(error, NoPlanError):
        return {"plan_outcome": NOT_SETTLED, "plan_reason": str(error)}
    said = str(error)
    more = [reason for reason in dict.fromkeys(error.reasons) if reason not in said]
    return {
        "plan_outcome": NOT_SETTLED if error.cut_short else NO_PLAN,
        "plan_reason": "; ".join([said, *more[:MOST_REASONS]]),
    }


def _of_option(option: Option) -> dict[str, Any]:
    off = [one for one in option.customers if one.effect == "off"]
    kinds = [one.kind for one in option.bypasses]
    least, times = option.pressures.after, option.timeline
    bores = tuple(
        f"{feed.bore_mm:g} mm" if feed.parallel == 1 else f"{feed.parallel} × {feed.bore_mm:g} mm"
        for feed in option.bypasses
    )
    return {
        "plan_outcome": PLAN_STANDS,
        "plan_burden": option.burden,
        "plan_burden_bound": option.proof.lower_bound,
        "plan_proven": "yes" if option.proof.optimal else "no",
        "plan_customers": len(off),
        "plan_meters": sum(one.meters for one in off),
        "plan_stops": len(option.stops),
        "plan_stop_methods": counted(tuple(stop.method for stop in option.stops)),
        "plan_bypasses": kinds.count("bypass"),
        "plan_hoses": kinds.count("hose"),
        "plan_feeds_m": round(sum(feed.length_m for feed in option.bypasses), 1),
        "plan_feed_bores": "; ".join(bores),
        "plan_opened": len(option.opened_valves),
        "plan_opened_valves": "; ".join(one.valve_id for one in option.opened_valves),
        "plan_least_pressure_mbar": least.least_mbar,
        "plan_least_pressure_at": least.at,
        "plan_gas_back_h": None if times is None else _hours(times.gas_back_min),
        "plan_relit_h": None if times is None else _hours(times.relit_min),
    }


def _hours(minutes: float | None) -> float | None:
    return None if minutes is None else round(minutes / MIN_PER_H, HOURS_DIGITS)
