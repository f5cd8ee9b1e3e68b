"""Formulas that are worked out from the same text that is printed.

A formula is written once, in names and ``+ - * / **``, ``sqrt``, ``exp``, ``log10`` and ``max``. It is
printed with names, printed with numbers, and worked out with the numbers as printed.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

__all__ = ["DIGITS", "Formula", "as_shown", "shown"]

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
