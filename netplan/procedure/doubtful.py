"""Doubtful records on which somebody's gas hangs: proved before the first stop."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import InDoubt
from netplan.procedure.case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who

__all__ = ["prove_doubts"]

_PROOF: Final = {
    "valves": ("valve", "find it and prove whether it is open or closed", Who.STOPS),
    "mains": ("main", "prove by trial hole or tracing whether it is joined there", Who.STOPS),
    "services": ("service", "prove by trial hole or tracing what it is joined to", Who.STOPS),
    "customers": ("customer", "prove which main and service feed it", Who.METERS),
}
"""Name of a record, how it is proved, and who does it, by layer."""
_OTHERWISE: Final = "No stop goes in: correct the record and plan again."


def prove_doubts(case: OrderCase) -> Iterator[StepDraft]:
    """Yield a hold for each record that a priority customer hangs on, then one step for all others."""
    by_record: dict[tuple[str, str], list[InDoubt]] = {}
    for row in case.option.in_doubt:
        by_record.setdefault((row.layer, row.record_id), []).append(row)
    held = {key: rows for key, rows in by_record.items() if any(row.priority for row in rows)}
    for key in sorted(held):
        yield _hold(key, held[key])
    others = sorted(by_record.keys() - held.keys())
    if others:
        named = ", ".join(f"{_PROOF[layer][0]} {record}" for layer, record in others)
        customers = {row.id for key in others for row in by_record[key]}
        yield StepDraft(
            Stage.RECORDS,
            f"Prove the other records in doubt (page of customers in doubt): {named}.",
            Who.STOPS,
            "Where a record is otherwise or cannot be proved, treat the customers that hang on it as off, or "
            "plan again.",
            uses=(*dict.fromkeys(record for _, record in others), *sorted(customers)),
        )


def _hold(key: tuple[str, str], rows: list[InDoubt]) -> StepDraft:
    layer, record = key
    name, proof, who = _PROOF[layer]
    priority = ", ".join(
        f"{row.priority.replace('_', ' ')} {row.address or row.id} ({row.id})" for row in rows if row.priority
    )
    return StepDraft(
        Stage.RECORDS,
        f"Prove record {name} {record}: {proof}. If it is otherwise than planned, gas is lost at {priority}.",
        who,
        _OTHERWISE,
        uses=tuple(dict.fromkeys((record, *(row.id for row in rows)))),
        hold=True,
    )
