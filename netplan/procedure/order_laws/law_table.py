"""The laws of the order: number, sentence, and the function that looks for breaches of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final, NamedTuple

from netplan.planfile.model import Conditions, Option
from netplan.procedure.order_laws import (
    laws_of_barriers,
    laws_of_counts,
    laws_of_feeds,
    laws_of_let_by,
    laws_of_meters,
    laws_of_pressures,
    laws_of_purging,
    laws_of_tappings,
    laws_of_tests,
)
from netplan.procedure.order_laws.item_states import OrderWalk, broken_states, walk_order
from netplan.procedure.order_laws.law_breach import LawBreach
from netplan.rules import Rules

__all__ = ["ORDER_LAWS", "OrderLaw", "law_breaches"]


class OrderLaw(NamedTuple):
    """One law of the order."""

    number: int
    sentence: str
    check: Callable[[OrderWalk], Iterable[LawBreach]]


ORDER_LAWS: Final[tuple[OrderLaw, ...]] = (
    OrderLaw(0, "each step begins from the states that the steps before it have left", broken_states),
    OrderLaw(
        1,
        "an outlet is tested before it is drilled, and drilled before it is used",
        laws_of_tappings.tested_before_drilled,
    ),
    OrderLaw(
        2,
        "every gauge is read at normal running before anything is changed",
        laws_of_pressures.baseline_before_change,
    ),
    OrderLaw(
        3, "every barrier is proved before the first meter is off", laws_of_barriers.barriers_proved_first
    ),
    OrderLaw(4, "a bypass is tested, purged, opened and accepted, in this order", laws_of_feeds.feed_order),
    OrderLaw(
        5,
        "no stop goes in before a feed that somebody hangs on is accepted; the first barrier confirms it",
        laws_of_feeds.sole_feed_accepted,
    ),
    OrderLaw(
        6, "the tally of the meters off is closed before the first stop", laws_of_meters.tally_before_stops
    ),
    OrderLaw(
        7,
        "every state is solved, withdrawals and the draw of a purge too",
        laws_of_pressures.states_are_solved,
    ),
    OrderLaw(8, "kept meters hold in every state", laws_of_pressures.kept_meters_hold),
    OrderLaw(
        9,
        "a reading is of its own state, at a gauge that is there",
        laws_of_pressures.readings_of_their_own_state,
    ),
    OrderLaw(
        10, "a zone has one pressure until the cut, then each part its own", laws_of_purging.parts_until_cut
    ),
    OrderLaw(
        11,
        "a let-by test has its difference across one barrier, or says which sum it shows",
        laws_of_let_by.one_barrier_or_sum,
    ),
    OrderLaw(
        12,
        "the meter of a let-by test shows a fifth of its limit, which is never raised",
        laws_of_let_by.resolution_is_a_fifth,
    ),
    OrderLaw(13, "a barrier that is set again is tested again", laws_of_let_by.resetting_voids_test),
    OrderLaw(14, "no air goes in before every let-by test has passed", laws_of_let_by.tested_before_air),
    OrderLaw(
        15,
        "a hold proves the zone gas-free before anybody is in the work trench",
        laws_of_purging.gas_free_before_entry,
    ),
    OrderLaw(
        16,
        "before an open main stand two accepted barriers with the vent between open, or a signed exception",
        laws_of_barriers.two_barriers_before_open_main,
    ),
    OrderLaw(17, "every part of a cut main is vented", laws_of_purging.cut_parts_vented),
    OrderLaw(18, "while gas can come in, the trench is empty", laws_of_purging.trench_empty_with_gas),
    OrderLaw(
        19,
        "a purge has one inlet and one outlet, tapped, on the zone's side",
        laws_of_purging.one_inlet_one_outlet,
    ),
    OrderLaw(20, "every end of a branch is purged", laws_of_purging.every_end_purged),
    OrderLaw(21, "nothing is purged through a meter", laws_of_purging.never_through_meters),
    OrderLaw(
        22,
        "the new pipe is tested before the tie-in, never against barriers",
        laws_of_tests.new_pipe_before_tie_in,
    ),
    OrderLaw(
        23, "the tie-in is tested at no more than the lowest live pressure", laws_of_tests.tie_in_below_live
    ),
    OrderLaw(24, "the meters are counted again before gas goes back", laws_of_meters.second_tally),
    OrderLaw(
        25, "neither both ends of anything nor two barriers move at once", laws_of_barriers.one_thing_moves
    ),
    OrderLaw(
        26,
        "the space between is purged, then the inner barrier comes out, then the outer",
        laws_of_barriers.space_then_inner_then_outer,
    ),
    OrderLaw(
        27,
        "the last feed is shut only after through-flow is proved",
        laws_of_feeds.last_feed_after_through_flow,
    ),
    OrderLaw(28, "as many caps as coupons as outlets drilled", laws_of_tappings.caps_equal_coupons),
    OrderLaw(
        29, "a meter is off, sealed, purged, and relit or left sealed, once", laws_of_meters.each_meter_once
    ),
    OrderLaw(30, "a fallback keeps the tees of the feeds it relies on", laws_of_feeds.fallback_keeps_tees),
    OrderLaw(31, "set bags and open ends of bypasses are manned", laws_of_barriers.manned_while_in),
    OrderLaw(
        32, "counts and times are the same wherever the plan says them", laws_of_counts.equal_counts_and_times
    ),
    OrderLaw(
        33,
        "what fell below the minimum is not fed again before its meters are shut",
        laws_of_meters.meters_shut_before_gas,
    ),
)


def law_breaches(option: Option, conditions: Conditions, rules: Rules) -> tuple[LawBreach, ...]:
    """Return every law that the order of an option breaks, by number and step; empty where it is lawful.

    Parameters
    ----------
    option : Option
        Complete: with items, parts, steps, states, times and loss sheet.
    conditions : Conditions
        Window and weather.
    rules : Rules
        For limits, least pressures and tests.
    """
    walk = walk_order(option, conditions, rules)
    return tuple(breach for law in ORDER_LAWS for breach in law.check(walk))
