"""What a source holds: its layers, columns and values, as the draft of a mapping is guessed from."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.core.errors import BadInputError
from netplan.network.normalise import column_text
from netplan.network.raw_layers import FlatShapes, Shapes, as_objects
from netplan.readers.sources.layer_source import LayerSource

__all__ = ["SurveyedColumn", "SurveyedLayer", "survey_source"]

_MOST_WORDS: Final = 60
"""Different values up to which a column may be a list of words."""

_KINDS: Final = {0: "point", 4: "point", 1: "line", 5: "line", 2: "line", 3: "polygon", 6: "polygon"}


@dataclass(frozen=True, slots=True, eq=False)
class SurveyedColumn:
    """A column of a source layer.

    Parameters
    ----------
    name : str
        Name in the source.
    kind : str
        As `layer_source.Field` says.
    texts : pyarrow array
        Values as texts, empty where missing.
    words : dict
        Counts of the different values where they are few, else empty.
    different : int
        How many different values there are.
    """

    name: str
    kind: str
    texts: Any
    words: dict[str, int]
    different: int

    @property
    def is_empty(self) -> bool:
        """Whether no feature has a value."""
        return self.different == 0

    @property
    def is_unique(self) -> bool:
        """Whether every feature has a value of its own."""
        return 0 < self.different == len(self.texts)

    def part(self, rows: Any) -> SurveyedColumn:
        """Return the column for some features, given as an Arrow mask."""
        return _column(self.name, self.kind, self.texts.filter(rows))

    def numbers(self) -> NDArray[np.float64]:
        """Return the finite numbers of the column, decimal commas read."""
        texts = self.texts.unique()
        if self.kind != "number":
            texts = pc.replace_substring(texts, ",", ".")
        good = texts.filter(
            pc.match_substring_regex(texts, r"^[-+]?\d{1,12}(\.\d{1,12})?([eE][-+]?\d{1,2})?$")
        )
        return np.asarray(pc.cast(good, pa.float64()).to_numpy(zero_copy_only=False))

    @property
    def is_number(self) -> bool:
        """Whether all its values are numbers."""
        return not self.is_empty and (self.kind == "number" or len(self.numbers()) == self.different)


@dataclass(frozen=True, slots=True, eq=False)
class SurveyedLayer:
    """A source layer: what its geometry is, how many features it has, its columns, and the foot of its CRS.

    Parameters
    ----------
    name : str
        Name in the source.
    geometry : str
        ``point``, ``line``, ``polygon`` or ``other``.
    count : int
        Features.
    columns : tuple of SurveyedColumn
        Columns that hold anything.
    in_feet : bool
        Whether the coordinates are in feet.
    has_crs : bool
        Whether the layer names its CRS.
    height : float array or None
        Greatest absolute height of each feature, NaN where it has none; None where no feature has any.
    """

    name: str
    geometry: str
    count: int
    columns: tuple[SurveyedColumn, ...]
    in_feet: bool
    has_crs: bool
    height: NDArray[np.float64] | None


def survey_source(source: LayerSource) -> tuple[tuple[SurveyedLayer, ...], tuple[str, ...]]:
    """Return the layers of a source, and one line for each that cannot be read."""
    seen: list[SurveyedLayer] = []
    unread: list[str] = []
    for name in source.layer_names():
        try:
            seen.append(_layer(source, name))
        except BadInputError as error:
            unread.append(str(error))
    return tuple(seen), tuple(unread)


def _layer(source: LayerSource, name: str) -> SurveyedLayer:
    fields = source.fields(name)
    raw = source.read(name, [field.name for field in fields])
    columns = (_column(field.name, field.kind, raw.columns[field.name]) for field in fields)
    unit = raw.crs.axis_info[0].unit_conversion_factor if raw.crs and raw.crs.axis_info else 1.0
    return SurveyedLayer(
        name,
        _geometry(raw.geometry),
        len(raw),
        tuple(column for column in columns if not column.is_empty),
        raw.crs is not None and raw.crs.is_projected and abs(unit - 0.3048) < 1e-3,
        raw.crs is not None,
        _height(raw.geometry),
    )


def _height(shapes: Shapes) -> NDArray[np.float64] | None:
    coords, of = shapely.get_coordinates(as_objects(shapes), include_z=True, return_index=True)
    z = np.abs(coords[:, 2])
    if not np.isfinite(z).any():
        return None
    highest = np.full(len(shapes), -1.0)
    np.maximum.at(highest, of, np.nan_to_num(z, nan=-1.0))
    return np.where(highest < 0, np.nan, highest)


def _column(name: str, kind: str, values: Any) -> SurveyedColumn:
    texts = column_text(values).arrow
    counts = pc.value_counts(texts)
    words, count = counts.field("values"), counts.field("counts")
    different = len(words) - int(pc.any(pc.equal(words, "")).as_py() or False)
    few: Counter[str] = Counter()
    if different <= _MOST_WORDS:
        few = Counter(dict(zip(words.to_pylist(), count.to_pylist(), strict=True)))
        few.pop("", None)
    return SurveyedColumn(
        name, kind, texts, dict(sorted(few.items(), key=lambda w: (-w[1], w[0]))), different
    )


def _geometry(shapes: Shapes) -> str:
    if isinstance(shapes, FlatShapes):
        return _KINDS.get(shapes.kind, "other")
    kinds = Counter(_KINDS.get(int(kind), "other") for kind in shapely.get_type_id(shapes) if kind >= 0)
    return kinds.most_common(1)[0][0] if kinds else "other"
