"""An explanation as lines of text: what is given, the arithmetic, and what the plan states."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from netplan.explain import (
    Explanation,
    FigureName,
    GivenValue,
    PathLength,
    SheetColumn,
    SheetTable,
    Sum,
    Worked,
    shown,
)
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.terminal.column_layout import aligned, aligned_blocks
from netplan.outputs.terminal.wrapped_lines import wrapped

__all__ = ["explanation_lines", "figure_lines"]

MOST_ROWS: Final = 30
"""Rows of a table that are shown where not all are asked for (own) [-]."""
METRIC_NOTE: Final = "The arithmetic is in metric units, as the plan is; US units stand in brackets."


def figure_lines(
    figures: Iterable[FigureName], *, width: int | None = None, units: Figures = METRIC
) -> list[str]:
    """Return the figures that can be explained, a line each.

    Parameters
    ----------
    figures : iterable of FigureName
    width : int, optional
        Width of the lines [characters]; as wide as they are when left out.
    units : Figures
        How figures are written.
    """
    rows = [(row.name, row.meaning, units.sentence(row.stated)) for row in figures]
    lines = aligned([("figure", "what it is", "the plan says"), *rows], right=())
    if width is None or max(map(len, lines)) <= width:
        return lines
    beside = max(len(name) for name, _, _ in rows) + 2
    return [
        line
        for name, meaning, stated in (("figure", "what it is", "what the plan says"), *rows)
        for line in wrapped(f"{name.ljust(beside)}{meaning}: {stated}", width, more=beside)
    ]


def explanation_lines(
    found: Explanation, *, width: int | None = None, units: Figures = METRIC, whole: bool = True
) -> list[str]:
    """Return an explanation as lines.

    Parameters
    ----------
    found : Explanation
    width : int, optional
        Width of the lines [characters]; as wide as they are when left out.
    units : Figures
        How figures are written; the arithmetic stays metric.
    whole : bool
        Whether every row of every table is shown; otherwise a way by pipe, and of others the first rows.
    """
    lines = list(_lines(found, _Layout(width, units, whole)))
    return lines if width is None else [row for line in lines for row in (wrapped(line, width) or [""])]


class _Layout:
    """How an explanation is laid out."""

    def __init__(self, width: int | None, units: Figures, whole: bool) -> None:
        self.width, self.units, self.whole = width, units, whole

    def value(self, value: float, unit: str) -> str:
        """Return a figure with its unit."""
        return self.units.sentence(f"{shown(value)} {unit}".rstrip())

    def table(
        self, head: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int]
    ) -> Iterator[str]:
        if self.width is None:
            lines = aligned([head, *rows], right=right)
        else:
            lines = aligned_blocks(head, rows, right, self.width - 2)
        yield from (f"  {line}".rstrip() for line in lines)


def _lines(found: Explanation, layout: _Layout) -> Iterator[str]:
    yield found.title
    yield f"{found.where}: {layout.value(found.stated, found.unit)}"
    if layout.units.name != "metric":
        yield METRIC_NOTE
    yield ""
    for part in found.parts:
        yield from _part_lines(part, layout)
    stated = layout.value(found.stated, found.unit)
    yield ""
    yield f"Result {layout.value(found.result, found.unit)}; the plan says {stated}."
    if not found.agrees:
        yield "THE TWO DIFFER by more than rounding: do not rely on this figure; make the plan again."
    if found.notes:
        yield from ("", "Notes", *(f"  - {note}" for note in found.notes))
    if found.sources:
        yield from ("", "Sources", *(f"  - {line}" for line in found.sources))
    yield ""
    yield "Planning figure only, never a permit."


def _part_lines(part: GivenValue | SheetTable | Sum | Worked, layout: _Layout) -> Iterator[str]:
    match part:
        case GivenValue():
            yield f"{part.name} = {layout.value(part.value, part.unit)}   {part.meaning}"
            yield f"    from {part.origin}"
        case Worked():
            meaning = f"   {part.meaning}" if part.meaning else ""
            yield ""
            yield f"{part.name} = {part.formula.words()}"
            yield f"  = {part.numbers}"
            yield f"  = {layout.value(part.value, part.unit)}{meaning}".rstrip()
        case Sum():
            meaning = f"   {part.meaning}" if part.meaning else ""
            value = layout.value(part.value, part.unit)
            yield f"{part.name} = sum of column {part.column} = {value}{meaning}"
        case SheetTable():
            yield from _table_lines(part, layout)


def _table_lines(table: SheetTable, layout: _Layout) -> Iterator[str]:
    yield ""
    yield f"{table.title} ({table.origin})"
    for column in table.columns:
        words = column.meaning
        if column.formula is not None:
            words = f"= {column.formula.words()}{'   ' + words if words else ''}"
        if words:
            unit = f" [{column.unit}]" if column.unit else ""
            yield f"  {column.name}{unit} {words}"
    if table.path and not layout.whole:
        yield f"  The {table.count} pieces by pipe, in the order the gas passes; every piece with --all"
        yield from layout.table(*_path_table(table.path, layout.units))
        return
    head = tuple(f"{c.name} [{c.unit}]" if c.unit else c.name for c in table.columns)
    count = table.count if layout.whole else min(table.count, MOST_ROWS)
    rows = [tuple(_cell(c, row) for c in table.columns) for row in range(count)]
    right = tuple(k for k, c in enumerate(table.columns) if not any(isinstance(v, str) for v in c.values))
    yield from layout.table(head, rows, right)
    if not rows:
        yield "  (none)"
    if count < table.count:
        yield f"  … and {table.count - count} more rows, all of them with --all"


def _path_table(
    path: Sequence[PathLength], units: Figures
) -> tuple[tuple[str, ...], list[tuple[str, ...]], tuple[int, ...]]:
    """Return head, rows and the columns that stand on the right of a way by pipe."""
    length, size, flow, pressure = (units.kind(what).sign for what in ("length", "size", "flow", "pressure"))
    head = (
        "way",
        f"length [{length}]",
        f"bore [{size}]",
        f"flow [{flow}]",
        f"drop [{pressure}]",
        f"at its end [{pressure}]",
    )
    rows: list[tuple[str, ...]] = []
    for row in path:
        flows = dict.fromkeys(units.bare("flow", one) for one in (row.first_flow_m3h, row.last_flow_m3h))
        rows.append(
            (
                row.name,
                units.bare("length", row.length_m),
                units.bare("size", row.bore_mm),
                " to ".join(flows),
                units.with_more_digits("pressure", 1).bare("pressure", row.drop_mbar),
                units.with_more_digits("pressure", 1).bare("pressure", row.end_mbar),
            )
        )
    return head, rows, tuple(range(1, len(head)))


def _cell(column: SheetColumn, row: int) -> str:
    value = column.values[row]
    return value if isinstance(value, str) else shown(value)
