"""Mending what is safe to mend by program: duplicates go, ends that plainly miss their joint are moved to it.

Everything else is a person's decision and stays a finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadNetworkError
from netplan.network.build import build_network
from netplan.network.checks.missing_joints import NearMisses, near_misses
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.model import Network
from netplan.network.normalise import column_text
from netplan.network.pipe_joining import SNAP_M
from netplan.network.raw_layers import RawLayer, as_objects
from netplan.network.vocabulary import FittingKind

__all__ = [
    "REPAIR_SNAP_M",
    "Change",
    "RepairedLayers",
    "repair_layers",
]

_LINES: Final = ("mains", "services")
_CAP_REACH_M: Final = 0.5
REPAIR_SNAP_M: Final = 0.5
"""Ends are drawn up to a main within this distance unless told otherwise (own) [m]."""
_ROUNDS: Final = 4
"""Drawing an end up may turn its last length a little away from another end that was drawn up to it."""
_MAY_BE_DUPLICATES: Final = ("mains", "services", "valves", "fittings")


@dataclass(frozen=True, slots=True, order=True)
class Change:
    """One thing done to a feature, or left.

    Parameters
    ----------
    layer, feature_id : str
    code : str
        Code of the finding that it answers.
    what : str
        What was done, or why nothing was, in one line.
    x_m, y_m : float or None
        Place in the working CRS [m].
    """

    layer: str
    feature_id: str
    code: str
    what: str
    x_m: float | None = None
    y_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class RepairedLayers:
    """RepairedLayers layers.

    Parameters
    ----------
    layers : mapping
        Raw layers by name; what was not changed is as it was.
    changes : tuple of Change
        Everything that was done, by layer and feature.
    left : tuple of Change
        What looked alike but was not safe, each with the reason.
    """

    layers: Mapping[str, RawLayer]
    changes: tuple[Change, ...]
    left: tuple[Change, ...]


def without_repeated_rows(layer: RawLayer) -> tuple[RawLayer, list[Change]]:
    """Return a layer without rows whose every column and geometry equal those of an earlier row."""
    first = _first_alike(layer, _columns(layer), turned=False)
    repeat = np.flatnonzero(first != np.arange(len(layer)))
    code = "duplicate-id" if layer_specs()[layer.name].has_id else "repeated-row"
    names = _names(layer)
    changes = [
        Change(layer.name, names[row], code, "a row identical to another one is left out")
        for row in repeat.tolist()
    ]
    return _without(layer, repeat), changes


def without_duplicates(
    layer: RawLayer, referred: frozenset[str]
) -> tuple[RawLayer, list[Change], list[Change]]:
    """Return a layer without features that equal an earlier one in everything but the id.

    Parameters
    ----------
    layer : RawLayer
        Mains or services, which may be drawn in the other direction, or valves or fittings.
    referred : frozenset of str
        Ids that other layers refer to: those features stay.
    """
    if "id" not in layer.columns.column_names or len(layer) < 2:
        return layer, [], []
    ids = column_text(layer.columns["id"])
    order = np.asarray(np.argsort(ids.numpy(), kind="stable"), dtype=np.int64)
    columns = [name for name in _columns(layer) if name != "id"]
    first = order[_first_alike(layer.take(order), columns, turned=layer.name in _LINES)]
    alike = np.flatnonzero(first != order)
    gone, changes, left = [], [], []
    code = "on-top" if layer.name in _LINES else "same-place"
    for place in alike.tolist():
        row, other = int(order[place]), int(first[place])
        name, twin = ids[row], ids[other]
        if name == twin:
            continue
        if name in referred:
            why = f"is identical to {twin}, but customers name both"
            if twin in referred:
                left.append(Change(layer.name, name, code, f"{why}; correct service_id first"))
                continue
            # The one that nobody refers to goes instead.
            row, name, twin = other, twin, name
        if row not in gone:
            gone.append(row)
            words = f"is identical to {twin} except for the id; it is left out"
            changes.append(Change(layer.name, name, code, words))
    return _without(layer, np.array(sorted(gone), dtype=np.int64)), changes, left


def _columns(layer: RawLayer) -> list[str]:
    known = {column.name for column in layer_specs()[layer.name].columns}
    return [name for name in layer.columns.column_names if name in known]


def _names(layer: RawLayer) -> list[str]:
    for key in ("id", "station_id", "reason", "name"):
        if key in layer.columns.column_names:
            return list(column_text(layer.columns[key]))
    return [""] * len(layer)


def _first_alike(layer: RawLayer, columns: list[str], *, turned: bool) -> Ints:
    """Return for each row the first row with the same values and the same shape."""
    n = len(layer)
    shapes = as_objects(layer.geometry)
    codes: list[Any] = [_code(column_text(layer.columns[name]).arrow) for name in columns]
    if turned:
        usable = ~shapely.is_missing(shapes)
        shapes = shapes.copy()
        shapes[usable] = shapely.normalize(shapes[usable])
    codes.append(_code(pa.array(shapely.to_wkb(shapes), type=pa.binary())))
    order = np.lexsort([np.arange(n), *codes])
    new = np.ones(n, dtype=bool)
    new[1:] = np.any([code[order][1:] != code[order][:-1] for code in codes], axis=0)
    first = np.empty(n, dtype=np.int64)
    first[order] = order[np.maximum.accumulate(np.where(new, np.arange(n), 0))] if n else order
    return first


def _code(array: Any) -> NDArray[np.int64]:
    indices = array.dictionary_encode().indices
    return np.asarray(indices.fill_null(-1).to_numpy(zero_copy_only=False), dtype=np.int64)


def _without(layer: RawLayer, rows: Ints) -> RawLayer:
    if not len(rows):
        return layer
    keep = np.ones(len(layer), dtype=bool)
    keep[rows] = False
    return layer.take(np.flatnonzero(keep))


def snap_ends(
    layers: Mapping[str, RawLayer], network: Network, snap_m: float
) -> tuple[dict[str, RawLayer], list[Change], list[Change]]:
    """Return layers whose loose ends within `snap_m` [m] of a main of their system end on it.

    Left as they are: ends with a recorded cap, ends with several mains at hardly different distances, and
    features drawn in several parts.

    Parameters
    ----------
    layers : mapping
        Raw layers.
    network : Network
        The network joined from them.
    snap_m : float
        Greatest distance that an end is moved, true length [m].
    """
    found = near_misses(network, snap_m * network.scale)
    result = dict(layers)
    changes: list[Change] = []
    left: list[Change] = []
    editor = _Editor(result, network)
    capped = _capped(network, found)
    moved: set[tuple[int, int]] = set()
    for at in range(len(found)):
        name, layer = editor.name(int(found.pipe[at]))
        main = editor.name(int(found.main[at]))[0]
        where = (round(float(found.end_m[at, 0]), 3), round(float(found.end_m[at, 1]), 3))
        gap = f"{found.gap_m[at] / network.scale:.2f} m from main {main}"
        why = _unsafe(found, at, capped=bool(capped[at]))
        if why is None and not editor.has(layer, name):
            why = "the feature is drawn in several parts, or its id stands twice"
        if why is None and not editor.has("mains", main):
            why = f"main {main} is drawn in several parts, or its id stands twice"
        if why is not None:
            left.append(Change(layer, name, "near-miss", f"ends {gap}; left alone: {why}", *where))
            continue
        partner = _facing_end(network, found, at)
        if partner is not None and partner in moved:
            continue  # the other end was drawn up to this one
        editor.move(layer, name, int(found.side[at]), main, found.foot_m[at])
        moved.add((int(found.pipe[at]), int(found.side[at])))
        changes.append(Change(layer, name, "near-miss", f"its end, {gap}, is extended to it", *where))
    result.update(editor.changed())
    return result, changes, left


def _unsafe(found: NearMisses, at: int, *, capped: bool) -> str | None:
    if capped:
        return "a cap is recorded there"
    if found.rivals[at]:
        return "several mains are about as near"
    return None


def _capped(network: Network, found: NearMisses) -> NDArray[np.bool_]:
    fittings, pipes = network.fittings, network.pipes
    cap = (fittings.kind == FittingKind.CAP) & (fittings.pipe >= 0)
    result = np.zeros(len(found), dtype=bool)
    for at in range(len(found)):
        pipe = int(found.pipe[at])
        end = 0.0 if found.side[at] == 0 else float(pipes.length_m[pipe])
        on = cap & (fittings.pipe == pipe)
        result[at] = bool((np.abs(fittings.chainage_m[on] - end) <= _CAP_REACH_M).any())
    return result


def _facing_end(network: Network, found: NearMisses, at: int) -> tuple[int, int] | None:
    """Return the pipe and side of the other main's end, where the gap is between two ends."""
    main = int(found.main[at])
    start = network.pipes.coord_start
    for side, row in ((0, int(start[main])), (1, int(start[main + 1]) - 1)):
        if np.hypot(*(network.pipes.coords_m[row] - found.foot_m[at])) <= SNAP_M:
            return main, side
    return None


