"""Pressures of an emergency answer on the terminal: who falls weak while a ring closes, and what escapes."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, SolvedRing

__all__ = ["pressure_lines"]

MOST_STATES_SHOWN = 12
"""States of a ring with a line each at most, the last one always among them (own) [-]."""


def pressure_lines(answer: EmergencyAnswer, figures: Figures) -> Iterator[str]:
    """Yield the lines of what was solved: each state of each ring, who counts as off besides."""
    yield ""
    if answer.conditions is not None:
        held = answer.conditions
        by_rules = ", the design temperature of the rules" if held.is_design_temperature else ""
        yield (
            f"Pressures solved for {held.hour}, air {figures.temperature(held.air_temp_c)}{by_rules}; "
            f"an inlet must hold {figures.pressure(held.required_mbar)}"
        )
    for row in answer.escape:
        whole = row.flows[-1]
        yield (
            f"Gas escaping at {row.main_id}, all of its bore: {figures.flow(whole.least_m3h)} to "
            f"{figures.flow(whole.most_m3h)}; not for distances"
        )
    before: SolvedRing | None = None
    for ring in answer.solved or ():
        name = "Valve ring" if ring.kind == "valves" else "Fastest ring"
        if before is not None and before.model_copy(update={"kind": ring.kind}) == ring:
            yield f"{name}: the same stops, the same pressures"
            continue
        before = ring
        yield from _ring_lines(name, ring, figures)


def _ring_lines(name: str, ring: SolvedRing, figures: Figures) -> Iterator[str]:
    off = f"{ring.meters_weak} meters outside fall below their minimum and count as off"
    yield f"{name}: {off if ring.weak else 'nobody outside falls below the minimum'}"
    left_out = max(len(ring.states) - MOST_STATES_SHOWN, 0)
    for place, state in enumerate(ring.states):
        if left_out > 0 and MOST_STATES_SHOWN - 1 <= place < len(ring.states) - 1:
            continue
        least = "no meter outside has gas" if state.least_mbar is None else figures.pressure(state.least_mbar)
        words = [f"least inlet {least}", f"{state.below_minimum} below"]
        if state.escape_m3h is not None:
            words.append(f"escaping {figures.flow(state.escape_m3h)}")
        if state.stations_full_flow:
            words.append(f"at full flow {', '.join(state.stations_full_flow)}")
        yield f"  {state.name}: {'; '.join(words)}"
    for line in ring.may_be_fed:
        yield f"  Perhaps fed: {figures.sentence(line)}"
    if ring.not_solved:
        yield f"  Not solved: {ring.not_solved}"
