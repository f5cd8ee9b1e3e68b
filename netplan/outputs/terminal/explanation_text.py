"""An explanation as lines of text: what is given, the arithmetic, and what the plan states."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap
from typing import Final

from netplan.explain import Explanation, FigureName, GivenValue, SheetColumn, SheetTable, Sum, Worked, shown

__all__ = ["explanation_lines", "figure_lines"]

_WIDTH: Final = 110


def figure_lines(figures: Iterable[FigureName]) -> list[str]:
    """Return the figures that can be explained, a line each."""
    rows = [(row.name, row.meaning, row.stated) for row in figures]
    return _aligned([("figure", "what it is", "the plan says"), *rows], right=())


def explanation_lines(found: Explanation) -> list[str]:
    """Return an explanation as lines."""
    lines = [found.title, f"{found.where}: {shown(found.stated)} {found.unit}", ""]
    for part in found.parts:
        lines += list(_part_lines(part))
    lines += [
        "",
        f"Result {shown(found.result)} {found.unit}; the plan says {shown(found.stated)} {found.unit}.",
    ]
    if not found.agrees:
        lines.append("THE TWO DIFFER by more than rounding: do not rely on this figure; make the plan again.")
    if found.notes:
        lines += ["", "Notes"]
        for note in found.notes:
            lines += wrap(note, _WIDTH, initial_indent="  - ", subsequent_indent="    ")
    if found.sources:
        lines += ["", "Sources", *(f"  {line}" for line in found.sources)]
    lines += ["", "Planning figure only, never a permit."]
    return lines


def _part_lines(part: GivenValue | SheetTable | Sum | Worked) -> Iterator[str]:
    match part:
        case GivenValue():
            unit = f" {part.unit}" if part.unit else ""
            yield f"{part.name} = {shown(part.value)}{unit}   {part.meaning}"
            yield f"    from {part.origin}"
        case Worked():
            meaning = f"   {part.meaning}" if part.meaning else ""
            yield ""
            yield f"{part.name} = {part.formula.words()}"
            yield f"  = {part.numbers}"
            yield f"  = {shown(part.value)} {part.unit}{meaning}".rstrip()
        case Sum():
            meaning = f"   {part.meaning}" if part.meaning else ""
            yield f"{part.name} = sum of column {part.column} = {shown(part.value)} {part.unit}{meaning}"
        case SheetTable():
            yield from _table_lines(part)


def _table_lines(table: SheetTable) -> Iterator[str]:
    yield ""
    yield f"{table.title} ({table.origin})"
    for column in table.columns:
        words = column.meaning
        if column.formula is not None:
            words = f"= {column.formula.words()}{'   ' + words if words else ''}"
        if words:
            unit = f" [{column.unit}]" if column.unit else ""
            yield f"  {column.name}{unit} {words}"
    head = tuple(f"{c.name} [{c.unit}]" if c.unit else c.name for c in table.columns)
    rows = [tuple(_cell(c, row) for c in table.columns) for row in range(table.count)]
    right = tuple(k for k, c in enumerate(table.columns) if not any(isinstance(v, str) for v in c.values))
    yield from (f"  {line}" for line in _aligned([head, *rows], right=right))
    if not rows:
        yield "  (none)"


def _cell(column: SheetColumn, row: int) -> str:
    value = column.values[row]
    return value if isinstance(value, str) else shown(value)


def _aligned(rows: list[tuple[str, ...]], right: tuple[int, ...]) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        " | ".join(
            cell.rjust(width) if k in right else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
