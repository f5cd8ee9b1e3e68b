"""What was solved after the first answer, in words: states while a ring closes, weak meters, feeds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from netplan.outputs.emergency.ring_words import RING_NAMES
from netplan.outputs.emergency.word_forms import counted
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import (
    EmergencyAnswer,
    EmergencyCustomer,
    SolvedRing,
    SolvedRingState,
    WeakMeter,
)

__all__ = ["solved_parts"]


def solved_parts(answer: EmergencyAnswer, figures: Figures) -> list[tuple[str, list[str]]]:
    """Return headings and lines about the pressures outside each ring; none until they are solved."""
    solved = answer.solved or ()
    customers = {one.id: one for one in answer.customers}
    parts: list[tuple[str, list[str]]] = []
    if solved and answer.conditions is not None:
        held = answer.conditions
        design = ", the design temperature of the rules" if held.is_design_temperature else ""
        hour = (
            f"For {held.hour}, air {figures.temperature(held.air_temp_c)}{design}; "
            f"{figures.load(held.demand_total_m3h)} drawn before the hit; a meter inlet must hold "
            f"{figures.needed(held.required_mbar)}."
        )
        parts.append(("Pressures, solved", [hour]))
    shown: list[SolvedRing] = []
    for one in solved:
        same = [k for k, other in enumerate(shown) if other.model_copy(update={"kind": one.kind}) == one]
        if same:
            place = len(parts) - len(shown) + same[0]
            parts[place] = (f"{parts[place][0]} and {RING_NAMES[one.kind]}", parts[place][1])
        else:
            shown.append(one)
            parts.append(
                (f"Pressures outside, {RING_NAMES[one.kind]}", list(_lines(one, customers, figures)))
            )
    return parts


def _lines(solved: SolvedRing, customers: Mapping[str, EmergencyCustomer], figures: Figures) -> Iterator[str]:
    if solved.not_solved:
        yield f"No solution: {solved.not_solved}"
    yield from (_state(state, figures) for state in solved.states)
    if solved.weak:
        yield (
            f"{counted(solved.meters_weak, 'meter')} outside fall below their minimum in some state and "
            "count as off: shut them too."
        )
        yield from (_weak(row, customers, figures) for row in solved.weak)
    yield from solved.may_be_fed


def _weak(row: WeakMeter, customers: Mapping[str, EmergencyCustomer], figures: Figures) -> str:
    known = customers.get(row.customer_id)
    who = f"{known.address} ({row.customer_id})" if known is not None and known.address else row.customer_id
    mark = f"! {known.priority.replace('_', ' ')}: " if known is not None and known.priority else ""
    pressure = "no gas" if row.pressure_mbar is None else figures.held(row.pressure_mbar)
    return f"{mark}{who}: {row.state}, {pressure}"


def _state(state: SolvedRingState, figures: Figures) -> str:
    unsaid = [name for name in state.shut if name not in state.name]
    shut = f" ({', '.join(unsaid)} shut)" if unsaid else ""
    least = "" if state.least_mbar is None else f"; least inlet outside {figures.held(state.least_mbar)}"
    escape = "" if state.escape_m3h is None else f"; escape {figures.flow(state.escape_m3h)} at full bore"
    full = f"; at full flow: {', '.join(state.stations_full_flow)}" if state.stations_full_flow else ""
    below = f"; {counted(state.below_minimum, 'meter point')} below minimum" if state.below_minimum else ""
    return f"{state.name}{shut}{least}{below}{escape}{full}"
