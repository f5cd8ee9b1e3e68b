"""When the plan has each step, and by when the main must be cut."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from netplan.planfile.model import Option, Plan, Step, TimelineBar

__all__ = ["FIRST_HOUR", "bars_by_step", "clock_at", "cut_step", "start_clock"]

FIRST_HOUR: Final = 8
"""Hour at which a window without a start begins, as the timeline takes it."""


def start_clock(plan: Plan) -> tuple[int, int]:
    """Return hour and minute at which the window begins."""
    if plan.conditions.start is None:
        return FIRST_HOUR, 0
    start = datetime.fromisoformat(plan.conditions.start)
    return start.hour, start.minute


def clock_at(plan: Plan, minutes: float) -> str:
    """Return the time of day some minutes after the start of the window: "13:40"."""
    hour, minute = start_clock(plan)
    moment = datetime(2000, 1, 3, hour, minute) + timedelta(minutes=minutes)
    return f"{moment:%H:%M}"


def bars_by_step(option: Option) -> dict[int, TimelineBar]:
    """Return the first bar of the timeline of each step, by its number; none in old plans."""
    bars = option.timeline.bars if option.timeline is not None else ()
    found: dict[int, TimelineBar] = {}
    for bar in bars:
        found.setdefault(bar.n, bar)
    return found


def cut_step(option: Option) -> Step | None:
    """Return the step in which the main is cut: the first that changes a part which the cut makes."""
    parts = {item.id for item in option.items if item.kind == "part" and item.role == "cut part"}
    for step in option.steps:
        if any(change.kind == "part" and change.id in parts for change in step.changes):
            return step
    return None
