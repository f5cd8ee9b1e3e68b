"""Records near the work that are others than when the plan was made, by what its folder holds of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.constants import MM_PER_M
from netplan.hydraulics.recorded_network import roughness_m
from netplan.network.model import Network
from netplan.network.vocabulary import Material
from netplan.planfile import PieceState, SolvedState
from netplan.planfile.model import Option
from netplan.recheck.customer_changes import customer_changes
from netplan.recheck.found_change import FoundChange
from netplan.recheck.point_changes import station_changes, valve_changes
from netplan.rules import Rules

__all__ = ["NEAR_M", "NOT_HELD", "WorkSurroundings", "record_changes"]

NEAR_M: Final = 100.0
"""How near to the work, its stops and feeds a changed record is told (own) [m]."""
NOT_HELD: Final = (
    "fittings, keep-out areas, surfaces and whether a valve can be worked are not in the plan folder: what "
    "has changed in them shows where a stop or a tee cannot be made any more"
)
BORE_MM: Final = 0.05
LENGTH_M: Final = 0.05
ROUGHNESS_MM: Final = 1e-6
MOVED_M: Final = 0.1
"""Differences that rounding does not make (own)."""


@dataclass(frozen=True, slots=True, eq=False)
class WorkSurroundings:
    """Where the plan works: zones, stops, fallbacks, feeds, in the plan's CRS.

    Parameters
    ----------
    shape : shapely geometry
    scale : float
        Planar length over true length [-].
    """

    shape: Any
    scale: float

    @classmethod
    def of(cls, option: Option, state: SolvedState, scale: float) -> WorkSurroundings:
        """Return the surroundings of an option."""
        pipes = state.pipes
        rows = np.flatnonzero(np.isin(pipes.state, (PieceState.ISOLATED, PieceState.CLOSED)))
        named = {(pipe.layer == "mains", pipe.pipe_id) for zone in option.zones for pipe in zone.pipes}
        inside = [row for row in rows.tolist() if (bool(pipes.is_main[row]), pipes.pipe_id[row]) in named]
        shapes: list[Any] = pipes.lines(np.array(inside, dtype=np.int64)).tolist()
        shapes += [shapely.Point(stop.x, stop.y) for stop in option.stops]
        shapes += [shapely.Point(use.x, use.y) for one in option.fallback for use in one.use]
        shapes += [shapely.LineString(bypass.course) for bypass in option.bypasses]
        shape = shapely.GeometryCollection(shapes)
        shapely.prepare(shape)
        return cls(shape, scale)

    def away_m(self, shapes: NDArray[np.object_]) -> NDArray[np.float64]:
        """Return how far shapes in the plan's CRS lie from it [true m]."""
        return np.asarray(shapely.distance(self.shape, shapes)) / self.scale


def record_changes(
    network: Network, rules: Rules, state: SolvedState, option: Option, around: WorkSurroundings
) -> list[FoundChange]:
    """Return all records that differ, each with its distance from the work, nearest first.

    Of a plan folder that holds only the surroundings of the work, only what lies near it is told.

    Parameters
    ----------
    network : Network
        Today's, in the working CRS of the plan.
    rules : Rules
        For the wall roughness.
    state : SolvedState
        The plan's.
    option : Option
        The plan's.
    around : WorkSurroundings
    """
    found = [
        *_pipe_changes(network, rules, state),
        *valve_changes(network, state, option),
        *station_changes(network, state),
        *customer_changes(network, state),
    ]
    if not found:
        return []
    away = around.away_m(np.array([one.shape for one in found], dtype=object))
    placed = [one.at(float(far)) for one, far in zip(found, away, strict=True)]
    if state.left_out:
        # Beyond its extent the folder holds nothing: everything there would look new.
        placed = [one for one in placed if one.away_m <= NEAR_M]
    return sorted(placed, key=lambda one: (round(one.away_m, 1), one.layer, one.feature_id, one.what))


