"""Whether a longitude and latitude were given in the wrong order, told by where the network lies."""

from __future__ import annotations

from typing import Final

import numpy as np
from shapely.geometry.base import BaseGeometry

from netplan.network.linear_reference import from_lon_lat, lon_lat
from netplan.network.model import Network

__all__ = ["area_order_hint", "is_near", "order_hint"]

NEAR_M: Final = 10_000.0
"""A place no farther than this from the box round a network is near it (own) [m]."""


def is_near(network: Network, lon: float, lat: float) -> bool:
    """Whether a place lies in the box round the network's nodes, or near it.

    Parameters
    ----------
    network : Network
    lon, lat : float
        Place (WGS 84) [°].
    """
    if not (-180.0 <= lon <= 180.0 and -90.0 <= lat <= 90.0) or not len(network.nodes):
        return False
    place = from_lon_lat(network, np.array([[lon, lat]]))[0]
    if not np.isfinite(place).all():
        return False
    low = np.array([network.nodes.x_m.min(), network.nodes.y_m.min()]) - NEAR_M
    high = np.array([network.nodes.x_m.max(), network.nodes.y_m.max()]) + NEAR_M
    return bool((place >= low).all() and (place <= high).all())


def order_hint(network: Network, lon: float, lat: float) -> str:
    """Return what is to be said where the swapped place is near the network and the given one is not.

    Parameters
    ----------
    network : Network
    lon, lat : float
        Place as given (WGS 84) [°].

    Returns
    -------
    str
        Begins with a semicolon; empty where nothing speaks for a swap.
    """
    if is_near(network, lon, lat) or not is_near(network, lat, lon):
        return ""
    return f"; longitude comes first: did you mean {lat:g},{lon:g}?"


def area_order_hint(network: Network, area: BaseGeometry) -> str:
    """Return what is to be said of an area whose swapped coordinates would lie near the network; or nothing.

    Parameters
    ----------
    network : Network
    area : shapely geometry
        In the working CRS.
    """
    middle = area.centroid
    if middle.is_empty:
        return ""
    lon, lat = lon_lat(network, np.array([[middle.x, middle.y]]))[0].tolist()
    if is_near(network, lon, lat) or not is_near(network, lat, lon):
        return ""
    return "; its coordinates look swapped: a file of polygons holds longitude first"
