"""A recheck in the terminal: whether the plan holds, why not, what changed, who is touched."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.console import Console
from rich.padding import Padding
from rich.panel import Panel
from rich.text import Text

from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.recheck_words import RecheckWords, recheck_words
from netplan.outputs.terminal.column_layout import PLAIN, TableColumn, print_table
from netplan.outputs.terminal.wrapped_lines import print_lines, wrapped
from netplan.planfile.model import Plan
from netplan.planfile.recheck_answer import RecheckAnswer

__all__ = ["print_recheck"]

MOST_ROWS: Final = 30
"""Rows of a list that are printed; all of them are in the file (own)."""


def print_recheck(answer: RecheckAnswer, plan: Plan, console: Console, *, units: Figures = METRIC) -> None:
    """Print a recheck for people; text from the data is shown as it is, never as markup.

    Parameters
    ----------
    answer : RecheckAnswer
    plan : Plan
    console : rich.console.Console
    units : Figures
        How figures are written.
    """
    words = recheck_words(answer, plan, units)
    console.print(Text(words.title, style="bold"))
    console.print(
        Panel(Text(words.verdict, style="bold"), title="HOLDS" if answer.holds else "DOES NOT HOLD")
    )
    _facts(words, console)
    for subject, lines in words.against:
        _heading(console, subject)
        _lines(console, lines)
    _changes(words, console)
    _customers(words, console)
    for subject, lines in words.corrections:
        _heading(console, f"To correct in the pack: {subject.lower()}")
        _lines(console, lines)
    if words.readings:
        _heading(console, "Readings that are others than in the pack")
        _table(console, ("step", "gauge", "pack", "today"), words.readings)
    if words.states:
        _heading(console, "States of the work whose least kept meter inlet has moved")
        _table(console, ("state", "planned", "today", "at"), words.states)
    _heading(console, "Notes")
    _lines(console, words.notes)
    console.print(Panel(Text(answer.caution), title="Caution", border_style="bold"))


def _facts(words: RecheckWords, console: Console) -> None:
    beside = max((len(name) for name, _ in words.facts), default=0) + 2
    for name, value in words.facts:
        for line in wrapped(f"{name.ljust(beside)}{value}", console.width, more=beside):
            console.print(Text(line), soft_wrap=True)


def _changes(words: RecheckWords, console: Console) -> None:
    if not words.changes and not words.more_changes:
        return
    _heading(console, "Changed records near the work")
    for name, what, does in words.changes[:MOST_ROWS]:
        _hanging(console, "-", f"{name}: {what}", 2)
        if does:
            _hanging(console, "→", does, 4)
    _more(console, len(words.changes))
    if words.more_changes:
        _hanging(console, "-", words.more_changes, 2)


def _customers(words: RecheckWords, console: Console) -> None:
    if words.unknown:
        _heading(console, "Customers")
        _lines(console, (words.unknown,))
    if words.customers:
        _heading(console, "Customers whom the papers tell otherwise")
        _table(console, ("meter point", "address", "told", "today"), words.customers)


def _heading(console: Console, text: str) -> None:
    console.print(Text(f"\n{text}", style="bold"))


def _lines(console: Console, lines: Sequence[str]) -> None:
    for line in lines[:MOST_ROWS]:
        _hanging(console, "-", line, 2)
    _more(console, len(lines))


def _hanging(console: Console, mark: str, text: str, indent: int) -> None:
    print_lines(console, [f"{' ' * indent}{mark} {text}"])


def _table(console: Console, names: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    columns = [TableColumn(name, tuple(row[k] for row in rows[:MOST_ROWS])) for k, name in enumerate(names)]
    print_table(console, columns, lines=PLAIN)
    _more(console, len(rows))


def _more(console: Console, count: int) -> None:
    if count > MOST_ROWS:
        console.print(Padding(Text(f"… and {count - MOST_ROWS} more in the file"), (0, 0, 0, 2)))
