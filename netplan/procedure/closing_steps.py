"""After the last stop is out: outlets capped and counted, the ground closed."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.tapping_steps import cap_tappings, count_coupons

__all__ = ["close_ground", "seal_tappings"]


def seal_tappings(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the capping of every outlet and the count of coupons."""
    yield from cap_tappings(case)
    yield from count_coupons(case)


def close_ground(case: OrderCase) -> Iterator[StepDraft]:
    """Yield backfill and records."""
    places = case.items.every("place")
    named = f" ({', '.join(item.id for item in places)})" if places else ""
    yield StepDraft(
        Stage.REINSTATE,
        f"Backfill and reinstate every hole{named}; survey new pipe, tappings, caps and squeeze "
        f"marks into the records{case.while_watched('; return the gauges')}; tell network control that the "
        f"network is as before.",
        Who.SURFACE,
        "Leave the hole guarded until it is done.",
        uses=(*(item.id for item in places), *case.gauge_ids),
        minutes=case.rules.duration.backfill * len(places),
        needs=in_state("capped", *case.items.every("tapping")),
        changes=in_state("filled", *places),
    )
