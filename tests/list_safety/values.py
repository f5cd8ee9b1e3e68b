"""Changes of values: other units, other cases, other words, other types, other spellings of ids."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import pandas as pd

from tests.list_safety.exports import Export
from tests.list_safety.mutant import Change, Mutant, Rng, UnfitError, names_of, pick, set_column

__all__ = [
    "UNITS",
    "other_ids",
    "other_type",
    "other_unit",
    "other_words",
    "part_in_other_unit",
    "recase_words",
]

UNITS: Final[dict[str, tuple[tuple[str, float], ...]]] = {
    "annual_kwh": (
        ("therms", 29.3071),
        ("MWh", 1000.0),
        ("MJ", 1 / 3.6),
        ("GJ", 277.778),
        ("m3 of gas", 10.5),
    ),
    "peak_kw": (("W", 0.001), ("BTU/h", 0.000293071), ("MW", 1000.0)),
    "outlet_mbar": (("bar", 1000.0), ("inH2O", 2.49089), ("psi", 68.9476), ("Pa", 0.01), ("kPa", 10.0)),
    "max_outlet_mbar": (("bar", 1000.0), ("psi", 68.9476), ("Pa", 0.01), ("kPa", 10.0)),
    "mop_mbar": (("bar", 1000.0), ("psi", 68.9476), ("kPa", 10.0), ("Pa", 0.01)),
    "od_mm": (("in", 25.4), ("cm", 10.0), ("m", 1000.0)),
    "bore_mm": (("in", 25.4), ("cm", 10.0)),
    "wall_mm": (("in", 25.4), ("cm", 10.0)),
    "depth_m": (("ft", 0.3048), ("cm", 0.01), ("mm", 0.001)),
    "capacity_m3h": (("ft3/h", 0.0283168), ("m3/s", 3600.0)),
}
"""Units that a column may be kept in, and how many of the contract's unit one of them is."""
_WORDS: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "status": {
        "live": ("active", "in service", "A", "1", "betrieb"),
        "abandoned": ("dead", "retired", "removed", "stillgelegt", "X", "out of use"),
        "proposed": ("planned", "design", "geplant"),
    },
    "system": {
        "LP": ("low pressure", "ND", "low", "27 mbar"),
        "MP": ("medium pressure", "MD", "1 bar", "IP"),
    },
    "state": {"open": ("O", "offen", "normally open"), "closed": ("C", "shut", "geschlossen", "NC", "zu")},
    "operable": {"yes": ("Y", "ja", "1", "ok"), "unknown": ("?", "not tested", ""), "no": ("N", "stuck")},
    "category": {
        "household": ("domestic", "H", "residential"),
        "public": ("municipal", "P"),
        "business": ("trade", "commercial"),
    },
    "material": {
        "PE100": ("PE 100", "HDPE", "plastic"),
        "PE80": ("PE 80", "MDPE", "polyethylene"),
        "steel": ("ST", "stahl"),
    },
    "priority": {
        "care_home": ("care home", "nursing", "Altenheim", "3", "vulnerable", "yes"),
        "medical": ("dialysis", "M", "oxygen user", "ja", "Y"),
        "school": ("School", "nursery", "S1"),
        "process": ("furnace", "P", "industrial"),
    },
    "kind": {
        "squeeze_mark": ("squeeze", "Abquetschstelle", "SQ"),
        "tee": ("T", "T-piece"),
        "cap": ("end", "plug"),
    },
    "excess_flow_valve": {"yes": ("Y", "fitted", "True"), "no": ("N", "none", "False")},
}
"""Other words of the trade for those of the contract."""
_YES: Final = {"yes": True, "no": False}


def _column(export: Export, rng: Rng, known: Any) -> tuple[str, str]:
    pair: tuple[str, str] = pick(rng, [pair for pair in export.column_of if pair[1] in known])
    return pair


def _floats(export: Export, layer: str, column: str) -> Any:
    return pd.to_numeric(export.values(layer, column), errors="coerce").to_numpy(float)


