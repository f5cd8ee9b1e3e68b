"""The step list on paper: needs and changes in words, hours, readings with their limits, room to sign."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from netplan.outputs.documents.let_by_sheet import let_by_limit
from netplan.outputs.item_words import (
    change_words,
    clock,
    joined_ids,
    manned_words,
    need_words,
    pressure_of_test,
)
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Conditions, Option, Reading, Step, TimelineBar

__all__ = ["reading_cells", "step_list_part"]

LATEST_CUT: Final = "latest time to cut"
_DAYS = {"before": "earlier day", "after": "afterwards"}
_USES_NAMED = 8


def step_list_part(option: Option, conditions: Conditions, units: Figures) -> dict[str, Any]:
    """Return the step list, stage by stage.

    Parameters
    ----------
    option : Option
    conditions : Conditions
        For the hours by the clock.
    units : Figures
    """
    bars = {bar.n: bar for bar in option.timeline.bars} if option.timeline else {}
    steps = [_step(step, bars.get(step.n), option, conditions, units) for step in option.steps]
    return {
        "steps": list(_limits_once(steps)),
        "steps-read": any(step.readings for step in option.steps),
    }


def _limits_once(steps: Sequence[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield the steps, each reading with the step that its limits are printed at: "" where it is this one.

    What a gauge is to read and its limits are those of a state, which many steps share.
    """
    printed: dict[str, tuple[list[str], str]] = {}
    for step in steps:
        rows = []
        for cells in step["readings"]:
            known, at = printed.get(cells[0], ([], ""))
            if known != cells:
                printed[cells[0]] = (cells, step["n"])
            rows.append([*cells, at if known == cells else ""])
        yield step | {"readings": rows}


def _step(
    step: Step, bar: TimelineBar | None, option: Option, conditions: Conditions, units: Figures
) -> dict[str, Any]:
    finer = units.with_more_digits("pressure", 1)
    return {
        "n": str(step.n),
        "stage": step.stage,
        "does": units.sentence(step.does),
        "who": step.who,
        "manned": manned_words(step.manned),
        "uses": _uses(step.uses),
        "hold": step.hold,
        "trench": step.trench,
        "needs": need_words(step.needs),
        "changes": change_words(step.changes),
        "tests": [
            f"{one.what}, {pressure_of_test(one, units)} for {one.minutes:g} min with {one.medium}"
            + (f", against {joined_ids(one.against)}" if one.against else "")
            for one in step.pressure_tests
        ],
        "time": _time(bar, conditions),
        "critical": bar is not None and bar.critical,
        "minutes": "" if step.minutes is None else f"{step.minutes:g} min",
        "readings": [reading_cells(reading, finer) for reading in step.readings],
        "state": step.state,
        "solved": [*_solved(step, option, units), *_between(step, units), *_latest(step, option)],
        "if-not": units.sentence(step.if_not),
    }


def _solved(step: Step, option: Option, units: Figures) -> Iterator[str]:
    """Yield the pressures of a step that no reading of it says."""
    at = step.expect_at
    if step.expect_mbar is not None and at not in {reading.gauge_id for reading in step.readings}:
        stops = {stop.id for stop in option.stops}
        gauges = {gauge.id for gauge in option.gauges} | {gauge.id for gauge in option.zone_gauges}
        if at in stops:
            yield f"live side of {at}: {units.pressure(step.expect_mbar)}"
        elif not at or at in gauges:
            yield f"read: {units.pressure(step.expect_mbar)}" + (f" at {at}" if at else "")
        elif not step.readings:  # nobody reads it: with gauges at the step it would only be in the way
            yield f"least kept inlet, as solved: {units.held(step.expect_mbar)} at {at}"
    if step.across_mbar is not None:
        finer = units.with_more_digits("pressure", 1)
        yield f"across the barrier, as solved: {finer.pressure(step.across_mbar)}"


def _between(step: Step, units: Figures) -> Iterator[str]:
    """Yield what a let-by test or purge of a step is held against."""
    if step.let_by is not None:
        across = step.let_by.across_mbar
        limit = let_by_limit(step.let_by, units)
        yield f"{step.let_by.name}: limit {limit}, for {step.let_by.minutes:g} min" + (
            "" if across is None else f", {units.pressure(across)} across"
        )
    if step.purge is not None:
        end = f", until {units.sentence(step.purge.end)}" if step.purge.end else ""
        yield f"purge from {step.purge.inlet} to {step.purge.outlet} with {step.purge.medium}{end}"


def _latest(step: Step, option: Option) -> Iterator[str]:
    """Yield the latest time to cut at the step that holds it."""
    if step.stage == LATEST_CUT and option.timeline is not None and option.timeline.latest_cut:
        yield f"latest time to cut: {option.timeline.latest_cut}"


def _time(bar: TimelineBar | None, conditions: Conditions) -> str:
    if bar is None:
        return ""
    if bar.day in _DAYS:
        return _DAYS[bar.day]
    return f"{clock(conditions, bar.start_min)}–{clock(conditions, bar.end_min)}"


def reading_cells(reading: Reading, units: Figures) -> list[str]:
    """Return gauge, expected reading, band, warning, abort low and abort high, each on its safe side.

    A band is rounded down and a highest reading too: on paper neither is wider than in the plan.
    """
    return [
        reading.gauge_id,
        units.bare("pressure", reading.expect_mbar),
        units.bare("pressure", reading.band_mbar, "down"),
        units.bare("pressure", reading.warning_mbar, "up"),
        units.bare("pressure", reading.abort_mbar, "up"),
        units.bare("pressure", reading.abort_high_mbar, "down"),
    ]


def _uses(ids: tuple[str, ...]) -> str:
    """Return what a step uses; a long list of meter points stands on the tally sheet."""
    if len(ids) <= _USES_NAMED:
        return joined_ids(ids)
    return f"{', '.join(ids[:3])} … {len(ids)} in all"
