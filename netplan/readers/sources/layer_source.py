"""What every source of layers can do: name its layers, read them, and tell its content in short."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, Protocol, runtime_checkable

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from shapely.geometry.base import BaseGeometry

from netplan.core.errors import BadInputError
from netplan.network.raw_layers import RawLayer

__all__ = [
    "Area",
    "CountsFeatures",
    "Field",
    "HasContentKey",
    "HasOtherFiles",
    "LayerSource",
    "area_bounds",
    "content_of_files",
]

Area = BaseGeometry
"""An area to read, as a geometry in longitude and latitude (WGS 84, longitude first)."""

_WGS84: Final = CRS.from_user_input("OGC:CRS84")
_DIGEST: Final = "sha256"


@dataclass(frozen=True, slots=True)
class Field:
    """A column of a source.

    Parameters
    ----------
    name : str
        Name in the source.
    kind : str
        ``text``, ``number``, ``flag`` (true or false), ``date``, or ``other``.
    cut : bool
        Whether the format keeps ten characters of a name, in any case, so that the column may be meant for a
        longer one.
    """

    name: str
    kind: Literal["text", "number", "flag", "date", "other"]
    cut: bool = False


class LayerSource(Protocol):
    """Layers under the names that the source gives them.

    Every method raises BadInputError (one line: what, where, what to do) for what cannot be read.
    """

    @property
    def name(self) -> str:
        """What the source is called in messages and in provenance; never holds a password."""

    def layer_names(self) -> tuple[str, ...]:
        """Return the names of the layers that can be read, sorted."""

    def fields(self, layer: str) -> tuple[Field, ...]:
        """Return the columns of a layer without its geometry, in the order of the source."""

    def read(self, layer: str, columns: Sequence[str], *, within: Area | None = None) -> RawLayer:
        """Read some columns of a layer and its geometry, nothing else.

        Parameters
        ----------
        layer : str
            Layer name in the source; the raw layer carries it too.
        columns : sequence of str
            Names of columns in the source, each one of `fields`; none is allowed.
        within : Area, optional
            Read at least every feature that touches this area; more is allowed, and a source may go by
            bounding boxes. A layer without CRS is read whole.
        """


@runtime_checkable
class CountsFeatures(Protocol):
    """A source that can say how many features a layer has without reading them."""

    def count(self, layer: str) -> int:
        """Return the number of features; -1 where the source does not say."""


@runtime_checkable
class HasOtherFiles(Protocol):
    """A source that stands among files it cannot read."""

    def other_files(self) -> tuple[str, ...]:
        """Return files of geographic or tabular kinds that are no layers here, sorted."""


def area_bounds(within: Area, crs: CRS, where: str) -> tuple[float, float, float, float]:
    """Return west, south, east and north of a window in the CRS of a layer.

    Raises
    ------
    BadInputError
        When the window cannot be placed in that CRS; `where` names the layer.
    """
    try:
        low_x, low_y, high_x, high_y = within.bounds
        bounds: Any = Transformer.from_crs(_WGS84, crs, always_xy=True).transform_bounds(
            low_x, low_y, high_x, high_y, densify_pts=21
        )
    except (ProjError, ValueError) as error:
        raise BadInputError(f"{where}: the area to read is not on earth; give longitudes first") from error
    if not np.isfinite(bounds).all():
        raise BadInputError(f"{where}: the area to read lies outside its CRS; check area and CRS")
    west, south, east, north = (float(bound) for bound in bounds)
    return west, south, east, north


@runtime_checkable
class HasContentKey(Protocol):
    """A source that can say in short what it holds."""

    def content_key(self, within: Area | None, layers: Collection[str]) -> str:
        """Return a text that differs whenever anything that would be read differs.

        Parameters
        ----------
        within : Area, optional
            The area that would be read.
        layers : collection of str
            Layers that would be read, in any case of their letters; others may count or not.
        """


def content_of_files(files: Iterable[Path]) -> str:
    """Return a digest of names and bytes of some files.

    Raises
    ------
    BadInputError
        When one cannot be read.
    """
    digest = hashlib.new(_DIGEST)
    for file in files:
        try:
            with file.open("rb") as opened:
                own = hashlib.file_digest(opened, _DIGEST).hexdigest()
        except OSError as error:
            raise BadInputError(
                f"{file}: cannot be read ({error.strerror or error}); check the file"
            ) from error
        digest.update(f"{len(file.name)}:{file.name}:{own}".encode())
    return digest.hexdigest()
