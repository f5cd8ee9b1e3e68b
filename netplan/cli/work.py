"""From the words on the command line to work parts."""

from __future__ import annotations

from pathlib import Path

from shapely import unary_union

from netplan.cli.quantities import degrees, metres
from netplan.core.errors import BadInputError, BadWorkError, quoted
from netplan.network.model import Network
from netplan.network.work_section import WorkPart, parts_at, parts_in_area
from netplan.readers import read_polygons

__all__ = ["work_parts"]


def work_parts(
    network: Network,
    *,
    main: str | None,
    from_m: str | None,
    to_m: str | None,
    and_main: list[str],
    area: Path | None,
    at: str | None,
    length: str | None,
) -> tuple[WorkPart, ...]:
    """Return the work as given in exactly one of the three ways.

    Raises
    ------
    BadWorkError
        When none or several ways are used, or one is incomplete.
    BadInputError
        When a number or a file cannot be read.
    """
    ways = [main is not None or bool(and_main), area is not None, at is not None]
    if sum(ways) != 1:
        raise BadWorkError("work section: give --main with --from and --to, or --area, or --at with --length")
    if area is not None:
        return parts_in_area(network, unary_union(read_polygons(area, network.crs)))
    if at is not None:
        lon, lat = _lon_lat(at)
        if length is None:
            raise BadWorkError("--at: no --length; say how many metres of main the work needs")
        return parts_at(network, lon, lat, metres(length, "--length"))
    if main is None or from_m is None or to_m is None:
        raise BadWorkError("--main: needs --from and --to; give both chainages in metres")
    first = WorkPart(main, metres(from_m, "--from"), metres(to_m, "--to"))
    return (first, *(_and_main(text) for text in and_main))


def _and_main(text: str) -> WorkPart:
    parts = text.rsplit(":", 2)
    if len(parts) != 3 or not parts[0]:
        raise BadWorkError(f"--and-main: {quoted(text)} is not ID:FROM:TO; write for example M12:0:8.5")
    return WorkPart(parts[0], metres(parts[1], "--and-main"), metres(parts[2], "--and-main"))


def _lon_lat(text: str) -> tuple[float, float]:
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInputError(f"--at: {quoted(text)} is not LON,LAT; write for example 7.88,48.46")
    lon, lat = (degrees(part, "--at") for part in parts)
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise BadInputError(f"--at: {quoted(text)} is not on earth; write longitude first, in degrees")
    return lon, lat
