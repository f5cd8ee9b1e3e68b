"""The index of a source by district: what is known of all districts without reading them."""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
from pyproj import CRS

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError
from netplan.core.findings import Finding, Severity
from netplan.network.projection import WholeFrame, WorkingCrs, working_crs
from netplan.network.raw_layers import LINE, FlatShapes, RawLayer
from netplan.readers.districts.district_sources import DistrictSource, content_of
from netplan.readers.districts.id_tables import IdTable, hashes_of
from netplan.readers.districts.pressure_systems import PressureSystems

__all__ = ["HEAD", "DistrictIndex", "DistrictRecord", "frame_of", "read_index", "write_head", "written_whole"]

HEAD: Final = "districts.json"
_FORMAT: Final = 1
_SYSTEMS: Final = "systems.npz"
_ARRAYS: Final = ("system", "district", "pipes", "customers", "stations", "by_valve", "by_others")
_PROBE: Final = "gas main 1"
STRIPS: Final = "strips"
TABLES: Final = "ids"


@dataclass(frozen=True, slots=True)
class DistrictRecord:
    """One district of an index.

    Parameters
    ----------
    name : str
    content, quick : str
        Digest of what it held when it was indexed, and of what tells without reading that it is unchanged.
    box : tuple of float
        Least x and y, greatest x and y of its features in the CRS of the source; NaN without any.
    pipes, customers, errors : int
        Live pipes, customers, and errors of the records.
    beside : tuple of int
        Numbers of the districts that hold features near it: their strips are kept.
    """

    name: str
    content: str
    quick: str
    box: tuple[float, float, float, float]
    pipes: int
    customers: int
    errors: int
    beside: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class DistrictIndex:
    """An index as it was read.

    Parameters
    ----------
    place : Path
        Its folder.
    source : str
        Name of the source that it was made of.
    districts : tuple of DistrictRecord
    crs : CRS
        Of the source.
    frame : WholeFrame
        Working CRS and scale of the whole.
    column, mapping : str
        Column of the districts in a database, digest of the mapping; empty without.
    outlets : dict
        Greatest set outlet of the stations of each system by its name [Pa gauge].
    layers : dict
        Columns that any district has, by layer.
    recorded : frozenset of str
        Layers of which any district has a feature.
    findings : tuple of Finding
        About the whole.
    """

    place: Path
    source: str
    districts: tuple[DistrictRecord, ...]
    crs: CRS
    frame: WholeFrame
    column: str
    mapping: str
    outlets: dict[str, float]
    layers: dict[str, tuple[str, ...]]
    recorded: frozenset[str]
    findings: tuple[Finding, ...]

    @cached_property
    def systems(self) -> dict[str, Ints]:
        """Arrays of `PressureSystems` by name."""
        with np.load(self.place / _SYSTEMS) as held:
            return {name: held[name] for name in _ARRAYS}

    @cached_property
    def boxes(self) -> Floats:
        """Box of each district in the CRS of the source, shape (districts, 4)."""
        return np.array([district.box for district in self.districts], dtype=float).reshape(-1, 4)

    def table(self, layer: str) -> IdTable:
        """Return which district holds each id of a layer; of mains also the pressure system."""
        return IdTable(self.place / TABLES / layer)

    def districts_of(self, systems: Iterable[int]) -> set[int]:
        """Return the districts that hold any of some pressure systems."""
        rows = np.isin(self.systems["system"], sorted(systems))
        return set(self.systems["district"][rows].tolist())

    def with_ties(self, systems: Iterable[int]) -> set[int]:
        """Return some systems with all that share a customer or a sensing line with them."""
        found, pairs = set(systems), self.systems["by_others"]
        while True:
            hit = np.isin(pairs, sorted(found)).any(axis=1)
            more = found | set(pairs[hit].ravel().tolist())
            if more == found:
                return found
            found = more

    def pipes_of(self, districts: Iterable[int]) -> int:
        """Return how many pipes some districts hold."""
        return sum(self.districts[number].pipes for number in districts)

    def check_unchanged(self, source: DistrictSource, read: Iterable[int]) -> None:
        """Check that some districts, and those beside them, are what they were.

        Raises
        ------
        BadInputError
            When one is not there, was changed, or is new since the source was indexed.
        """
        names = {district.name for district in self.districts}
        new = sorted(set(source.districts()) - names)
        if new:
            raise BadInputError(
                f"{source.name}: district {new[0]} came after the index was made; index it again"
            )
        chosen = set(read)
        beside = {other for number in chosen for other in self.districts[number].beside} - chosen
        for number in sorted(chosen | beside):
            known = self.districts[number]
            opened = source.layers_of(known.name)
            quick = source.quick_key(known.name)
            if quick != known.quick and content_of(opened) != known.content:
                raise BadInputError(
                    f"{source.name}: district {known.name} was changed after the index was made; "
                    "index it again"
                )


