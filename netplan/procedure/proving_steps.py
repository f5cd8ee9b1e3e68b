"""Before anything is touched: the draft signed, records proved, the ground opened."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import Excavation, InDoubt, Stop
from netplan.planfile.naming import served_words
from netplan.procedure.fallback_steps import dig_fallbacks
from netplan.procedure.step_case import OrderCase, place_words
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state

__all__ = ["DRAFT_NOTICE", "prove", "prove_doubts"]


DRAFT_NOTICE = (
    "This order is a draft for the operator's competent person. It is no procedure and no permit: "
    "the operator's own procedure, permits and the makers' instructions govern every step."
)
_PROOF: Final = {
    "valves": ("valve", "find it and prove whether it is open or closed", Who.STOPS),
    "mains": ("main", "prove by trial hole or tracing whether it is joined there", Who.STOPS),
    "services": ("service", "prove by trial hole or tracing what it is joined to", Who.STOPS),
    "customers": ("customer", "prove which main and service feed it", Who.METERS),
}
"""Name of a record, how it is proved, and who does it, by layer."""
_OTHERWISE: Final = "No stop goes in: correct the record and plan again."


def prove(case: OrderCase) -> Iterator[StepDraft]:
    """Yield what has to hold before the first hole in the main."""
    yield StepDraft(
        Stage.SIGNED,
        f"{DRAFT_NOTICE} Check, change and sign it; hold the permits; tell network control; "
        "check that notices are delivered and priority customers spoken to.",
        Who.COMPETENT,
        "Do not begin.",
        hold=True,
    )
    yield from prove_doubts(case)
    for hole, stops in case.holes.items():
        yield _hole(case, hole, stops)
    for one in case.without_stop:
        yield _excavation(case, one)
    unholed = tuple(stop for stop in case.stops if not stop.hole_id)
    if unholed:
        yield _hole(case, "", unholed)
    yield from dig_fallbacks(case)


def _hole(case: OrderCase, hole: str, stops: tuple[Stop, ...]) -> StepDraft:
    excavation, place = case.excavation(hole), case.items.place(hole)
    where = "; ".join(f"{stop.id} on {place_words(stop)}" for stop in stops)
    doubts = "".join(f" Doubtful: {stop.confidence_note}." for stop in stops if stop.confidence_note)
    valves = tuple(stop.valve_id for stop in stops if stop.valve_id)
    begin = f"At {hole}, {where}:" if hole else f"{where}:"
    if len(valves) == len(stops):
        dig = (
            "; dig the pit for its zone vent and its gauge and prove that nothing lies where they go"
            if excavation
            else ""
        )
        proof = f"find the valve, prove which main it closes, and turn it a little and back{dig}."
        if_not = (
            "A valve that is not found, is stiff or lacks room beside it cannot serve as a stop: plan again."
        )
    else:
        proof = (
            "dig the trial hole; prove the pipe: material, outside diameter, wall, bore, ovality and depth, "
            "that no fitting, joint, service or old squeeze mark lies in the assembly, and that no other "
            "main is mistaken for it."
        )
        if_not = "Plan again from what was found; do not move a stop by eye."
    return StepDraft(
        Stage.RECORDS,
        f"{begin} {_first(excavation)}{proof}{_asks(excavation)}{doubts}",
        Who.STOPS,
        if_not,
        uses=tuple(
            key for key in (hole, *(stop.id for stop in stops), *(s.main_id for s in stops), *valves) if key
        ),
        hold=True,
        minutes=case.rules.duration.excavation if place else None,
        changes=in_state("dug", place),
    )


def _excavation(case: OrderCase, one: Excavation) -> StepDraft:
    served = served_words(one)
    return StepDraft(
        Stage.RECORDS,
        f"At {one.id} on main {one.main_id}{f', {one.street}' if one.street else ''}, for {served}: "
        f"{_first(one)}dig; prove material, outside diameter and depth, and that no other main is mistaken "
        f"for it.{_asks(one)}",
        Who.STOPS,
        "Plan again from what was found; do not move a place by eye.",
        uses=(one.id, one.main_id),
        hold=True,
        minutes=case.rules.duration.excavation,
        changes=in_state("dug", case.items.place(one.id)),
    )


def _first(excavation: Excavation | None) -> str:
    """Return what comes before anything is dug."""
    return f"{excavation.locate_first}; " if excavation else ""


def _asks(excavation: Excavation | None) -> str:
    """Return how an excavation is held open and guarded."""
    if excavation is None:
        return ""
    shoring = " Shore it." if excavation.shoring else ""
    return f"{shoring} Traffic: {'; '.join(excavation.traffic)}."


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
            "Where a record is wrong or cannot be proved, treat the customers that depend on it as off, or "
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
        f"Prove record {name} {record}: {proof}. If it is wrong, gas is lost at {priority}.",
        who,
        _OTHERWISE,
        uses=tuple(dict.fromkeys((record, *(row.id for row in rows)))),
        hold=True,
    )
