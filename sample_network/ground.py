"""Lie of the land: river, railway, hill, and the roads that were there first. Local metres."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = [
    "ARTERIALS",
    "CRS",
    "ORIGIN",
    "QUARTERS",
    "RAIL",
    "RIVER",
    "height_m",
    "rail_land",
    "river",
    "smooth",
    "to_map",
]

CRS: Final = "EPSG:25832"
ORIGIN: Final = (601_200.0, 5_861_400.0)
"""Where local (0, 0) lies in the projected system: farmland without anything remarkable [m]."""

Line = tuple[tuple[float, float], ...]

RIVER: Final[Line] = (
    (-260, 270),
    (60, 250),
    (330, 205),
    (640, 262),
    (930, 205),
    (1240, 120),
    (1480, 150),
    (1960, 90),
)
RAIL: Final[Line] = (
    (1270, -330),
    (1225, -60),
    (1228, 250),
    (1262, 520),
    (1330, 800),
    (1440, 1120),
    (1530, 1330),
)

ARTERIALS: Final[dict[str, Line]] = {
    "High Street": ((300, 515), (480, 505), (650, 530), (850, 520), (985, 495)),
    "Westgate Road": ((-130, 545), (60, 548), (180, 525), (300, 515)),
    "Eastgate": ((985, 495), (1130, 480), (1262, 492), (1420, 500), (1640, 478)),
    "North Hill Road": ((560, 1210), (575, 1080), (600, 930), (585, 800), (610, 690), (605, 524)),
    "Bridge Street": ((605, 524), (590, 400), (578, 320), (572, 190), (540, 60), (535, -120)),
    "Weir Lane": ((850, 520), (895, 400), (912, 280), (930, 130), (900, 0)),
    "Foundry Road": ((985, 845), (1130, 838), (1330, 812), (1500, 815), (1640, 740)),
    "Ring Road North": (
        (60, 548),
        (85, 700),
        (180, 850),
        (360, 945),
        (600, 960),
        (820, 945),
        (985, 845),
        (1090, 690),
        (1130, 480),
    ),
    "Ring Road South": (
        (60, 548),
        (140, 425),
        (350, 365),
        (590, 380),
        (770, 400),
        (895, 400),
        (1030, 385),
        (1130, 480),
    ),
    "Estate Way": ((1420, 500), (1455, 640), (1500, 815)),
}
"""The old roads and the ring, by name."""

QUARTERS: Final[dict[str, tuple[Line, float]]] = {
    "core": (
        (
            (150, 470),
            (330, 400),
            (590, 410),
            (880, 420),
            (1060, 430),
            (1040, 690),
            (930, 850),
            (780, 910),
            (420, 900),
            (230, 820),
            (120, 640),
        ),
        92.0,
    ),
    "hillside": (((120, 900), (330, 985), (560, 1000), (545, 1200), (330, 1260), (100, 1160)), 105.0),
    "northeast": (
        ((640, 1000), (820, 985), (1000, 890), (1160, 870), (1190, 990), (900, 1110), (640, 1130)),
        112.0,
    ),
    "west": (
        ((-180, 480), (20, 470), (60, 420), (120, 480), (20, 620), (60, 760), (-60, 800), (-170, 700)),
        105.0,
    ),
    "southbank": (
        (
            (260, 130),
            (330, 150),
            (560, 185),
            (760, 185),
            (900, 150),
            (1130, 70),
            (1080, -110),
            (800, -150),
            (520, -160),
            (330, -60),
        ),
        98.0,
    ),
    "trading estate": (((1320, 420), (1640, 420), (1680, 860), (1400, 890)), 150.0),
}
"""Outline of each quarter and the spacing of its junctions [m]."""


def smooth(points: Line, step_m: float = 12.0) -> Any:
    """Return a smooth line through points (Catmull-Rom), with a vertex about every `step_m`."""
    p = np.asarray(points, dtype=float)
    padded = np.vstack([2 * p[0] - p[1], p, 2 * p[-1] - p[-2]])
    out = [p[0]]
    for a, b, c, d in zip(padded[:-3], padded[1:-2], padded[2:-1], padded[3:], strict=True):
        n = max(2, math.ceil(float(np.hypot(*(c - b))) / step_m))
        for t in np.linspace(0, 1, n + 1)[1:]:
            out.append(  # noqa: PERF401
                0.5
                * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)
            )
    return shapely.LineString(np.asarray(out))


def river() -> Any:
    """Return the water as a polygon."""
    return smooth(RIVER).buffer(13.0, quad_segs=4)


def rail_land() -> Any:
    """Return the land of the railway as a polygon."""
    return smooth(RAIL).buffer(9.0, cap_style="flat", quad_segs=4)


def height_m(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the height of the ground [m]: a hill in the north-west, a gentle valley along the river."""
    hill = 40.0 * np.exp(-(((x - 250) / 420) ** 2 + ((y - 1230) / 330) ** 2))
    return np.asarray(52.0 + hill + 0.008 * np.maximum(y - 200, 0) + 1.5 * np.sin(x / 310.0))


def to_map(geometry: Any) -> Any:
    """Move a local geometry to the map."""
    return shapely.transform(geometry, lambda c: np.round(c + ORIGIN, 3), include_z=False)
