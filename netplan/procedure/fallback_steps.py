"""Fallback stops that the plan prepares: dug, tapped and proved before the first stop, capped at the end."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import PreparedFallback
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.stop_steps import BAG_PROOF_MINUTES, BAG_PROOF_SHARE_PERCENT

__all__ = ["dig_fallbacks", "prove_fallbacks", "stand_down_fallbacks"]


_NOT_READY = "Without it the stops it serves have no fallback ready: set none of them, and plan again."


def _named(one: PreparedFallback) -> str:
    street = f", {one.street}" if one.street else ""
    hole = f"in {one.hole_id}, " if one.hole_id else ""
    return f"{one.id}, fallback of {' and '.join(one.serves)}, {hole}on main {one.main_id}{street}"


def _ids(one: PreparedFallback) -> tuple[str, ...]:
    return tuple(key for key in (one.id, one.hole_id, *one.serves, one.main_id, one.valve_id) if key)


def dig_fallbacks(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the proof of every prepared fallback in its hole, which is dug by then; a valve is turned."""
    for one in case.option.prepared_fallbacks:
        doubts = f" Doubtful: {one.note}." if one.note else ""
        if one.kind == "valve":
            pit = "; prove that nothing lies where its zone vent and its gauge go" if one.hole_id else ""
            proof = (
                f"find valve {one.valve_id}, prove which main it closes, and turn it a little and back{pit}."
            )
        else:
            dig = "" if one.hole_id else "locate other utilities, dig the hole; "
            proof = (
                f"{dig}prove material, outside diameter, wall and depth, and that no fitting, joint, service "
                "or old squeeze mark lies in the assembly."
            )
        place = case.items.place(one.hole_id)
        # What shares the excavation of a stop is dug by then.
        alone = place is not None and case.excavation(one.hole_id) is None
        yield StepDraft(
            Stage.RECORDS,
            f"At {_named(one)}: {proof}{doubts}",
            Who.STOPS,
            _NOT_READY,
            _ids(one),
            hold=True,
            minutes=case.rules.duration.excavation if alone else None,
            changes=in_state("dug", place),
        )


def prove_fallbacks(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the proof of the barriers of every prepared fallback, which then stay there, manned."""
    for one in case.option.prepared_fallbacks:
        if one.kind == "bag":
            proof = (
                f"Prove a set of bags for {one.id} outside the main: {BAG_PROOF_SHARE_PERCENT} % of their "
                f"greatest inflation pressure for at least {BAG_PROOF_MINUTES:.0f} min (common practice; the "
                "maker's limit governs); a set of its own, ready beside the outlets."
            )
        elif one.kind == "squeeze":
            proof = (
                f"Check squeeze tools for {one.id}, ready in the hole: right stops for outside diameter and "
                "wall, earthed; place never squeezed before."
            )
        else:
            proof = (
                f"Prove valve {one.valve_id} of {one.id}: turn it a little towards shut and back and count "
                "the turns that it has; do not shut it on trial, because that state is not solved; lock "
                "and tag "
                "ready."
            )
        yield StepDraft(
            Stage.BARRIERS_PROVED,
            f"{proof} Keep it manned while it may be needed.",
            Who.STOPS,
            _NOT_READY,
            _ids(one),
            minutes=case.rules.duration.prove,
            needs=in_state("drilled", *case.items.tappings(one.id)),
            changes=in_state("proved", *case.items.barriers(one.id)),
        )


def stand_down_fallbacks(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the end of the watch at every prepared fallback, once through-flow is proved."""
    for one in case.option.prepared_fallbacks:
        barriers = case.items.barriers(one.id)
        yield StepDraft(
            Stage.FALLBACK_DOWN,
            f"{one.id} is no longer needed, because every stop is out and through-flow is proved: take "
            f"away its "
            "bags or tools, or its lock and tag.",
            Who.STOPS,
            "While any stop is still in, it stays ready and manned.",
            _ids(one),
            needs=(
                *in_state("proved", *barriers),
                *in_state("withdrawn", *(b for stop in case.stops for b in case.items.barriers(stop.id))),
            ),
            changes=in_state("out", *barriers),
        )
