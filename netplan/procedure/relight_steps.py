"""Customers back on: services purged outside, installations tested, appliances lit, second visits."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.customers import meters_of_round, relight_rounds
from netplan.planfile.model import AffectedCustomer
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state

__all__ = ["relight"]


def relight(case: OrderCase) -> Iterator[StepDraft]:
    """Yield relighting in the promised order, about one crew-hour a round, and the second visits."""
    if not case.relit:
        return
    crew = case.rules.crew
    for number, batch in enumerate(_batches(case.relit, meters_of_round(crew.relights_per_hour)), 1):
        yield from _round(case, number, batch)
    again = -(-case.off_meters * crew.no_access // 1)
    yield StepDraft(
        Stage.SECOND_VISIT,
        f"Go back to the doors that did not open; about {int(again)} of {case.off_meters} meters are "
        "planned for. The tally closes when every meter that was off is on, or sealed and its customer "
        "told.",
        Who.METERS,
        "Leave the meter shut and sealed until somebody is in.",
        hold=True,
    )


def _round(case: OrderCase, number: int, batch: tuple[AffectedCustomer, ...]) -> Iterator[StepDraft]:
    meters = sum(max(customer.meters, 1) for customer in batch)
    first = "priority customers, " if batch[0].priority else ""
    ids = tuple(customer.id for customer in batch)
    items = tuple(case.items.meter(key) for key in ids)
    count = f"{meters} meter{'s' * (meters != 1)} of {len(ids)} customer{'s' * (len(ids) != 1)}"
    # A visit's time is shared evenly between what is done outside and at the appliances (own).
    minutes = 30.0 * meters / case.rules.crew.relights_per_hour
    yield StepDraft(
        Stage.SERVICE_BACK,
        f"Round {number}: {first}{count} in this order: reset the excess flow valve where there is one; "
        f"purge the service to the open air before the meter, never through the meter.",
        Who.METERS,
        "Leave the meter shut and sealed, leave a card, and tell the office.",
        uses=ids,
        minutes=minutes,
        needs=in_state("sealed", *items),
        changes=in_state("purged", *items),
    )
    yield StepDraft(
        Stage.RELIGHT,
        f"Round {number}: {first}{count} in this order: test the installation for tightness, purge it, "
        "relight and prove every appliance, tick each on the tally sheet.",
        Who.METERS,
        "Leave the meter shut and sealed, leave a card, and tell the office.",
        uses=ids,
        minutes=minutes,
        needs=in_state("purged", *items),
        changes=in_state("relit", *items),
    )


def _batches(relit: tuple[AffectedCustomer, ...], most: int) -> Iterator[tuple[AffectedCustomer, ...]]:
    meters = [max(customer.meters, 1) for customer in relit]
    for one in relight_rounds(meters, [bool(customer.priority) for customer in relit], most):
        yield relit[one.start : one.stop]