class _Editor:
    """Geometries of the source, changed by the id of their feature."""

    def __init__(self, layers: Mapping[str, RawLayer], network: Network) -> None:
        self._layers = layers
        self._network = network
        self._rows: dict[str, dict[str, int]] = {}
        self._given: dict[str, NDArray[np.object_]] = {}
        self._shapes: dict[str, NDArray[np.object_]] = {}

    def name(self, pipe: int) -> tuple[str, str]:
        """Return id and layer of a pipe of the network."""
        pipes = self._network.pipes
        return pipes.id[pipe], "mains" if pipe < pipes.n_mains else "services"

    def has(self, layer: str, name: str) -> bool:
        """Return whether a feature is one line of the source."""
        if layer not in self._rows:
            ids = list(column_text(self._layers[layer].columns["id"]))
            rows: dict[str, int] = {}
            for row, key in enumerate(ids):
                rows[key] = row if key not in rows else -1
            self._rows[layer] = rows
            self._given[layer] = as_objects(self._layers[layer].geometry)
            self._shapes[layer] = self._given[layer].copy()
        row = self._rows[layer].get(name, -1)
        shape = self._shapes[layer][row] if row >= 0 else None
        return shape is not None and shape.geom_type == "LineString"

    def move(self, layer: str, name: str, side: int, main: str, foot_m: Floats) -> None:
        """Put an end of a feature on a main, in the coordinates of the source."""
        target = self._on_main(main, foot_m)
        row = self._rows[layer][name]
        shape = self._shapes[layer][row]
        corners: Any = shapely.get_coordinates(shape, include_z=bool(shapely.has_z(shape)))
        corners[0 if side == 0 else -1, :2] = target
        self._shapes[layer][row] = shapely.LineString(corners)

    def _on_main(self, main: str, foot_m: Floats) -> Floats:
        """Return a place on a main in source coordinates: its end, or a share of one of its segments."""
        pipes = self._network.pipes
        pipe = pipes.id.find(main, 0, pipes.n_mains)
        course = pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]]
        given = shapely.get_coordinates(self._given["mains"][self._rows["mains"][main]])
        for end in (0, -1):
            if np.hypot(*(course[end] - foot_m)) <= SNAP_M:
                return np.asarray(given[end])
        begin, step = course[:-1], np.diff(course, axis=0)
        square = np.maximum((step**2).sum(axis=1), 1e-12)
        share = np.clip(((foot_m - begin) * step).sum(axis=1) / square, 0.0, 1.0)
        gap = np.hypot(*(begin + share[:, None] * step - foot_m).T)
        best = int(gap.argmin())
        return np.asarray(given[best] + share[best] * (given[best + 1] - given[best]))

    def changed(self) -> dict[str, RawLayer]:
        """Return the layers with their changed shapes."""
        return {
            name: RawLayer(name, self._layers[name].columns, shapes, self._layers[name].crs)
            for name, shapes in self._shapes.items()
        }


