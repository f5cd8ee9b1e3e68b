"""Networks for commands: whole ones without a pipe set aside, and those of the districts near a work."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from netplan.cli.options import mapping_given
from netplan.core.errors import BadInputError, BadNetworkError

if TYPE_CHECKING:
    from netplan.network.model import Network
    from netplan.planning.given_orders import OrdersGiven, WorkGiven
    from netplan.readers.districts.near_network import NearDistricts
    from netplan.readers.sources.file_limits import FileLimits

__all__ = ["check_districts", "districts_near", "whole_network"]


def whole_network(
    source: str,
    command: str,
    *,
    mapping: Path | None = None,
    within: Path | None = None,
    cache: Path | None = None,
) -> Network:
    """Read a network for a command that looks at every main.

    Parameters
    ----------
    source : str
        As given on the command line.
    command : str
        Name of the command, for the error.
    mapping, within : Path, optional
        File of the mapping, file with a polygon.
    cache : Path, optional
        As in `read_network`.

    Raises
    ------
    BadNetworkError
        When the layers break the input contract; where only sizes of single pipes do, the error says that a
        plan far from them goes on.
    """
    from netplan.core.findings import errors_of
    from netplan.network.unsized_pipes import may_be_set_aside
    from netplan.readers import read_network
    from netplan.readers.sources.areas import read_area

    meaning = mapping_given(mapping)
    window = None if within is None else read_area(within)
    try:
        return read_network(source, mapping=meaning, within=window, cache=cache)
    except BadNetworkError as error:
        errors = errors_of(error.findings)
        if not errors or not all(map(may_be_set_aside, errors)):
            raise
        raise BadNetworkError(
            f"{error}; {command} looks at every main, so none can be set aside; "
            "plans far from it are still made",
            error.findings,
        ) from None


def check_districts(districts: Path | None, within: Path | None, cache: Path | None) -> None:
    """Refuse an index of districts that is none, or stands beside what it takes the place of.

    Raises
    ------
    BadInputError
    """
    if districts is None:
        return
    for given, option in ((within, "--within"), (cache, "--cache")):
        if given is not None:
            raise BadInputError(f"{option} with --districts: the index says what is read; give one of them")
    if not (districts / "districts.json").is_file():
        raise BadInputError(
            f"{districts}: is no index of districts; make one with gas-netplan districts NETWORK --out INDEX"
        )


def districts_near(
    source: str,
    districts: Path,
    work: WorkGiven,
    orders: OrdersGiven,
    customers: tuple[str, ...],
    mapping: Path | None,
    memory_gib: int,
    limits: FileLimits,
) -> NearDistricts:
    """Return what reads the districts near a work.

    Parameters
    ----------
    source : str
        As given on the command line.
    districts : Path
        Index of that source.
    work : WorkGiven
    orders : OrdersGiven
    customers : tuple of str
        Customers that the command names.
    mapping : Path or None
        File of the mapping.
    memory_gib : int
        Memory that a plan may take [GiB].
    limits : FileLimits
        How large the files of a district may be.
    """
    from netplan.readers import read_polygons
    from netplan.readers.districts.district_index import read_index
    from netplan.readers.districts.district_sources import open_districts
    from netplan.readers.districts.near_network import NearDistricts, NearNames
    from netplan.readers.sources.areas import read_area

    index = read_index(districts)
    box = None
    if work.at is not None:
        box = (*work.at, *work.at)
    elif work.area is not None:
        box = read_area(work.area).bounds
    places = (*orders.force, *orders.forbid)
    names = NearNames(
        mains=tuple(part.main_id for part in work.parts),
        maybe_mains=tuple(
            name
            for place in places
            if place.chainage_m is not None
            for name in (place.name, place.longer_name)
            if name
        ),
        valves=tuple(place.name for place in places if place.chainage_m is None),
        customers=customers,
        box_lon_lat=box,
    )
    reader = NearDistricts(
        open_districts(source, index.column or None, limits),
        index,
        names,
        mapping=mapping_given(mapping),
        memory_gib=memory_gib,
    )
    if box is not None:
        reader.look_at(lambda network: [part.main_id for part in work.on(network, read_polygons)])
    return reader
