"""Draft of a mapping: which source column is meant for which column of the contract."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.network.contract import Column, LayerSpec, layer_specs
from netplan.network.priority_words import priority_reading
from netplan.readers.mapping.draft_evidence import (
    doubtful_years,
    holds_numbers,
    is_machine_key,
    likeness_to_id,
    likeness_to_reference,
    pressure_tier,
    share_of_ids,
    size_column,
    size_gives,
)
from netplan.readers.mapping.draft_layers import LayerGuess
from netplan.readers.mapping.draft_units import UNIT_OF_CONTRACT, UnitGuess, guess_unit, names_unit
from netplan.readers.mapping.mapping_file import GAP
from netplan.readers.mapping.source_survey import SurveyedColumn, SurveyedLayer
from netplan.readers.trade_words import likeness, meaning

__all__ = ["DraftColumn", "DraftFeed", "draft_feed", "references"]

_REFERENCES: Final = {"service_id": "services", "station_id": "regulators"}
_JOINED: Final = "street and number, joined"
_MOST_NAMED: Final = 4
_ONE_OF_ITS_UNIT: Final = ("annual_kwh", "peak_kw", "capacity_m3h")
"""Columns that are the only ones of their layer with such a unit."""
_NAMED_UNIT: Final = 10.0
"""Likeness of a column of numbers that only names such a unit."""

_BY_VALUES: Final = (
    "material",
    "surface",
    "status",
    "joint",
    "category",
    "state",
    "kind",
    "system",
    "priority",
)
"""Columns that are known by their words where no name says them; yes and no say too little."""
_KNOWN_SHARE, _KNOWN_WORDS = 0.6, 2
"""Share of the features with a known word from which a column is one of these, and how many known words."""
_SAYS_NOTHING: Final = ("", "unknown", "other")

_CONTRACT_OWN: Final = 200.0
"""Likeness of a column that has the contract's own name."""


@dataclass(frozen=True, slots=True)
class DraftColumn:
    """How one column of the contract is to be written into the draft.

    Parameters
    ----------
    source : str
        Column of the source, or a question mark.
    unit : UnitGuess
        Unit of its numbers; `UNIT_OF_CONTRACT` where it is that of the contract.
    words : dict
        Words of the source and what they mean, a question mark where nobody knows; empty for none.
    counts : dict
        How many features have each word.
    split : str
        What parts several ids; empty for nothing.
    decimal : str
        Decimal sign of numbers that stand as text.
    why : str
        From what it was guessed, or what may be meant; empty where the name says it.
    more : tuple of str
        Columns that are joined to the source.
    """

    source: str
    unit: UnitGuess = UNIT_OF_CONTRACT
    words: dict[str, str] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    split: str = ""
    decimal: str = "."
    why: str = ""
    more: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DraftFeed:
    """A feed of the draft.

    Parameters
    ----------
    guess : LayerGuess
        What it takes from where.
    columns : dict of DraftColumn
        Columns of the contract.
    size : str
        Column with sizes as text; empty for none.
    height : UnitGuess
        Unit of the heights; `UNIT_OF_CONTRACT` for metres or no heights.
    unused : tuple of str
        Columns that nobody uses.
    """

    guess: LayerGuess
    columns: dict[str, DraftColumn]
    size: str
    height: UnitGuess
    unused: tuple[str, ...]


def draft_feed(guess: LayerGuess, known_ids: dict[str, Any], pointers: Sequence[Any] = ()) -> DraftFeed:
    """Return the columns of a layer, guessed.

    Parameters
    ----------
    known_ids : dict
        Ids of layers that others point to, as Arrow arrays.
    pointers : sequence of pyarrow array
        Texts of the columns that may hold the ids of this layer.
    """
    columns = {column.name: column for column in _part(guess)}
    spec = layer_specs()[guess.target]
    size = size_column(guess.target, columns)
    taken = {guess.column, size} - {""}
    chosen = _chosen(guess, columns, taken, known_ids, pointers)
    told = _by_values(spec, columns, taken | set(chosen.values()), chosen)
    drafted: dict[str, DraftColumn] = {}
    for column in spec.columns:
        source = chosen.get(column.name)
        if source is not None:
            found = _drafted(guess.target, column, columns[source], guess.seen, known_ids)
            drafted[column.name] = replace(found, why=told.get(column.name, ""))
        elif column.name in told:
            drafted[column.name] = DraftColumn(GAP, why=told[column.name])
        elif column.name == "address" and {"street", "number"} <= set(chosen):
            drafted["address"] = DraftColumn(chosen["street"], why=_JOINED, more=(chosen["number"],))
        elif column.required == "yes" and not (size and size_gives(column.name, columns[size])):
            drafted[column.name] = DraftColumn(GAP, why=_perhaps(column, columns, chosen))
        elif column.name in _REFERENCES and (why := _perhaps(column, columns, chosen)):
            drafted[column.name] = DraftColumn(GAP, why=why)
    if not size and "od_mm" in drafted and not {"sdr", "wall_mm", "bore_mm"} & set(drafted):
        drafted["sdr"] = DraftColumn(GAP)
    unused = set(columns) - set(chosen.values()) - taken
    return DraftFeed(guess, drafted, size, _height(guess), tuple(sorted(unused)))