def repair_layers(layers: Mapping[str, RawLayer], snap_m: float = REPAIR_SNAP_M) -> RepairedLayers:
    """Return layers with everything mended that is safe.

    Rows that repeat another one, and features that equal another one in all but the id, are left out; loose
    ends within `snap_m` [m] of exactly one main of their system are drawn up to it.

    Raises
    ------
    BadNetworkError
        When the layers cannot be joined at all, so that no end can be judged.
    """
    result = dict(layers)
    changes: list[Change] = []
    left: list[Change] = []
    for name, layer in layers.items():
        if name not in BASE_LAYERS:
            result[name], some = without_repeated_rows(layer)
            changes += some
    referred = _referred(result)
    for name in _MAY_BE_DUPLICATES:
        if name in result:
            ids = referred if name == "services" else frozenset()
            result[name], some, stay = without_duplicates(result[name], ids)
            changes += some
            left += stay
    for _ in range(_ROUNDS):
        try:
            network = build_network(result, strict=False)
        except BadNetworkError as error:
            raise BadNetworkError(f"mend this first: {error}", error.findings) from None
        result, drawn, alone = snap_ends(result, network, snap_m)
        changes += drawn
        if not drawn:
            break
    left += alone
    return RepairedLayers(result, tuple(sorted(changes, key=_key)), tuple(sorted(left, key=_key)))


def _key(change: Change) -> tuple[str, str, str, str]:
    return change.layer, change.feature_id, change.code, change.what


def _referred(layers: Mapping[str, RawLayer]) -> frozenset[str]:
    customers = layers.get("customers")
    if customers is None or "service_id" not in customers.columns.column_names:
        return frozenset()
    names = pc.list_flatten(pc.split_pattern(column_text(customers.columns["service_id"]).arrow, ";"))
    return frozenset(np.asarray(pc.utf8_trim_whitespace(names).unique().to_numpy(zero_copy_only=False)))
