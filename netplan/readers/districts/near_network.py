"""The network of the districts near the work: every pressure system that the work touches, whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

from netplan.core.arrays import Flags, Floats
from netplan.core.errors import BadInputError, BadNetworkError, BadWorkError
from netplan.core.findings import Finding, errors_of
from netplan.network.build import build_network
from netplan.network.checks.reference_systems import check_area_of_use
from netplan.network.concurrency import in_parallel
from netplan.network.extract import extract
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network
from netplan.network.raw_layers import RawLayer
from netplan.network.text_column import TextColumn
from netplan.network.topology import components
from netplan.network.unread_districts import DistrictsNeededError
from netplan.readers.districts.district_index import STRIPS, DistrictIndex
from netplan.readers.districts.district_layers import merged, read_strip, with_columns
from netplan.readers.districts.district_sources import DistrictSource
from netplan.readers.districts.foreign_features import (
    ForeignFeatures,
    foreign_features,
    ids_of,
    ids_of_all,
    is_of,
)
from netplan.readers.districts.parts_left_out import LeftOut, systems_of_parts, with_ties
from netplan.readers.source_to_network import read_layers

if TYPE_CHECKING:
    from netplan.readers.mapping.mapping_file import Mapping as ColumnMapping

__all__ = ["NearDistricts", "NearNames"]

MEMORY_GIB: Final = 0.4
"""Memory that a plan takes whatever is read (own, measured) [GiB]."""
MEMORY_GIB_A_PIPE: Final = 2.8e-6
"""Memory that each pipe takes on top (own, measured; docs/benchmarks/districts.md) [GiB]."""
_AT_M: Final = 60.0
"""How far from a place districts are looked for (own) [m]."""


@dataclass(frozen=True, slots=True)
class NearNames:
    """What the work and the orders name.

    Parameters
    ----------
    mains, valves, customers : tuple of str
        Ids.
    maybe_mains : tuple of str
        Ids of mains of which some may be meant.
    box_lon_lat : tuple of float or None
        Least and greatest longitude and latitude of a place or an area of work [°].
    """

    mains: tuple[str, ...] = ()
    valves: tuple[str, ...] = ()
    customers: tuple[str, ...] = ()
    maybe_mains: tuple[str, ...] = ()
    box_lon_lat: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Joined:
    """Districts read whole, joined together with what of others lies beside them."""

    network: Network
    foreign: ForeignFeatures
    strip_of: dict[str, dict[str, Any]]
    """Ids of the strips by layer, by district."""


class NearDistricts:
    """Reads the districts that a work section needs, and more of them where an answer asks for it.

    Parameters
    ----------
    source : DistrictSource
    index : DistrictIndex
        Of that source.
    names : NearNames
    mapping : Mapping, optional
        The one that the index was made with.
    memory_gib : float
        Refuse to read more districts than a plan has room for in so much memory [GiB].

    Raises
    ------
    BadInputError
        When the index was made with another mapping.
    BadWorkError
        When no district holds what is named.
    """

    def __init__(
        self,
        source: DistrictSource,
        index: DistrictIndex,
        names: NearNames,
        *,
        mapping: ColumnMapping | None = None,
        memory_gib: float = 3.0,
    ) -> None:
        self._source, self._index, self._mapping = source, index, mapping
        self._memory_gib = memory_gib
        if ("" if mapping is None else mapping.digest) != index.mapping:
            raise BadInputError(
                f"{index.place}: the index was made with another mapping; give that one, or index again"
            )
        self._systems: set[int] = set()
        self._notes: dict[int, tuple[Finding, ...]] = {}
        self._districts = self._named(names)

    @property
    def districts(self) -> tuple[str, ...]:
        """Names of the districts that are read, sorted."""
        return tuple(sorted(self._index.districts[number].name for number in self._districts))

    def add(self, needed: DistrictsNeededError) -> None:
        """Read what an answer asked for too, the next time.

        Raises
        ------
        BadInputError
            When it was read already, or is too much for the memory.
        """
        before = set(self._districts)
        self._districts |= set(needed.districts)
        self._systems |= set(needed.systems)
        self._districts |= self._districts_of_systems()
        if self._districts == before:
            raise BadInputError(
                f"{self._index.place}: the districts do not hold what the index says; index the source again"
            )
        self._check_room()

    def network(self) -> Network:
        """Read and join the districts; every pressure system of the work is in it whole.

        Raises
        ------
        BadInputError
            When a district is missing, was changed since it was indexed, or there is no room for all.
        BadNetworkError
            When a district that is read has errors; the message names it.
        """
        while True:
            self._check_room()
            self._index.check_unchanged(self._source, self._districts)
            joined = self._joined()
            part = components(joined.network)
            is_cut = np.zeros(int(part.max(initial=-1)) + 1, dtype=bool)
            is_cut[part[joined.foreign.node]] = True
            # What shares a customer or a sensing line with such a part is not as it is in the whole either.
            is_cut = with_ties(joined.network, part, is_cut)
            of_part = systems_of_parts(joined.network, part, self._index)
            wanted = self._wanted_parts(joined.network, part, of_part)
            more = self._beyond(joined, part, wanted & is_cut)
            if not more:
                return self._without_cut(joined, part, is_cut, of_part)
            self._districts |= more

    def _named(self, names: NearNames) -> set[int]:
        found: set[int] = set()
        for name in (*names.mains, *names.maybe_mains):
            rows = self._index.table("mains").find(name)
            if not rows and name in names.mains:
                raise BadWorkError(f"no district holds a live main {name}; name one of the mains layer")
            self._systems |= {system for _, system in rows}
            found |= {district for district, _ in rows}
        for layer, ids in (("valves", names.valves), ("customers", names.customers)):
            for name in ids:
                found |= {district for district, _ in self._index.table(layer).find(name)}
        if names.box_lon_lat is not None:
            found |= self._districts_at(names.box_lon_lat)
        return found | self._districts_of_systems()

    def look_at(self, mains_of: Callable[[Network], Iterable[str]]) -> None:
        """Take the systems of the mains that a place or an area of work means.

        Parameters
        ----------
        mains_of : callable
            Returns the ids of these mains, given the network of the districts there.
        """
        self._check_room()
        self._index.check_unchanged(self._source, self._districts)
        for name in mains_of(self._joined().network):
            self._systems |= {system for _, system in self._index.table("mains").find(name)}
        self._districts |= self._districts_of_systems()

    def _districts_of_systems(self) -> set[int]:
        self._systems = self._index.with_ties(self._systems)
        return self._index.districts_of(self._systems)

    def _districts_at(self, box: tuple[float, float, float, float]) -> set[int]:
        low_high = np.array(
            Transformer.from_crs("OGC:CRS84", self._index.crs, always_xy=True).transform_bounds(*box)
        )
        boxes = self._working_boxes()
        corners = self._index.frame.working.coordinates(low_high.reshape(2, 2))
        low, high = corners.min(axis=0) - _AT_M, corners.max(axis=0) + _AT_M
        near = (boxes[:, :2] <= high).all(axis=1) & (boxes[:, 2:] >= low).all(axis=1)
        if not near.any():
            raise BadWorkError("the work section lies in no district; correct the place")
        return set(np.flatnonzero(near).tolist())

    def _working_boxes(self) -> Floats:
        """Return the box of each district in the working CRS [m], widened where the CRS is another."""
        working, boxes = self._index.frame.working, self._index.boxes
        if working.transformer is None:
            return np.asarray(boxes * working.factor, dtype=float)
        bounds: list[tuple[float, ...]] = [
            working.transformer.transform_bounds(west, south, east, north, densify_pts=21)
            for west, south, east, north in boxes.tolist()
        ]
        return np.asarray(np.array(bounds) + np.array([-1.0, -1.0, 1.0, 1.0]), dtype=float)

    def _check_room(self) -> None:
        pipes = self._index.pipes_of(self._districts)
        takes = MEMORY_GIB + MEMORY_GIB_A_PIPE * pipes
        if takes > self._memory_gib:
            raise BadInputError(
                f"{self._source.name}: the pressure systems of the work reach over {len(self._districts)} "
                f"districts with {pipes:,} pipes, which take about {takes:.1f} GiB; "
                f"give --memory {int(takes) + 1} or more"
            )

    def _layers(self, number: int) -> Mapping[str, RawLayer]:
        district = self._index.districts[number]
        try:
            raw = read_layers(self._source.layers_of(district.name), mapping=self._mapping)
        except BadInputError as error:
            raise BadInputError(f"district {district.name}: {error}") from error
        self._notes[number] = raw.findings
        return raw.layers

    def _joined(self) -> _Joined:
        index, chosen = self._index, sorted(self._districts)
        own = dict(zip(chosen, in_parallel(self._layers, chosen), strict=True))
        strips: dict[int, list[Mapping[str, RawLayer]]] = {}
        for number in chosen:
            beside = [other for other in index.districts[number].beside if other not in self._districts]
            held = read_strip(index.place / STRIPS / str(number), map(str, beside), index.crs)
            for other, layers in held.items():
                strips.setdefault(int(other), []).append(layers)
        parts = [(index.districts[number].name, layers) for number, layers in own.items()]
        parts += [
            (index.districts[number].name, some) for number in sorted(strips) for some in strips[number]
        ]
        name = f"{self._source.name} (districts {', '.join(self.districts)})"
        raw = with_columns(merged(parts, name), index.layers, index.crs)
        mine = ids_of_all([ids_of(layers) for layers in own.values()])
        strip_of = {
            index.districts[number].name: ids_of_all([ids_of(layers) for layers in some])
            for number, some in strips.items()
        }
        own_parts = [(index.districts[number].name, ids_of(layers)) for number, layers in own.items()]
        del own, strips, parts
        notes = FindingLog()
        notes.extend((*index.findings, *(one for some in self._notes.values() for one in some)))
        check_area_of_use(raw.layers, notes)
        try:
            network = build_network(raw.layers, name, findings=notes.sorted(), frame=index.frame)
        except BadNetworkError as error:
            raise _naming_district(error, [*own_parts, *strip_of.items()]) from error
        return _Joined(
            network, foreign_features(network, mine, ids_of_all(list(strip_of.values()))), strip_of
        )

    def _wanted_parts(
        self, network: Network, part: NDArray[np.int32], of_part: Mapping[int, set[int]]
    ) -> Flags:
        """Return the connected parts that have to be whole: of the systems wanted, and what hangs on them."""
        wanted = np.zeros(int(part.max(initial=-1)) + 1, dtype=bool)
        for number, systems in of_part.items():
            wanted[number] = bool(systems & self._systems)
        return with_ties(network, part, wanted)

    def _beyond(self, joined: _Joined, part: NDArray[np.int32], cut: Flags) -> set[int]:
        """Return the districts whose strips touch some parts."""
        if not cut.any():
            return set()
        network, pieces = joined.network, joined.network.pieces
        pipe = np.zeros(len(network.pipes), dtype=bool)
        pipe[pieces.pipe[cut[part[pieces.from_node]] | cut[part[pieces.to_node]]]] = True
        n, ids = network.pipes.n_mains, network.pipes.id
        rows = {
            "mains": ids.take(np.flatnonzero(pipe[:n])),
            "services": ids.take(n + np.flatnonzero(pipe[n:])),
            "customers": network.customers.id,
            "regulators": network.stations.id,
        }
        number = {district.name: row for row, district in enumerate(self._index.districts)}
        found = {
            number[name]
            for name, held in joined.strip_of.items()
            if any(is_of(rows[layer], held.get(layer)).any() for layer in ("mains", "services"))
        }
        if found:
            return found
        return {
            number[name]
            for name, held in joined.strip_of.items()
            if any(is_of(rows[layer], held.get(layer)).any() for layer in ("customers", "regulators"))
        } or {number[name] for name in joined.strip_of}

    def _without_cut(
        self, joined: _Joined, part: NDArray[np.int32], is_cut: Flags, of_part: Mapping[int, set[int]]
    ) -> Network:
        """Return the network without the parts that go on in districts that were not read."""
        network, foreign = joined.network, joined.foreign
        chosen = ~is_cut[part]
        pieces = network.pieces
        shut = np.flatnonzero(~pieces.is_open)
        ends = np.column_stack([pieces.from_node[shut], pieces.to_node[shut]])
        half = chosen[ends].sum(axis=1) == 1
        near = np.where(chosen[ends[half, 0]], ends[half, 0], ends[half, 1])
        far = np.where(chosen[ends[half, 0]], ends[half, 1], ends[half, 0])
        left = LeftOut(~chosen, part, of_part, near, far)
        boxes = self._working_boxes()
        others = np.setdiff1d(np.arange(len(boxes)), sorted(self._districts))
        others = others[np.isfinite(boxes[others]).all(axis=1)]
        unread = left.unread(network, others, boxes[others], self._index.outlets)
        if not joined.strip_of:
            # No other district lies near those read: everything in them is whole.
            return replace(network, unread=unread, recorded=self._index.recorded)
        chosen[far] = True
        loose = (np.diff(network.customers.attach_start) == 0) & ~foreign.customer
        kept, _ = extract(replace(network, unread=unread), chosen, loose)
        beside = ids_of_all(list(joined.strip_of.values()))
        findings = _without(network.findings, beside)
        return replace(kept, findings=findings, base=network.base, recorded=self._index.recorded)


def _without(findings: Sequence[Finding], ids: Mapping[str, Any]) -> tuple[Finding, ...]:
    """Return the findings that are not about features with some ids."""
    of_layer: dict[str, list[int]] = {}
    for row, one in enumerate(findings):
        if one.feature_id:
            of_layer.setdefault(one.layer, []).append(row)
    dropped: set[int] = set()
    for layer, rows in of_layer.items():
        hit = is_of(TextColumn([findings[row].feature_id for row in rows]), ids.get(layer))
        dropped |= {row for row, is_hit in zip(rows, hit.tolist(), strict=True) if is_hit}
    return tuple(one for row, one in enumerate(findings) if row not in dropped)


def _is_among(finding: Finding, ids: Mapping[str, Any]) -> bool:
    """Return whether a finding is about a feature with one of some ids."""
    if not finding.feature_id:
        return False
    return bool(is_of(TextColumn([finding.feature_id]), ids.get(finding.layer))[0])


def _naming_district(
    error: BadNetworkError, parts: Sequence[tuple[str, Mapping[str, Any]]]
) -> BadNetworkError:
    """Return an error of the records with the name of the district it stands in."""
    first = next(iter(errors_of(error.findings)), None)
    where = [name for name, ids in parts if first is not None and _is_among(first, ids)]
    return BadNetworkError(f"district {where[0]}: {error}", error.findings) if where else error
