"""Work sections: the lengths of mains that must be gas-free."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from netplan.core.errors import BadWorkError, quoted
from netplan.network.coordinate_order import area_order_hint, order_hint
from netplan.network.linear_reference import from_lon_lat, nearest_chainage
from netplan.network.model import Network
from netplan.network.work_part import WorkPart, check_length, check_part

__all__ = ["WorkPart", "WorkSection", "parts_at", "parts_in_area", "work_section"]

_POINT_REACH_M: Final = 10.0
_TOUCH_M: Final = 0.01
_MOST_NEAR: Final = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class WorkSection:
    """A checked work section, sorted by main and chainage, overlapping parts made one.

    Parameters
    ----------
    pipe : int32 array
        Rows of the mains in `Network.pipes`.
    from_m, to_m : float arrays
        Chainages [m], 0 <= from_m < to_m <= length.
    """

    pipe: NDArray[np.int32]
    from_m: NDArray[np.float64]
    to_m: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.pipe)

    @property
    def length_m(self) -> float:
        """Length of all parts together [m]."""
        return float((self.to_m - self.from_m).sum())


def work_section(network: Network, parts: Iterable[WorkPart]) -> WorkSection:
    """Check a work section against the network.

    Raises
    ------
    BadWorkError
        For no part at all, an unknown, abandoned or proposed main, the id of a service, or chainages
        that the main does not have or that are the wrong way round.
    """
    rows = sorted((_row(network, part), *_chainages(network, part)) for part in parts)
    if not rows:
        raise BadWorkError("the work section is empty; name a main with its chainages from and to")
    joined: list[tuple[int, float, float]] = []
    for pipe, low, high in rows:
        if joined and joined[-1][0] == pipe and low <= joined[-1][2] + 1e-6:
            joined[-1] = (pipe, joined[-1][1], max(high, joined[-1][2]))
        else:
            joined.append((pipe, low, high))
    pipe_rows, from_m, to_m = (np.array(column) for column in zip(*joined, strict=True))
    return WorkSection(pipe_rows.astype(np.int32), from_m.astype(np.float64), to_m.astype(np.float64))


def parts_in_area(network: Network, polygon: BaseGeometry) -> tuple[WorkPart, ...]:
    """Return every length of main inside a polygon given in the working CRS.

    Raises
    ------
    BadWorkError
        When no main lies inside.
    """
    pipes = network.pipes
    shapes = _near_mains(network, polygon)
    parts: list[tuple[str, float, float]] = []
    for row, shape in shapes:
        inside = shapely.intersection(shape, polygon)
        for line in shapely.get_parts(inside).tolist():
            if line.geom_type != "LineString" or line.length <= _TOUCH_M:
                continue
            ends = shapely.points([line.coords[0], line.coords[-1]])
            low, high = sorted(float(value) for value in shapely.line_locate_point(shape, ends))
            if high - low < line.length / 2:  # a closed course comes back to where it began
                low, high = 0.0, shape.length
            limit = float(pipes.length_m[row])
            part = (min(low / network.scale, limit), min(high / network.scale, limit))
            parts.append((pipes.id[row], *part))
    if not parts:
        hint = area_order_hint(network, polygon) or "; draw it over the mains to be stopped"
        raise BadWorkError(f"no live main lies inside the area{hint}")
    return tuple(WorkPart(*part) for part in sorted(parts))


def parts_at(network: Network, lon: float, lat: float, length_m: float) -> tuple[WorkPart, ...]:
    """Return a length of the main nearest to a place, centred on it and kept inside the main.

    Parameters
    ----------
    lon, lat : float
        Place (WGS 84) [°], at most 10 m from the main.
    length_m : float
        Wanted length [m]; a shorter main is taken whole.

    Raises
    ------
    BadWorkError
        When no main is near, or the length is not above zero.
    """
    check_length(length_m)
    xy = from_lon_lat(network, np.array([[lon, lat]]))
    if not np.isfinite(xy).all():
        hint = order_hint(network, lon, lat) or "; correct it"
        raise BadWorkError(f"{lon:g},{lat:g} is no longitude and latitude near the network{hint}")
    pipe, chainage, _ = nearest_chainage(network, xy, _POINT_REACH_M)
    if pipe[0] < 0:
        hint = order_hint(network, lon, lat) or "; move the point onto a main"
        raise BadWorkError(f"no live main lies within {_POINT_REACH_M:g} m of {lon:g},{lat:g}{hint}")
    whole = float(network.pipes.length_m[pipe[0]])
    length = min(length_m, whole)
    low = min(max(float(chainage[0]) - length / 2, 0.0), whole - length)
    return (WorkPart(network.pipes.id[int(pipe[0])], round(low, 3), round(low + length, 3)),)


def _row(network: Network, part: WorkPart) -> int:
    pipes = network.pipes
    row = pipes.id.find(part.main_id, 0, pipes.n_mains)
    if row >= 0:
        return row
    if network.not_live.find(part.main_id) >= 0:
        raise BadWorkError(
            f"main {part.main_id} is recorded as abandoned or proposed and carries no gas; name a live main"
        )
    if pipes.id.find(part.main_id, pipes.n_mains) >= 0:
        raise BadWorkError(f"{part.main_id} is a service, not a main; name the main")
    near = _near_ids(network, part.main_id)
    hint = f"did you mean {', '.join(near)}?" if near else "name a main by its id in the mains layer"
    raise BadWorkError(f"the network has no main {quoted(part.main_id)}; {hint}")


def _near_ids(network: Network, name: str) -> list[str]:
    pipes = network.pipes
    if pipes.id.find(f"{name}/1", 0, pipes.n_mains) >= 0:
        return [f"{name}/1"]
    if len(name) > 60 or pipes.n_mains > _MOST_NEAR:
        return []
    ids = list(pipes.id.take(np.arange(pipes.n_mains)))
    return difflib.get_close_matches(name, ids, n=3, cutoff=0.5)


def _chainages(network: Network, part: WorkPart) -> tuple[float, float]:
    row = network.pipes.id.find(part.main_id, 0, network.pipes.n_mains)
    length = float(network.pipes.length_m[row])
    check_part(part)
    low, high = float(part.from_m), float(part.to_m)
    if high > length + 0.005:
        raise BadWorkError(
            f"main {part.main_id}: chainage {high:g} m is beyond its end at {length:.2f} m; shorten it"
        )
    return low, min(high, length)


def _near_mains(network: Network, polygon: BaseGeometry) -> list[tuple[int, shapely.LineString]]:
    """Mains whose bounding box meets that of the polygon, as shapely lines."""
    pipes = network.pipes
    west, south, east, north = polygon.bounds
    start = pipes.coord_start[: pipes.n_mains + 1]
    x, y = pipes.coords_m[: start[-1], 0], pipes.coords_m[: start[-1], 1]
    first = start[:-1]
    meets = (
        (np.minimum.reduceat(x, first) <= east)
        & (np.maximum.reduceat(x, first) >= west)
        & (np.minimum.reduceat(y, first) <= north)
        & (np.maximum.reduceat(y, first) >= south)
    )
    return [
        (row, shapely.LineString(pipes.coords_m[start[row] : start[row + 1]]))
        for row in np.flatnonzero(meets).tolist()
    ]
