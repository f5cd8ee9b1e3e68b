"""Details that every data owner's export has: rows that are wrong, words in any case, lines in parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from tests.first_hour.export import Planted
from tests.first_hour.town import Frames
from tests.support.networks import EAST_M, NORTH_M

__all__ = ["SHORT_M", "in_parts", "moved", "planted_everywhere", "said", "whose", "with_faults"]

SHORT_M: Final = 0.3
"""How far a service ends short of its main [m]."""


def whose(frame: Any, main_id: str, layers: Frames) -> list[int]:
    """Return the rows of customers or services that lie at a main, in order."""
    line = layers["mains"].set_index("id").geometry[main_id]
    return [row for row, shape in enumerate(frame.geometry) if shape.distance(line) < 9.0]


def with_faults(layers: Frames) -> tuple[Frames, dict[str, str]]:
    """Return the layers with what is wrong in them, and the ids that it concerns.

    Two customers of different streets have each other's service; a service ends 0.3 m short of its main; a
    meter point stands twice, the second time in capitals under another id. All are away from the work.
    """
    layers = {name: frame.copy() for name, frame in layers.items()}
    people, pipes = layers["customers"], layers["services"]
    one, two = whose(people, "M07", layers)[3], whose(people, "M03", layers)[4]
    service_id = people["service_id"].tolist()
    service_id[one], service_id[two] = service_id[two], service_id[one]
    people["service_id"] = service_id
    short = whose(pipes, "M09", layers)[2]
    shapes = pipes.geometry.to_numpy().copy()
    tap, end = (np.array(xy) for xy in shapes[short].coords)
    shapes[short] = shapely.LineString([tap + SHORT_M * (end - tap) / np.hypot(*(end - tap)), end])
    layers["services"] = pipes.set_geometry(gpd.GeoSeries(shapes, crs=pipes.crs))
    twice = whose(people, "M08", layers)[2]
    again = people.iloc[[twice]].assign(
        id="C900", address=people["address"].iloc[twice].upper(), priority=None, priority_note=None
    )
    again = again.set_geometry(again.geometry.translate(1.5, 1.0))
    layers["customers"] = gpd.GeoDataFrame(pd.concat([people, again], ignore_index=True), crs=people.crs)
    return layers, {
        "one": people["id"].iloc[one],
        "two": people["id"].iloc[two],
        "one service": service_id[one],
        "two service": service_id[two],
        "short": pipes["id"].iloc[short],
        "short customer": people["id"].iloc[service_id.index(pipes["id"].iloc[short])],
        "twice": people["id"].iloc[twice],
        "again": "C900",
    }


def said(
    column: Any, words: Mapping[Any, Sequence[Any]], rng: np.random.Generator, *, rare: Sequence[Any] = ()
) -> list[Any]:
    """Return a column in the words of a company: each meaning in all its words in turn, mostly the first.

    Parameters
    ----------
    words : mapping
        Words of each meaning; others stay. None stands for an empty value.
    rare : sequence
        Words that are written once each on rows of the first meaning.
    """
    values: list[Any] = list(column)
    result = list(values)
    for meaning, some in words.items():
        rows = [row for row, value in enumerate(values) if _same(value, meaning)]
        rng.shuffle(rows)
        for place, row in enumerate(rows):
            result[row] = some[place] if place < len(some) else some[0]
    first = next(iter(words))
    free = [row for row, value in enumerate(values) if _same(value, first)][::-1]
    for row, word in zip(free, rare, strict=False):
        result[row] = word
    return result


def _same(value: Any, meaning: Any) -> bool:
    if meaning is None or meaning == "":
        return value is None or value != value or value == ""
    return bool(value == meaning)


def in_parts(frame: Any, rows: Sequence[int], *, two: Sequence[int] = ()) -> Any:
    """Return a layer of lines some of which are multi-part: of one part, or of two that meet."""
    shapes = frame.geometry.to_numpy().copy()
    for row in rows:
        shapes[row] = shapely.MultiLineString([shapes[row]])
    for row in two:
        middle = shapes[row].interpolate(0.5, normalized=True)
        start, end = shapes[row].coords[0], shapes[row].coords[-1]
        shapes[row] = shapely.MultiLineString([[start, middle.coords[0]], [middle.coords[0], end]])
    return frame.set_geometry(gpd.GeoSeries(shapes, index=frame.index, crs=frame.crs))


def moved(layers: Frames, crs: str, to: tuple[float, float]) -> Frames:
    """Return the layers in the grid of a country, in its unit, from a corner `to` in metres."""
    grid = CRS.from_user_input(crs)
    times = 1.0 / grid.axis_info[0].unit_conversion_factor

    def there(xy: Any) -> Any:
        return np.round((xy - (EAST_M, NORTH_M) + to) * times, 4)

    return {
        name: frame.set_geometry(
            gpd.GeoSeries(shapely.transform(frame.geometry.to_numpy(), there), index=frame.index, crs=grid)
        )
        for name, frame in layers.items()
    }


def planted_everywhere(wrong: dict[str, str], ids: dict[str, dict[str, str]]) -> tuple[Planted, ...]:
    """Return what must be said of the details that every export has, by the ids it gives them."""
    person, service = ids["customers"], ids["services"]
    return (
        Planted(
            "ids of two services swapped",
            "nearer-service",
            (person[wrong["one"]], service[wrong["two service"]]),
        ),
        Planted(
            "the other of the two", "nearer-service", (person[wrong["two"]], service[wrong["one service"]])
        ),
        Planted(
            "a service 0.3 m short", "near-miss", (service[wrong["short"]], person[wrong["short customer"]])
        ),
        Planted("premises twice", "double-customer", (person[wrong["again"]], person[wrong["twice"]])),
    )
