"""Which source column is meant for which column of the contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.network.contract import Column, layer_specs
from netplan.readers.mapping.draft.layers import Guess
from netplan.readers.mapping.draft.look import SeenColumn, SeenLayer
from netplan.readers.mapping.draft.readable import doubtful_years, says_numbers, size_column, size_says
from netplan.readers.mapping.draft.tiers import tier_of
from netplan.readers.mapping.draft.units import NOTHING, Unit, guess_unit, names_unit
from netplan.readers.mapping.model import GAP
from netplan.readers.vocabulary import likeness, meaning, plain

__all__ = ["DraftColumn", "DraftFeed", "draft_feed", "references"]

_REFERENCES: Final = {"service_id": "services", "station_id": "regulators"}
_SEPARATORS: Final = (";", ",", "|", "/")
_ID_ENDINGS: Final = ("id", "nr", "no", "num", "nummer", "number", "key", "code")
_UNNAMED_ID: Final = 15.0
"""Likeness of a column with a value of its own for each feature, whose name only ends like an id's."""

_MACHINE_KEYS: Final = ("objectid", "fid", "ogcfid", "gid", "rowid", "oid", "shapeid", "featureid")
_MACHINE_KEY: Final = 5.0
"""Likeness of a key that a database gives and changes at every export: better than nothing."""

_REPEATED_ID: Final = 10.0
"""Likeness of a column named as an id of which some values are repeated: `check` then names them."""

_MOSTLY, _WHOLE_WORD = 0.9, 60.0
"""Share of different values from which a column may be meant for an id; likeness of a whole word."""

_ONE_OF_ITS_UNIT: Final = ("annual_kwh", "peak_kw", "capacity_m3h")
"""Columns that are the only ones of their layer with such a unit."""
_NAMED_UNIT: Final = 10.0
"""Likeness of a column of numbers that only names such a unit."""

_CONTRACT_OWN: Final = 200.0
"""Likeness of a column that has the contract's own name."""


@dataclass(frozen=True, slots=True)
class DraftColumn:
    """How one column of the contract is to be written into the draft.

    Parameters
    ----------
    source : str
        Column of the source, or a question mark.
    unit : Unit
        Unit of its numbers; `NOTHING` where it is that of the contract.
    words : dict
        Words of the source and what they mean, a question mark where nobody knows; empty for none.
    counts : dict
        How many features have each word.
    split : str
        What parts several ids; empty for nothing.
    decimal : str
        Decimal sign of numbers that stand as text.
    """

    source: str
    unit: Unit = NOTHING
    words: dict[str, str] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    split: str = ""
    decimal: str = "."


@dataclass(frozen=True, slots=True)
class DraftFeed:
    """A feed of the draft.

    Parameters
    ----------
    guess : Guess
        What it takes from where.
    columns : dict of DraftColumn
        Columns of the contract.
    size : str
        Column with sizes as text; empty for none.
    height : Unit
        Unit of the heights; `NOTHING` for metres or no heights.
    unused : tuple of str
        Columns that nobody uses.
    """

    guess: Guess
    columns: dict[str, DraftColumn]
    size: str
    height: Unit
    unused: tuple[str, ...]


def draft_feed(guess: Guess, known_ids: dict[str, Any]) -> DraftFeed:
    """Return the columns of a layer, guessed.

    Parameters
    ----------
    known_ids : dict
        Ids of layers that others point to, as Arrow arrays.
    """
    columns = {column.name: column for column in _part(guess)}
    spec = layer_specs()[guess.target]
    size = size_column(guess.target, columns)
    taken = {guess.column, size} - {""}
    chosen = _chosen(guess, columns, taken, known_ids)
    drafted: dict[str, DraftColumn] = {}
    for column in spec.columns:
        source = chosen.get(column.name)
        if source is not None:
            drafted[column.name] = _drafted(guess.target, column, columns[source], guess.seen, known_ids)
        elif column.required == "yes" and not (size and size_says(column.name, columns[size])):
            drafted[column.name] = DraftColumn(GAP)
    if not size and "od_mm" in drafted and not {"sdr", "wall_mm", "bore_mm"} & set(drafted):
        drafted["sdr"] = DraftColumn(GAP)
    unused = set(columns) - set(chosen.values()) - taken
    return DraftFeed(guess, drafted, size, _height(guess), tuple(sorted(unused)))


def references(guess: Guess, feed: DraftFeed) -> Any:
    """Return the ids of a drafted layer."""
    column = feed.columns.get("id")
    texts = {seen.name: seen.texts for seen in guess.seen.columns}
    return texts.get(column.source if column else "", pa.array([], pa.string()))


