"""The sheet a figure is explained on: formulas, given numbers, tables, worked lines, what the plan states."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from netplan.explain.path_lengths import PathLength

__all__ = [
    "DIGITS",
    "Explanation",
    "ExplanationSheet",
    "Formula",
    "GivenValue",
    "SheetColumn",
    "SheetTable",
    "Sum",
    "Worked",
    "as_shown",
    "read",
    "shown",
]


DIGITS: Final = 10
"""Significant figures that numbers are printed and worked out with: those of a pocket calculator."""

_FUNCTIONS: Final[dict[str, Callable[..., float]]] = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "log10": math.log10,
    "max": max,
}
_SIGNS: Final = {ast.Add: (" + ", 1), ast.Sub: (" − ", 1), ast.Mult: (" × ", 2), ast.Div: (" / ", 2)}
_POWERS: Final = {2: "²", 3: "³", 4: "⁴", 5: "⁵"}
_POWER_LEVEL: Final = 3


def shown(value: float) -> str:
    """Return a number as it is printed: up to ten significant figures, no trailing zeros."""
    return f"{value:.{DIGITS}g}".replace("-", "−").replace("e+", "e")


def as_shown(value: float) -> float:
    """Return the number that its printed form stands for."""
    return float(f"{value:.{DIGITS}g}")


@dataclass(frozen=True, slots=True)
class Formula:
    """An expression over names.

    Parameters
    ----------
    text : str
        Such as ``"pi / 4 * d**2"``. ``pi`` is the circle's number; every other name is looked up.
    """

    text: str

    def _tree(self) -> ast.expr:
        return ast.parse(self.text, mode="eval").body

    def value(self, of: Mapping[str, float]) -> float:
        """Return the value with these numbers, each taken as printed, and rounded as printed."""
        return as_shown(_value(self._tree(), {name: as_shown(number) for name, number in of.items()}))

    def words(self) -> str:
        """Return the formula in names."""
        return _text(self._tree(), lambda name: "π" if name == "pi" else name)

    def numbers(self, of: Mapping[str, float]) -> str:
        """Return the formula with the numbers in place of the names."""

        def number(name: str) -> str:
            text = shown(math.pi if name == "pi" else of[name])
            return f"({text})" if text.startswith("−") else text

        return _text(self._tree(), number)


def _value(node: ast.expr, of: Mapping[str, float]) -> float:
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number)
        case ast.Name(id="pi"):
            return as_shown(math.pi)
        case ast.Name(id=name):
            return of[name]
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return -_value(inner, of)
        case ast.Call(func=ast.Name(id=name), args=parts):
            return _FUNCTIONS[name](*(_value(part, of) for part in parts))
        case ast.BinOp(left=left, op=op, right=right):
            return _joined(op, _value(left, of), _value(right, of))
        case _:
            raise TypeError(f"formula: {ast.unparse(node)!r} is no arithmetic")


def _joined(op: ast.operator, a: float, b: float) -> float:
    match op:
        case ast.Add():
            return a + b
        case ast.Sub():
            return a - b
        case ast.Mult():
            return a * b
        case ast.Div():
            return a / b
        case ast.Pow():
            return float(a**b)
        case _:
            raise TypeError(f"formula: {op!r} is no arithmetic")


def _text(node: ast.expr, name_of: Callable[[str], str], level: int = 0) -> str:
    match node:
        case ast.Constant(value=int() | float() as number):
            return shown(float(number))
        case ast.Name(id=name):
            return name_of(name)
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return f"(−{_text(inner, name_of, _POWER_LEVEL)})"
        case ast.Call(func=ast.Name(id=function), args=parts):
            inside = ", ".join(_text(part, name_of) for part in parts)
            return f"√({inside})" if function == "sqrt" else f"{function}({inside})"
        case ast.BinOp(left=left, op=ast.Pow(), right=ast.Constant(value=int() as power)):
            return f"{_text(left, name_of, _POWER_LEVEL + 1)}{_POWERS[power]}"
        case ast.BinOp(left=left, op=op, right=right):
            sign, own = _SIGNS[type(op)]
            # The right side of − and / keeps its parentheses.
            text = f"{_text(left, name_of, own)}{sign}{_text(right, name_of, own + 1)}"
            return f"({text})" if own < level else text
        case _:
            raise TypeError(f"formula: {ast.unparse(node)!r} is no arithmetic")


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
    path : tuple of PathLength
        The same rows by pipe, for who does not want every piece; empty where they are no way.
    """

    title: str
    origin: str
    columns: tuple[SheetColumn, ...]
    follows: tuple[tuple[str, str], ...] = ()
    path: tuple[PathLength, ...] = ()

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