def frame_of(
    crs: CRS, mains_box: Floats, scale: float, corner_m: Mapping[str, tuple[float, float]]
) -> WholeFrame:
    """Return how a whole network is placed whose mains lie in a box in the CRS of the source."""
    corners = FlatShapes(LINE, np.array([mains_box[:2], mains_box[2:]]), np.array([0, 2], np.int64))
    working: WorkingCrs = working_crs({"mains": RawLayer("mains", pa.table({}), corners, crs)})
    return WholeFrame(working, scale, corner_m)


def write_head(place: Path, body: dict[str, Any], systems: PressureSystems) -> None:
    """Write the head of an index and the arrays of its pressure systems."""
    np.savez(place / _SYSTEMS, **{name: getattr(systems, name) for name in _ARRAYS})
    held = body | {
        "format": _FORMAT,
        "probe": int(hashes_of([_PROBE])[0]),
        "systems": hashlib.sha256((place / _SYSTEMS).read_bytes()).hexdigest(),
    }
    (place / HEAD).write_text(json.dumps({"digest": _digest(held), "body": held}, indent=1), encoding="utf-8")


def read_index(place: Path) -> DistrictIndex:
    """Read an index.

    Raises
    ------
    BadInputError
        When it is none, is broken, or another version made it.
    """
    again = "index the source again with gas-netplan districts"
    try:
        head = json.loads((place / HEAD).read_bytes())
        body = head["body"]
        is_whole = (
            head["digest"] == _digest(body)
            and body["systems"] == hashlib.sha256((place / _SYSTEMS).read_bytes()).hexdigest()
        )
        usable = body["format"] == _FORMAT and body["probe"] == int(hashes_of([_PROBE])[0])
        if not (is_whole and usable):
            what = "was made by another version" if is_whole else "is not as it was written"
            raise BadInputError(f"{place}: the index of districts {what}; {again}")
        crs = CRS.from_wkt(body["crs"])
        return DistrictIndex(
            place=place,
            source=body["source"],
            districts=tuple(
                DistrictRecord(**{**row, "box": tuple(row["box"]), "beside": tuple(row["beside"])})
                for row in body["districts"]
            ),
            crs=crs,
            frame=frame_of(
                crs,
                np.array(body["mains_box"]),
                body["scale"],
                {name: (x, y) for name, (x, y) in body["corners"].items()},
            ),
            column=body["column"],
            mapping=body["mapping"],
            outlets=dict(body["outlets"]),
            layers={name: tuple(columns) for name, columns in body["layers"].items()},
            recorded=frozenset(body["recorded"]),
            findings=tuple(
                Finding(**{**row, "severity": Severity(row["severity"])}) for row in body["findings"]
            ),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadInputError(f"{place}: holds no index of districts that can be read; {again}") from error


def written_whole(place: Path, write: Callable[[Path], Any], *, overwrite: bool) -> Any:
    """Write an index beside its place and put it there whole; return what `write` returns.

    Raises
    ------
    BadInputError
        When something stands there that is no index, or is one and may not be replaced.
    """
    check_place(place, overwrite=overwrite)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=".part-", dir=place.parent))
        try:
            found = write(part)
            if place.exists():
                place.rename(part.with_name(f"{part.name}-old"))
            part.rename(place)
        finally:
            for left in (part, part.with_name(f"{part.name}-old")):
                with contextlib.suppress(OSError):
                    shutil.rmtree(left, ignore_errors=True)
    except OSError as error:
        raise BadInputError(
            f"{place}: the index cannot be written there ({error.strerror or error}); "
            "free some space, or give another folder"
        ) from error
    return found


def check_place(place: Path, *, overwrite: bool) -> None:
    """Refuse a folder that is no index, or is one and may not be replaced.

    Raises
    ------
    BadInputError
    """
    if not place.exists():
        return
    if not (place / HEAD).is_file() and (not place.is_dir() or any(place.iterdir())):
        raise BadInputError(f"{place}: exists and is no index of districts; give another folder")
    if not overwrite and (place / HEAD).is_file():
        raise BadInputError(f"{place}: holds an index already; give --overwrite to make it anew")


def _digest(body: Any) -> str:
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()
