"""The timeline as a picture: bars of the day's steps over the crews, the critical path, the latest cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Any, Final

from netplan.outputs.documents.svg_drawing import FONT
from netplan.outputs.item_words import clock
from netplan.planfile.model import Conditions, Option, Step, Timeline, TimelineBar

__all__ = ["timeline_drawing", "timeline_part"]

_LEFT_MM: Final = 34.0
_RIGHT_MM: Final = 3.0
_TOP_MM: Final = 16.0
_LANE_MM: Final = 8.6
_BAR_MM: Final = 4.0
_DIGIT_MM: Final = 1.35
_DROP_MM: Final = 3.6
_RANGE_MM: Final = 7.0
_NAME_ROWS: Final = 3
_TICK_MIN: Final = 60.0
_DAYS: Final = {"before": "earlier day", "day": "the day", "after": "afterwards"}


def timeline_part(option: Option, conditions: Conditions) -> dict[str, Any]:
    """Return the facts and the table of the timeline; empty where the plan holds none."""
    timeline = option.timeline
    if timeline is None or not timeline.bars:
        return {"timeline": None}
    by_n = {step.n: step for step in option.steps}
    order = ("before", "day", "after")
    bars = sorted(timeline.bars, key=lambda bar: (order.index(bar.day), bar.start_min, bar.n))
    return {
        "timeline": {
            "facts": _facts(timeline, conditions),
            "rows": [_row(bar, by_n.get(bar.n), conditions) for bar in bars],
        }
    }


def _facts(timeline: Timeline, conditions: Conditions) -> list[tuple[str, str]]:
    def at(minutes: float) -> str:
        return clock(conditions, minutes)

    rows = [("begins", at(0.0))]
    if timeline.off_from_min is not None:
        rows.append(("first meter off", at(timeline.off_from_min)))
    if timeline.latest_cut_min is not None:
        rows.append(("latest time to cut", timeline.latest_cut or at(timeline.latest_cut_min)))
    rows.append(("gas back", f"{at(timeline.gas_back_min)}; window ends {at(timeline.window_min)}"))
    if timeline.relit_min is not None:
        rows.append(("last meter relit", at(timeline.relit_min)))
    rows.append(("crew's day ends", f"{at(timeline.day_end_min)}, {timeline.slack_min:.0f} min left"))
    rows.append(("critical path", f"{timeline.path_min:.0f} min"))
    return rows


def _row(bar: TimelineBar, step: Step | None, conditions: Conditions) -> dict[str, Any]:
    on_day = bar.day == "day"
    return {
        "n": str(bar.n),
        "stage": "" if step is None else step.stage,
        "who": bar.crew,
        "day": _DAYS[bar.day],
        "from": clock(conditions, bar.start_min) if on_day else "",
        "to": clock(conditions, bar.end_min) if on_day else "",
        "minutes": f"{round(bar.end_min - bar.start_min, 1):g}",
        "critical": bar.critical,
        "hold": step is not None and step.hold,
    }


def timeline_drawing(option: Option, conditions: Conditions, width_mm: float = 265.0) -> str | None:
    """Return the day's bars over the crews as SVG; None where there is no timeline.

    Bars of one crew that overlap stand below each other. Critical ones are dark; numbers are those of the
    steps.
    """
    timeline = option.timeline
    bars = () if timeline is None else tuple(bar for bar in timeline.bars if bar.day == "day")
    if timeline is None or not bars:
        return None
    end = max(timeline.window_min, timeline.day_end_min, *(bar.end_min for bar in bars))
    first = min(0.0, *(bar.start_min for bar in bars))
    scale = (width_mm - _LEFT_MM - _RIGHT_MM) / max(end - first, 1.0)

    def x(minutes: float) -> float:
        return _LEFT_MM + (minutes - first) * scale

    rows = _rows(bars)
    lanes = sum(len(own) for _, own in rows)
    height = _TOP_MM + lanes * _LANE_MM + 7.0
    # Behind the bars, so that no line hides a number.
    parts = [_hours(first, end, x, height, conditions)]
    parts += _limits(timeline, conditions, x, _TOP_MM + lanes * _LANE_MM, width_mm)
    y = _TOP_MM
    for crew, own in rows:
        parts.append(_line(2.0, width_mm - _RIGHT_MM, y))
        parts.append(_text(2.0, y + 5.4, crew, 3.0))
        for lane in own:
            parts += [_bar(bar, x, y) for bar in lane] + _numbers(lane, x, y)
            y += _LANE_MM
    parts.append(_line(2.0, width_mm - _RIGHT_MM, y))
    size = f'width="{width_mm}mm" height="{height:.1f}mm" viewBox="0 0 {width_mm} {height:.1f}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(parts)}</svg>'


def _rows(bars: Sequence[TimelineBar]) -> list[tuple[str, list[list[TimelineBar]]]]:
    """Return crews with their lanes: in the order of their first step, no two bars of a lane overlapping."""
    crews: dict[str, list[list[TimelineBar]]] = {}
    for bar in sorted(bars, key=lambda one: (one.start_min, one.n)):
        lanes = crews.setdefault(bar.crew, [])
        free = next((lane for lane in lanes if lane[-1].end_min <= bar.start_min), None)
        if free is None:
            lanes.append([bar])
        else:
            free.append(bar)
    return list(crews.items())


def _bar(bar: TimelineBar, x: Any, y: float) -> str:
    left, wide = x(bar.start_min), _wide(bar, x)
    fill, ink = ("#d55e00", "white") if bar.critical else ("#cfe6f5", "black")
    stroke = f'stroke="black" stroke-width="{0.5 if bar.critical else 0.25}"'
    top = y + _DROP_MM
    shape = (
        f'<rect x="{left:.2f}" y="{top:.2f}" width="{wide:.2f}" height="{_BAR_MM}" fill="{fill}" {stroke}/>'
    )
    if not _holds_number(bar, x):
        return shape
    return shape + _text(left + wide / 2, top + 2.9, str(bar.n), 2.6, "middle", ink, bold=bar.critical)


def _wide(bar: TimelineBar, x: Any) -> float:
    return max(float(x(bar.end_min) - x(bar.start_min)), 0.5)


def _holds_number(bar: TimelineBar, x: Any) -> bool:
    return _wide(bar, x) >= len(str(bar.n)) * _DIGIT_MM + 0.8


def _numbers(lane: Sequence[TimelineBar], x: Any, y: float) -> list[str]:
    """Return the numbers of bars too short to hold them, above; those too near to each other as a range."""
    runs: list[list[TimelineBar]] = []
    for bar in lane:
        if _holds_number(bar, x):
            continue
        near = runs and x(bar.start_min) - x(runs[-1][0].start_min) < _RANGE_MM
        if near or (runs and x(bar.start_min) - x(runs[-1][-1].end_min) < _DIGIT_MM):
            runs[-1].append(bar)
        else:
            runs.append([bar])
    parts = []
    for run in runs:
        low, high = min(bar.n for bar in run), max(bar.n for bar in run)
        middle = (x(run[0].start_min) + x(run[-1].end_min)) / 2
        words = str(low) if low == high else f"{low}–{high}"
        parts.append(_text(middle, y + _DROP_MM - 0.6, words, 2.3, "middle"))
    return parts


def _hours(first: float, end: float, x: Any, height: float, conditions: Conditions) -> str:
    parts, minutes = [], -(-first // _TICK_MIN) * _TICK_MIN
    while minutes <= end:
        line = f"M{x(minutes):.2f} {_TOP_MM - 1.5}V{height - 7.0:.2f}"
        parts.append(f'<path d="{line}" stroke="#bbb" stroke-width="0.2"/>')
        parts.append(_text(x(minutes), _TOP_MM - 2.4, clock(conditions, minutes), 2.6, "middle"))
        minutes += _TICK_MIN
    return "".join(parts)


def _limits(timeline: Timeline, conditions: Conditions, x: Any, bottom: float, width_mm: float) -> list[str]:
    marks = [(timeline.gas_back_min, "gas back", "0.3 1"), (timeline.window_min, "window ends", "1 0.8")]
    marks.append((timeline.day_end_min, "crew's day ends", "1 0.8"))
    if timeline.latest_cut_min is not None:
        marks.append((timeline.latest_cut_min, "LATEST TIME TO CUT", "3 1"))
    lines: list[str] = []
    names: list[str] = []
    ends = [-math.inf] * _NAME_ROWS
    for minutes, words, dash in sorted(marks):
        # The latest cut is rounded to the safe side, and reads the same everywhere.
        time = timeline.latest_cut if words.isupper() and timeline.latest_cut else clock(conditions, minutes)
        at = f"{words} {time}"
        half = len(at) * (0.95 if words.isupper() else 0.72)
        place = min(max(x(minutes), half), width_mm - half)
        # The lowest row in which the name before it ends farther left.
        row = next((k for k, end in enumerate(ends) if place - half > end), _NAME_ROWS - 1)
        ends[row] = place + half
        y = 9.8 - 3.4 * row
        lines.append(
            f'<path d="M{x(minutes):.2f} {y + 0.7:.1f}V{bottom:.2f}" stroke="black" '
            f'stroke-width="{0.7 if words.isupper() else 0.4}" stroke-dasharray="{dash}"/>'
        )
        back = (
            f'<rect x="{place - half:.2f}" y="{y - 2.4:.1f}" width="{2 * half:.2f}" height="3" fill="white"/>'
        )
        names.append(back + _text(place, y, at, 2.8, "middle", bold=words.isupper()))
    # No line runs through a name.
    return lines + names


def _line(left: float, right: float, y: float) -> str:
    return f'<path d="M{left} {y:.2f}H{right:.2f}" stroke="#888" stroke-width="0.25"/>'


def _text(
    x: float,
    y: float,
    words: str,
    size: float,
    anchor: str = "start",
    ink: str = "black",
    *,
    bold: bool = False,
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size}" text-anchor="{anchor}" '
        f'fill="{ink}"{weight}>{escape(words, quote=True)}</text>'
    )