def _part(guess: Guess) -> tuple[SeenColumn, ...]:
    """Return the columns of the features that are meant."""
    if not guess.column:
        return guess.seen.columns
    rows = _rows(guess)
    parts = (column.part(rows) for column in guess.seen.columns)
    return tuple(part for part in parts if not part.is_empty)


def _rows(guess: Guess) -> Any:
    if not guess.column:
        return pa.array(np.ones(guess.seen.count, dtype=bool))
    kind = next(column for column in guess.seen.columns if column.name == guess.column)
    return pc.is_in(kind.texts, value_set=pa.array(guess.words, pa.string()))


def _height(guess: Guess) -> Unit:
    """Return the unit of the heights of the features that are meant."""
    if guess.seen.height is None:
        return NOTHING
    highest = guess.seen.height[np.asarray(_rows(guess).to_numpy(zero_copy_only=False))]
    if not np.isfinite(highest).any():
        return NOTHING
    if not np.nanmax(highest):
        return Unit("none", "because all heights are zero")
    return Unit("ft", "because the coordinates are in feet") if guess.seen.in_feet else NOTHING


def _chosen(
    guess: Guess, columns: dict[str, SeenColumn], taken: set[str], known_ids: dict[str, Any]
) -> dict[str, str]:
    """Return the source column of each contract column: the most alike pair first, none used twice."""
    scores = [
        (score, place, name, column.name)
        for place, column in enumerate(layer_specs()[guess.target].columns)
        for name, seen in columns.items()
        if (score := _score(column, seen, known_ids)) > 0 and name not in taken
    ]
    chosen: dict[str, str] = {}
    used: set[str] = set()
    for _, _, name, target in sorted(scores, key=lambda s: (-s[0], s[1], s[2])):
        if target not in chosen and name not in used:
            chosen[target] = name
            used.add(name)
    return chosen


def _score(column: Column, seen: SeenColumn, known_ids: dict[str, Any]) -> float:
    own = _CONTRACT_OWN if seen.name.casefold() == column.name else likeness("column", column.name, seen.name)
    if column.name == "id":
        return _likeness_to_id(own, seen)
    if column.name in _REFERENCES:
        share = _share(seen, known_ids.get(_REFERENCES[column.name]))[0]
        return 500.0 * share if share > 0.5 else 0.0
    if column.kind == "number":
        own = own or _NAMED_UNIT * (column.name in _ONE_OF_ITS_UNIT and names_unit(column, seen.name))
        return own if own and (seen.kind == "number" or says_numbers(column, seen)) else 0.0
    if column.kind == "word" and seen.words:
        known = [word for word in seen.words if _meaning(column, word) is not None]
        share = len(known) / len(seen.words)
        return own + 40.0 * share if own else 0.0
    return own if column.kind == "text" else 0.0


def _likeness_to_id(named: float, seen: SeenColumn) -> float:
    name = plain(seen.name)
    if not seen.is_unique:
        is_id = name not in _MACHINE_KEYS and seen.different >= _MOSTLY * len(seen.texts)
        return _REPEATED_ID if is_id and named >= _WHOLE_WORD else 0.0
    if name in _MACHINE_KEYS:
        return _MACHINE_KEY
    return named or _UNNAMED_ID * name.endswith(_ID_ENDINGS)


def _share(seen: SeenColumn, ids: Any) -> tuple[float, str]:
    """Return which part of the values are ids of another layer, and what parts several in one value."""
    if ids is None or not len(ids):
        return 0.0, ""
    texts = seen.texts.filter(pc.not_equal(seen.texts, ""))
    best = (0.0, "")
    for separator in ("", *_SEPARATORS):
        if separator and not pc.any(pc.match_substring(texts, separator)).as_py():
            continue
        parts = pc.split_pattern(texts, pattern=separator).flatten() if separator else texts
        share = float(pc.mean(pc.is_in(pc.utf8_trim_whitespace(parts), value_set=ids)).as_py() or 0.0)
        best = max(best, (share, separator), key=lambda pair: pair[0])
    return best


def _drafted(
    target: str, column: Column, seen: SeenColumn, layer: SeenLayer, known_ids: dict[str, Any]
) -> DraftColumn:
    if column.name in _REFERENCES:
        split = _share(seen, known_ids.get(_REFERENCES[column.name]))[1]
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
    words = {word: _meaning(column, word) or GAP for word in counts}
    fold = str if column.name == "system" else str.casefold  # systems of another case are others
    if all(fold(word) == fold(_meaning(column, word) or GAP) for word in seen.words):
        return DraftColumn(seen.name)
    return DraftColumn(seen.name, words=words, counts=counts)


def _meaning(column: Column, word: str) -> str | None:
    if column.name == "system":
        return tier_of(word)
    own = {known.casefold(): known for known in column.words}
    return own.get(word.casefold()) or meaning(column.name, word)
