"""An issued plan solved on a network, and everything that it tells and that is not so there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from netplan.network.finding_log import listed
from netplan.planfile.recheck_answer import Against, LeastNow, MovedReading, TouchedCustomer
from netplan.planning.pipes_set_aside import dark_while_set_aside
from netplan.planning.request import PlanRequest
from netplan.recheck.issued_plan import IssuedPlan
from netplan.recheck.moved_readings import least_in_states, moved_readings
from netplan.recheck.papers_today import corrections_of, papers_against
from netplan.recheck.todays_option import TodaysOption, todays_option
from netplan.recheck.told_customers import lists_of, lists_without_option, relieved, touched_customers

__all__ = ["ToldAndToday", "told_and_today"]

MOST_GAUGES: Final = 6
MOST_READINGS: Final = 3
"""Readings said one by one among the reasons (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class ToldAndToday:
    """What a plan tells against what is so.

    Parameters
    ----------
    today : TodaysOption
    against : tuple of Against
        Hard constraints that are broken, then what is told and is not so; empty where the plan holds.
    corrections : tuple of Against
    touched : tuple of TouchedCustomer
    readings : tuple of MovedReading
    states : tuple of LeastNow
    """

    today: TodaysOption
    against: tuple[Against, ...]
    corrections: tuple[Against, ...] = ()
    touched: tuple[TouchedCustomer, ...] = ()
    readings: tuple[MovedReading, ...] = ()
    states: tuple[LeastNow, ...] = ()


def told_and_today(issued: IssuedPlan, request: PlanRequest, tell: Callable[[str], None]) -> ToldAndToday:
    """Solve an issued plan on the network of a request, and set what it tells against that.

    Parameters
    ----------
    issued : IssuedPlan
    request : PlanRequest
    tell : callable
        Called with a few words on what is being done.
    """
    network, recorded = request.network, issued.option
    today = todays_option(request, issued.plan, recorded, tell)
    if today.option is None:
        touched: tuple[TouchedCustomer, ...] = ()
        if today.is_solved:
            told = lists_of(recorded, whole=False)
            now = lists_without_option(today.off, today.kept_by, today.below)
            touched = touched_customers(told, now, network, issued.state)
        return ToldAndToday(today, _once(today.against, _in_words(touched, ())), touched=touched)
    is_milder = _is_milder(issued, today)
    dark = dark_while_set_aside(network) if len(network.set_aside) else frozenset()
    touched = touched_customers(
        lists_of(recorded), lists_of(today.option, today.below), network, issued.state
    )
    touched = tuple(map(relieved, touched)) if is_milder else touched
    readings = moved_readings(recorded, today.option, is_milder=is_milder)
    limits = request.rules.pressure
    return ToldAndToday(
        today,
        _once(
            today.against, papers_against(recorded, today.option, today.lowered), _in_words(touched, readings)
        ),
        (*corrections_of(recorded, today.option, today.lowered, dark), *_by_weather(touched, readings)),
        touched,
        readings,
        least_in_states(recorded, today.option, limits.minimum_mbar + limits.margin_mbar),
    )


def _is_milder(issued: IssuedPlan, today: TodaysOption) -> bool:
    planned_c = issued.plan.conditions.air_temp_c
    return today.conditions is not None and today.conditions.air_temp_c > planned_c


def _by_weather(touched: Sequence[TouchedCustomer], readings: Sequence[MovedReading]) -> list[Against]:
    """Return corrections that milder weather alone asks for: readings are higher, fewer stand by."""
    found = []
    higher = [one for one in readings if one.by_milder_weather]
    if higher:
        gauges = listed(sorted({one.gauge_id for one in higher}), MOST_GAUGES)
        what = f"{len(higher)} readings are higher in milder weather: take today's, below ({gauges})"
        found.append(Against(subject="reading", what=what))
    relieved = [one.id for one in touched if one.by_milder_weather]
    if relieved:
        what = (
            f"{len(relieved)} customers need not stand by in milder weather: {listed(relieved, MOST_GAUGES)}"
        )
        found.append(Against(subject="customers", what=what))
    return found


def _once(*some: Sequence[Against]) -> tuple[Against, ...]:
    return tuple(dict.fromkeys(one for part in some for one in part))


def _in_words(touched: Sequence[TouchedCustomer], readings: Sequence[MovedReading]) -> list[Against]:
    found = []
    touched = [one for one in touched if not one.by_milder_weather]
    readings = [one for one in readings if not one.by_milder_weather]
    if touched:
        many = f"{len(touched)} customers are" if len(touched) > 1 else "1 customer is"
        found.append(
            Against(subject="customers", what=f"{many} told something by the papers that is not so today")
        )
    for one in readings[:MOST_READINGS]:
        what = (
            f"step {one.step}, gauge {one.gauge_id}: {one.today_mbar:.2f} mbar today, the pack expects "
            f"{one.planned_mbar:.2f} ± {one.band_mbar:.2f} mbar"
        )
        if abs(one.today_mbar - one.planned_mbar) <= one.band_mbar and one.today_abort_mbar is not None:
            planned = "none" if one.planned_abort_mbar is None else f"{one.planned_abort_mbar:.2f} mbar"
            what = (
                f"step {one.step}, gauge {one.gauge_id}: the abort pressure is {one.today_abort_mbar:.2f} "
                f"mbar today, the pack says {planned}"
            )
        found.append(Against(subject="reading", what=what))
    if len(readings) > MOST_READINGS:
        more = len(readings) - MOST_READINGS
        found.append(Against(subject="reading", what=f"and {more} more readings beyond their bands"))
    return found
