"""Stops: proved, then set one by one."""

from __future__ import annotations

import math
from collections.abc import Iterator

from netplan.core.constants import ATMOSPHERE_PA_ABS, PA_PER_MBAR
from netplan.planfile.model import OrderItem, Stop
from netplan.planfile.naming import NORMAL_STATE
from netplan.planfile.station_words import is_inlet_barrier
from netplan.procedure.station_steps import prove_station, shut_inlet
from netplan.procedure.step_case import OrderCase, fallback_words, stop_in_state
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.zone_order import zones_in_order

__all__ = ["prove_barriers", "set_stops"]

BAG_PROOF_SHARE_PERCENT = 25
"""Bags are proved at this share of their greatest inflation pressure [%] (source: practice)."""
BAG_PROOF_MINUTES = 15.0
"""… for at least this long [min] (source: practice)."""
BAG_LENGTH_BORES = 2.0
"""Length of an inflated bag, in bores of the main (example)."""
ATMOSPHERE_MBAR = ATMOSPHERE_PA_ABS / PA_PER_MBAR
WATCH_MINUTES = 5.0
"""Time gauges are watched after the outer, or only, barrier of a stop is set [min] (common practice)."""


def prove_barriers(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the proof of every barrier, before the first meter is off and before it is relied on."""
    for stop in case.stops:
        words, if_not, ids = _proof(case, stop)
        yield StepDraft(
            Stage.BARRIERS_PROVED,
            words,
            Who.STOPS,
            if_not,
            uses=(stop.id, *ids),
            minutes=case.rules.duration.prove,
            needs=in_state("drilled", *case.items.tappings(stop.id, "barrier")),
            changes=in_state("proved", *case.items.barriers(stop.id)),
        )
        if stop.kind == "valve" and not stop.stays_shut and case.is_trial_solved(stop):
            yield from _tried(case, stop)


def _proof(case: OrderCase, stop: Stop) -> tuple[str, str, tuple[str, ...]]:
    """Return how the barriers of a stop are proved, what to do if that fails, and the ids it names."""
    if stop.kind == "bag":
        words = (
            f"Prove the bags of {stop.id} outside the main: {BAG_PROOF_SHARE_PERCENT} % of their "
            f"greatest inflation pressure for at least {BAG_PROOF_MINUTES:.0f} min (common practice; "
            "the maker's limit governs), right size for the bore, in date, undamaged; each on an inflation "
            "supply of its own."
        )
        return words, "Take another bag and prove it.", ()
    if stop.kind == "squeeze":
        words = (
            f"Check the squeeze tools of {stop.id}: right stops for outside diameter and wall, earthed, "
            "pipe wetted against static, place never squeezed before; a squeeze is not certain to be "
            "tight."
        )
        return words, "Take another tool or another place; never squeeze the same place twice.", ()
    more, ids, fails = prove_station(case, stop)
    if stop.stays_shut:
        words = (
            f"Find valve {stop.valve_id} of {stop.id}, shut on record: prove that it is shut, by its "
            f"position and by the gauges on both sides, and do not turn it; lock and tag ready{more}."
        )
        return words, fails, tuple(key for key in (stop.valve_id, *ids) if key)
    trial = (
        "it is shut on trial next"
        if case.is_trial_solved(stop)
        else "do not shut it on trial, because that state is not solved"
    )
    words = (
        f"Prove valve {stop.valve_id} of {stop.id}: turn it a little towards shut and back, count the turns "
        f"that it has{case.while_watched()}; {trial}; lock and tag ready{more}."
    )
    return words, fails, tuple(key for key in (stop.valve_id, *ids) if key)


def _tried(case: OrderCase, stop: Stop) -> Iterator[StepDraft]:
    """Yield a valve shut on trial and opened again, where the state with it alone shut is solved."""
    valve, name = case.items.valve(stop.valve_id or ""), stop_in_state(stop.id)
    state = case.states.get(name)
    uses = tuple(key for key in (stop.id, stop.valve_id, *case.gauge_ids) if key)
    yield StepDraft(
        Stage.VALVE_TRIED,
        f"Shut valve {stop.valve_id} of {stop.id} slowly on trial and count its turns{case.while_watched()}.",
        Who.STOPS,
        "At an abort reading: open it again at once.",
        uses=uses,
        expect_mbar=state.least_mbar if state else None,
        expect_at=state.at if state else "",
        needs=in_state("open", valve),
        changes=in_state("shut", valve),
        reads=case.gauge_ids,
        state=name,
    )
    yield StepDraft(
        Stage.VALVE_TRIED,
        f"Open valve {stop.valve_id} of {stop.id} again, fully, by the same count of turns.",
        Who.STOPS,
        "If it does not open again: report it to network control before anything else.",
        uses=uses,
        needs=in_state("shut", valve),
        changes=in_state("open", valve),
        reads=case.gauge_ids,
        state=NORMAL_STATE,
    )


_CONFIRMS = " This puts load on the bypass: a reading below its band means that the bypass does not carry it."
_STAND_STILL = " Wait until all gauges are steady and read as planned before the next barrier."


def _readings(stop: Stop, barrier: OrderItem) -> str:
    back = f"open valve {stop.valve_id}" if stop.kind == "valve" else f"release {barrier.id}"
    return f"Below a warning reading: wait. At an abort reading: {back} again at once. "


def set_stops(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the stops one by one, each barrier a step of its own, with what the gauges must read after it."""
    for k, stop in enumerate(case.stops, 1):
        yield from shut_inlet(case, stop)
        barriers = tuple(one for one in case.items.barriers(stop.id) if not _is_inlet(stop, one))
        left = stop.minutes
        for place, barrier in enumerate(barriers):
            share = round(stop.minutes / len(barriers), 1) if place + 1 < len(barriers) else left
            left -= share
            yield _set(case, stop, barrier, f"Stop {k} of {len(case.stops)}, {stop.id}", share)


def _is_inlet(stop: Stop, barrier: OrderItem) -> bool:
    return is_inlet_barrier(stop) and barrier.role == "outer"


def _set(case: OrderCase, stop: Stop, barrier: OrderItem, named: str, minutes: float) -> StepDraft:
    """Return the setting of one barrier of a stop."""
    name = stop_in_state(stop.id)
    state, valves = case.states.get(name), tuple(map(case.items.valve, barrier.valve_ids))
    outer = next((one for one in case.items.barriers(stop.id) if one.role == "outer"), None)
    watch = f" Watch for {WATCH_MINUTES:.0f} min (common practice)." if barrier.role != "inner" else ""
    confirms = _CONFIRMS if case.option.bypasses and watch else ""
    still = case.while_watched(f"{watch}{confirms}{_STAND_STILL}")
    small, vents = _small_zone(case, stop, barrier)
    return StepDraft(
        Stage.STOP_IN,
        f"{named}: {_sets(stop, barrier)}.{small}{still}",
        Who.STOPS,
        f"{case.while_watched(_readings(stop, barrier))}If it will not set: "
        f"{fallback_words(case.fallback(stop.id, 'will not set'))}.",
        uses=tuple(key for key in (stop.id, barrier.id, stop.valve_id, *vents, *case.gauge_ids) if key),
        hold=True,
        expect_mbar=state.least_mbar if state else None,
        expect_at=state.at if state else "",
        minutes=minutes,
        needs=(
            *in_state("proved", barrier),
            *(in_state("set", outer) if barrier.role == "inner" else ()),
            *in_state("sealed", *case.items.meters_off()),
            *in_state("accepted", *case.items.every("feed")),
        ),
        changes=(*in_state("set", barrier), *in_state("shut", *valves)),
        reads=case.gauge_ids,
        state=name,
    )


def _small_zone(case: OrderCase, stop: Stop, barrier: OrderItem) -> tuple[str, tuple[str, ...]]:
    """Return what is watched while the last bag of a zone of small volume inflates, and the ids it names."""
    if stop.kind != "bag" or barrier.role == "outer":
        return "", ()
    for zone in zones_in_order(case):
        is_last = bool(zone.stops) and zone.stops[-1].id == stop.id
        if is_last and zone.volume_m3 and zone.stack and zone.gauge:
            if bag_rise_mbar(stop.bore_mm, zone.volume_m3) <= case.rules.let_by.withdraw_mbar:
                return "", ()
            words = (
                f" {zone.ident} holds little gas: inflating the bag raises its pressure. Watch "
                f"{zone.gauge.id}, and let the rise off through a stack at {zone.stack.id}."
            )
            return words, (zone.gauge.id, zone.stack.id)
    return "", ()


def bag_rise_mbar(bore_mm: float, zone_m3: float) -> float:
    """Return by how much a bag raises the pressure of a zone that is shut while it inflates [mbar].

    Parameters
    ----------
    bore_mm : float
        Of the main [mm].
    zone_m3 : float
        Actual volume of the zone [m³], above 0.

    Notes
    -----
    At constant temperature: p_a times the volume of the bag over that of the zone.
    """
    bore_m = bore_mm / 1000.0
    bag_m3 = math.pi / 4.0 * bore_m**2 * BAG_LENGTH_BORES * bore_m
    return ATMOSPHERE_MBAR * bag_m3 / zone_m3


def _sets(stop: Stop, barrier: OrderItem) -> str:
    if stop.stays_shut:
        return f"valve {stop.valve_id} is shut on record and stays as it is: lock and tag it"
    if stop.kind == "valve":
        return f"close valve {stop.valve_id} slowly, lock and tag it"
    what = "bag" if stop.kind == "bag" else "squeeze"
    slow = "slowly" if stop.kind == "bag" else "slowly, at the maker's rate"
    if barrier.role == "single":
        return f"set the one {what} {barrier.id} {slow}"
    if barrier.role == "outer":
        return f"set the outer {what} {barrier.id}, on the live side, {slow}"
    return f"set the inner {what} {barrier.id}, the one nearest the work, {slow}; the vent between stays shut"