def references(guess: LayerGuess, feed: DraftFeed) -> Any:
    """Return the ids of a drafted layer."""
    column = feed.columns.get("id")
    texts = {seen.name: seen.texts for seen in _part(guess)}
    return texts.get(column.source if column else "", pa.array([], pa.string()))


def _part(guess: LayerGuess) -> tuple[SurveyedColumn, ...]:
    """Return the columns of the features that are meant."""
    if not guess.column:
        return guess.seen.columns
    rows = _rows(guess)
    parts = (column.part(rows) for column in guess.seen.columns)
    return tuple(part for part in parts if not part.is_empty)


def _rows(guess: LayerGuess) -> Any:
    if not guess.column:
        return pa.array(np.ones(guess.seen.count, dtype=bool))
    kind = next(column for column in guess.seen.columns if column.name == guess.column)
    # Those of which nobody knows yet may be meant too: their words are listed, not found out later.
    return pc.is_in(kind.texts, value_set=pa.array((*guess.words, *guess.open), pa.string()))


def _height(guess: LayerGuess) -> UnitGuess:
    """Return the unit of the heights of the features that are meant."""
    if guess.seen.height is None:
        return UNIT_OF_CONTRACT
    highest = guess.seen.height[np.asarray(_rows(guess).to_numpy(zero_copy_only=False))]
    if not np.isfinite(highest).any():
        return UNIT_OF_CONTRACT
    if not np.nanmax(highest):
        return UnitGuess("none", "because all heights are zero")
    return UnitGuess("ft", "because the coordinates are in feet") if guess.seen.in_feet else UNIT_OF_CONTRACT


def _chosen(
    guess: LayerGuess,
    columns: dict[str, SurveyedColumn],
    taken: set[str],
    known_ids: dict[str, Any],
    pointers: Sequence[Any],
) -> dict[str, str]:
    """Return the source column of each contract column: the most alike pair first, none used twice."""
    scores = [
        (score, place, name, column.name)
        for place, column in enumerate(layer_specs()[guess.target].columns)
        for name, seen in columns.items()
        if (score := _score(guess.target, column, seen, known_ids, pointers)) > 0 and name not in taken
    ]
    chosen: dict[str, str] = {}
    used: set[str] = set()
    for _, _, name, target in sorted(scores, key=lambda s: (-s[0], s[1], s[2])):
        if target not in chosen and name not in used:
            chosen[target] = name
            used.add(name)
    return chosen


def _perhaps(column: Column, columns: dict[str, SurveyedColumn], chosen: dict[str, str]) -> str:
    """Return which columns may be meant by an id or a reference that was not found; empty for none."""
    free = [seen for name, seen in columns.items() if name not in chosen.values()]
    if column.name == "id":
        some = [seen.name for seen in free if seen.is_unique and not is_machine_key(seen.name)]
        return f"a value of its own for each feature: {', '.join(some[:_MOST_NAMED])}" if some else ""
    if column.name in _REFERENCES:
        alike = [seen for seen in free if likeness("column", column.name, seen.name) > 0]
        some = [seen.name for seen in alike if 2 * seen.different > len(seen.texts)]
        of = _REFERENCES[column.name]
        return f"{', '.join(some)} by the name, but few of its values are ids of {of}" if some else ""
    return ""