def _change(export: Export, kind: str, words: str, layer: str, column: str, rows: Any, *more: Any) -> Change:
    key = "station_id" if layer == "sensing_points" else "id"
    ids = (
        [str(v) for v in export.values(layer, key).iloc[np.flatnonzero(rows)]]
        if export.has(layer, key)
        else []
    )
    return Change(
        kind,
        f"{layer} {column}: {words}",
        frozenset([layer]),
        frozenset(names_of(export, layer, column) - {layer, export.layer_of[layer]}),
        frozenset(ids),
        rows=(layer, column, tuple(np.flatnonzero(rows).tolist()), *more),
    )


def other_unit(export: Export, rng: Rng) -> Mutant:
    """Keep a whole column in another unit."""
    layer, column = _column(export, rng, UNITS)
    unit, factor = pick(rng, UNITS[column])
    values = _floats(export, layer, column)
    after = set_column(export, layer, column, values / factor)
    rows = np.isfinite(values)
    if not rows.any():
        raise UnfitError
    return Mutant(
        export, after, _change(export, "a column in another unit", unit, layer, column, rows, factor)
    )


def part_in_other_unit(export: Export, rng: Rng) -> Mutant:
    """Keep a column in another unit for the features of one street, or of one side of the town."""
    layer, column = _column(export, rng, UNITS)
    unit, factor = pick(rng, UNITS[column])
    values = _floats(export, layer, column)
    rows, where = _part(export, layer, rng)
    rows &= np.isfinite(values)
    if not rows.any() or rows.all():
        raise UnfitError
    after = set_column(export, layer, column, np.where(rows, values / factor, values))
    words = f"{unit} on {int(rows.sum())} of {len(rows)}, {where}"
    return Mutant(
        export, after, _change(export, "part of a column in another unit", words, layer, column, rows, factor)
    )


def _part(export: Export, layer: str, rng: Rng) -> tuple[Any, str]:
    if export.has(layer, "street") and rng.random() < 0.5:
        streets = export.values(layer, "street").fillna("").astype(str)
        street = pick(rng, sorted(set(streets) - {""}))
        return (streets == street).to_numpy(), street
    x = export.frame(layer).geometry.centroid.x.to_numpy()
    return x <= np.quantile(x, float(rng.choice([0.3, 0.5, 0.7]))), "the west"


def recase_words(export: Export, rng: Rng) -> Mutant:
    """Write the words of a column in another case, or with blanks round them."""
    layer, column = _column(export, rng, (*_WORDS, "priority"))
    how = pick(rng, ("upper", "title", "lower", "blank after", "blank before"))
    changes: dict[str, Callable[[str], str]] = {
        "upper": str.upper,
        "title": str.title,
        "lower": str.lower,
        "blank after": lambda text: f"{text} ",
        "blank before": lambda text: f" {text}",
    }
    change = changes[how]
    rows = rng.random(len(export.frame(layer))) < float(rng.choice([1.0, 0.4]))
    values = [
        change(value) if flag and isinstance(value, str) and value else value
        for value, flag in zip(export.values(layer, column), rows, strict=True)
    ]
    after = set_column(export, layer, column, values)
    return Mutant(export, after, _change(export, "words in another case", how, layer, column, rows))


def other_words(export: Export, rng: Rng) -> Mutant:
    """Write another word of the trade for one word of a column, everywhere or on part of the features."""
    layer, column = _column(export, rng, _WORDS)
    held = list(export.values(layer, column))
    known = sorted({v for v in held if isinstance(v, str) and export.meant(column, v) in _WORDS[column]})
    word = pick(rng, known)
    new = str(pick(rng, _WORDS[column][export.meant(column, word)]))
    rows = np.array([value == word for value in held])
    if rng.random() < 0.3:
        rows &= rng.random(len(rows)) < 0.5
    if not rows.any():
        raise UnfitError
    values = [new if flag else value for value, flag in zip(held, rows, strict=True)]
    after = set_column(export, layer, column, values)
    words = f"{word!r} as {new!r} on {int(rows.sum())}"
    return Mutant(export, after, _change(export, "another word", words, layer, column, rows, word, new))


