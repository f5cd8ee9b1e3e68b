"""Making the index of a source: district by district, never more than one and what lies beside it at once."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyproj import CRS

from netplan.core.arrays import Flags, Floats
from netplan.core.errors import BadInputError, BadNetworkError, NetplanError
from netplan.core.findings import Finding, errors_of
from netplan.network.build import build_network
from netplan.network.contract import BASE_LAYERS
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network
from netplan.network.projection import WholeFrame, scale_at
from netplan.network.raw_layers import RawLayer, RawLayers, bounds_of
from netplan.readers.districts.district_index import (
    STRIPS,
    TABLES,
    DistrictRecord,
    frame_of,
    write_head,
    written_whole,
)
from netplan.readers.districts.district_layers import (
    NEAR_M,
    as_if_whole,
    box_of,
    margin_in,
    merged,
    read_strip,
    rows_in_box,
    union_of_columns,
    with_columns,
    write_strip,
)
from netplan.readers.districts.district_sources import DistrictSource, content_of
from netplan.readers.districts.foreign_features import foreign_features, ids_of, ids_of_all
from netplan.readers.districts.id_tables import IdTable, hashes_of, merge_tables, write_part
from netplan.readers.districts.pressure_systems import LocalParts, joined_systems, local_parts
from netplan.readers.source_findings import with_missing_findings
from netplan.readers.source_to_network import read_layers

if TYPE_CHECKING:
    from netplan.readers.mapping.mapping_file import Mapping as ColumnMapping

__all__ = ["IndexSummary", "build_index"]

_PARTS: Final = "parts"
_RAW_TABLES: Final = ("services", "customers", "valves", "regulators")
Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class IndexSummary:
    """What an index holds.

    Parameters
    ----------
    districts, pipes, customers, systems, over_borders, largest, errors : int
        Districts; live pipes and customers; pressure systems that a station feeds, those of them in several
        districts, pipes of the largest one; errors of the records.
    """

    districts: int
    pipes: int
    customers: int
    systems: int
    over_borders: int
    largest: int
    errors: int


@dataclass(slots=True, eq=False)
class _Seen:
    """What one district was seen to hold."""

    name: str
    content: str
    quick: str
    box: Floats
    mains_box: Floats
    crs: CRS | None
    layers: dict[str, list[str]]
    held: set[str]
    beside: set[int] = field(default_factory=set)
    border: dict[str, list[Any]] = field(default_factory=lambda: {"mains": [], "services": []})
    pipes: int = 0
    customers: int = 0
    errors: int = 0


def build_index(
    source: DistrictSource,
    out: Path,
    *,
    mapping: ColumnMapping | None = None,
    column: str = "",
    overwrite: bool = False,
    tell: Tell = lambda _: None,
) -> IndexSummary:
    """Index a source by district.

    Every district is read three times: for what it holds, for what of it lies beside others, and to join it
    together with what of others lies beside it.

    Parameters
    ----------
    source : DistrictSource
    out : Path
        Folder to make; it appears whole or not at all.
    mapping : Mapping, optional
        What the layers, columns and words of every district mean.
    column : str
        Column of a database that names the district.
    overwrite : bool
        Whether an index that stands there is replaced.
    tell : callable, optional
        Called with a few words on what is being done.

    Raises
    ------
    BadInputError
        When a district cannot be read; the message names it. Errors of records are counted, not refused: a
        plan that reads the district refuses them.
    """

    def write(place: Path) -> IndexSummary:
        return _Builder(source, place, mapping, column, tell).built()

    summary: IndexSummary = written_whole(out, write, overwrite=overwrite)
    return summary


class _Builder:
    """An index while it is made."""

    def __init__(
        self,
        source: DistrictSource,
        place: Path,
        mapping: ColumnMapping | None,
        column: str,
        tell: Tell,
    ) -> None:
        self._source, self._place, self._mapping, self._column = source, place, mapping, column
        self._tell = tell
        self._names = source.districts()
        self._elsewhere: dict[str, list[tuple[int, str]]] = {"services": [], "regulators": []}
        self._low, self._high = np.full(2, np.inf), np.full(2, -np.inf)
        self._corner: dict[str, Floats] = {}
        self._outlet_pa_gauge: dict[str, float] = {}

    def built(self) -> IndexSummary:
        """Make the index and return what it holds."""
        seen = [self._looked_at(row) for row in range(len(self._names))]
        crs = self._common_crs(seen)
        margin = [margin_in(crs, one.box, NEAR_M) for one in seen]
        boxes = np.array([one.box for one in seen])
        for row in range(len(seen)):
            self._cut(row, seen, boxes, margin)
        known = union_of_columns([one.layers for one in seen])
        mains = np.array([one.mains_box for one in seen])
        mains_box = np.concatenate([np.nanmin(mains[:, :2], axis=0), np.nanmax(mains[:, 2:], axis=0)])
        frame = frame_of(crs, mains_box, 1.0, {})
        parts = [self._joined(row, seen, known, frame) for row in range(len(seen))]
        self._tell("joining the pressure systems")
        systems = joined_systems(parts)
        self._merge(seen, systems.of_part)
        notes = FindingLog()
        scale = scale_at(frame.working.crs, np.array([self._low, self._high]), notes)
        recorded = set().union(*(one.held for one in seen))
        held = as_if_whole(known, recorded, crs)
        body = {
            "source": self._source.name,
            "column": self._column,
            "mapping": "" if self._mapping is None else self._mapping.digest,
            "crs": crs.to_wkt(),
            "mains_box": mains_box.tolist(),
            "scale": scale,
            "corners": {name: corner.tolist() for name, corner in self._corner.items()},
            "outlets": self._outlet_pa_gauge,
            "layers": known,
            "recorded": sorted(recorded),
            "findings": [_row(one) for one in (*notes.sorted(), *with_missing_findings(held).findings)],
            "districts": [asdict(_district(one)) for one in seen],
        }
        write_head(self._place, json.loads(json.dumps(body)), systems)
        fed = np.bincount(systems.system, weights=systems.stations) > 0
        count = np.bincount(systems.system, weights=(systems.pipes > 0))
        pipes = np.bincount(systems.system, weights=systems.pipes)
        return IndexSummary(
            districts=len(seen),
            pipes=sum(one.pipes for one in seen),
            customers=sum(one.customers for one in seen),
            systems=int(fed.sum()),
            over_borders=int((fed & (count > 1)).sum()),
            largest=int(pipes.max(initial=0)),
            errors=sum(one.errors for one in seen),
        )

    def _read(self, row: int) -> RawLayers:
        name = self._names[row]
        try:
            return read_layers(self._source.layers_of(name), mapping=self._mapping)
        except NetplanError as error:
            raise BadInputError(f"district {name}: {error}") from error

    def _looked_at(self, row: int) -> _Seen:
        name = self._names[row]
        self._tell(f"reading district {row + 1} of {len(self._names)}")
        quick = self._source.quick_key(name)
        layers = self._read(row).layers
        for layer in _RAW_TABLES:
            ids = ids_of(layers).get(layer, pa.array([], pa.string()))
            hashes = hashes_of(ids.drop_null())
            write_part(self._place / _PARTS / layer, row, hashes, np.zeros(len(hashes), np.int32))
        first = next((layer.crs for layer in layers.values() if layer.crs is not None), None)
        mains = layers.get("mains")
        return _Seen(
            name=name,
            content=content_of(self._source.layers_of(name)),
            quick=quick,
            box=box_of(layers),
            mains_box=np.full(4, np.nan) if mains is None else bounds_of(mains.geometry),
            crs=first,
            layers={one: list(layer.columns.column_names) for one, layer in layers.items()},
            held={one for one, layer in layers.items() if len(layer)},
        )

    def _common_crs(self, seen: list[_Seen]) -> CRS:
        known = [(one.name, one.crs) for one in seen if one.crs is not None]
        if not known or not any(np.isfinite(one.mains_box).all() for one in seen):
            raise BadInputError(f"{self._source.name}: no district holds a main with a place; add the mains")
        where, first = known[0]
        for name, crs in known[1:]:
            if not crs.equals(first, ignore_axis_order=True):
                raise BadInputError(
                    f"districts {where} and {name} disagree in their coordinate reference "
                    f"system ({first.name} and {crs.name}); reproject one of them"
                )
        return first

    def _cut(self, row: int, seen: list[_Seen], boxes: Floats, margin: list[Floats]) -> None:
        """Keep what of a district lies beside each other one."""
        own = boxes[row]
        if not np.isfinite(own).all():
            return
        wide = np.array(margin)
        touching = (boxes[:, :2] - wide <= own[2:]).all(axis=1) & (boxes[:, 2:] + wide >= own[:2]).all(axis=1)
        touching[row] = False
        others = np.flatnonzero(touching).tolist()
        layers = self._read(row).layers if others else {}
        for other in others:
            near = {
                name: layer.take(rows)
                for name, layer in layers.items()
                if len(rows := rows_in_box(layer, boxes[other], margin[other]))
            }
            if not near:
                continue
            write_strip(self._place / STRIPS / str(other), str(row), near)
            seen[other].beside.add(row)
            for name, ids in ids_of(near).items():
                if name in seen[row].border:
                    seen[row].border[name].append(ids)

    def _joined(
        self, row: int, seen: list[_Seen], known: dict[str, list[str]], frame: WholeFrame
    ) -> LocalParts:
        """Join a district with what lies beside it and return its connected parts."""
        one, name = seen[row], self._names[row]
        self._tell(f"joining district {row + 1} of {len(self._names)}")
        own = _without_base(self._read(row).layers)
        strips = read_strip(self._place / STRIPS / str(row), map(str, sorted(one.beside)), one.crs)
        beside = [(self._names[int(number)], _without_base(layers)) for number, layers in strips.items()]
        try:
            both = merged([(name, own), *beside], name)
            raw = with_columns(both, {k: v for k, v in known.items() if k not in BASE_LAYERS}, one.crs)
            network = build_network(raw.layers, name, strict=False, frame=frame)
        except BadNetworkError as error:
            raise BadInputError(f"district {name}: {error}") from error
        mine, theirs = ids_of(own), ids_of_all(ids_of(layers) for _, layers in beside)
        foreign = foreign_features(network, mine, theirs)
        self._note_elsewhere(row, own, mine, theirs)
        border = {layer: pa.concat_arrays(ids) for layer, ids in one.border.items() if ids}
        one.border = {}
        parts = local_parts(network, foreign, border)
        write_part(self._place / _PARTS / "mains", row, parts.main_hash, parts.main_part)
        one.pipes, one.customers = int((~foreign.pipe).sum()), int((~foreign.customer).sum())
        one.errors = _errors_in(network.findings, mine)
        self._note_extent(network, ~foreign.pipe)
        self._note_outlets(network)
        return parts

    def _note_extent(self, network: Network, is_own: Flags) -> None:
        """Widen the box of all pipes by those of a district, and note the least ends of each system."""
        pipes = network.pipes
        vertex = np.repeat(is_own, np.diff(pipes.coord_start))
        if not vertex.any():
            return
        self._low = np.minimum(self._low, pipes.coords_m[vertex].min(axis=0))
        self._high = np.maximum(self._high, pipes.coords_m[vertex].max(axis=0))
        ends = pipes.coords_m[np.column_stack([pipes.coord_start[:-1], pipes.coord_start[1:] - 1])]
        for code, name in enumerate(network.systems):
            rows = is_own & (pipes.system == code)
            if rows.any():
                least = ends[rows].min(axis=(0, 1))
                self._corner[name] = np.minimum(self._corner.get(name, least), least)

    def _note_outlets(self, network: Network) -> None:
        """Note the greatest set outlet of each system; what lies beside the district is noted twice."""
        stations = network.stations
        for row in np.flatnonzero(stations.node >= 0).tolist():
            name = network.systems[int(network.nodes.system[stations.node[row]])]
            outlet = float(stations.outlet_pa_gauge[row])
            self._outlet_pa_gauge[name] = max(outlet, self._outlet_pa_gauge.get(name, outlet))

    def _note_elsewhere(
        self, row: int, own: Mapping[str, RawLayer], mine: Mapping[str, Any], theirs: Mapping[str, Any]
    ) -> None:
        """Note services and stations that features of a district name and that do not lie near it."""
        for layer, column, named in (
            ("customers", "service_id", "services"),
            ("sensing_points", "station_id", "regulators"),
        ):
            table = own[layer].columns if layer in own else pa.table({})
            if column not in table.column_names:
                continue
            text = pc.fill_null(table[column].combine_chunks().cast(pa.string()), "")
            ids = pc.unique(pc.utf8_trim_whitespace(pc.split_pattern(text, ";").flatten()))
            near = pa.concat_arrays(
                [held[named] for held in (mine, theirs) if named in held] or [pa.array([], pa.string())]
            )
            missing = ids.filter(pc.invert(pc.is_in(ids, value_set=near))).to_pylist()
            self._elsewhere[named] += [(row, one) for one in missing if one]

    def _merge(self, seen: list[_Seen], of_part: Any) -> None:
        """Merge the tables of ids and refuse what the districts do not agree on."""
        self._tell("merging the ids")
        folder = self._place / TABLES
        folder.mkdir()
        districts = range(len(seen))
        pairs: set[tuple[int, int]] = set()
        for layer in ("mains", *_RAW_TABLES):
            values = of_part if layer == "mains" else None
            twice = merge_tables(self._place / _PARTS / layer, districts, folder / layer, values)
            pairs |= {(one, other) for _, one, other in twice}
        for file in sorted((self._place / _PARTS).glob("*/*")):
            file.unlink()
        for inner in (*(self._place / _PARTS).iterdir(), self._place / _PARTS):
            inner.rmdir()
        for one, other in sorted(pairs):
            # Refuses an id with different records; a feature that both hold alike comes once.
            merged([(seen[row].name, self._read(row).layers) for row in (one, other)], "")
        for layer, named in self._elsewhere.items():
            table, what = IdTable(folder / layer), "service" if layer == "services" else "station"
            for row, ident in named:
                where = [number for number, _ in table.find(ident) if number != row]
                if where:
                    raise BadInputError(
                        f"district {seen[row].name}: a feature names {what} {ident}, which stands in "
                        f"district {seen[where[0]].name} farther than {NEAR_M:g} m away; "
                        "put both in one district"
                    )


def _without_base(layers: Mapping[str, RawLayer]) -> dict[str, RawLayer]:
    return {name: layer for name, layer in layers.items() if name not in (*BASE_LAYERS, "keep_out")}


def _district(one: _Seen) -> DistrictRecord:
    west, south, east, north = one.box.tolist()
    box = (west, south, east, north)
    return DistrictRecord(
        one.name, one.content, one.quick, box, one.pipes, one.customers, one.errors, tuple(sorted(one.beside))
    )


def _errors_in(findings: tuple[Finding, ...], own: Mapping[str, Any]) -> int:
    found = [error for error in errors_of(findings) if error.feature_id]
    return sum(
        1
        for error in found
        if error.layer in own and pc.is_in(pa.scalar(error.feature_id), value_set=own[error.layer]).as_py()
    )


def _row(finding: Finding) -> dict[str, Any]:
    return {name: getattr(finding, name) for name in Finding.__slots__}
