"""Features that no feed of a mapping takes, conditions that miss, and ids in two source layers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.core.arrays import Flags
from netplan.core.findings import Severity
from netplan.network.contract import BASE_LAYERS
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import column_text
from netplan.network.raw_layers import RawLayer
from netplan.network.text_column import TextColumn
from netplan.readers.mapping.mapped_columns import RESTRICTED
from netplan.readers.mapping.mapped_texts import joined, matching, word_of
from netplan.readers.mapping.mapping_file import GAP, Condition, MappedSource
from netplan.readers.name_matching import in_one_line

__all__ = ["CLASHING_ID", "SourcePart", "note_features_not_taken", "note_missed_words", "note_shared_ids"]

CLASHING_ID: Final = "clashing-id"
"""Code of an id that stands in two source layers of one layer of the contract."""

_MOST_VALUES: Final = 8
"""Values that are named with their numbers of features; the rest is counted."""


@dataclass(frozen=True, slots=True, eq=False)
class SourcePart:
    """What a feed takes of a source layer.

    Parameters
    ----------
    layer : str
        Layer of the contract.
    number : int
        Number of the feed among those of the layer, from 1.
    feed : MappedSource
        The feed.
    rows : bool array
        Features of the source layer that it takes.
    """

    layer: str
    number: int
    feed: MappedSource
    rows: Flags

    @property
    def conditions(self) -> list[Condition]:
        """The conditions whose column is known."""
        return [condition for condition in self.feed.where if condition.column != GAP]


def note_features_not_taken(
    name: str, raw: RawLayer, parts: Sequence[SourcePart], known: Mapping[str, str], notes: FindingLog
) -> None:
    """Notice how many features of a source layer no feed takes, and what the conditions say of them.

    Features that the mapping leaves out by name (`is_not`, `missing`, or a value that another feed names) are
    a note; others are a warning: nobody said that they are not meant.

    Parameters
    ----------
    name : str
        Source layer.
    raw : RawLayer
        Its features.
    parts : sequence of SourcePart
        What each feed takes of it.
    known : mapping
        Columns of `raw` by the names that the feeds give them.
    """
    left = ~np.logical_or.reduce([part.rows for part in parts])
    if not left.any():
        return
    said = np.logical_and.reduce([_left_by_name(part, parts, raw, known) for part in parts])
    columns = sorted({known[condition.column] for part in parts for condition in part.conditions})
    restricted = _restricted(parts, known)
    for rows, is_said in ((left & ~said, False), (left & said, True)):
        if not rows.any():
            continue
        values = "; ".join(
            f"{in_one_line(column)} {'is restricted' if column in restricted else _values(raw, column, rows)}"
            for column in columns
        )
        weight = Severity.NOTE if is_said or parts[0].layer in BASE_LAYERS else Severity.WARNING
        notes.add(
            "rows-not-taken",
            parts[0].layer,
            "",
            weight,
            f"{int(rows.sum()):,} of {len(raw):,} features of {in_one_line(name)} are taken by no table of "
            f"the mapping{', as the mapping says' if is_said else ''}: {values}",
            "nothing, if they do not belong to the network"
            if is_said
            else "add them to a table, or leave them out by is_not",
        )


def _restricted(parts: Sequence[SourcePart], known: Mapping[str, str]) -> set[str]:
    """Return the columns of the source whose texts no finding may hold."""
    rules = [rule for part in parts for name, rule in part.feed.columns.items() if name in RESTRICTED]
    return {known[column] for rule in rules for column in rule.from_ or () if column in known}


def _left_by_name(
    part: SourcePart, parts: Sequence[SourcePart], raw: RawLayer, known: Mapping[str, str]
) -> Flags:
    """Return features that a feed leaves out for a reason that the mapping names."""
    result = np.zeros(len(raw), dtype=bool)
    for condition in part.conditions:
        column = known[condition.column]
        fails = ~matching(raw.columns, condition, column)
        if condition.is_ is not None:
            named = [
                word_of(value)
                for other in parts
                for one in other.conditions
                if known[one.column] == column
                for value in (one.is_ or one.is_not or ())
            ]
            fails &= _among(_texts(raw, column), named)
        result |= fails
    return result


def note_missed_words(
    name: str, raw: RawLayer, part: SourcePart, known: Mapping[str, str], notes: FindingLog
) -> None:
    """Notice words of conditions that differ from values in case alone, and a feed that takes nothing."""
    for condition in part.conditions:
        column = known[condition.column]
        words = {word_of(value) for value in condition.is_ or condition.is_not or ()}
        held = _texts(raw, column)
        folded: dict[str, list[str]] = {}
        for word in sorted(words - {GAP}):
            folded.setdefault(word.casefold(), []).append(word)
        counts = pc.value_counts(held) if words else pa.StructArray.from_arrays([], [])
        for row in counts.to_pylist():
            value = str(row["values"])
            alike = folded.get(value.casefold(), [])
            if alike and value not in words:
                notes.add(
                    "word-in-other-case",
                    part.layer,
                    "",
                    Severity.WARNING,
                    f"{part.layer} {part.number}: where {in_one_line(column)} is {_quoted(alike[0])} does "
                    f"not match {_quoted(value)} on {row['counts']:,} features of {in_one_line(name)}",
                    "write the word as in the source, or both",
                )
    if len(raw) and not part.rows.any():
        notes.add(
            "feed-takes-nothing",
            part.layer,
            "",
            Severity.NOTE if part.layer in BASE_LAYERS else Severity.WARNING,
            f"{part.layer} {part.number}: its conditions hold for none of the {len(raw):,} features of "
            f"{in_one_line(name)}",
            "correct the conditions, or delete the table",
        )


def note_shared_ids(layer: str, parts: Sequence[tuple[str, RawLayer]], notes: FindingLog) -> None:
    """Notice ids that stand in two of the source layers that become one layer of the contract.

    Parameters
    ----------
    parts : sequence of (str, RawLayer)
        What messages call each source layer, and what is taken of it.
    """
    held = [
        (name, column_text(part.columns["id"]).arrow)
        for name, part in parts
        if "id" in part.columns.column_names
    ]
    for place, (name, ids) in enumerate(held):
        for before, others in held[:place]:
            both = _among_texts(ids, others)
            if before == name:
                what = f"two tables of the mapping take it from {in_one_line(name)}"
            else:
                what = f"the id is in {in_one_line(before)} and in {in_one_line(name)}"
            notes.add_each(
                CLASHING_ID,
                layer,
                TextColumn(ids),
                both,
                Severity.ERROR,
                what,
                "keep one of them, or give the ids of each source layer a prefix in the mapping",
            )


def _among_texts(ids: Any, others: Any) -> Flags:
    both = pc.and_(pc.is_in(ids, value_set=others), pc.not_equal(ids, ""))
    return np.asarray(both.to_numpy(zero_copy_only=False), dtype=bool)


def _texts(raw: RawLayer, column: str) -> Any:
    return joined(raw.columns, [column], "")


def _among(texts: Any, words: Sequence[str]) -> Flags:
    held = pc.is_in(texts, value_set=pa.array(list(words), pa.string()))
    return np.asarray(held.to_numpy(zero_copy_only=False), dtype=bool)


def _values(raw: RawLayer, column: str, rows: Flags) -> str:
    """Return the values of some features with their numbers, the most frequent first."""
    counts = pc.value_counts(_texts(raw, column).filter(pa.array(rows))).to_pylist()
    counts.sort(key=lambda row: (-row["counts"], row["values"]))
    told = [f"{_quoted(row['values'])} ({row['counts']:,})" for row in counts[:_MOST_VALUES]]
    more = len(counts) - _MOST_VALUES
    return ", ".join(told) + (f" and {more:,} more" if more > 0 else "")


def _quoted(value: str) -> str:
    return f"'{in_one_line(value)}'" if value else "empty"