def other_type(export: Export, rng: Rng) -> Mutant:
    """Write numbers as text, with a comma or a unit; yes and no as flags or digits; years as dates."""
    kinds = ("decimal comma", "thousands comma", "thousands point", "unit", "flag", "date", "text", "float")
    how = str(pick(rng, kinds))
    if how == "flag":
        layer, column = _column(export, rng, ("operable", "excess_flow_valve", "service_regulator"))
        digits = rng.random() < 0.5
        meant = [_YES.get(export.meant(column, str(value))) for value in export.values(layer, column)]
        values: list[Any] = [None if flag is None else int(flag) if digits else flag for flag in meant]
    elif how == "date":
        layer, column = _column(export, rng, ("year",))
        values = [None if v != v else f"{int(v)}-06-01" for v in _floats(export, layer, column)]
    elif how == "float":
        layer, column = _column(export, rng, ("number", "service_id", "postcode", "id"))
        values = [_as_float(value) for value in export.values(layer, column)]
        if not any(isinstance(value, float) for value in values):
            raise UnfitError
        if not all(isinstance(value, float) for value in values):
            values = [str(value) if value is not None else None for value in values]
    else:
        layer, column = _column(export, rng, (*UNITS, "meters"))
        values = [None if v != v else _number_text(v, how, column) for v in _floats(export, layer, column)]
    rows = np.ones(len(values), dtype=bool)
    after = set_column(export, layer, column, values)
    mutant = Mutant(export, after, _change(export, "another type", how, layer, column, rows))
    if column != "id":
        return mutant
    written = {
        f"{v:.0f}" if isinstance(v, float) else str(v): str(old)
        for v, old in zip(values, export.values(layer, column), strict=True)
    }
    return mutant.about(ids=written)


def _as_float(value: Any) -> Any:
    text = str(value)
    return float(text) if text.isdigit() else value


def _number_text(value: float, how: str, column: str) -> str:
    if how == "decimal comma":
        return f"{value:.2f}".replace(".", ",")
    if how == "thousands comma":
        return f"{value:,.1f}"
    if how == "thousands point":
        return f"{value:,.0f}".replace(",", ".")
    if how == "unit":
        return f"{value:g} {column.rpartition('_')[2]}"
    return f"{value:g}"


def other_ids(export: Export, rng: Rng) -> Mutant:
    """Write the ids of a layer, or those that point at it, otherwise: case, zeros, blanks, a prefix."""
    layer, column = pick(
        rng,
        [
            pair
            for pair in (
                ("customers", "id"),
                ("customers", "service_id"),
                ("customers", "service_id"),
                ("services", "id"),
                ("mains", "id"),
                ("sensing_points", "station_id"),
                ("regulators", "id"),
                ("valves", "id"),
            )
            if export.has(*pair)
        ],
    )
    how = str(
        pick(
            rng,
            (
                "lower case",
                "no zeros",
                "blank after",
                "prefix",
                "zeros",
                "as a number",
                "dash",
                "joined by a comma",
            ),
        )
    )
    old = [None if v is None or v != v else str(v) for v in export.values(layer, column)]
    rows = np.array([bool(value) for value in old]) & (
        rng.random(len(old)) < float(rng.choice([1.0, 1.0, 0.3]))
    )
    new = [_written(v, how) if v and flag else v for v, flag in zip(old, rows, strict=True)]
    if new == old:
        raise UnfitError
    ids = {b: a for a, b in zip(old, new, strict=True) if a and b} if column == "id" else {}
    after = set_column(export, layer, column, new)
    change = _change(export, "ids written otherwise", how, layer, column, rows)
    touched = {
        "sensing_points": {"regulators"},
        "regulators": {"sensing_points"},
        "customers": {"services"},
        "services": {"customers"},
    }
    layers = change.layers | touched.get(layer, set())
    names = {word for value in (*old, *new) if value for word in value.split(";")}
    return Mutant(export, after, change).about(
        ids=ids, layers=frozenset(layers), features=change.features | names
    )


def _written(value: str, how: str) -> str:
    digits = value.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    letters = value[: len(value) - len(digits)]
    return {
        "lower case": value.lower(),
        "no zeros": f"{letters}{digits.lstrip('0') or '0'}",
        "blank after": f"{value} ",
        "prefix": f"net-{value}",
        "zeros": f"{letters}00{digits}",
        "as a number": digits or value,
        "dash": f"{letters}-{digits}",
        "joined by a comma": value.replace(";", ","),
    }[how]
