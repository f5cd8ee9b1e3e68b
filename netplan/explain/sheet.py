"""The sheet a figure is explained on: given numbers, tables, worked lines, and what the plan states."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from netplan.explain.arithmetic import Formula, as_shown

__all__ = [
    "Explanation",
    "ExplanationSheet",
    "GivenValue",
    "SheetColumn",
    "SheetTable",
    "Sum",
    "Worked",
    "read",
]

_ROUNDING_SLACK: Final = 1e-9


@dataclass(frozen=True, slots=True)
class GivenValue:
    """A number that a formula starts from.

    Parameters
    ----------
    name : str
        As in the formula.
    value : float
    unit : str
    meaning : str
        What it is, with gauge or absolute, standard or actual.
    origin : str
        Layer and feature, rule and its source, or table and source key.
    """

    name: str
    value: float
    unit: str
    meaning: str
    origin: str


@dataclass(frozen=True, slots=True)
class Worked:
    """A number worked out: name = formula = the same with numbers = value."""

    name: str
    formula: Formula
    numbers: str
    value: float
    unit: str
    meaning: str = ""


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """A column of a table: read from a layer, or worked out row by row where it has a formula.

    Parameters
    ----------
    name, unit : str
    values : tuple of (float or str)
    meaning : str
    formula : Formula or None
        Over the columns of the same row and what was given before.
    """

    name: str
    unit: str
    values: tuple[float | str, ...]
    meaning: str = ""
    formula: Formula | None = None

    def number(self, row: int) -> float:
        """Return the number in a row."""
        return float(self.values[row])


def read(name: str, unit: str, values: Iterable[float | str], meaning: str = "") -> SheetColumn:
    """Return a column of what was read, its numbers as printed."""
    return SheetColumn(
        name, unit, tuple(v if isinstance(v, str) else as_shown(float(v)) for v in values), meaning
    )


@dataclass(frozen=True, slots=True)
class SheetTable:
    """Rows of the same arithmetic.

    Parameters
    ----------
    title, origin : str
    columns : tuple of SheetColumn
    follows : tuple of (str, str)
        Columns whose value is another column's of the row before: (this one, that one).
    """

    title: str
    origin: str
    columns: tuple[SheetColumn, ...]
    follows: tuple[tuple[str, str], ...] = ()

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.columns[0].values) if self.columns else 0


@dataclass(frozen=True, slots=True)
class Sum:
    """The sum of a column of the table above."""

    name: str
    column: str
    value: float
    unit: str
    meaning: str = ""


@dataclass(frozen=True, slots=True)
class Explanation:
    """A figure explained.

    Parameters
    ----------
    figure, title : str
    parts : tuple of (GivenValue, SheetTable, Sum or Worked)
        In the order they are to be read.
    result : float
        Worked out here.
    unit : str
    stated : float
        What plan.json says.
    where : str
        Where it says so.
    within : float
        Most the two may differ: half a unit in the last digit that plan.json states, and what is said in
        `notes` about rounding in parts.
    notes, sources : tuple of str
        Limits of what is shown; published sources of the formulas, one line each.
    """

    figure: str
    title: str
    parts: tuple[GivenValue | SheetTable | Sum | Worked, ...]
    result: float
    unit: str
    stated: float
    where: str
    within: float
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the result is what the plan states, to its digits."""
        return abs(self.result - self.stated) <= self.within + _ROUNDING_SLACK * abs(self.stated)


@dataclass(slots=True)
class ExplanationSheet:
    """A sheet being written; numbers are kept as printed."""

    parts: list[GivenValue | SheetTable | Sum | Worked] = field(default_factory=list)
    known: dict[str, float] = field(default_factory=dict)

    def given(self, name: str, value: float, unit: str, meaning: str, origin: str) -> float:
        """Write down a given number and return it as printed."""
        self.known[name] = as_shown(value)
        self.parts.append(GivenValue(name, self.known[name], unit, meaning, origin))
        return self.known[name]

    def work(self, name: str, text: str, unit: str, meaning: str = "") -> float:
        """Work out a formula and return its value."""
        formula = Formula(text)
        value = formula.value(self.known)
        self.parts.append(Worked(name, formula, formula.numbers(self.known), value, unit, meaning))
        self.known[name] = value
        return value

    def table(self, table: SheetTable) -> None:
        """Write down a table."""
        self.parts.append(table)

    def sum(self, name: str, column: SheetColumn, unit: str, meaning: str = "") -> float:
        """Add up a column of numbers and return the sum."""
        total = as_shown(sum(value for value in column.values if not isinstance(value, str)))
        self.parts.append(Sum(name, column.name, total, unit, meaning))
        self.known[name] = total
        return total

    def numbers(self, columns: Iterable[SheetColumn], name: str) -> list[float]:
        """Return the numbers of the column of that name."""
        found = next(column for column in columns if column.name == name)
        return [float(value) for value in found.values if not isinstance(value, str)]

    def column(
        self, name: str, text: str, unit: str, columns: list[SheetColumn], meaning: str = ""
    ) -> SheetColumn:
        """Return a column worked out from others of the same rows and what was given."""
        formula = Formula(text)
        rows = range(len(columns[0].values))
        values = []
        for row in rows:
            own = {
                column.name: float(value)
                for column in columns
                if not isinstance(value := column.values[row], str)
            }
            values.append(formula.value(self.known | own))
        return SheetColumn(name, unit, tuple(values), meaning, formula)
