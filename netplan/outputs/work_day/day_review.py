"""A day's log against the plan: what was done, late, left out, out of order, out of band, and left open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from netplan.outputs.number_format import figures_of
from netplan.outputs.work_day.expected_reading import Verdict, reading_limits, verdict_of, weather_table
from netplan.outputs.work_day.feed_drop import drop_fault
from netplan.outputs.work_day.let_by_result import let_by_fault
from netplan.outputs.work_day.log_file import (
    DoneEntry,
    DropEntry,
    LetByEntry,
    MeterEntry,
    ReadingEntry,
    SignedEntry,
    WorkDayLog,
)
from netplan.outputs.work_day.planned_times import PlannedOrder, cut_hold, latest_cut_min, minutes_in
from netplan.outputs.work_day.stage_times import StageTime, stage_times
from netplan.planfile.model import Option, Plan, Reading, Step

__all__ = ["DayReview", "JudgedReading", "OpenMeter", "review_day"]

_LATE_MIN: Final = 1.0
"""A step is late when it is done more than this after its planned end (own) [min]."""


@dataclass(frozen=True, slots=True)
class JudgedReading:
    """A reading of a gauge, judged anew from the plan.

    Parameters
    ----------
    step : int
    gauge : str
    time : datetime
        Of the device that it was typed into.
    mbar, expect_mbar : float or None
        What it read, and should have read then [mbar gauge]; None outside the solved table.
    verdict, said : str
        By the plan, and by the page at that time.
    mended : bool
        Whether a later reading of this gauge at this step is in band.
    """

    step: int
    gauge: str
    time: datetime
    mbar: float
    expect_mbar: float | None
    verdict: Verdict
    said: str
    mended: bool = False


@dataclass(frozen=True, slots=True)
class OpenMeter:
    """A meter that goes off by the plan and is not relit by the log; `state` is its last one."""

    id: str
    address: str
    meters: int
    state: str


@dataclass(frozen=True, slots=True)
class DayReview:
    """A day's log against one option of its plan. Steps are given by number, minutes as they are late.

    Parameters
    ----------
    option : int
        Rank of the option.
    entries, steps : int
        Entries of the log, steps of the option.
    begun, ended : datetime or None
        First and last entry.
    done : tuple of int
    late : tuple of (int, float)
        Steps done after their planned end, and how long after [min].
    left_out : tuple of (int, str)
        Steps left out, and why.
    skipped : tuple of int
        Neither done nor left out, while a step is done that the plan begins after them.
    out_of_order : tuple of (int, int)
        A step, and the first one that the plan ends before it begins but that was done after it.
    unsigned : tuple of int
        Holds without a signature that were passed.
    readings : tuple of JudgedReading
        Those that are not in band, in time order.
    not_read : tuple of (int, str)
        Done steps, and gauges that were not read there.
    let_by, drops : tuple of (int, str)
        Let-by tests, and drops along bypasses, without a passing last result at steps that are done, and what
        is wrong.
    open_meters : tuple of OpenMeter
    stages : tuple of StageTime
    cut : tuple of (datetime, float) or None
        When the cut was released, and how long after the latest time that was [min]; negative before it.
    clock_set_back : tuple of datetime
        Entries at which the device's clock stood earlier than before.
    said_otherwise : int
        Readings of which the page said something else than the plan gives.
    """

    option: int
    entries: int
    steps: int
    begun: datetime | None
    ended: datetime | None
    done: tuple[int, ...]
    late: tuple[tuple[int, float], ...]
    left_out: tuple[tuple[int, str], ...]
    skipped: tuple[int, ...]
    out_of_order: tuple[tuple[int, int], ...]
    unsigned: tuple[int, ...]
    readings: tuple[JudgedReading, ...]
    not_read: tuple[tuple[int, str], ...]
    let_by: tuple[tuple[int, str], ...]
    drops: tuple[tuple[int, str], ...]
    open_meters: tuple[OpenMeter, ...]
    stages: tuple[StageTime, ...]
    cut: tuple[datetime, float] | None
    clock_set_back: tuple[datetime, ...]
    said_otherwise: int


def review_day(plan: Plan, option: Option, log: WorkDayLog) -> DayReview:
    """Set a day's log against the plan.

    Parameters
    ----------
    plan : Plan
    option : Option
        The one of the log.
    log : WorkDayLog
        Its steps, gauges and meters are those of the option.
    """
    last = _last_of_steps(log)
    times = {n: entry.local_time for n, entry in last.items() if entry.what != "left out"}
    order = PlannedOrder(option)
    judged = tuple(_judged(option, log))
    cut = cut_hold(option)
    holds = [step.n for step in option.steps if step.hold or (cut is not None and step.n == cut.n)]
    reached = max(times, default=0)
    return DayReview(
        option=option.rank,
        entries=len(log.entries),
        steps=len(option.steps),
        begun=log.entries[0].local_time if log.entries else None,
        ended=log.entries[-1].local_time if log.entries else None,
        done=tuple(sorted(times)),
        late=tuple(_late(plan, order, times)),
        left_out=tuple(
            (n, entry.why)
            for n, entry in sorted(last.items())
            if isinstance(entry, DoneEntry) and entry.what == "left out"
        ),
        skipped=tuple(
            step.n
            for step in option.steps
            if step.n not in last and any(order.precedes(step.n, n) for n in times)
        ),
        out_of_order=tuple(_out_of_order(order, times)),
        unsigned=tuple(n for n in holds if n <= reached and not isinstance(last.get(n), SignedEntry)),
        readings=tuple(one for one in judged if one.verdict not in ("in band", "warning")),
        not_read=tuple(_not_read(option.steps, log, times)),
        let_by=tuple(_let_by(option.steps, log, times)),
        drops=tuple(_drops(option.steps, log, times)),
        open_meters=_open_meters(option, log),
        stages=stage_times(option, times),
        cut=_cut(plan, option, cut, times),
        clock_set_back=tuple(entry.local_time for entry in log.entries if entry.clock is not None),
        said_otherwise=sum(one.said != one.verdict for one in judged),
    )


def _last_of_steps(log: WorkDayLog) -> dict[int, DoneEntry | SignedEntry]:
    """Return the entry that stands for each step at the end of the log."""
    last: dict[int, DoneEntry | SignedEntry] = {}
    for entry in log.entries:
        if isinstance(entry, DoneEntry) and entry.what == "taken back":
            last.pop(entry.step, None)
        elif isinstance(entry, DoneEntry | SignedEntry):
            last[entry.step] = entry
    return last


def _late(plan: Plan, order: PlannedOrder, times: dict[int, datetime]) -> Iterator[tuple[int, float]]:
    for n, time in sorted(times.items()):
        bar = order.bar(n)
        if bar is not None and bar.day == "day":
            late = minutes_in(plan, time) - bar.end_min
            if late > _LATE_MIN:
                yield n, late


def _out_of_order(order: PlannedOrder, times: dict[int, datetime]) -> Iterator[tuple[int, int]]:
    for n, time in sorted(times.items()):
        after = [m for m, other in times.items() if other > time and order.precedes(m, n)]
        if after:
            yield n, min(after)


def _judged(option: Option, log: WorkDayLog) -> Iterator[JudgedReading]:
    readings: dict[tuple[int, str], Reading] = {
        (step.n, reading.gauge_id): reading for step in option.steps for reading in step.readings
    }
    typed = [entry for entry in log.entries if isinstance(entry, ReadingEntry)]
    units, good = figures_of(log.units), set[tuple[int, str]]()
    found: list[JudgedReading] = []
    for entry in reversed(typed):
        key = entry.step, entry.gauge
        time = entry.shown_time
        expect = weather_table(readings[key]).at(entry.air_temp_c, time.hour + time.minute / 60.0)
        verdict = verdict_of(reading_limits(readings[key], units), entry.mbar, expect)
        found.append(JudgedReading(*key, time, entry.mbar, expect, verdict, entry.verdict, key in good))
        if verdict in ("in band", "warning"):
            good.add(key)
    yield from reversed(found)


def _not_read(
    steps: Sequence[Step], log: WorkDayLog, times: dict[int, datetime]
) -> Iterator[tuple[int, str]]:
    read = {(entry.step, entry.gauge) for entry in log.entries if isinstance(entry, ReadingEntry)}
    for step in steps:
        for reading in step.readings if step.n in times else ():
            if (step.n, reading.gauge_id) not in read:
                yield step.n, reading.gauge_id


def _let_by(steps: Sequence[Step], log: WorkDayLog, times: dict[int, datetime]) -> Iterator[tuple[int, str]]:
    last = {entry.step: entry for entry in log.entries if isinstance(entry, LetByEntry)}
    for step in steps:
        if step.let_by is not None and (step.n in times or step.n in last):
            fault = let_by_fault(step.let_by, last.get(step.n))
            if fault:
                yield step.n, fault


def _drops(steps: Sequence[Step], log: WorkDayLog, times: dict[int, datetime]) -> Iterator[tuple[int, str]]:
    last = {entry.step: entry for entry in log.entries if isinstance(entry, DropEntry)}
    units = figures_of(log.units)
    for step in steps:
        if step.feed_test is not None and (step.n in times or step.n in last):
            fault = drop_fault(step, step.feed_test, last.get(step.n), units)
            if fault:
                yield step.n, fault


def _open_meters(option: Option, log: WorkDayLog) -> tuple[OpenMeter, ...]:
    last = {entry.meter: entry.state for entry in log.entries if isinstance(entry, MeterEntry)}
    return tuple(
        OpenMeter(customer.id, customer.address, customer.meters, last.get(customer.id, "on"))
        for customer in sorted(option.customers, key=lambda one: (one.relit or 0, one.address, one.id))
        if customer.effect == "off" and last.get(customer.id, "on") != "relit"
    )


def _cut(
    plan: Plan, option: Option, cut: Step | None, times: dict[int, datetime]
) -> tuple[datetime, float] | None:
    latest = None if option.timeline is None else latest_cut_min(plan, option.timeline)
    if cut is None or cut.n not in times or latest is None:
        return None
    return times[cut.n], minutes_in(plan, times[cut.n]) - latest
