"""What was solved after the first answer, in words: states while a ring closes, weak meters, feeds."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.outputs.emergency.ring_words import RING_NAMES
from netplan.outputs.emergency.word_forms import counted
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, SolvedRing, SolvedRingState

__all__ = ["solved_parts"]


def solved_parts(answer: EmergencyAnswer, figures: Figures) -> list[tuple[str, list[str]]]:
    """Return headings and lines about the pressures outside each ring; none until they are solved."""
    return [
        (f"Pressures outside, {RING_NAMES[one.kind]}", list(_lines(one, figures)))
        for one in answer.solved or ()
    ]


def _lines(solved: SolvedRing, figures: Figures) -> Iterator[str]:
    if solved.not_solved:
        yield f"No solution: {solved.not_solved}"
    yield from (_state(state, figures) for state in solved.states)
    if solved.weak:
        yield (
            f"{counted(solved.meters_weak, 'meter')} outside fall below their minimum in some state and "
            "count as off: shut them too."
        )
        for row in solved.weak:
            pressure = "no gas" if row.pressure_mbar is None else figures.held(row.pressure_mbar)
            yield f"{row.customer_id}: {row.state}, {pressure}"
    yield from solved.may_be_fed


def _state(state: SolvedRingState, figures: Figures) -> str:
    shut = f" ({', '.join(state.shut)} shut)" if state.shut else ""
    least = "" if state.least_mbar is None else f"; least inlet outside {figures.held(state.least_mbar)}"
    escape = "" if state.escape_m3h is None else f"; escape {figures.flow(state.escape_m3h)} at full bore"
    full = f"; at full flow: {', '.join(state.stations_full_flow)}" if state.stations_full_flow else ""
    below = f"; {counted(state.below_minimum, 'meter point')} below minimum" if state.below_minimum else ""
    return f"{state.name}{shut}{least}{below}{escape}{full}"
