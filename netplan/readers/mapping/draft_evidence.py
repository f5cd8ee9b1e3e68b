"""Draft of a mapping: what values say that a column holds: ids, references, sizes, years, pressure tiers."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pyarrow.compute as pc

from netplan.network.contract import Column
from netplan.network.recorded_years import year_of
from netplan.readers.mapping.draft_units import has_unit
from netplan.readers.mapping.source_survey import SurveyedColumn
from netplan.readers.mapping.unit_words import unit_factor
from netplan.readers.trade_words import likeness, meaning, plain, tokens
from netplan.reference.pipe_sizes import PipeMaterial
from netplan.reference.size_text import read_ratio, read_size

__all__ = [
    "doubtful_years",
    "holds_numbers",
    "is_machine_key",
    "likeness_to_id",
    "likeness_to_reference",
    "pressure_tier",
    "share_of_ids",
    "size_column",
    "size_gives",
]

_SEPARATORS: Final = (";", ",", "|", "/")
_ID_ENDINGS: Final = ("id", "nr", "no", "num", "nummer", "number", "numero", "key", "code")
_ID_BEGINNINGS: Final = ("num", "no", "nr", "id")
_FIRST: Final = tuple((word,) for word in _ID_BEGINNINGS)
_UNNAMED_ID: Final = 15.0
"""Likeness of a column with a value of its own for each feature, named a little like one."""

_MACHINE_KEYS: Final = ("objectid", "fid", "ogcfid", "gid", "gisid", "rowid", "oid", "shapeid", "featureid")
_MACHINE_KEY: Final = 5.0
"""Likeness of a key that a database gives and changes at every export: better than nothing."""

_REPEATED_ID: Final = 10.0
"""Likeness of a column named as an id of which some values are repeated: `check` then names them."""
_MOSTLY, _WHOLE_WORD = 0.9, 60.0
"""Share of different values from which a column may be meant for an id; likeness of a whole word."""

_ID_OF_LAYER: Final = 80.0
"""Likeness of a name that is a word for the layer and one for an id: Leidingnr, NUM_VANNE."""
_POINTED_AT: Final = 300.0
"""Likeness of a column of ids that another layer refers to."""
_SPREAD: Final = 0.5
"""Different values for each id from which a column may refer to another layer: house numbers do not."""
_NUMBER: Final = re.compile(r"[-+]?\d{1,12}(?:[.,]\d{1,12})*(?:[eE][-+]?\d{1,2})?")
_SHORT_DATE: Final = re.compile(r"\d{1,2}[./-](?:\d{1,2}[./-])?\d{2}")
"""A date without its century."""
_YEARS: Final = (1850.0, 2100.0)
_UNKNOWN_YEARS: Final = (1900.0, 1901.0, 2099.0)
"""Years that often stand for an unknown one (common practice)."""
_MOST_DOUBTFUL: Final = 200
_MATERIALS: Final[tuple[PipeMaterial, ...]] = ("", "pe", "steel", "iron")
_MOST_TEXTS: Final = 200
_MOSTLY_READABLE: Final = 0.6
_PRESSURE: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*([^\d\s.,].{0,19})")
_HIGHEST_LOW_MBAR: Final = 75.0
"""Up to this a system is low pressure whichever country counts (from memory) [mbar gauge]."""
_LOWEST_OTHER_MBAR: Final = 100.0
"""Above this it is none (from memory) [mbar gauge]."""
_POUNDS: Final = ("psi", "psig")
"""Units that the name of a tier keeps; every other one becomes bar."""


def is_machine_key(name: str) -> bool:
    """Return whether a name is that of a key that a database gives."""
    return plain(name) in _MACHINE_KEYS


def likeness_to_id(target: str, named: float, seen: SurveyedColumn, pointers: Sequence[Any]) -> float:
    """Return how much a column looks like the id of its layer; 0 for not at all.

    Parameters
    ----------
    target : str
        Layer of the contract.
    named : float
        Likeness of its name to what the trade calls an id.
    pointers : sequence of pyarrow array
        Texts of the columns of other layers that may refer to it.
    """
    name = plain(seen.name)
    if name in _MACHINE_KEYS:
        return _MACHINE_KEY if seen.is_unique else 0.0
    said = named or _UNNAMED_ID * (name.endswith(_ID_ENDINGS) or tokens(seen.name)[:1] in _FIRST)
    if said and any(likeness("layer", target, stem) >= _WHOLE_WORD for stem in _stems(name)):
        said = max(said, _ID_OF_LAYER)
    if seen.different < _MOSTLY * len(seen.texts):
        return 0.0
    pointed = _POINTED_AT * any(_refers(texts, seen.texts) for texts in pointers)
    if seen.is_unique:
        return said + pointed
    return _REPEATED_ID + pointed if said >= _WHOLE_WORD or pointed else 0.0


def likeness_to_reference(named: float, texts: Any, ids: Any) -> float:
    """Return how much a column looks like one that refers to another layer; 0 for not at all.

    Parameters
    ----------
    named : float
        Likeness of its name.
    texts, ids : pyarrow array
        Its values, and the ids of the other layer; None where nobody knows these.
    """
    share = share_of_ids(texts, ids)[0]
    if share <= 0.5:
        return 0.0
    # Where ids are plain numbers, house numbers are among them too.
    spread = _spread(texts, ids)
    return 500.0 * share + 100.0 * spread + named if named > 0 or spread >= _SPREAD else 0.0


def share_of_ids(texts: Any, ids: Any) -> tuple[float, str]:
    """Return which part of the values are ids of another layer, and what parts several in one value."""
    if ids is None or not len(ids):
        return 0.0, ""
    texts = texts.filter(pc.not_equal(texts, ""))
    best = (0.0, "")
    for separator in ("", *_SEPARATORS):
        if separator and not pc.any(pc.match_substring(texts, separator)).as_py():
            continue
        parts = pc.split_pattern(texts, pattern=separator).flatten() if separator else texts
        parts = pc.utf8_trim_whitespace(parts)
        parts = parts.filter(pc.not_equal(parts, ""))  # a separator may stand at the end too
        share = float(pc.mean(pc.is_in(parts, value_set=ids)).as_py() or 0.0)
        best = max(best, (share, separator), key=lambda pair: pair[0])
    return best


def _stems(name: str) -> list[str]:
    """Return what is left of a name without what says that it is an id."""
    ends = [name.removesuffix(word) for word in _ID_ENDINGS if name.endswith(word)]
    return [*ends, *(name.removeprefix(word) for word in _ID_BEGINNINGS if name.startswith(word))]


def _refers(texts: Any, ids: Any) -> bool:
    """Return whether the values of a column of another layer are mostly ids of this one, and many of them."""
    return share_of_ids(texts, ids)[0] > _MOSTLY and _spread(texts, ids) >= _SPREAD


def _spread(texts: Any, ids: Any) -> float:
    """Return how many different values a column has for each id that it could refer to."""
    given = texts.filter(pc.not_equal(texts, ""))
    return len(given.unique()) / max(min(len(given), len(ids)), 1)


def holds_numbers(column: Column, seen: SurveyedColumn) -> bool:
    """Return whether most texts hold numbers: with or without a unit, or ratios, or years.

    The others are told with each feature when the data is read, not left out with their column.
    """
    if column.name == "year" and seen.kind == "date":
        return True
    if column.name == "sdr" and seen.words:
        return all(_is_ratio(word) for word in seen.words)
    texts = [text for text in seen.texts.unique().to_pylist() if text][:_MOST_TEXTS]
    return bool(texts) and float(np.mean([_is_number(text, column) for text in texts])) >= _MOSTLY_READABLE


def _is_number(text: str, column: Column) -> bool:
    if column.name == "year" and (not np.isnan(year_of(text)) or _SHORT_DATE.fullmatch(text)):
        return True
    return bool(_NUMBER.fullmatch(text)) or has_unit(text, column)


def doubtful_years(seen: SurveyedColumn) -> dict[str, int]:
    """Return how often each value of a column of years stands there that a person has to read.

    These are years of two digits, and figures that stand for an unknown year or cannot be one.
    """
    each = pc.value_counts(seen.texts).to_pylist()
    counts = Counter({row["values"]: row["counts"] for row in each if _is_doubtful_year(row["values"])})
    counts.pop("", None)
    return dict(sorted(counts.most_common(_MOST_DOUBTFUL)))


def _is_doubtful_year(text: str) -> bool:
    year = year_of(text)
    if np.isnan(year):
        return True
    return not _YEARS[0] <= year <= _YEARS[1] or year in _UNKNOWN_YEARS


def _is_ratio(text: str) -> bool:
    try:
        read_ratio(text)
    except ValueError:
        return False
    return True


def size_column(layer: str, columns: Mapping[str, SurveyedColumn]) -> str:
    """Return the column that holds sizes as text: most of its different values can be read as one."""
    if layer not in ("mains", "services"):
        return ""
    scores = {
        name: share
        for name, seen in columns.items()
        if seen.kind == "text" and not seen.is_number and (share := _readable(seen)) >= _MOSTLY_READABLE
    }
    return max(sorted(scores), key=lambda name: scores[name], default="")


def size_gives(name: str, seen: SurveyedColumn) -> bool:
    """Return whether the texts of sizes give a column too: the diameter always, the material where named."""
    if name == "od_mm":
        return True
    return name == "material" and any(_materials(word) for word in seen.words)


def _materials(text: str) -> str:
    try:
        return read_size(text).material
    except ValueError:
        return ""


def _readable(seen: SurveyedColumn) -> float:
    words = list(seen.words) or [word for word in seen.texts.unique().to_pylist() if word][:_MOST_TEXTS]
    return float(np.mean([_is_size(word) for word in words])) if words else 0.0


def _is_size(text: str) -> bool:
    for stuff in _MATERIALS:
        try:
            read_size(text, stuff)
        except ValueError:
            continue
        return True
    return False


def pressure_tier(word: str) -> str | None:
    """Return the pressure system that a word means: a tier, or its pressure; None where nobody can tell.

    Parameters
    ----------
    word : str
        Such as ``low``, ``ND``, ``30 mbar(g)``, ``11 in WC``, ``4 bar``.
    """
    known = meaning("system", word)
    if known is not None:
        return known
    pressure = _PRESSURE.fullmatch(word.strip())
    if pressure is None:
        return None
    try:
        mbar = float(pressure[1].replace(",", ".")) * unit_factor(pressure[2], "mbar")
    except ValueError:
        return None
    if mbar <= _HIGHEST_LOW_MBAR:
        return "LP"
    if mbar <= _LOWEST_OTHER_MBAR:
        return None
    if pressure[2].strip().casefold() in _POUNDS:
        return f"{float(pressure[1].replace(',', '.')):g} psi"
    return f"{mbar / 1000.0:g} bar"