def _by_values(
    spec: LayerSpec, columns: dict[str, SurveyedColumn], taken: set[str], chosen: dict[str, str]
) -> dict[str, str]:
    """Choose columns that no name says by their words; return why, or between which nobody can tell."""
    told: dict[str, str] = {}
    free = [seen for name, seen in columns.items() if name not in taken]
    for column in spec.columns:
        if column.name not in _BY_VALUES or column.name in chosen:
            continue
        alike = [seen.name for seen in free if _says(column, seen)]
        if len(alike) == 1:
            chosen[column.name] = alike[0]
            told[column.name] = "by its values, not by its name"
            free = [seen for seen in free if seen.name != alike[0]]
        elif alike:
            told[column.name] = f"{' or '.join(alike)}, by their values"
    return told


def _says(column: Column, seen: SurveyedColumn) -> bool:
    """Return whether the words of a column are mostly known ones of a column of the contract."""
    meant = {word: _meaning(column, word) for word in seen.words}
    known = {word for word, meaning in meant.items() if meaning is not None}
    telling = {meaning for meaning in meant.values() if meaning is not None} - set(_SAYS_NOTHING)
    share = sum(seen.words[word] for word in known) / max(sum(seen.words.values()), 1)
    # A pressure is known by one value; one word, such as street, may say many things.
    enough = 1 if column.name == "system" else _KNOWN_WORDS
    return share >= _KNOWN_SHARE and bool(telling) and len(known) >= enough


def _score(
    target: str, column: Column, seen: SurveyedColumn, known_ids: dict[str, Any], pointers: Sequence[Any]
) -> float:
    own = _CONTRACT_OWN if seen.name.casefold() == column.name else likeness("column", column.name, seen.name)
    if column.name == "id":
        return likeness_to_id(target, own, seen, pointers)
    if column.name in _REFERENCES:
        return likeness_to_reference(own, seen.texts, known_ids.get(_REFERENCES[column.name]))
    if column.kind == "number":
        own = own or _NAMED_UNIT * (column.name in _ONE_OF_ITS_UNIT and names_unit(column, seen.name))
        return own if own and (seen.kind == "number" or holds_numbers(column, seen)) else 0.0
    if column.kind == "word" and seen.words:
        known = [word for word in seen.words if _meaning(column, word) is not None]
        share = len(known) / len(seen.words)
        return own + 40.0 * share if own else 0.0
    return own if column.kind == "text" else 0.0


def _drafted(
    target: str, column: Column, seen: SurveyedColumn, layer: SurveyedLayer, known_ids: dict[str, Any]
) -> DraftColumn:
    if column.name in _REFERENCES:
        split = share_of_ids(seen.texts, known_ids.get(_REFERENCES[column.name]))[1]
        return DraftColumn(seen.name, split="" if split == ";" else split)
    if column.kind == "number":
        comma = seen.kind != "number" and bool(pc.any(pc.match_substring(seen.texts, ",")).as_py())
        unit = guess_unit(target, column, seen, in_feet=layer.in_feet)
        doubtful = doubtful_years(seen) if column.name == "year" else {}
        asked = dict.fromkeys(doubtful, GAP)
        return DraftColumn(seen.name, unit, asked, doubtful, decimal="," if comma else ".")
    listed = column.kind == "word" or column.name in ("priority", "system")
    if not listed or not seen.words or seen.kind == "flag":
        return DraftColumn(seen.name)
    counts: dict[str, int] = {}
    for word, count in seen.words.items():  # the reader takes words of another case for the same
        same = next((other for other in counts if other.lower() == word.lower()), word)
        counts[same] = counts.get(same, 0) + count
    meant = {word: _meaning(column, word) for word in counts}
    words = {word: GAP if meaning is None else meaning for word, meaning in meant.items()}
    fold = str if column.name == "system" else str.casefold  # systems of another case are others
    if all(fold(word) == fold(_meaning(column, word) or "") for word in seen.words):
        return DraftColumn(seen.name)
    return DraftColumn(seen.name, words=words, counts=counts)


def _meaning(column: Column, word: str) -> str | None:
    if column.name == "system":
        return pressure_tier(word)
    if column.name == "priority":
        reading, code = priority_reading(word)
        if reading in ("none", "reason"):
            return code
    own = {known.casefold(): known for known in column.words}
    return own.get(word.casefold()) or meaning(column.name, word)
