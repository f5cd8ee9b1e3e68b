"""Where gas may escape: every live main and service within the location error of a place, or a named one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import shapely

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError, BadWorkError, quoted
from netplan.emergency.circle_lengths import lengths_in_circle
from netplan.network.address_search import customers_at_address
from netplan.network.coordinate_order import order_hint
from netplan.network.linear_reference import from_lon_lat, points_at
from netplan.network.model import Network
from netplan.network.service_mains import main_of_service
from netplan.network.tolerant_layers import rows_of_id

__all__ = [
    "HitPlace",
    "Hits",
    "PipeBoxes",
    "hits_at",
    "hits_at_address",
    "hits_near",
    "hits_on_main",
]

FARTHEST_M: Final = 10_000.0
"""Farther from every live main a place is not in the network (own) [m]."""
ANYWHERE_M: Final = 1e9
"""Farther than anything on earth: who names a pipe of the network is answered (own) [m]."""
ROUNDING_M: Final = 0.005
MOST_PLACES: Final = 50
"""Places of one address that are told apart (own) [-]."""
UNMAINED_M: Final = 25.0
"""Round a service that hangs on no main on record every main within this may be its own (own) [m]."""


@dataclass(frozen=True, slots=True)
class HitPlace:
    """A pipe that may be the one that was hit.

    Parameters
    ----------
    pipe : int
        Row in `Network.pipes`: of a main, or of a service.
    chainage_m : float
        Place on it [m].
    distance_m : float
        From the place given [m]; 0 where the pipe was named.
    x_m, y_m : float
        Place in the working CRS [m].
    confirmed : bool
        Whether the pipe was named.
    lengths : tuple of (float, float)
        All of it that may be hit, from and to [m]; the place alone where this is empty.
    """

    pipe: int
    chainage_m: float
    distance_m: float
    x_m: float
    y_m: float
    confirmed: bool = False
    lengths: tuple[tuple[float, float], ...] = ()

    @property
    def reaches(self) -> tuple[tuple[float, float], ...]:
        """All lengths of the pipe that may be hit, from and to [m]; never empty."""
        return self.lengths or ((self.chainage_m, self.chainage_m),)


@dataclass(frozen=True, slots=True)
class Hits:
    """What may have been hit.

    Parameters
    ----------
    x_m, y_m : float
        The place asked for, in the working CRS [m].
    mains : tuple of HitPlace
        Nearest first; never empty.
    services : tuple of HitPlace
        Nearest first.
    doubts : tuple of str
        What is not certain about them, in lines.
    """

    x_m: float
    y_m: float
    mains: tuple[HitPlace, ...]
    services: tuple[HitPlace, ...] = ()
    doubts: tuple[str, ...] = ()


class PipeBoxes:
    """Bounding boxes of all pipes, worked out once for a network."""

    def __init__(self, network: Network) -> None:
        self.network = network

    @cached_property
    def _corners(self) -> tuple[Floats, Floats]:
        pipes = self.network.pipes
        start = pipes.coord_start[:-1]
        low, high = (one.reduceat(pipes.coords_m, start, axis=0) for one in (np.minimum, np.maximum))
        return low, high

    def within(self, x_m: float, y_m: float, reach_m: float) -> Ints:
        """Return the rows of the pipes whose box lies within `reach_m` of a place, all in the working CRS."""
        return self.meeting((x_m - reach_m, y_m - reach_m, x_m + reach_m, y_m + reach_m))

    def meeting(self, bounds_m: Sequence[float]) -> Ints:
        """Return the rows of the pipes whose box meets another: west, south, east, north [m, working CRS]."""
        low, high = self._corners
        near = (low <= np.array(bounds_m[2:])) & (high >= np.array(bounds_m[:2]))
        return np.flatnonzero(near.all(axis=1))


def hits_at(boxes: PipeBoxes, lon: float, lat: float, error_m: float) -> Hits:
    """Return what may have been hit at a longitude and latitude (WGS 84) [°].

    Raises
    ------
    BadWorkError
        When the place is no place, or nowhere near the network.
    """
    xy = from_lon_lat(boxes.network, np.array([[lon, lat]]))
    if not np.isfinite(xy).all():
        hint = order_hint(boxes.network, lon, lat) or "; write longitude first"
        raise BadWorkError(f"--at: {lon:g},{lat:g} is no place near the network{hint}")
    hint = order_hint(boxes.network, lon, lat)
    if hint:
        raise BadWorkError(f"--at: {lon:g},{lat:g} lies nowhere near the network{hint}")
    x_m, y_m = float(xy[0, 0]), float(xy[0, 1])
    # Where mains are drawn elsewhere but meter points lie here the records are wrong, not the caller.
    farthest_m = ANYWHERE_M if _has_customers_near(boxes.network, x_m, y_m) else FARTHEST_M
    return hits_near(boxes, x_m, y_m, error_m, f"{lon:g},{lat:g}", farthest_m)


def _has_customers_near(network: Network, x_m: float, y_m: float) -> bool:
    away_m = np.hypot(network.customers.x_m - x_m, network.customers.y_m - y_m) / network.scale
    return bool((away_m <= FARTHEST_M).any())


def hits_near(
    boxes: PipeBoxes,
    x_m: float,
    y_m: float,
    error_m: float,
    asked: str,
    farthest_m: float = FARTHEST_M,
) -> Hits:
    """Return every live main and service within the location error of a place [m]; else the nearest main.

    Parameters
    ----------
    boxes : PipeBoxes
    x_m, y_m : float
        Place in the working CRS [m].
    error_m : float
        Location error [m].
    asked : str
        The place as it was given, for what is said.
    farthest_m : float
        Farther from every live main a place is not in the network [m].

    Raises
    ------
    BadWorkError
        When no live main lies within that.
    """
    network = boxes.network
    found = _near(boxes, x_m, y_m, error_m)
    mains = [hit for hit in found if hit.pipe < network.pipes.n_mains]
    services = tuple(hit for hit in found if hit.pipe >= network.pipes.n_mains)
    own = _mains_of(network, services)
    if not mains and own:
        doubt = (
            f"no live main lies within {error_m:g} m of {asked}: a service may be hit; its main is shut too"
        )
        return Hits(x_m, y_m, own, services, (doubt, *_unmained(network, services)))
    if mains:
        return Hits(x_m, y_m, _joined((*mains, *own)), services, _unmained(network, services))
    reach_m = error_m
    while reach_m < farthest_m:
        reach_m = min(reach_m * 4.0, farthest_m)
        mains = [hit for hit in _near(boxes, x_m, y_m, reach_m) if hit.pipe < network.pipes.n_mains]
        if mains:
            away_m = mains[0].distance_m
            doubt = f"no live main lies within {error_m:g} m of {asked}: the nearest is {away_m:.0f} m away"
            also = [
                hit for hit in _near(boxes, x_m, y_m, away_m + error_m) if hit.pipe < network.pipes.n_mains
            ]
            return Hits(x_m, y_m, tuple(also), services, (doubt, *_unmained(network, services)))
    raise BadWorkError(
        f"no live main lies within {farthest_m / 1000:g} km of {asked}; "
        "correct the place, or name the main with --main"
    )


def customer_place(network: Network, row: int) -> tuple[float, float]:
    """Return the place of a meter point, else of the end of its service [m, working CRS]; NaN for none."""
    customers = network.customers
    x_m, y_m = customers.x_m.item(row), customers.y_m.item(row)
    first, last = customers.attach_start[row : row + 2].tolist()
    if first < last and not (math.isfinite(x_m) and math.isfinite(y_m)):
        node = customers.attach_node.item(first)
        return network.nodes.x_m.item(node), network.nodes.y_m.item(node)
    return x_m, y_m


def hits_at_address(boxes: PipeBoxes, address: str, error_m: float) -> Hits:
    """Return what may have been hit at a street and number: mains there, and the services of the address.

    Raises
    ------
    BadInputError
        When no meter point on record has that address.
    """
    network = boxes.network
    customers = network.customers
    rows = customers_at_address(network, address)
    given = [customer_place(network, row) for row in rows.tolist()]
    places = sorted({place for place in given if math.isfinite(sum(place))})[:MOST_PLACES]
    if not places:
        raise BadInputError(f"--address: {quoted(address)} has no place on record; give the place with --at")
    found = _together([hits_near(boxes, *place, error_m, quoted(address)) for place in places])
    x_m, y_m = found.x_m, found.y_m
    apart_m = max(math.dist(place, (x_m, y_m)) for place in places) / network.scale
    if apart_m > error_m:
        doubt = f"the records place {quoted(address)} in {len(places)} places up to {apart_m:.0f} m apart"
        found = replace(found, doubts=(doubt, *found.doubts))
    nodes = [
        customers.attach_node[customers.attach_start[row] : customers.attach_start[row + 1]] for row in rows
    ]
    at = np.unique(np.concatenate(nodes))
    pieces = network.pieces
    touching = np.flatnonzero(np.isin(pieces.from_node, at) | np.isin(pieces.to_node, at))
    known = {hit.pipe for hit in (*found.mains, *found.services)}
    own = sorted(set(pieces.pipe[touching].tolist()) - known)
    place = shapely.Point(x_m, y_m)
    more = [_nearest_on(network, pipe, place) for pipe in own]
    more = [_with_lengths(network, hit, place, hit.distance_m + error_m) for hit in more]
    services = (*found.services, *(hit for hit in more if hit.pipe >= network.pipes.n_mains))
    mains = [*found.mains, *(hit for hit in more if hit.pipe < network.pipes.n_mains)]
    doubts = (*found.doubts, *_unmained(network, services[len(found.services) :]))
    return Hits(x_m, y_m, _joined((*mains, *_mains_of(network, services))), services, doubts)


def _together(several: Sequence[Hits]) -> Hits:
    """Return all hits of several places as those of the first of them."""
    first = several[0]
    return Hits(
        first.x_m,
        first.y_m,
        _joined(hit for one in several for hit in one.mains),
        _joined(hit for one in several for hit in one.services),
        tuple(dict.fromkeys(doubt for one in several for doubt in one.doubts)),
    )


def hits_on_main(network: Network, name: str, chainage_m: float) -> Hits:
    """Return the hit on a named pipe: a main, or a service and the main it hangs on.

    Raises
    ------
    BadWorkError
        When the pipe is unknown, is not live, or has no such chainage.
    """
    pipes = network.pipes
    rows = rows_of_id(pipes.id, name) or _parts_of(network, name)
    if len(rows) > 1:
        return _hits_on_records(network, rows, name, chainage_m)
    row = rows[0] if rows else -1
    if row < 0:
        if network.not_live.find(name) >= 0:
            raise BadWorkError(f"--main: {name} is recorded as abandoned or proposed; name a live main")
        raise BadWorkError(f"--main: the network has no main or service {quoted(name)}; give --at instead")
    length_m = float(pipes.length_m[row])
    if not 0.0 <= chainage_m <= length_m + ROUNDING_M:
        raise BadWorkError(f"--at-m: {name} is {length_m:.2f} m long, {chainage_m:g} m is not on it")
    hit = _hit(network, row, min(chainage_m, length_m), 0.0, confirmed=True)
    if row < pipes.n_mains:
        return Hits(hit.x_m, hit.y_m, (hit,))
    mains = _mains_of(network, (hit,))
    if mains:
        return Hits(hit.x_m, hit.y_m, mains, (hit,))
    near = hits_near(PipeBoxes(network), hit.x_m, hit.y_m, UNMAINED_M, name, ANYWHERE_M)
    return Hits(hit.x_m, hit.y_m, near.mains, (hit,), (*_unmained(network, (hit,)), *near.doubts))


def _parts_of(network: Network, name: str) -> tuple[int, ...]:
    """Return the parts that a pipe was split into, in their order."""
    rows: list[int] = []
    while (row := network.pipes.id.find(f"{name}/{len(rows) + 1}")) >= 0:
        rows.append(row)
    return tuple(rows)


def _hits_on_records(network: Network, rows: Sequence[int], name: str, chainage_m: float) -> Hits:
    """Return hits on all pipes that a name may mean, at the chainage; on all of one that has it not."""
    found = []
    is_split = network.pipes.id[rows[0]] == f"{name}/1"
    for row in rows:
        length_m = float(network.pipes.length_m[row])
        hit = _hit(network, row, min(chainage_m, length_m), 0.0)
        is_there = chainage_m <= length_m and not is_split
        found.append(hit if is_there else replace(hit, lengths=((0.0, length_m),)))
    services = tuple(hit for hit in found if hit.pipe >= network.pipes.n_mains)
    mains = [hit for hit in found if hit.pipe < network.pipes.n_mains]
    mains += _mains_of(network, services)
    doubt = f"the records hold {len(rows)} pipes named {name}: each may be the one that was hit"
    if not mains:
        near = hits_near(PipeBoxes(network), found[0].x_m, found[0].y_m, UNMAINED_M, name, ANYWHERE_M)
        mains = list(near.mains)
    first = found[0]
    return Hits(first.x_m, first.y_m, _joined(mains), services, (doubt, *_unmained(network, services)))


def _near(boxes: PipeBoxes, x_m: float, y_m: float, reach_m: float) -> list[HitPlace]:
    """Return the nearest place of each pipe within reach [m], nearest first."""
    network = boxes.network
    rows = boxes.within(x_m, y_m, reach_m * network.scale)
    point = shapely.Point(x_m, y_m)
    found = []
    for row in rows.tolist():
        hit = _nearest_on(network, row, point)
        if hit.distance_m <= reach_m:
            found.append(_with_lengths(network, hit, point, reach_m))
    return sorted(found, key=lambda hit: (hit.distance_m, hit.pipe))


def _line(network: Network, row: int) -> shapely.LineString:
    pipes = network.pipes
    return shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])


def _with_lengths(network: Network, hit: HitPlace, point: shapely.Point, reach_m: float) -> HitPlace:
    """Return a hit with all lengths of its pipe within reach of a place [m]."""
    pipes, scale = network.pipes, network.scale
    coords = pipes.coords_m[pipes.coord_start[hit.pipe] : pipes.coord_start[hit.pipe + 1]]
    found = lengths_in_circle(coords, (point.x, point.y), reach_m * scale)
    lengths = [(low / scale, high / scale) for low, high in found]
    return replace(hit, lengths=tuple(sorted([(hit.chainage_m, hit.chainage_m), *lengths])))


def _nearest_on(network: Network, row: int, point: shapely.Point) -> HitPlace:
    line, scale = _line(network, row), network.scale
    chainage_m = min(line.project(point) / scale, float(network.pipes.length_m[row]))
    return _hit(network, row, chainage_m, line.distance(point) / scale)


def _hit(
    network: Network, row: int, chainage_m: float, away_m: float, *, confirmed: bool = False
) -> HitPlace:
    x_m, y_m = points_at(network, np.array([row]), np.array([chainage_m]))[0].tolist()
    return HitPlace(row, chainage_m, away_m, x_m, y_m, confirmed)


def _mains_of(network: Network, services: Iterable[HitPlace]) -> tuple[HitPlace, ...]:
    """Return where services hang on mains, each main once; none for those that hang on no main."""
    return _joined(
        _hit(network, pipe, chainage_m, service.distance_m)
        for service in services
        for pipe, chainage_m in main_of_service(network, service.pipe)
    )


def _joined(hits: Iterable[HitPlace]) -> tuple[HitPlace, ...]:
    """Return hits with each pipe once, all that may be hit of it together."""
    found: dict[int, HitPlace] = {}
    for hit in hits:
        known = found.get(hit.pipe)
        if known is not None:
            lengths = tuple(sorted({*known.reaches, *hit.reaches}))
            hit = replace(known, lengths=lengths)
        found[hit.pipe] = hit
    return tuple(found.values())


def _unmained(network: Network, services: Iterable[HitPlace]) -> tuple[str, ...]:
    """Return a line for each service that hangs on no main on record."""
    return tuple(
        f"service {network.pipes.id[hit.pipe]} hangs on no live main on record: it is not known what feeds it"
        for hit in services
        if not main_of_service(network, hit.pipe)
    )
