"""Stops: proved, set one by one, tested for let-by."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import Stop
from netplan.planfile.station_words import is_alone, is_inlet_barrier
from netplan.procedure.station_steps import (
    prove_station,
    shut_inlet,
    stations_of,
    vent_space,
)
from netplan.procedure.step_case import OrderCase, fallback_words, stop_in_state
from netplan.procedure.step_kinds import Stage, StepDraft, Who

__all__ = ["prove_barriers", "set_stops", "test_for_let_by"]

BAG_PROOF_SHARE_PERCENT = 25
"""Bags are proved at this share of their greatest inflation pressure [%] (source: practice)."""
BAG_PROOF_MINUTES = 15.0
"""… for at least this long [min] (source: practice)."""
LET_BY_MINUTES = 10.0
"""Time a let-by test is watched for [min] (source: practice)."""


def prove_barriers(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the proof of every barrier before it is relied on."""
    for stop in case.stops:
        if stop.kind == "bag":
            yield StepDraft(
                Stage.BARRIERS_PROVED,
                f"Prove the bags of {stop.id} outside the main: {BAG_PROOF_SHARE_PERCENT} % of their "
                f"greatest inflation pressure for at least {BAG_PROOF_MINUTES:.0f} min (common practice; "
                "the maker's limit governs), right size for the bore, in date, undamaged.",
                Who.STOPS,
                "Take another bag and prove it.",
                uses=(stop.id,),
                minutes=BAG_PROOF_MINUTES,
            )
        elif stop.kind == "squeeze":
            yield StepDraft(
                Stage.BARRIERS_PROVED,
                f"Check the squeeze tools of {stop.id}: right stops for outside diameter and wall, earthed, "
                "pipe wetted against static, place never squeezed before; a squeeze is not certain to be "
                "tight.",
                Who.STOPS,
                "Take another tool or another place; never squeeze the same place twice.",
                uses=(stop.id,),
            )
        else:
            more, ids, fails = prove_station(case, stop)
            yield StepDraft(
                Stage.BARRIERS_PROVED,
                f"Prove valve {stop.valve_id} of {stop.id}: count its turns shut and open again"
                f"{case.while_watched()}; lock and tag ready{more}.",
                Who.STOPS,
                fails,
                uses=(stop.id, stop.valve_id or stop.id, *ids),
            )


def _sets(stop: Stop) -> str:
    if stop.kind == "valve":
        return f"close valve {stop.valve_id}, lock and tag it"
    what = "bag" if stop.kind == "bag" else "squeeze"
    if stop.barriers == 1:
        return f"set the one {what}"
    return f"set the {what} on the live side, then the one nearest the work; open the vent between to the air"


_STAND_STILL = " Wait until all gauges stand still and read as planned before the next one."


def _readings(stop: Stop) -> str:
    return f"Below a warning reading: wait. At an abort reading: take {stop.id} out at once. "


def set_stops(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the stops one by one, each with what the gauges must read after it."""
    for k, stop in enumerate(case.stops, 1):
        yield from shut_inlet(case, stop)
        state = case.states.get(stop_in_state(stop.id))
        yield StepDraft(
            Stage.STOP_IN,
            f"Stop {k} of {len(case.stops)}, {stop.id}: {_sets(stop)}.{case.while_watched(_STAND_STILL)}",
            Who.STOPS,
            f"{case.while_watched(_readings(stop))}If it will not set: "
            f"{fallback_words(case.fallback(stop.id, 'will not set'))}.",
            uses=(stop.id, *((stop.valve_id,) if stop.valve_id else ()), *case.gauge_ids),
            hold=True,
            expect_mbar=state.least_mbar if state else None,
            expect_at=state.at if state else "",
            minutes=stop.minutes,
        )


def test_for_let_by(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the let-by test of every stop."""
    for stop in case.stops:
        vent = _after_test(stop)
        yield StepDraft(
            Stage.LET_BY,
            f"Let-by test of {stop.id}: lower the pressure in the zone to about half, shut it in and watch "
            f"at the zone vent for {LET_BY_MINUTES:.0f} min that it does not rise (common practice); {vent}.",
            Who.STOPS,
            "Set it again once; if it still passes gas: "
            f"{fallback_words(case.fallback(stop.id, 'will not set'))}.",
            uses=(stop.id,),
            hold=True,
            expect_mbar=None if stop.pressure_mbar is None else stop.pressure_mbar / 2.0,
            expect_at=stop.id,
            minutes=LET_BY_MINUTES,
        )
        yield from vent_space(stop)


def _after_test(stop: Stop) -> str:
    if is_inlet_barrier(stop):
        return f"its outer barrier, the inlet of {stations_of(stop)}, is tested next"
    if stop.barriers == 2 and stop.kind != "valve":
        return "the vent between the barriers runs all the time from now on; meter what comes out of it"
    alone = (
        f"it is the only barrier between the work and {stations_of(stop)}"
        if is_alone(stop)
        else "it is a single barrier"
    )
    return f"{alone}: nobody works beyond it without a gas detector running all the time"
