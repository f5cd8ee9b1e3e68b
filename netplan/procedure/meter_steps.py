"""Meters: turned off, sealed and counted."""

from __future__ import annotations

import math
from collections.abc import Iterator

from netplan.procedure.step_case import METERS_OFF_STATE, OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state

__all__ = ["meters_off"]


def _count(customers: int, meters: int) -> str:
    return f"{meters} meter{'s' * (meters != 1)} of {customers} customer{'s' * (customers != 1)}"


def meters_off(case: OrderCase) -> Iterator[StepDraft]:
    """Yield turning off, sealing, and the count before any stop is set; barriers are proved by then."""
    ids = case.off_ids
    if not ids:
        return
    count, meters = _count(len(ids), case.off_meters), case.items.meters_off()
    stranded = case.items.every("meter", "tail")
    tail = f", the {len(stranded)} of the stranded part too" if stranded else ""
    doors = math.ceil(case.off_meters / case.rules.crew.meter_fitters)
    yield StepDraft(
        Stage.METERS_OFF,
        f"Turn off {count} at the meter, door by door{tail}, priority customers only once their other "
        f"supply is in place; tick each on the tally sheet with the valve it is shut at.",
        Who.METERS,
        "Where nobody opens, shut the service outside or cut it off; only then does it count as off.",
        uses=ids,
        minutes=doors * case.rules.duration.door,
        needs=(*in_state("on", *meters), *in_state("proved", *case.items.every("barrier"))),
        changes=in_state("off", *meters),
    )
    yield StepDraft(
        Stage.METERS_SEALED,
        "Seal every meter that is off, at the same visit; write the number of its seal on the tally sheet.",
        Who.METERS,
        "A meter without a seal is not off: a fitter stays with it.",
        uses=ids,
        needs=in_state("off", *meters),
        changes=in_state("sealed", *meters),
    )
    state = case.before_stops
    yield StepDraft(
        Stage.METERS_RECONCILED,
        f"Reconcile the tally with the plan and with what was found on site: {count} off and sealed, none "
        f"missing, none extra.",
        Who.METERS,
        "Set no stop before the count agrees: an appliance left on would go out, and its gas would come "
        "back unlit.",
        uses=ids,
        hold=True,
        expect_mbar=state.least_mbar if state else None,
        expect_at=state.at if state else "",
        minutes=case.rules.duration.tally,
        needs=in_state("sealed", *meters),
        reads=case.gauge_ids,
        state=METERS_OFF_STATE,
    )
