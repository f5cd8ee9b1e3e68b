"""The whole order: the steps of every stage, one after another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from netplan.core.errors import BadWorkError
from netplan.planfile.model import Conditions, Option, Step, WorkItem
from netplan.procedure.baseline_steps import begin_day
from netplan.procedure.closing_steps import close_ground, seal_tappings
from netplan.procedure.decommissioning_steps import empty
from netplan.procedure.fallback_steps import prove_fallbacks, stand_down_fallbacks
from netplan.procedure.feed_steps import build_feeds, close_feeds, open_feeds, remove_feeds
from netplan.procedure.gas_back_steps import fill, tally_again
from netplan.procedure.let_by_steps import test_for_let_by
from netplan.procedure.meter_steps import meters_off
from netplan.procedure.order_items import with_order_items
from netplan.procedure.proving_steps import prove
from netplan.procedure.relight_steps import relight
from netplan.procedure.step_case import OrderCase, order_case
from netplan.procedure.step_kinds import FiguresOf, StepDraft, no_figures, numbered
from netplan.procedure.stop_steps import prove_barriers, set_stops
from netplan.procedure.tapping_steps import drill_outlets, fuse_outlets
from netplan.procedure.withdrawal_steps import prove_through_flow, withdraw
from netplan.procedure.work_steps import do_work, test_new_pipe
from netplan.rules import Rules

__all__ = ["step_list"]


def step_list(
    option: Option,
    conditions: Conditions,
    rules: Rules,
    *,
    work: Sequence[WorkItem] = (),
    set_order: Sequence[str] | None = None,
    relight_order: Sequence[str] | None = None,
    figures: FiguresOf = no_figures,
) -> tuple[Step, ...]:
    """Return the order of the work for one option.

    Every id used is one of the plan: stops, holes, mains, bypasses, valves, gauges, purge points, stations
    and customers. Figures with units stand in fields and schedules, not in the words.

    Parameters
    ----------
    option : Option
        Complete but for its steps.
    conditions : Conditions
        Window and weather.
    rules : Rules
        For crew-hours and no access.
    work : sequence of WorkItem
        Lengths to be made gas-free.
    set_order : sequence of str, optional
        Ids of all stops in the order in which they go in; None takes the order of the solved states.
    relight_order : sequence of str, optional
        Ids of all customers that are off in the order in which they are relit; None orders them by
        priority, price of waiting and address.
    figures : callable, optional
        Returns the solved figures of a step, asked for in their order; none by default.

    Returns
    -------
    tuple of Step
        Numbered from 1.

    Raises
    ------
    BadWorkError
        When the option has no stop, or an order does not name the option's own ids once each.
    """
    if not option.stops:
        raise BadWorkError(
            "work section: no station feeds it as recorded, so that the option has no stop; "
            "look for the missing link or station"
        )
    option = with_order_items(option)
    case = order_case(option, conditions, rules, work, set_order, relight_order)
    return numbered(_all(case), figures)


def _all(case: OrderCase) -> Iterator[StepDraft]:
    for stage in (
        prove,
        test_new_pipe,
        fuse_outlets,
        drill_outlets,
        build_feeds,
        begin_day,
        prove_barriers,
        prove_fallbacks,
        open_feeds,
        meters_off,
        set_stops,
        test_for_let_by,
        empty,
        do_work,
        tally_again,
        fill,
        withdraw,
        prove_through_flow,
        close_feeds,
        relight,
        stand_down_fallbacks,
        remove_feeds,
        seal_tappings,
        close_ground,
    ):
        yield from stage(case)
