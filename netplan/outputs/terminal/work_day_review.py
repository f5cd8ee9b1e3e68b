"""A day's log against the plan, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from netplan.outputs.number_format import Figures
from netplan.outputs.work_day.day_review import DayReview, JudgedReading
from netplan.outputs.work_day.stage_times import StageTime

__all__ = ["review_lines"]

_MOST_LINES: Final = 40
"""Lines of one kind that anybody reads on a terminal (own)."""


def review_lines(review: DayReview, units: Figures) -> list[str]:
    """Return what was planned against what was done.

    Parameters
    ----------
    review : DayReview
    units : Figures
        How pressures are written.
    """
    left = review.steps - len(review.done) - len(review.left_out)
    span = ""
    if review.begun is not None and review.ended is not None:
        span = f", {review.begun:%Y-%m-%d %H:%M} to {review.ended:%Y-%m-%d %H:%M}"
    lines = [
        f"Option {review.option}: {review.entries} entries{span}",
        f"Steps: {len(review.done)} of {review.steps} done, {len(review.left_out)} left out, {left} open",
    ]
    if review.cut is not None:
        time, late = review.cut
        words = f"{late:.0f} min after" if late > 0 else f"{-late:.0f} min before"
        lines.append(f"Cut released at {time:%H:%M}, {words} the latest time")
    for title, rows in (
        ("Late, done after the planned end", [f"step {n}: {late:.0f} min" for n, late in review.late]),
        ("Skipped, a later step is done", [f"step {n}" for n in review.skipped]),
        ("Left out", [f"step {n}: {why or 'no reason'}" for n, why in review.left_out]),
        ("Out of order", [f"step {n} done before step {m}" for n, m in review.out_of_order]),
        ("Holds passed without a signature", [f"step {n}" for n in review.unsigned]),
        ("Readings not in band", [_reading_line(one, units) for one in review.readings]),
        ("Gauges not read", [f"step {n}: {gauge}" for n, gauge in review.not_read]),
        ("Let-by tests not passed", [f"step {n}: {fault}" for n, fault in review.let_by]),
        ("Bypass tests not passed", [f"step {n}: {fault}" for n, fault in review.drops]),
        (
            "Meters not closed",
            [
                f"{one.address or one.id} ({one.id}): {one.state}"
                + (f", {one.meters} meters" if one.meters > 1 else "")
                for one in review.open_meters
            ],
        ),
        (
            "The device's clock was set back",
            [f"before the entry of {time:%H:%M}" for time in review.clock_set_back],
        ),
    ):
        lines += _section(title, rows)
    if review.said_otherwise:
        lines.append(f"Of {review.said_otherwise} readings the page said something else than the plan gives.")
    return [*lines, "", *_stage_lines(review.stages)]


def _section(title: str, rows: Sequence[str]) -> Iterator[str]:
    if not rows:
        yield f"{title}: none"
        return
    yield f"{title}: {len(rows)}"
    yield from (f"  {row}" for row in rows[:_MOST_LINES])
    if len(rows) > _MOST_LINES:
        yield f"  and {len(rows) - _MOST_LINES} more"


def _reading_line(one: JudgedReading, units: Figures) -> str:
    expect = "no figure solved" if one.expect_mbar is None else f"expected {units.pressure(one.expect_mbar)}"
    mended = ", in band later" if one.mended else ""
    pressure = units.pressure(one.mbar)
    return f"step {one.step}, {one.gauge} at {one.time:%H:%M}: {pressure}, {expect}: {one.verdict}{mended}"


def _stage_lines(stages: Sequence[StageTime]) -> list[str]:
    rows = [("stage", "steps", "planned", "actual")]
    rows += [
        (
            one.stage or "–",
            f"{one.first} to {one.last}" if one.last > one.first else str(one.first),
            _minutes(one.planned_min),
            _minutes(one.actual_min),
        )
        for one in stages
    ]
    widths = [max(len(row[k]) for row in rows) for k in range(4)]
    return [
        f"{a.ljust(widths[0])}  {b.ljust(widths[1])}  {c.rjust(widths[2])}  {d.rjust(widths[3])}"
        for a, b, c, d in rows
    ]


def _minutes(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f} min"
