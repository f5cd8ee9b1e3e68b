"""Rows of the loss sheet for the site: a meter left on, gas in the trench, an emergency, an overrun."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile import model
from netplan.planning.loss_sheet.loss_case import BEFORE, CUT, GAS_BACK, STATES, AtPlace, LossCase, WorkState
from netplan.procedure import Who

__all__ = ["site_rows"]


def site_rows(case: LossCase) -> Iterator[model.LossRow]:
    """Yield the rows that hang on no single barrier, feed or station."""
    yield from _meter_left_on(case)
    yield _gas_in_the_trench(case)
    yield from _emergency(case)
    yield from _overrun(case)


def _meter_left_on(case: LossCase) -> Iterator[model.LossRow]:
    meters = tuple(item.id for item in case.items.meters_off())
    if not meters:
        return
    states: tuple[tuple[WorkState, str, str], ...] = (
        (BEFORE, "shut it; repeat test T0 before any air goes in", "the tally decides"),
        (
            CUT,
            "shut it; purge that service before it is relit",
            "air may be in that service: gas could come out unlit later",
        ),
        (
            GAS_BACK,
            "shut it and stop gas going in until the tally closes",
            "gas may come out unlit behind that meter",
        ),
    )
    for state, action, note in states:
        yield case.row(state, "a meter left on", action, Who.METERS, items=meters, act_on=meters, note=note)


def _gas_in_the_trench(case: LossCase) -> model.LossRow:
    return case.row(
        CUT,
        "gas in the trench",
        "leave, no ignition, ventilate from outside; then prove gas-free again before anybody goes back",
        Who.COMPETENT,
        at=_work(case),
        note="at any rising reading, or at 10 % LFL (common practice)",
    )


def _emergency(case: LossCase) -> Iterator[model.LossRow]:
    for state in STATES:
        yield case.row(
            state,
            "fire, gas in a building, somebody hurt, or air in the main",
            "the operator's emergency procedure first; everything else waits",
            Who.COMPETENT,
            leave=True,
            note="this sheet does not replace the emergency procedure",
        )


def _overrun(case: LossCase) -> Iterator[model.LossRow]:
    yield case.row(
        BEFORE,
        "the day runs out, main not cut",
        "do not cut; gas back in, stops out, relight as promised",
        Who.COMPETENT,
        at=_work(case),
    )
    off = [one for one in case.option.customers if one.effect == "off"]
    to = (
        f"overnight letters to {len(off)} customer{'s' * (len(off) > 1)} off"
        if off
        else "nobody is off overnight"
    )
    letters = f"overnight the caps are the barrier, never a bag or squeeze; {to}"
    barriers = tuple(item.id for item in case.items.every("barrier") if item.of not in case.items.fallbacks)
    yield case.row(
        CUT,
        "the day runs out, main cut",
        "cap both ends and test the caps; until then keep the barriers manned",
        Who.COMPETENT,
        items=(),
        act_on=barriers,
        at=_work(case),
        leave=False,
        note=letters,
    )


def _work(case: LossCase) -> AtPlace:
    zones = case.option.zones
    main = next((pipe for zone in zones for pipe in zone.pipes if pipe.layer == "mains"), None)
    return AtPlace("work trench") if main is None else AtPlace("work trench", main.pipe_id)
