"""Draft of a mapping: units of number columns, by their names or values; else they are asked for."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.network.contract import Column
from netplan.network.probable_values import ProbableRange, probable_ranges, unit_explanations
from netplan.readers.mapping.mapping_file import GAP
from netplan.readers.mapping.source_survey import SurveyedColumn
from netplan.readers.mapping.unit_words import unit_factor
from netplan.readers.trade_words import tokens

__all__ = ["UNIT_OF_CONTRACT", "UnitGuess", "guess_unit", "has_unit", "names_unit"]

_WITH_UNIT: Final = re.compile(r"[-+]?\d+(?:[.,]\d+)*\s*([^\d\s.,].*)")
_MOST_NAMED: Final = 3
_NAMED: Final[dict[str, tuple[tuple[tuple[str, ...], str], ...]]] = {
    "mm": (
        (("mm",), ""),
        (("millimeter",), ""),
        (("cm",), "cm"),
        (("inch",), "in"),
        (("inches",), "in"),
        (("zoll",), "in"),
        (("in",), "in"),
    ),
    "m": (
        (("mm",), "mm"),
        (("cm",), "cm"),
        (("ft",), "ft"),
        (("feet",), "ft"),
        (("inch",), "in"),
        (("inches",), "in"),
        (("m",), ""),
        (("meter",), ""),
        (("in",), "in"),
    ),
    "mbar": (
        (("mbar",), ""),
        (("mbarg",), ""),
        (("m", "bar"), ""),
        (("hpa",), ""),
        (("h", "pa"), ""),
        (("in", "wc"), "inH2O"),
        (("in", "w", "c"), "inH2O"),
        (("in", "h", "2", "o"), "inH2O"),
        (("inwc",), "inH2O"),
        (("iwc",), "inH2O"),
        (("mmws",), "mmH2O"),
        (("mm", "ws"), "mmH2O"),
        (("mm", "h", "2", "o"), "mmH2O"),
        (("psig",), "psig"),
        (("psi",), "psi"),
        (("kpa",), "kPa"),
        (("k", "pa"), "kPa"),
        (("pa",), "Pa"),
        (("bar",), "bar"),
        (("barg",), "bar"),
    ),
    "kWh/a": (
        (("kwh",), ""),
        (("k", "wh"), ""),
        (("mwh",), "MWh per year"),
        (("m", "wh"), "MWh per year"),
        (("therms",), "therms per year"),
        (("therm",), "therms per year"),
        (("mmbtu",), "MMBtu per year"),
        (("mm", "btu"), "MMBtu per year"),
        (("dth",), "dth per year"),
        (("gj",), "GJ per year"),
        (("mj",), "MJ per year"),
    ),
    "kW": (
        (("kw",), ""),
        (("k", "w"), ""),
        (("mw",), "MW"),
        (("btuh",), "BTU/h"),
        (("btu", "h"), "BTU/h"),
        (("btu", "hr"), "BTU/h"),
        (("bt", "uh"), "BTU/h"),
        (("mbh",), "MBH"),
        (("kbtuh",), "MBH"),
        (("k", "btuh"), "MBH"),
        (("k", "btu", "h"), "MBH"),
    ),
    "m3/h": (
        (("m", "3", "h"), ""),
        (("cmh",), ""),
        (("nm", "3", "h"), "Nm3/h"),
        (("cfh",), "ft3/h"),
        (("scfh",), "ft3/h"),
    ),
}
"""What words in the name of a column say of its unit, by the unit of the contract; see `tokens`."""
_THOUSANDS: Final = ("k", "m")
"""Letters that, before a unit of energy, pressure or flow, may mean a multiple of it."""
_WEAK: Final = (("in",), ("m",), ("pa",))
"""Words that are a unit only where they end a name that holds no other: ``Cover in cm``, ``PA_MBAR``."""
_VOLUMES: Final[tuple[tuple[tuple[str, ...], str], ...]] = (
    (("m", "3"), "m3"),
    (("nm", "3"), "Nm3"),
    (("ccf",), "ccf"),
    (("mcf",), "mcf"),
)


@dataclass(frozen=True, slots=True)
class UnitGuess:
    """A unit as recorded, empty for that of the contract, and why."""

    word: str
    why: str = ""


UNIT_OF_CONTRACT: Final = UnitGuess("")


def guess_unit(layer: str, column: Column, seen: SurveyedColumn, *, in_feet: bool) -> UnitGuess:
    """Return the unit of a column as its name or values say it, else a question mark and what is probable.

    Parameters
    ----------
    layer : str
        Layer of the contract.
    column : Column
        Column of the contract.
    seen : SurveyedColumn
        Column of the source.
    in_feet : bool
        Whether the coordinates are in feet.
    """
    if column.unit not in _NAMED:
        return UNIT_OF_CONTRACT
    named = _by_name(column, seen.name)
    if len(named) == 1 and named[0] != GAP:
        return UnitGuess(named[0], "by the name")
    if named:
        return UnitGuess(GAP, f"the name says {' and '.join(word or column.unit for word in named)}")
    texts = seen.texts.unique().to_pylist()
    if all(has_unit(text, column) for text in texts if text):
        return UnitGuess("", "by the values")
    return UnitGuess(GAP, _hint(layer, column, seen, in_feet))


def names_unit(column: Column, name: str) -> bool:
    """Return whether a name names a unit that measures what the column holds."""
    return bool(_by_name(column, name))


def _by_name(column: Column, name: str) -> list[str]:
    """Return the units that a name names, each once."""
    own = tokens(name)
    found: list[tuple[tuple[str, ...], str]] = []
    taken: set[int] = set()
    for words, unit in sorted(_NAMED[column.unit], key=lambda pair: -len(pair[0])):
        for at in range(len(own) - len(words) + 1):
            places = set(range(at, at + len(words)))
            if own[at : at + len(words)] == words and not places & taken:
                taken |= places
                multiple = at > 0 and own[at - 1] in _THOUSANDS and column.unit not in ("mm", "m")
                found.append((words, GAP if multiple else unit))
    strong = [unit for words, unit in found if words not in _WEAK]
    weak = [unit for words, unit in found if words in _WEAK and own[-1:] == words]
    return list(dict.fromkeys(strong or weak))


def has_unit(text: str, column: Column) -> bool:
    """Return whether a text is a number with a unit that measures what the column holds."""
    written = _WITH_UNIT.fullmatch(text)
    if written is None or len(text) > 40:
        return False
    try:
        unit_factor(written[1], column.unit)
    except ValueError:
        return False
    return True


def _hint(layer: str, column: Column, seen: SurveyedColumn, in_feet: bool) -> str:
    """Return which units would make the values probable; it is no answer."""
    if column.unit == "kWh/a":
        own = tokens(seen.name)
        for words, unit in _VOLUMES:
            if any(own[at : at + len(words)] == words for at in range(len(own) - len(words) + 1)):
                return f"the name says a volume: write unit = {unit} and kwh_per_m3 = energy of your gas"
    numbers = seen.numbers()
    feet = "; the coordinates are in feet" if in_feet and column.unit in ("m", "mm") else ""
    if not len(numbers):
        return f"some values name their unit, others do not{feet}"
    median = float(np.median(numbers))
    some = _probable(layer, column, median)
    told = f"probable would be {', or '.join(some)}" if some else "no usual unit would be probable"
    return f"no unit is named; the median is {median:g}: {told}{feet}"


def _probable(layer: str, column: Column, median: float) -> list[str]:
    ranges = [each for each in probable_ranges() if (each.layer, each.column) == (layer, column.name)]
    words: list[str] = []
    for probable in ranges[:1]:
        words = [column.unit.removesuffix("/a")] * probable.holds(median) + _others(median, probable)
    return words[:_MOST_NAMED]


def _others(median: float, probable: ProbableRange) -> list[str]:
    own = probable.unit.removesuffix("/a")
    return [one.unit for one in unit_explanations(median, probable) if one.read_as == own]
