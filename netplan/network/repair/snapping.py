"""Ends that plainly miss their joint: drawn up to it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.network.checks.gaps import NearMisses, near_misses
from netplan.network.model import Network
from netplan.network.normalise import column_text
from netplan.network.pipe_joining import SNAP_M
from netplan.network.raw_layers import RawLayer, as_objects
from netplan.network.repair.changes import Change
from netplan.network.vocabulary import FittingKind

__all__ = ["snap_ends"]

_CAP_REACH_M: Final = 0.5


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
        changes.append(Change(layer, name, "near-miss", f"its end, {gap}, is drawn up to it", *where))
    result.update(editor.changed())
    return result, changes, left


def _unsafe(found: NearMisses, at: int, *, capped: bool) -> str | None:
    if capped:
        return "a cap is recorded there"
    if found.rivals[at]:
        return "several mains lie about as near"
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
