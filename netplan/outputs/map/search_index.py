"""What the search of a map finds: mains, valves and meter points with a place each, in short columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.outputs.map.lat_lon import LON_LAT
from netplan.planfile import PieceState, StateCustomers, StatePipes

__all__ = ["search_index", "search_part"]

_PER_DEGREE: Final = 1e6


def search_index(pipes: StatePipes, customers: StateCustomers, crs: Any) -> dict[str, Any]:
    """Return the mains, valves and meter points of a state for the search of its map.

    Parameters
    ----------
    pipes : StatePipes
    customers : StateCustomers
    crs : any
        CRS of the places.

    Returns
    -------
    dict
        By kind a part as `search_part` returns it. A main is found at the middle of its longest piece.
    """
    rows = _longest_piece(pipes)
    mains = shapely.line_interpolate_point(pipes.lines(rows), 0.5, normalized=True)
    valves = np.flatnonzero(np.array(pipes.valve_id.numpy() != "", dtype=bool))
    shut = np.isin(pipes.state[valves], [PieceState.CLOSED])
    first = pipes.line_xy_m[pipes.line_start[valves]] if len(valves) else np.empty((0, 2))
    valve_words = [
        f"on {pipes.pipe_id[row]}{', shut' if is_shut else ''}"
        for row, is_shut in zip(valves.tolist(), shut.tolist(), strict=True)
    ]
    return {
        "Main": search_part(
            pipes.pipe_id.numpy()[rows].tolist(),
            pipes.street.numpy()[rows].tolist(),
            shapely.get_x(mains),
            shapely.get_y(mains),
            crs,
        ),
        "Valve": search_part(
            pipes.valve_id.numpy()[valves].tolist(), valve_words, first[:, 0], first[:, 1], crs
        ),
        "Meter point": search_part(
            list(customers.customer_id), list(customers.address), customers.x_m, customers.y_m, crs
        ),
    }


def search_part(
    ids: Sequence[str], words: Sequence[str], x_m: Floats, y_m: Floats, crs: Any
) -> dict[str, Any]:
    """Return one kind of thing that is searched for; those without a place are left out.

    Parameters
    ----------
    ids, words : sequence of str
        Id of each, and what else it is found by.
    x_m, y_m : float arrays
        Places [m]; NaN where there is none.
    crs : any
        CRS of the places.

    Returns
    -------
    dict
        `ids`; `words` and `of`, the distinct words and which of them each has; `at`, latitude and longitude
        of one after the other as steps from the one before, the first from 0 [1e-6 °].
    """
    placed = np.flatnonzero(np.isfinite(x_m) & np.isfinite(y_m))
    points = gpd.GeoSeries(shapely.points(x_m[placed], y_m[placed]), crs=crs).to_crs(LON_LAT)
    degrees = np.stack([shapely.get_y(points.array), shapely.get_x(points.array)], axis=1)
    whole = np.rint(degrees * _PER_DEGREE).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    rows = placed.tolist()
    said = [words[row] for row in rows]
    distinct = sorted(set(said))
    number = {text: at for at, text in enumerate(distinct)}
    return {
        "ids": [ids[row] for row in rows],
        "words": distinct,
        "of": [number[text] for text in said],
        "at": steps.ravel().tolist(),
    }


def _longest_piece(pipes: StatePipes) -> Ints:
    """Return the row of the longest piece of each main, in the order of their ids."""
    mains = np.flatnonzero(pipes.is_main & (pipes.length_m > 0))
    names: NDArray[Any] = pipes.pipe_id.numpy()[mains].astype(str)
    order = np.lexsort((-pipes.length_m[mains], names))
    ordered = names[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = ordered[1:] != ordered[:-1]
    rows: Ints = mains[order[first]]
    return rows
