"""What is drawn on the page's map, as work and as orders: areas with the mains in them, streets, keep-out."""

from __future__ import annotations

from typing import Annotated, Any, Final

import numpy as np
import pyarrow.compute as pc
import shapely
from pydantic import BaseModel, ConfigDict, Field

from netplan.core.errors import BadInputError, quoted
from netplan.network.linear_reference import from_lon_lat, lon_lat
from netplan.network.model import Network
from netplan.network.work_section import parts_in_area
from netplan.page.page_orders import MOST_VERTICES, LonLat

__all__ = [
    "DrawnPolygon",
    "lon_lat_ring",
    "recorded_areas",
    "rings_on_plane",
    "street_lengths",
    "work_in_area",
]

MOST_NEAR: Final = 5_000
"""Mains whose boxes an area may meet before it is refused unread (own) [-]."""
MOST_AREAS: Final = 500
"""Areas of the network that are sent at a time (own) [-]."""
DEGREE_DIGITS: Final = 9
"""Digits of a degree that a corner keeps (own): a tenth of a millimetre [-]."""
Plane = Annotated[float, Field(ge=-1e8, le=1e8, allow_inf_nan=False)]
WorkRow = dict[str, str | float]


class DrawnPolygon(BaseModel):
    """The corners of a drawn area [m, working CRS], the first not repeated."""

    ring: Annotated[tuple[tuple[Plane, Plane], ...], Field(min_length=3, max_length=MOST_VERTICES)]

    model_config = ConfigDict(extra="forbid", frozen=True)


def _polygon(drawn: DrawnPolygon) -> shapely.Polygon:
    polygon = shapely.Polygon(drawn.ring)
    if not polygon.is_valid or polygon.area <= 0.0:
        raise BadInputError("area: its sides cross, or it has no area; draw it again")
    return polygon


def work_in_area(network: Network, drawn: DrawnPolygon, most: int) -> list[WorkRow]:
    """Return every length of main in a drawn area, as the page orders work.

    Raises
    ------
    BadInputError
        When its sides cross, it holds more than `most` lengths, or none.
    """
    polygon = _polygon(drawn)
    pipes = network.pipes
    start = pipes.coord_start[: pipes.n_mains]
    coords = pipes.coords_m[: pipes.coord_start[pipes.n_mains]]
    low, high = (corner.reduceat(coords, start, axis=0) for corner in (np.minimum, np.maximum))
    west, south, east, north = polygon.bounds
    near = int(((low <= (east, north)) & (high >= (west, south))).all(axis=1).sum())
    if near > MOST_NEAR:
        raise BadInputError(
            f"area: {near:,} mains lie round it; {most} lengths of main can be the work (work_lengths); "
            "draw it smaller"
        )
    parts = parts_in_area(network, polygon)
    _no_more(len(parts), most, "area", "draw it smaller")
    return [_row(part.main_id, part.from_m, part.to_m) for part in parts]


def street_lengths(network: Network, street: str, most: int) -> list[WorkRow]:
    """Return every main of a street, whole, as the page orders work.

    Raises
    ------
    BadInputError
        When no main is in a street of that name, or more than `most` are.
    """
    pipes = network.pipes
    names = pipes.street.arrow.slice(0, pipes.n_mains)
    rows = np.flatnonzero(np.asarray(pc.equal(names, street))) if street else np.zeros(0, dtype=np.int64)
    if not len(rows):
        raise BadInputError(f"street: no main is in {quoted(street)}; write it as the search shows it")
    _no_more(len(rows), most, f"street {quoted(street)}", "draw an area over a part of it")
    return [_row(pipes.id[row], 0.0, float(pipes.length_m[row])) for row in rows.tolist()]


def _no_more(count: int, most: int, what: str, otherwise: str) -> None:
    if count > most:
        raise BadInputError(
            f"{what}: it holds {count} lengths of main; {most} can be the work (work_lengths); {otherwise}"
        )


def _row(main_id: str, from_m: float, to_m: float) -> WorkRow:
    return {"main_id": main_id, "from_m": round(from_m, 3), "to_m": round(to_m, 3)}


def lon_lat_ring(network: Network, drawn: DrawnPolygon) -> list[list[float]]:
    """Return the corners of a drawn area as an order has them: longitude and latitude [°].

    Raises
    ------
    BadInputError
        When its sides cross, or it lies nowhere on earth.
    """
    _polygon(drawn)
    corners = lon_lat(network, np.array(drawn.ring))
    if not np.isfinite(corners).all():
        raise BadInputError("area: it lies beyond the plane of the network; draw it on the map")
    return [[round(lon, DEGREE_DIGITS), round(lat, DEGREE_DIGITS)] for lon, lat in corners.tolist()]


def rings_on_plane(network: Network, rings: tuple[tuple[LonLat, ...], ...]) -> list[list[list[float]]]:
    """Return the corners of ordered areas on the plane of the map [m, working CRS]."""
    return [from_lon_lat(network, np.array(ring)).round(2).tolist() for ring in rings]


def recorded_areas(network: Network, box: tuple[float, float, float, float]) -> list[dict[str, Any]]:
    """Return the keep-out areas on record that meet a box: west, south, east, north [m, working CRS]."""
    shapes = network.keep_out.geometry
    if not len(shapes):
        return []
    meets = np.flatnonzero(shapely.intersects(shapes, shapely.box(*box)))[:MOST_AREAS]
    found = []
    for row in meets.tolist():
        for part in shapely.get_parts(shapes[row]).tolist():
            ring = shapely.get_coordinates(part.exterior if part.geom_type == "Polygon" else part)
            found.append({"reason": network.keep_out.reason[row], "ring": ring.round(2).tolist()})
    return found
