"""Hours of the order by hand: gas back, from when and until when customers are off, the latest cut."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from netplan.core.errors import BadInputError
from netplan.explain.explanation_sheet import Explanation, ExplanationSheet, SheetTable, read
from netplan.explain.recorded_option import RecordedOption, rule_origin, source_line
from netplan.planfile.model import Step, Timeline, TimelineBar

__all__ = ["explain_gas_back", "explain_latest_cut", "explain_off_from", "explain_on_by"]

_WITHIN_MIN: Final = 0.05
_RELIGHT: Final = ("service purged before relighting", "relight")
_FROM_START: Final = "Minutes count from the start of the window; without one it is taken to start at 08:00."
_CLOCK: Final = "The letters round {way} to half an hour of the clock."


def explain_gas_back(recorded: RecordedOption) -> Explanation:
    """Explain when gas is back: the steps of the longest path until through-flow is proved."""
    line = _timeline(recorded)
    sheet, count = _path(recorded, lambda step: step.stage not in _RELIGHT)
    return _explained(
        recorded, sheet, "gas-back", "Gas back", line.gas_back_min, "gas_back_min", count, (_FROM_START,)
    )


def explain_off_from(recorded: RecordedOption) -> Explanation:
    """Explain from when customers are off: the longest path before the first meter is turned off."""
    line = _timeline(recorded)
    first = next((step.n for step in recorded.option.steps if step.stage == "meters off"), None)
    if first is None or line.off_from_min is None:
        raise BadInputError("explain: nobody is off in this option; ask for another figure")
    sheet, count = _path(recorded, lambda step: step.n < first)
    notes = (_FROM_START, _CLOCK.format(way="down"))
    return _explained(
        recorded, sheet, "off-from", "First meter off", line.off_from_min, "off_from_min", count, notes
    )


def explain_on_by(recorded: RecordedOption) -> Explanation:
    """Explain until when the last customer is off: gas back and the queue, times the overrun."""
    line, rules = _timeline(recorded), recorded.rules
    if line.relit_min is None:
        raise BadInputError("explain: nobody is off in this option; ask for another figure")
    sheet = ExplanationSheet()
    off = [customer for customer in recorded.option.customers if customer.effect == "off"]
    sheet.given("back", line.gas_back_min, "min", "gas back", f"{recorded.place}, timeline, gas_back_min")
    sheet.given("count", sum(max(one.meters, 1) for one in off), "", "meters off", "plan.json, customers")
    pace = rules.crew.relights_per_hour
    sheet.given("pace", pace, "1/h", "meters relit in an hour", rule_origin(rules, "crew.relights_per_hour"))
    overrun = rules.duration.overrun
    result = sheet.work("relit", "back + count / pace * 60", "min")
    sheet.given("overrun", overrun, "", "what is promised is longer", rule_origin(rules, "duration.overrun"))
    sheet.work("promised", "relit * overrun", "min")
    notes = (_FROM_START, _CLOCK.format(way="up"), "The promise is what stands last, rounded.")
    return _explained(
        recorded, sheet, "on-by", "Last meter relit", line.relit_min, "relit_min", 1, notes, result
    )


def explain_latest_cut(recorded: RecordedOption) -> Explanation:
    """Explain the latest time to cut: the end of the crew's day less what remains, times the overrun."""
    line, rules = _timeline(recorded), recorded.rules
    if line.latest_cut_min is None:
        raise BadInputError("explain: this option has no cut; ask for another figure")
    cut = next(step.n for step in recorded.option.steps if step.stage == "work")
    start = next(bar.start_min for bar in line.bars if bar.n == cut)
    sheet, place = ExplanationSheet(), f"{recorded.place}, timeline"
    sheet.given("day_end", line.day_end_min, "min", "end of the crew's day", f"{place}, day_end_min")
    sheet.given("last", line.path_min, "min", "last meter relit, or gas back", f"{place}, path_min")
    sheet.given("cut", start, "min", "the cut as planned", f"{place}, bars, step {cut}")
    overrun = rules.duration.overrun
    sheet.given("overrun", overrun, "", "what remains is longer", rule_origin(rules, "duration.overrun"))
    result = sheet.work("latest", "day_end - overrun * (last - cut)", "min")
    notes = (_FROM_START, f"By the clock, rounded down: {line.latest_cut}.")
    return _explained(
        recorded,
        sheet,
        "latest-cut",
        "Latest time to cut",
        line.latest_cut_min,
        "latest_cut_min",
        3,
        notes,
        result,
    )


def _timeline(recorded: RecordedOption) -> Timeline:
    line = recorded.option.timeline
    if line is None:
        raise BadInputError("explain: the plan has no timeline; plan the work again with this version")
    return line


def _path(recorded: RecordedOption, is_in: Callable[[Step], bool]) -> tuple[ExplanationSheet, int]:
    """Return a sheet with the steps of one longest path that are asked for, and how many there are.

    Where two tasks side by side take equally long both are critical: one of them counts.
    """
    steps = {step.n: step for step in recorded.option.steps}
    left = [
        bar
        for bar in _timeline(recorded).bars
        if bar.critical and bar.end_min > bar.start_min and is_in(steps[bar.n])
    ]
    rows: list[TimelineBar] = []
    at = max((bar.end_min for bar in left), default=0.0)
    while before := [bar for bar in left if abs(bar.end_min - at) <= 2.0 * _WITHIN_MIN]:
        rows.insert(0, before[0])
        at = before[0].start_min
    sheet = ExplanationSheet()
    columns = [
        read("step", "", (f"{bar.n} {steps[bar.n].stage}" for bar in rows)),
        read("minutes", "min", (bar.end_min - bar.start_min for bar in rows), "plan.json, timeline, bars"),
    ]
    sheet.table(SheetTable("Steps on the longest path", "plan.json, timeline", tuple(columns)))
    sheet.sum("total", columns[-1], "min")
    return sheet, len(rows)


def _explained(
    recorded: RecordedOption,
    sheet: ExplanationSheet,
    figure: str,
    title: str,
    stated: float,
    field: str,
    count: int,
    notes: tuple[str, ...],
    result: float | None = None,
) -> Explanation:
    worked = sheet.known["total"] if result is None else result
    return Explanation(
        figure=figure,
        title=title,
        parts=tuple(sheet.parts),
        result=worked,
        unit="min",
        stated=stated,
        where=f"{recorded.place}, timeline, {field}",
        within=2.0 * _WITHIN_MIN * max(count, 1),
        notes=notes,
        sources=(source_line("example"), source_line("own")),
    )
