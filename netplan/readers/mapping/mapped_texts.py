"""Texts of a source, whole columns at a time: joined, filtered, rewritten."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.network.normalise import column_text
from netplan.readers.mapping.mapping_file import ColumnRule, Condition, Value

__all__ = ["ID_COLUMNS", "given", "ids", "joined", "matching", "rewritten", "word_of"]

ID_COLUMNS: Final = ("id", "service_id", "station_id")
_FORBIDDEN: Final = (":", ";", *(chr(code) for code in (*range(32), 127)))
_FORBIDDEN_CLASS: Final = r"[:;\x00-\x1f\x7f]"
_ESCAPED: Final = r"%([0-9A-F]{2})"


def joined(table: Any, names: Sequence[str], join: str) -> Any:
    """Return columns as one text column; what is missing is empty and left out of the joint."""
    texts = [column_text(table[name]).arrow for name in names]
    if len(texts) == 1:
        return texts[0]
    held = [pc.if_else(pc.equal(text, ""), pa.scalar(None, pa.string()), text) for text in texts]
    return pc.binary_join_element_wise(*held, join, null_handling="skip")


def given(texts: Any) -> NDArray[np.bool_]:
    """Return where a text is not empty."""
    return np.asarray(pc.not_equal(texts, "").to_numpy(zero_copy_only=False), dtype=bool)


def word_of(value: Value) -> str:
    """Return a value of the mapping as the text that a column would hold."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    return str(value).strip()


def matching(table: Any, condition: Condition, name: str) -> NDArray[np.bool_]:
    """Return the rows that a condition lets through; `name` is its column in the table."""
    text = joined(table, [name], "")
    if condition.missing is not None:
        return ~given(text) if condition.missing else given(text)
    wanted: Iterable[Value] = (condition.is_ if condition.is_ is not None else condition.is_not) or ()
    held = pc.is_in(text, value_set=pa.array([word_of(value) for value in wanted], pa.string()))
    rows = np.asarray(held.to_numpy(zero_copy_only=False), dtype=bool)
    return rows if condition.is_ is not None else ~rows


def rewritten(texts: Any, rule: ColumnRule) -> Any:
    """Take off a prefix, replace, and put a prefix before; empty texts stay empty."""
    if rule.drop_prefix:
        begins = pc.starts_with(texts, pattern=rule.drop_prefix)
        texts = pc.if_else(begins, pc.utf8_slice_codeunits(texts, start=len(rule.drop_prefix)), texts)
    for old, new in rule.replace.items():
        texts = pc.replace_substring(texts, pattern=old, replacement=new)
    if rule.prefix:
        prefixed = pc.binary_join_element_wise(pa.scalar(rule.prefix), texts, "")
        texts = pc.if_else(pc.equal(texts, ""), texts, prefixed)
    return texts


def ids(texts: Any, rule: ColumnRule, *, several: bool) -> Any:
    """Return ids, rewritten and free of what an id may not hold.

    ``:``, ``;`` and control characters become ``%3A``, ``%3B`` and so on. A per cent sign that could be taken
    for one of these becomes ``%25``, so that two ids never become one, whatever the other ids are.

    Parameters
    ----------
    several : bool
        Whether a value may hold several ids, parted by the rule's `split`; they come back parted by ``;``.
    """
    if several and pc.any(pc.match_substring(texts, rule.split)).as_py():
        parts = pc.split_pattern(texts, pattern=rule.split)
        each = _escaped(rewritten(pc.utf8_trim_whitespace(parts.flatten()), rule))
        return pc.binary_join(pa.ListArray.from_arrays(parts.offsets, each), ";")
    return _escaped(rewritten(texts, rule))


def _escaped(texts: Any) -> Any:
    if not len(texts):
        return texts
    texts = pc.replace_substring_regex(texts, pattern=_ESCAPED, replacement=r"%25\1")
    if not pc.any(pc.match_substring_regex(texts, _FORBIDDEN_CLASS)).as_py():
        return texts
    for sign in _FORBIDDEN:
        texts = pc.replace_substring(texts, pattern=sign, replacement=f"%{ord(sign):02X}")
    return texts
