"""Sizes written as text, into the size columns of the contract."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.errors import quoted
from netplan.core.findings import Severity
from netplan.network.normalise import column_text
from netplan.readers.mapping.mapped_columns import ColumnPlace
from netplan.readers.mapping.mapped_texts import joined
from netplan.readers.mapping.mapping_file import SizeRule
from netplan.reference.pipe_sizes import PipeMaterial
from netplan.reference.size_text import WrittenSize, read_size

__all__ = ["fill_sizes"]

_STUFF: Final[dict[str, PipeMaterial]] = {
    "pe80": "pe",
    "pe100": "pe",
    "pe": "pe",
    "steel": "steel",
    "ductile_iron": "iron",
    "cast_iron": "iron",
}
_COLUMNS: Final = ("od_mm", "sdr", "wall_mm", "bore_mm")
_MOST_KINDS: Final = 100_000
"""Different pairs of text and material that are read; no company has so many sizes."""


def fill_sizes(
    built: dict[str, Any], rule: SizeRule, table: Any, names: Sequence[str], place: ColumnPlace
) -> None:
    """Fill the size columns in `built` where they are empty, and the material where no column says it.

    Where a column gives a wall, a bore or a ratio already, the text gives the outside diameter alone.
    """
    n = len(table)
    texts = joined(table, names, " ")
    meant = {word.strip().lower(): text for word, text in rule.meanings.items()}
    material = column_text(built.get("material", pa.nulls(n, pa.string()))).arrow
    kinds = pc.dictionary_encode(pc.binary_join_element_wise(texts, pc.utf8_lower(material), "\n"))
    code = np.asarray(kinds.indices.to_numpy(zero_copy_only=False), dtype=np.int64)
    sizes: list[WrittenSize | str] = [
        _size(pair, rule, meant) if at < _MOST_KINDS else "is one of too many texts"
        for at, pair in enumerate(kinds.dictionary.to_pylist())
    ]
    empty = np.full(n, np.nan)
    before = {name: np.array(built.get(name, empty), dtype=np.float64) for name in _COLUMNS}
    walled = ~(np.isnan(before["sdr"]) & np.isnan(before["wall_mm"]) & np.isnan(before["bore_mm"]))
    for name in _COLUMNS:
        read = np.array([_figure(size, name) for size in sizes] or [np.nan])[code]
        usable = np.isnan(before[name]) if name == "od_mm" else ~walled
        built[name] = pa.array(np.where(usable, read, before[name]))
    _fill_material(built, material, sizes, code)
    _report(sizes, code, texts, np.isnan(before["od_mm"]), walled, place)


def _size(pair: str, rule: SizeRule, meant: dict[str, str]) -> WrittenSize | str:
    text, _, material = pair.rpartition("\n")
    if not text:
        return ""
    try:
        return read_size(meant.get(text.lower(), text), _STUFF.get(material, ""), rule.plain)
    except ValueError as error:
        return str(error)


def _fill_material(
    built: dict[str, Any], material: Any, sizes: list[WrittenSize | str], code: NDArray[np.int64]
) -> None:
    """Take the material from the texts where no column says it."""
    said = ["" if isinstance(size, str) else size.material for size in sizes]
    if any(said):
        texts = pa.array(said, pa.string()).take(pa.array(code))
        built["material"] = pc.if_else(pc.equal(material, ""), texts, material)


def _figure(size: WrittenSize | str, name: str) -> float:
    value = None if isinstance(size, str) else getattr(size, name)
    return np.nan if value is None else float(value)


def _report(
    sizes: list[WrittenSize | str],
    code: NDArray[np.int64],
    texts: Any,
    wanted: NDArray[np.bool_],
    walled: NDArray[np.bool_],
    place: ColumnPlace,
) -> None:
    unread = np.array([isinstance(size, str) and bool(size) for size in sizes] or [False])
    nominal = np.array([not isinstance(size, str) and size.bore_mm is not None for size in sizes] or [False])
    place.notes.add_each(
        "unreadable-size",
        place.layer,
        place.ids,
        unread[code] & wanted,
        Severity.WARNING,
        lambda row: f"size {quoted(texts[row].as_py())} {sizes[code[row]]}",
        "list the text under size.values of the mapping, or correct the record",
    )
    place.notes.add_each(
        "nominal-bore",
        place.layer,
        place.ids,
        nominal[code] & ~walled,
        Severity.WARNING,
        lambda row: f"size {quoted(texts[row].as_py())} gives no wall; the nominal size is taken as its bore",
        "give wall_mm or bore_mm if it is known",
    )
