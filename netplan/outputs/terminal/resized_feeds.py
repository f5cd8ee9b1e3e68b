"""Bypasses sized again, in the terminal: every size, whether it holds, and the smallest that does."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rich.console import Console

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.feeds import Feed, FeedSize
from netplan.outputs.figures_for_rules import figures_for_rules
from netplan.outputs.number_format import FIGURES_CAUTION, METRIC, Figures
from netplan.outputs.terminal.column_layout import PLAIN, TableColumn, heading, print_table
from netplan.outputs.terminal.wrapped_lines import print_lines, print_list
from netplan.planfile.model import Bypass
from netplan.planning.resize import Resized, SizeRow, required_mbar
from netplan.planning.sizes_not_offered import WhyNot, sizes_not_offered

__all__ = ["print_resized"]

NONE = "none"


def print_resized(found: Resized, console: Console, *, units: Figures = METRIC, note: str = "") -> None:
    """Print the sizes of every bypass and the smallest that holds; text from the data is never markup.

    Parameters
    ----------
    found : Resized
    console : rich.console.Console
    units : Figures
        How figures are written.
    note : str
        What is to be said of how the order was read.
    """
    units = _with_digits(found, figures_for_rules(units, found.rules.values()))
    if note:
        print_lines(console, [note])
    planned = {bypass.id: bypass for bypass in found.problem.option.bypasses}
    at = f"at {units.temperature(found.air_temp_c)}"
    for place, (feed, rows) in enumerate(zip(found.feeds, found.rows, strict=True)):
        print_lines(console, _head(found, feed, planned.get(feed.label), units), bold_name=True)
        print_table(console, _columns(rows, units), lines=PLAIN)
        reasons = list(_why_not(rows, units))
        if reasons:
            print_list(console, f"Tried, and does not hold {at}", reasons)
        print_list(console, "Not offered", _not_offered(found, place, units))
    print_lines(console, verdict_lines(found, units), bold_name=True)
    print_lines(console, ["Stops, customers off and opened valves are as planned. " + FIGURES_CAUTION])


def verdict_lines(found: Resized, units: Figures) -> list[str]:
    """Return for each bypass the smallest of the sizes offered that holds, or that none does and why."""
    units = _with_digits(found, figures_for_rules(units, found.rules.values()))
    at = f"at {units.temperature(found.air_temp_c)}"
    lines = []
    for feed, size, rows, planned in zip(
        found.feeds, found.in_use, found.rows, found.problem.planned, strict=True
    ):
        was = f"planned: {_size(planned, units)}"
        if all(row.size is None or not _is_same(row.size, planned) for row in rows):
            was += ", not among the sizes tried"
        if not found.holds:
            lines.append(
                f"{feed.label}: no size of the list holds {at}: {units.sentence(rows[-1].reason)}; {was}"
            )
        elif size is None:
            lines.append(f"{feed.label}: everything holds {at} without it; {was}")
        else:
            smallest = f"the smallest of the sizes offered that holds {at} is {_size(size, units)}"
            lines.append(f"{feed.label}: {smallest}; {was}")
    return lines


def _is_same(size: FeedSize, other: FeedSize) -> bool:
    return size.parallel == other.parallel and math.isclose(size.bore_m, other.bore_m)


def _with_digits(found: Resized, units: Figures) -> Figures:
    coldest = (row.coldest_c for rows in found.rows for row in rows)
    return units.telling_apart("temperature", [found.air_temp_c], coldest)


def _head(found: Resized, feed: Feed, planned: Bypass | None, units: Figures) -> list[str]:
    line = f"{feed.label}: {feed.kind.value}, {units.length(feed.length_m)}"
    if planned is not None:
        for word, place in (("from", planned.from_), ("to", planned.to)):
            line += f", {word} {place.main_id} at {units.chainage(place.chainage_m)}"
    needs = (
        f"Air {units.temperature(found.air_temp_c)}; a kept meter inlet needs "
        f"{units.needed(required_mbar(found.rules))}; hoses may run at up to "
        f"{units.text('speed', found.rules.bypass.velocity_max_m_s, 'down')}"
    )
    return [line, needs]


def _columns(rows: Sequence[SizeRow], units: Figures) -> list[TableColumn]:
    sign = {kind: units.kind(kind).sign for kind in ("flow", "pressure", "speed", "temperature")}
    names = (
        "size",
        heading("flow", sign["flow"]),
        heading("drop", sign["pressure"]),
        heading("velocity", sign["speed"]),
        heading("from", sign["pressure"]),
        heading("to", sign["pressure"]),
        heading("coldest", sign["temperature"]),
        "holds",
    )
    cells = zip(*(_cells(row, units) for row in rows), strict=True)
    return [
        TableColumn(name, tuple(own), figures=name != "holds") for name, own in zip(names, cells, strict=True)
    ]


def _cells(row: SizeRow, units: Figures) -> tuple[str, ...]:
    coldest = units.bare("temperature", row.coldest_c, "up")
    holds = "no" if row.reason else "yes"
    if row.figures is None:
        return (NONE, *("–",) * 5, coldest, holds)
    of = row.figures
    return (
        _size(row.size, units),
        units.bare("flow", of.flow_m3_per_s_std * SECONDS_PER_HOUR, "up"),
        units.bare("pressure", of.drop_pa / PA_PER_MBAR),
        units.bare("speed", of.velocity_m_per_s, "up"),
        units.bare("pressure", of.pressure_from_pa_gauge / PA_PER_MBAR, "down"),
        units.bare("pressure", of.pressure_to_pa_gauge / PA_PER_MBAR, "down"),
        coldest,
        holds,
    )


def _why_not(rows: Sequence[SizeRow], units: Figures) -> Iterator[str]:
    """Yield the sizes tried that do not hold, those with one reason in one line."""
    by_reason: dict[str, list[str]] = {}
    for row in rows:
        if row.reason:
            by_reason.setdefault(row.reason, []).append(_size(row.size, units))
    for reason, sizes in by_reason.items():
        yield f"{', '.join(sizes)}: {units.sentence(reason)}"


def _not_offered(found: Resized, place: int, units: Figures) -> Iterator[str]:
    for row in sizes_not_offered(found, place):
        bores = ", ".join(units.bore(bore_mm) for bore_mm in row.bores_mm)
        match row.why:
            case WhyNot.MAIN:
                yield f"{bores}: wider than the bore of main {row.main_id}, {units.size(row.limit)}"
            case WhyNot.OUTLET:
                yield f"{bores}: does not fit the outlet at its ends, {units.bore(row.limit)} nominal"
            case WhyNot.TEES:
                yield f"more than {row.limit:.0f} side by side: no room on the main for more tees"
            case WhyNot.PARALLEL_RULE:
                yield f"more than {row.limit:.0f} side by side: beyond bypass.parallel_max of the rules"
            case WhyNot.NOT_ASKED:
                yield f"{bores}: in the rules' list, not among --bores"
            case WhyNot.LIST:
                yield f"every other bore: not in the list of bores tried ({bores}); try it with --bores"


def _size(size: FeedSize | None, units: Figures) -> str:
    if size is None:
        return NONE
    bore = units.bore(size.bore_m * MM_PER_M)
    return bore if size.parallel == 1 else f"{size.parallel} × {bore}"
