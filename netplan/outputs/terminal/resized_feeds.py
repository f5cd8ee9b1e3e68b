"""Bypasses sized anew, in the terminal: every size, whether it holds, and the smallest that does."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.feeds import Feed, FeedSize
from netplan.outputs.number_format import FIGURES_CAUTION, METRIC, Figures
from netplan.planfile.model import Bypass
from netplan.planning.resize import Resized, SizeRow, required_mbar

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
    units = _with_digits(found, units)
    if note:
        console.print(Text(note))
    planned = {bypass.id: bypass for bypass in found.problem.option.bypasses}
    for feed, rows in zip(found.feeds, found.rows, strict=True):
        console.print(_head(found, feed, planned.get(feed.label), units))
        console.print(_table(rows, units))
    for line in verdict_lines(found, units):
        console.print(Text(line, style="bold"))
    console.print(Text("Stops, customers off and opened valves are as planned. " + FIGURES_CAUTION))


def verdict_lines(found: Resized, units: Figures) -> list[str]:
    """Return for each bypass the smallest of the sizes offered that holds, or that none does and why."""
    units = _with_digits(found, units)
    at = f"at {units.temperature(found.air_temp_c)}"
    lines = []
    for feed, size, rows, planned in zip(
        found.feeds, found.in_use, found.rows, found.problem.planned, strict=True
    ):
        was = f"planned: {_size(planned, units)}"
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


def _with_digits(found: Resized, units: Figures) -> Figures:
    coldest = (row.coldest_c for rows in found.rows for row in rows)
    return units.telling_apart("temperature", [found.air_temp_c], coldest)


def _head(found: Resized, feed: Feed, planned: Bypass | None, units: Figures) -> Text:
    text = Text(f"{feed.label}: {feed.kind.value}, {units.length(feed.length_m)}", style="bold")
    if planned is not None:
        for word, place in (("from", planned.from_), ("to", planned.to)):
            text.append(f", {word} {place.main_id} at {units.chainage(place.chainage_m)}", style="")
    text.append(
        f"\nair {units.temperature(found.air_temp_c)}, a kept meter inlet needs "
        f"{units.needed(required_mbar(found.rules))}, hoses may run at "
        f"{units.text('speed', found.rules.bypass.velocity_max_m_s, 'down')}",
        style="",
    )
    return text


def _table(rows: tuple[SizeRow, ...], units: Figures) -> Table:
    sign = {kind: units.kind(kind).sign for kind in ("flow", "pressure", "speed", "temperature")}
    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("size", no_wrap=True)
    for name in (
        f"flow {sign['flow']}",
        f"drop {sign['pressure']}",
        f"velocity {sign['speed']}",
        f"from {sign['pressure']}",
        f"to {sign['pressure']}",
        f"coldest {sign['temperature']}",
    ):
        table.add_column(name, justify="right")
    table.add_column("holds?", overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in _cells(row, units)))
    return table


def _cells(row: SizeRow, units: Figures) -> tuple[str, ...]:
    coldest = units.bare("temperature", row.coldest_c, "up")
    holds = units.sentence(row.reason) or "holds"
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


def _size(size: FeedSize | None, units: Figures) -> str:
    if size is None:
        return NONE
    bore = units.size(size.bore_m * MM_PER_M)
    return bore if size.parallel == 1 else f"{size.parallel} × {bore}"
