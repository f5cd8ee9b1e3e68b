"""Where gas may escape: every live main and service within the location error of a place, or a named one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import shapely

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError, BadWorkError, quoted
from netplan.network.address_search import customers_at_address
from netplan.network.linear_reference import from_lon_lat, points_at
from netplan.network.model import Network
from netplan.network.service_mains import main_of_service

__all__ = ["HitPlace", "Hits", "PipeBoxes", "hits_at", "hits_at_address", "hits_near", "hits_on_main"]

FARTHEST_M: Final = 10_000.0
"""Farther from every live main a place is not in the network (own) [m]."""
ROUNDING_M: Final = 0.005


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
    """

    pipe: int
    chainage_m: float
    distance_m: float
    x_m: float
    y_m: float
    confirmed: bool = False


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
        low, high = self._corners
        place = np.array([x_m, y_m])
        near = (low <= place + reach_m) & (high >= place - reach_m)
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
        raise BadWorkError(f"--at: {lon:g},{lat:g} is no place near the network; write longitude first")
    return hits_near(boxes, float(xy[0, 0]), float(xy[0, 1]), error_m, f"{lon:g},{lat:g}")


def hits_near(boxes: PipeBoxes, x_m: float, y_m: float, error_m: float, asked: str) -> Hits:
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

    Raises
    ------
    BadWorkError
        When no live main lies within ten kilometres.
    """
    network = boxes.network
    found = _near(boxes, x_m, y_m, error_m)
    mains = [hit for hit in found if hit.pipe < network.pipes.n_mains]
    services = tuple(hit for hit in found if hit.pipe >= network.pipes.n_mains)
    if mains:
        return Hits(x_m, y_m, tuple(mains), services)
    if services:
        doubt = (
            f"no live main lies within {error_m:g} m of {asked}: a service may be hit; its main is shut too"
        )
        return Hits(x_m, y_m, _mains_of(network, services), services, (doubt,))
    reach_m = error_m
    while reach_m < FARTHEST_M:
        reach_m *= 4.0
        mains = [hit for hit in _near(boxes, x_m, y_m, reach_m) if hit.pipe < network.pipes.n_mains]
        if mains:
            away_m = mains[0].distance_m
            doubt = f"no live pipe lies within {error_m:g} m of {asked}: the nearest is {away_m:.0f} m away"
            also = [hit for hit in mains if hit.distance_m <= away_m + error_m]
            return Hits(x_m, y_m, tuple(also), (), (doubt,))
    raise BadWorkError(f"no live main lies within {FARTHEST_M / 1000:g} km of {asked}; correct the place")


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
    x_m, y_m = float(customers.x_m[rows].mean()), float(customers.y_m[rows].mean())
    found = hits_near(boxes, x_m, y_m, error_m, quoted(address))
    nodes = [
        customers.attach_node[customers.attach_start[row] : customers.attach_start[row + 1]] for row in rows
    ]
    at = np.unique(np.concatenate(nodes))
    pieces = network.pieces
    touching = np.flatnonzero(np.isin(pieces.from_node, at) | np.isin(pieces.to_node, at))
    own = sorted(set(pieces.pipe[touching].tolist()) - {hit.pipe for hit in (*found.mains, *found.services)})
    line = shapely.Point(x_m, y_m)
    services, mains = list(found.services), list(found.mains)
    for pipe in own:
        hit = _nearest_on(network, pipe, line)
        if pipe < network.pipes.n_mains:
            mains.append(hit)
            continue
        services.append(hit)
    known = {hit.pipe for hit in mains}
    for service in services:
        for pipe, chainage_m in main_of_service(network, service.pipe):
            if pipe not in known:
                known.add(pipe)
                mains.append(_hit(network, pipe, chainage_m, service.distance_m))
    return Hits(x_m, y_m, tuple(mains), tuple(services), found.doubts)


def hits_on_main(network: Network, name: str, chainage_m: float) -> Hits:
    """Return the hit on a named pipe: a main, or a service and the main it hangs on.

    Raises
    ------
    BadWorkError
        When the pipe is unknown, is not live, or has no such chainage.
    """
    pipes = network.pipes
    row = pipes.id.find(name)
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
    return Hits(hit.x_m, hit.y_m, _mains_of(network, (hit,)), (hit,))


def _near(boxes: PipeBoxes, x_m: float, y_m: float, reach_m: float) -> list[HitPlace]:
    """Return the nearest place of each pipe within reach [m], nearest first."""
    network = boxes.network
    rows = boxes.within(x_m, y_m, reach_m * network.scale)
    point = shapely.Point(x_m, y_m)
    found = []
    for row in rows.tolist():
        hit = _nearest_on(network, row, point)
        if hit.distance_m <= reach_m:
            found.append(hit)
    return sorted(found, key=lambda hit: (hit.distance_m, hit.pipe))


def _nearest_on(network: Network, row: int, point: shapely.Point) -> HitPlace:
    pipes, scale = network.pipes, network.scale
    line = shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])
    chainage_m = min(line.project(point) / scale, float(pipes.length_m[row]))
    return _hit(network, row, chainage_m, line.distance(point) / scale)


def _hit(
    network: Network, row: int, chainage_m: float, away_m: float, *, confirmed: bool = False
) -> HitPlace:
    x_m, y_m = points_at(network, np.array([row]), np.array([chainage_m]))[0].tolist()
    return HitPlace(row, chainage_m, away_m, x_m, y_m, confirmed)


def _mains_of(network: Network, services: Iterable[HitPlace]) -> tuple[HitPlace, ...]:
    """Return where services hang on mains, each main once.

    Raises
    ------
    BadInputError
        When none of them hangs on a main.
    """
    found: dict[int, HitPlace] = {}
    for service in services:
        for pipe, chainage_m in main_of_service(network, service.pipe):
            found.setdefault(pipe, _hit(network, pipe, chainage_m, service.distance_m))
    if not found:
        names = ", ".join(network.pipes.id[service.pipe] for service in services)
        raise BadInputError(f"service {names} hangs on no live main on record; give the place with --at")
    return tuple(found.values())
