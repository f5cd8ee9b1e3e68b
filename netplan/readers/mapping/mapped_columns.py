"""One column of the contract from columns of a source."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.errors import quoted
from netplan.core.findings import Severity
from netplan.network.contract import Column
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import column_text
from netplan.network.recorded_years import note_dates, without_days, year_of
from netplan.network.text_column import TextColumn
from netplan.readers.mapping.mapped_texts import ID_COLUMNS, given, ids, joined, rewritten, word_of
from netplan.readers.mapping.mapping_file import GAP, ColumnRule
from netplan.readers.mapping.unit_words import unit_factor
from netplan.readers.name_matching import in_one_line
from netplan.reference.size_text import read_ratio

__all__ = ["RESTRICTED", "ColumnPlace", "build_column"]

_MOST_QUANTITIES: Final = 10_000
"""Different texts that are read one by one, with a unit for example; more than that is no list of sizes."""

RESTRICTED: Final = ("priority_note", "telephone")
"""Columns whose texts go into the call sheet and nowhere else, findings included."""

_DEFAULTS_THAT_COUNT: Final = ("status", "system")
"""Columns whose default makes pipes carry gas, or join others."""

_MOST_NAMED: Final = 8
"""Words that are named with their numbers of features; the rest is counted."""

_DIGITS: Final = 12
"""Significant digits of a converted number, so that 0.055 bar is 55 mbar and nothing else."""


_WITH_UNIT: Final = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*([^\d\s].*)")
"""A number with its unit, as in 6.3mm or 4 in."""


@dataclass(frozen=True, slots=True)
class ColumnPlace:
    """Where a column belongs: layer, ids of its features (None until they are known), and the findings."""

    layer: str
    ids: TextColumn | None
    notes: FindingLog


def build_column(
    rule: ColumnRule, column: Column, table: Any, names: Sequence[str], place: ColumnPlace
) -> Any:
    """Return the column as an Arrow array: texts, or numbers in the unit of the contract.

    Parameters
    ----------
    table : pyarrow.Table
        Columns of the source.
    names : sequence of str
        The columns in it that the rule means.
    """
    n = len(table)
    if rule.constant is not None:
        return _repeated(rule.constant, column, n)
    if column.kind == "number":
        return _numbers(rule, column, table[names[0]], place)
    if column.name in _DEFAULTS_THAT_COUNT and rule.default is None:
        _note_defaults(column, joined(table, names, rule.join), names, place)
    if column.kind == "word" and rule.is_plain and len(names) == 1:
        return _whole(table[names[0]])
    texts = _without(joined(table, names, rule.join), rule)
    if rule.meanings is not None:
        texts = _translated(rule, column, texts, place)
    elif column.kind == "word" and pa.types.is_boolean(table[names[0]].type):
        texts = pc.replace_substring_regex(texts, "^true$", "yes")
        texts = pc.replace_substring_regex(texts, "^false$", "no")
    if column.name in ID_COLUMNS:
        texts = ids(texts, rule, several=column.name == "service_id")
    else:
        texts = rewritten(texts, rule)
    if rule.default is not None:
        texts = pc.if_else(pc.equal(texts, ""), pa.scalar(word_of(rule.default)), texts)
    return texts


def _note_defaults(column: Column, texts: Any, names: Sequence[str], place: ColumnPlace) -> None:
    """Notice features without a status or a system among others with one: each is taken for live or LP."""
    empty = ~given(texts)
    if not empty.any() or empty.all():
        return
    place.notes.add(
        "taken-by-default",
        place.layer,
        "",
        Severity.WARNING,
        f"{column.name} is not recorded on {int(empty.sum()):,} of {len(empty):,} features "
        f"({', '.join(in_one_line(name) for name in names)} is empty); each counts as {column.default}",
        f'record it, or say default = "{column.default}" under columns.{column.name} of the mapping',
    )


def _repeated(value: Any, column: Column, n: int) -> Any:
    if column.kind == "number":
        return pa.array(np.full(n, float(value)))
    return pa.repeat(pa.scalar(word_of(value), pa.string()), n)


def _whole(column: Any) -> Any:
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if isinstance(array, pa.ChunkedArray):
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.array([], type=array.type)
    return array


def _without(texts: Any, rule: ColumnRule) -> Any:
    """Return texts with the rule's words for nothing taken out."""
    if rule.empty is None:
        return texts
    nothing = pc.is_in(texts, value_set=pa.array([word_of(word) for word in rule.empty], pa.string()))
    return pc.if_else(nothing, "", texts)