@dataclass(frozen=True, slots=True)
class _Pipe:
    """A pipe as the plan folder holds it."""

    bore_mm: float
    od_mm: float
    roughness_mm: float
    length_m: float
    line: Any


def _recorded_pipes(state: SolvedState) -> dict[tuple[bool, str], _Pipe]:
    """Return the pipes of a state by layer and id, their pieces put together in order."""
    pipes = state.pipes
    rows_of: dict[tuple[bool, str], list[int]] = {}
    for row, (is_main, name) in enumerate(zip(pipes.is_main.tolist(), pipes.pipe_id, strict=True)):
        rows_of.setdefault((is_main, name), []).append(row)
    found = {}
    for key, rows in rows_of.items():
        rows.sort(key=lambda row: (pipes.from_m[row], pipes.to_m[row]))
        spans = [(pipes.line_start[row], pipes.line_start[row + 1]) for row in rows]
        xy = np.concatenate([pipes.line_xy_m[a:b] for a, b in spans])
        first = rows[0]
        found[key] = _Pipe(
            float(pipes.bore_mm[first]),
            float(pipes.od_mm[first]),
            float(pipes.roughness_mm[first]),
            float(pipes.to_m[rows[-1]]) - float(pipes.from_m[first]),
            shapely.LineString(xy) if len(xy) > 1 else shapely.Point(xy[0]),
        )
    return found


def _pipe_changes(network: Network, rules: Rules, state: SolvedState) -> Iterator[FoundChange]:
    recorded = _recorded_pipes(state)
    pipes = network.pipes
    rough_mm = roughness_m(network, rules) * MM_PER_M
    seen = set()
    for row, name in enumerate(pipes.id):
        is_main = row < pipes.n_mains
        key = (is_main, name)
        seen.add(key)
        layer = "mains" if is_main else "services"
        line = shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])
        was = recorded.get(key)
        if was is None:
            od_mm, material = float(pipes.od_m[row]) * MM_PER_M, Material(int(pipes.material[row])).word
            what = f"new: {od_mm:g} mm {material}, {float(pipes.length_m[row]):.1f} m"
            yield FoundChange(layer, name, what, line)
            continue
        changes = list(_differences(was, network, row, float(rough_mm[row]), line))
        if changes:
            is_figure = all("outside" in one or one.startswith("bore") for one in changes)
            yield FoundChange(layer, name, "; ".join(changes), line, is_figure=is_figure)
    for key, was in recorded.items():
        if key not in seen:
            gone = key[0] and network.not_live.find(key[1]) >= 0
            what = "recorded as not live now" if gone else "not in the records any more"
            yield FoundChange("mains" if key[0] else "services", key[1], what, was.line)


def _differences(was: _Pipe, network: Network, row: int, rough_mm: float, line: Any) -> Iterator[str]:
    pipes = network.pipes
    od_mm, bore_mm = float(pipes.od_m[row]) * MM_PER_M, float(pipes.bore_m[row]) * MM_PER_M
    if abs(od_mm - was.od_mm) > BORE_MM:
        yield f"{od_mm:g} mm outside instead of {was.od_mm:g} mm"
    if abs(bore_mm - was.bore_mm) > BORE_MM:
        yield f"bore {bore_mm:.1f} mm instead of {was.bore_mm:.1f} mm"
    if abs(rough_mm - was.roughness_mm) > ROUGHNESS_MM:
        material = Material(int(pipes.material[row])).word
        rough = f"roughness {rough_mm:g} mm instead of {was.roughness_mm:g} mm"
        yield f"{material} now, another material before ({rough})"
    length_m = float(pipes.length_m[row])
    if abs(length_m - was.length_m) > LENGTH_M:
        yield f"{length_m:.1f} m long instead of {was.length_m:.1f} m"
    moved_m = float(shapely.hausdorff_distance(line, was.line)) / network.scale
    if moved_m > MOVED_M:
        yield f"moved by up to {moved_m:.1f} m"
