"""Tables that read at the width of the terminal: no word is broken, and what has no room goes below."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rich import box
from rich.box import Box
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

__all__ = ["PLAIN", "TableColumn", "aligned", "aligned_blocks", "heading", "print_table", "tables_of"]

PLAIN: Final = box.SIMPLE_HEAD
_BAR: Final = " | "
_PADDING: Final = 2
"""Blanks beside a cell [characters]."""
_LEAST: Final = 4
"""A column is no narrower, whatever the terminal is (own) [characters]."""


@dataclass(frozen=True, slots=True)
class TableColumn:
    """A column: its heading, its cells, and whether these are figures, which stand on the right and whole."""

    name: str
    cells: tuple[str, ...]
    figures: bool = False

    @property
    def least(self) -> int:
        """The narrowest it can be without breaking a word [characters]."""
        cells = self.cells if self.figures else [word for cell in self.cells for word in cell.split()]
        return max(_LEAST, *(cell_len(word) for word in (*_words(self.name), *cells)))

    @property
    def widest(self) -> int:
        """The width that it needs to stand without a break [characters]."""
        return max(_LEAST, *(cell_len(text) for text in (*self.name.split("\n"), *self.cells)))


def heading(name: str, unit: str) -> str:
    """Return the heading of a column of quantities; a unit of two words stands in a line of its own."""
    return f"{name}\n{unit}" if " " in unit else f"{name} {unit}"


def _words(name: str) -> list[str]:
    lines = name.split("\n")
    return [*lines[0].split(), *lines[1:]]


def print_table(
    console: Console,
    columns: Sequence[TableColumn],
    *,
    title: str = "",
    lines: Box = box.HEAVY_HEAD,
    keys: int = 1,
) -> None:
    """Print a table; text from the data is shown as it is, never as markup.

    Parameters
    ----------
    console : rich.console.Console
    columns : sequence of TableColumn
        All with as many cells.
    title : str
    lines : rich.box.Box
    keys : int
        So many columns from the left name a row: they come again wherever the table goes on.
    """
    for table in tables_of(columns, console.width, title=title, lines=lines, keys=keys):
        console.print(table)


def tables_of(
    columns: Sequence[TableColumn],
    width: int,
    *,
    title: str = "",
    lines: Box = box.HEAVY_HEAD,
    keys: int = 1,
) -> list[Table]:
    """Return a table as one that fits a width, or as several, each with the columns that name a row.

    Parameters are those of `print_table`; `width` is in characters.
    """
    parts = list(_parts(columns, width, keys))
    return [
        _table(part, width, title if not place else f"{title}, further columns" if title else "", lines)
        for place, part in enumerate(parts)
    ]


def _parts(columns: Sequence[TableColumn], width: int, keys: int) -> Iterator[list[TableColumn]]:
    named, part = list(columns[:keys]), list(columns[:keys])
    for column in columns[keys:]:
        if len(part) > keys and _least(part) + column.least + _PADDING + 1 > width:
            yield part
            part = list(named)
        part.append(column)
    yield part


def _least(columns: Sequence[TableColumn]) -> int:
    return sum(column.least + _PADDING + 1 for column in columns) + 1


def _table(columns: Sequence[TableColumn], width: int, title: str, lines: Box) -> Table:
    table = Table(title=Text(title) if title else None, title_justify="left", box=lines)
    room = width - (_PADDING + 1) * len(columns) - 1
    for column, own in zip(columns, _widths(columns, room), strict=True):
        table.add_column(
            Text(column.name),
            justify="right" if column.figures else "left",
            overflow="fold",
            width=own,
        )
    for row in zip(*(column.cells for column in columns), strict=True):
        table.add_row(*map(Text, row))
    return table


def _widths(columns: Sequence[TableColumn], room: int) -> list[int]:
    """Share the room: no column narrower than its longest word, the others as wide as can be."""
    least, widest = [c.least for c in columns], [c.widest for c in columns]
    spare = room - sum(least)
    while spare > 0 and (wanting := [k for k in range(len(columns)) if least[k] < widest[k]]):
        # The column that has the most text for each character of its width is the tallest.
        tallest = max(wanting, key=lambda k: widest[k] / least[k])
        least[tallest] += 1
        spare -= 1
    if spare < 0:  # a word longer than the terminal is wide is broken: there is no other way
        least[least.index(max(least))] += spare
    return [max(own, _LEAST) for own in least]


def aligned(rows: Sequence[Sequence[str]], right: Collection[int]) -> list[str]:
    """Return rows as lines of text with columns between bars.

    Parameters
    ----------
    rows : sequence of sequence of str
        The heading first; all with as many cells.
    right : collection of int
        Columns whose cells stand on the right.
    """
    widths = [max(cell_len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        _BAR.join(
            cell.rjust(width) if k in right else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def aligned_blocks(
    head: Sequence[str], rows: Sequence[Sequence[str]], right: Collection[int], width: int
) -> list[str]:
    """Return rows as lines no wider than a width: columns that find no room follow below, by row number.

    Parameters
    ----------
    head : sequence of str
    rows : sequence of sequence of str
    right : collection of int
        Columns whose cells stand on the right.
    width : int
        [characters]

    Returns
    -------
    list of str
        A heading of two words and more takes two lines where it is wider than what stands under it.
    """
    names = [_two_lines(name, [row[k] for row in rows]) for k, name in enumerate(head)]
    over, under = [name[0] for name in names], [name[1] for name in names]
    table = [*([over] if any(over) else []), under, *rows]
    widths = [max(cell_len(row[k]) for row in table) for k in range(len(head))]
    if sum(widths) + len(_BAR) * (len(widths) - 1) <= width:
        return aligned(table, right)
    numbers = [*[""] * (len(table) - len(rows) - 1), "row", *(str(n) for n in range(1, len(rows) + 1))]
    first = max(map(len, numbers))
    lines: list[str] = []
    block: list[int] = []
    for k in [*range(len(head)), len(head)]:
        used = first + sum(widths[own] + len(_BAR) for own in block)
        if block and (k == len(head) or used + len(_BAR) + widths[k] > width):
            part = [
                [number, *(row[own] for own in block)] for number, row in zip(numbers, table, strict=True)
            ]
            stands = {0} | {place for place, own in enumerate(block, 1) if own in right}
            lines += [*([""] if lines else []), *aligned(part, stands)]
            block = []
        block.append(k)
    return lines


def _two_lines(name: str, cells: Sequence[str]) -> tuple[str, str]:
    """Return a heading in two lines where it is wider than its cells: the unit, or the last word, below."""
    if cell_len(name) <= max((cell_len(cell) for cell in cells), default=0) or " " not in name:
        return "", name
    over, bracket, unit = name.partition(" [")
    if bracket:
        return over, f"[{unit}"
    over, _, under = name.rpartition(" ")
    return over, under