def _translated(rule: ColumnRule, column: Column, texts: Any, place: ColumnPlace) -> Any:
    """Return what the words of the source mean; those that nobody listed as the rule says."""
    meant, unlisted = _looked_up(rule, texts)
    if not unlisted.any():
        return meant
    result = pc.if_else(pa.array(unlisted), texts, meant)
    if column.kind == "word":
        own = pa.array([word.lower() for word in column.words])
        unlisted &= ~_mask(pc.is_in(pc.utf8_lower(texts), value_set=own))
    if rule.unlisted == "keep":
        return result
    _report_words(rule, unlisted, texts, column, place)
    return pc.if_else(pa.array(unlisted), "", result)


def _looked_up(rule: ColumnRule, texts: Any) -> tuple[Any, NDArray[np.bool_]]:
    """Return the meaning of each text, empty where there is none, and where a given text has none."""
    values = {word.strip().lower(): word_of(value) for word, value in (rule.meanings or {}).items()}
    known = {word: value for word, value in values.items() if value != GAP}
    code = pc.index_in(pc.utf8_lower(texts), value_set=pa.array(list(known), pa.string()))
    meant = pc.fill_null(pa.array(list(known.values()), pa.string()).take(code), "")
    return meant, _mask(pc.is_null(code)) & given(texts)


def _report_words(
    rule: ColumnRule, rows: NDArray[np.bool_], texts: Any, column: Column, place: ColumnPlace
) -> None:
    """Notice words without a meaning: those with a question mark once, others with each feature.

    A pressure system without a meaning would be taken for low pressure: that stops a plan.
    """
    open_words = rows & _asked(rule, texts)
    if open_words.any():
        place.notes.add(
            "mapping-gap",
            place.layer,
            "",
            Severity.ERROR if column.name == "system" else Severity.WARNING,
            f"the mapping still has question marks for words of {column.name}, "
            f"on {int(open_words.sum())} features",
            f"write what they mean under columns.{column.name}.values, or delete the lines",
        )
    if rule.unlisted != "report":
        _count_words(rows & ~open_words, texts, column, place)
        return
    place.notes.add_each(
        "unlisted-word",
        place.layer,
        place.ids,
        rows & ~open_words,
        Severity.WARNING,
        lambda row: f"the mapping does not say what {_named(column, texts[row].as_py())} means",
        f"list the word under columns.{column.name}.values of the mapping",
    )


def _count_words(rows: NDArray[np.bool_], texts: Any, column: Column, place: ColumnPlace) -> None:
    """Notice in one line the words that are left empty because nobody listed them."""
    if not rows.any():
        return
    counts = pc.value_counts(texts.filter(pa.array(rows))).to_pylist()
    counts.sort(key=lambda row: (-row["counts"], row["values"]))
    told = ", ".join(f"'{in_one_line(row['values'])}' ({row['counts']:,})" for row in counts[:_MOST_NAMED])
    more = f" and {len(counts) - _MOST_NAMED:,} more" if len(counts) > _MOST_NAMED else ""
    if column.name in RESTRICTED:
        told, more = f"{int(rows.sum()):,} features", ""
    place.notes.add(
        "unlisted-word",
        place.layer,
        "",
        Severity.WARNING,
        f"the mapping does not list these words of {column.name}, and leaves them empty: {told}{more}",
        f"list them under columns.{column.name}.values, or under empty where they mean nothing",
    )


def _named(column: Column, word: str) -> str:
    """Return a column with a word of it, but for one whose words are no one's but the call sheet's."""
    return column.name if column.name in RESTRICTED else f"{column.name} {quoted(word)}"


def _asked(rule: ColumnRule, texts: Any) -> NDArray[np.bool_]:
    """Return where a text is one whose meaning the mapping still asks for."""
    gaps = [word.strip().lower() for word, value in (rule.meanings or {}).items() if value == GAP]
    return _mask(pc.is_in(pc.utf8_lower(texts), value_set=pa.array(gaps, pa.string())))


def _numbers(rule: ColumnRule, column: Column, source: Any, place: ColumnPlace) -> Any:
    if rule.unit == GAP:  # what nobody knows the unit of counts as missing; the gap itself is an error
        return pa.array(np.full(len(source), np.nan))
    unit = column.unit if rule.unit is None else rule.unit
    times = 1.0 if unit == column.unit else unit_factor(unit, column.unit, rule.kwh_per_m3)
    array = _whole(source)
    is_number = pa.types.is_integer(array.type) or pa.types.is_floating(array.type)
    if is_number and rule.meanings is None:
        values = np.array(pc.cast(array, pa.float64(), safe=False).to_numpy(zero_copy_only=False))
        nothing = [float(word) for word in rule.empty or () if not isinstance(word, str)]
        values[np.isin(values, nothing)] = np.nan
        values = _converted(values, times)
        if column.unit == "a":
            values, dates = without_days(values)
            note_dates(dates, place.layer, place.notes)
    else:
        values = _numbers_of_texts(rule, column, column_text(array).arrow, times, place)
    if rule.default is not None:
        values = np.where(np.isnan(values), float(rule.default), values)
    return pa.array(values)


def _numbers_of_texts(
    rule: ColumnRule, column: Column, texts: Any, times: float, place: ColumnPlace
) -> NDArray[np.float64]:
    texts = _without(texts, rule)
    if rule.meanings is None:
        return _read_texts(rule, column, texts, times, place)
    meant, unlisted = _looked_up(rule, texts)
    values = np.array(pd.to_numeric(pd.Series(meant.to_pylist()), errors="coerce"), dtype=np.float64)
    kept = unlisted & ~_asked(rule, texts) if rule.unlisted == "keep" else np.zeros(len(texts), dtype=bool)
    _report_words(rule, unlisted & ~kept, texts, column, place)
    if rule.unlisted == "keep":
        rest = _read_texts(rule, column, pc.if_else(pa.array(kept), texts, ""), times, place)
        return np.where(kept, rest, values)
    return values


def _read_texts(
    rule: ColumnRule, column: Column, texts: Any, times: float, place: ColumnPlace
) -> NDArray[np.float64]:
    """Return the numbers that texts hold, each different text read once."""
    kinds = pc.dictionary_encode(texts)
    different = kinds.dictionary
    if rule.decimal == "," and column.unit != "a":  # the points of a date part it
        different = pc.replace_substring(pc.replace_substring(different, ".", ""), ",", ".")
    words = different.to_pylist()
    read = np.array(pd.to_numeric(pd.Series(words, dtype=object), errors="coerce"), dtype=np.float64)
    read = _converted(read, times)
    unread = np.flatnonzero(np.isnan(read))[:_MOST_QUANTITIES]
    for at in unread.tolist():
        read[at] = _number_in_text(words[at], column)
    dated = np.zeros(len(read), dtype=bool)
    if column.unit == "a":
        dated[unread] = ~np.isnan(read[unread])
        years, _ = without_days(read)
        dated |= ~np.isnan(read) & (years != read)
        read = years
    code = kinds.indices.to_numpy(zero_copy_only=False)
    values = read[code] if len(read) else np.full(len(texts), np.nan)
    note_dates(int(dated[code].sum()) if len(read) else 0, place.layer, place.notes)
    place.notes.add_each(
        "not-a-number",
        place.layer,
        place.ids,
        np.isnan(values) & given(texts),
        Severity.ERROR if column.required == "yes" else Severity.WARNING,
        lambda row: f"{column.name} {quoted(texts[row].as_py())} is not a number",
        f"correct it, or list it under columns.{column.name}.values or empty of the mapping",
    )
    return np.asarray(values)


def _number_in_text(text: str, column: Column) -> float:
    """Return the number in a text that is more than a number; NaN where there is none for certain."""
    if len(text) > 40:
        return np.nan
    try:
        if column.name == "sdr":
            return read_ratio(text)
        if column.unit == "a":
            return year_of(text)
        number = _WITH_UNIT.fullmatch(text)
        return np.nan if number is None else float(number[1]) * unit_factor(number[2], column.unit)
    except ValueError:
        return np.nan


def _converted(values: NDArray[np.float64], times: float) -> NDArray[np.float64]:
    if times == 1.0:
        return values
    with np.errstate(all="ignore"):
        values = values * times
        size = np.floor(np.log10(np.abs(values)))
        step = 10.0 ** np.clip(_DIGITS - 1 - np.nan_to_num(size, nan=0.0, posinf=0.0, neginf=0.0), -300, 300)
        rounded = np.round(values * step) / step
    return np.where(np.isfinite(rounded), rounded, values)


def _mask(flags: Any) -> NDArray[np.bool_]:
    return np.asarray(flags.to_numpy(zero_copy_only=False), dtype=bool)
