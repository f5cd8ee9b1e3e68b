"""Routes of hoses and bypasses over the ground, and where they cross carriageways."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.feeds.free_ground import BUILDING, FreeGround, LocalGround
from netplan.rules.rule_set import Rules

__all__ = ["HoseRoute", "HoseRoutes"]

MIDDLE_M: Final = 1.0
"""How far from its centre line the middle of a carriageway reaches (own) [m]."""
BESIDE_M: Final = 0.05
"""How far before and behind the middle it is asked on which side a hose lies (own) [m]."""
FARTHER: Final = 2.0
"""How many times the reach a route is looked for, only to say how long it is (own) [-]."""
ROUNDING_M: Final = 1e-6
OPEN_GROUND = "over open ground: no way along the streets is within reach"
NO_STREETS = "no street is recorded near: over open ground"
NOTHING_NEAR = "no building and no street is recorded near: a straight line"
IN_BUILDING = "a tee is recorded inside a building, which is left out: check the record"


@dataclass(frozen=True, slots=True)
class HoseRoute:
    """The shortest way of a hose between two tees over free ground.

    Parameters
    ----------
    xy : tuple of (x, y)
        Its bends and both ends in the working CRS [m].
    length_m : float
        Its true length, without slack [m].
    crossings : int
        Carriageways that it crosses: centre lines of streets.
    note : str
        What is to be said of it, or nothing.
    along_streets : bool
        Whether it keeps to streets, or no street is near.
    """

    xy: tuple[tuple[float, float], ...]
    length_m: float
    crossings: int = 0
    note: str = ""
    along_streets: bool = True

    def turned(self) -> HoseRoute:
        """Return it from its other end."""
        return HoseRoute(self.xy[::-1], self.length_m, self.crossings, self.note, self.along_streets)


Point = tuple[float, float]
Answer = tuple[float, HoseRoute | None]


class HoseRoutes:
    """Finds routes over the free ground of a network, and keeps them.

    Parameters
    ----------
    ground : FreeGround
    scale : float
        Planar length in the working CRS over true length [-].
    """

    def __init__(self, ground: FreeGround, scale: float = 1.0) -> None:
        self._ground, self._scale = ground, scale
        self._known: dict[Any, Answer] = {}

    @property
    def scale(self) -> float:
        """Planar length in the working CRS over true length [-]."""
        return self._scale

    def route(self, start: Point, stop: Point, rules: Rules) -> HoseRoute | None:
        """Return the shortest route between two tees; None where none is within the rules' reach.

        Where streets are near it keeps to them; only where no route along them is within reach it goes over
        all free ground.

        Parameters
        ----------
        start, stop : (x, y)
            Places in the working CRS [m].
        rules : Rules
            ``bypass.reach_m``, ``bypass.slack`` and ``bypass.street_half_width_m``.
        """
        reach = rules.bypass.reach_m
        along = self.along_streets(start, stop, rules, reach)
        return self.over_open_ground(start, stop, rules, reach) if along is None else along

    def along_streets(self, start: Point, stop: Point, rules: Rules, most_m: float) -> HoseRoute | None:
        """Return the shortest route that keeps to streets where any is near, of a hose up to `most_m`."""
        return self._within_reach(start, stop, rules, most_m, streets=True)

    def over_open_ground(self, start: Point, stop: Point, rules: Rules, most_m: float) -> HoseRoute | None:
        """Return the shortest route over all free ground, where streets are near that it does not keep to."""
        return self._within_reach(start, stop, rules, most_m, streets=False)

    def _within_reach(
        self, start: Point, stop: Point, rules: Rules, most_m: float, *, streets: bool
    ) -> HoseRoute | None:
        reach = rules.bypass.reach_m / rules.bypass.slack
        most = min(reach, most_m / rules.bypass.slack)
        return self._at_most(start, stop, rules, most, reach, streets=streets)

    def refusal(self, start: Point, stop: Point, rules: Rules) -> str:
        """Return why no route between two tees is within the rules' reach."""
        slack, reach = rules.bypass.slack, rules.bypass.reach_m
        straight = slack * float(np.hypot(stop[0] - start[0], stop[1] - start[1])) / self._scale
        if straight > reach:
            return f"{straight:.1f} m in a straight line, beyond bypass.reach_m of {reach:g} m"
        low, high = sorted((start, stop))
        ends = np.array([low, high])
        span = FARTHER * reach / slack * self._scale
        ground = self._ground.round(ends.mean(axis=0), span, self._half_width(rules))
        barred = self._barred(ground, ends)
        if barred:
            return f"a tee lies in {barred}, which no hose may cross"
        longer = [
            self._at_most(start, stop, rules, FARTHER * reach / slack, FARTHER * reach / slack, streets=way)
            for way in (True, False)
        ]
        lengths = [slack * route.length_m for route in longer if route is not None]
        if lengths:
            return f"{min(lengths):.1f} m by its route, beyond bypass.reach_m of {reach:g} m"
        return f"no way round the obstacles within {FARTHER:g} × bypass.reach_m of {reach:g} m"

    def _half_width(self, rules: Rules) -> float:
        return rules.bypass.street_half_width_m * self._scale

    def _at_most(
        self,
        start: Point,
        stop: Point,
        rules: Rules,
        most: float,
        reach: float,
        *,
        streets: bool,
    ) -> HoseRoute | None:
        """Return the shortest route of one kind that is no longer than `most` true metres."""
        low, high = sorted((start, stop))
        key = (low, high, reach, rules.bypass.street_half_width_m, streets)
        asked, known = self._known.get(key, (-1.0, None))
        if known is None and asked < most:
            known = self._found(np.array([low, high]), rules, most, reach, streets=streets)
            self._known[key] = most, known
        if known is None or known.length_m > most + ROUNDING_M:
            return None
        return known if start == low else known.turned()

    def _found(
        self, ends: Floats, rules: Rules, most: float, reach: float, *, streets: bool
    ) -> HoseRoute | None:
        straight = float(np.hypot(*(ends[1] - ends[0])))
        limit = most * self._scale
        if straight > limit + ROUNDING_M:
            return None
        if self._ground.is_blank:
            return None if not streets else self._route(ends, None, NOTHING_NEAR)
        ground = self._ground.round(ends.mean(axis=0), reach * self._scale, self._half_width(rules))
        if self._barred(ground, ends):
            return None
        has_streets = bool(len(ground.streets))
        if not has_streets and not streets:
            return None  # the same as was asked for along streets
        graph = ground.along_streets if streets and has_streets else ground.open_ground
        inside = {row for end in ends for row in ground.holding(end).tolist()}
        bare = ground.bare_round(ends[0]) | ground.bare_round(ends[1])
        path = graph.shortest_path(ends[0], ends[1], limit, bare)
        if path is None:
            return None
        note = OPEN_GROUND if not streets else "" if has_streets else NO_STREETS
        if not has_streets and not len(ground.obstacles):
            note = NOTHING_NEAR
        if inside:
            note = f"{note}; {IN_BUILDING}" if note else IN_BUILDING
        return self._route(path, ground, note, along_streets=streets)

    def _route(
        self, path: Floats, ground: LocalGround | None, note: str, *, along_streets: bool = True
    ) -> HoseRoute:
        length = float(np.hypot(*np.diff(path, axis=0).T).sum()) / self._scale
        crossings = 0 if ground is None else _crossings(path, ground.street_lines)
        xy = tuple((float(x), float(y)) for x, y in path)
        return HoseRoute(xy, length, crossings, note, along_streets)

    @staticmethod
    def _barred(ground: LocalGround, ends: Floats) -> str:
        """Return the kind of an obstacle that a tee lies in; empty for none, or a building."""
        rows = [row for end in ends for row in ground.holding(end).tolist()]
        return next((ground.kind[row] for row in rows if ground.kind[row] != BUILDING), "")


def _crossings(path: Floats, streets: NDArray[np.object_]) -> int:
    """Return how often a path goes from one side of a street's centre line to the other.

    What begins or ends in the middle of the carriageway is no crossing, nor what runs along it and leaves it
    on the side that it came from. Where several centre lines meet they are crossed once.
    """
    route = shapely.LineString(path)
    near = streets[shapely.dwithin(streets, route, MIDDLE_M)] if len(streets) else streets
    at = np.sort([place for street in near for place in _crossed_at(route, street)])
    return int((np.diff(at, prepend=-np.inf) > 2.0 * MIDDLE_M).sum())


def _crossed_at(route: Any, street: Any) -> list[float]:
    """Return how far along a path it crosses the centre line of a street."""
    middle = shapely.buffer(street, MIDDLE_M, cap_style="flat")
    within = shapely.line_merge(shapely.intersection(route, middle))
    found = []
    for part in shapely.get_parts(within):
        if shapely.get_dimensions(part) != 1 or not shapely.intersects(part, street):
            continue
        ends = shapely.line_locate_point(route, shapely.get_point(part, [0, -1]))
        low, high = float(ends.min()) - BESIDE_M, float(ends.max()) + BESIDE_M
        if low > 0.0 and high < route.length:
            sides = [_is_left(street, shapely.line_interpolate_point(route, at)) for at in (low, high)]
            if sides[0] != sides[1]:
                crossing = shapely.centroid(shapely.intersection(part, street))
                found.append(float(shapely.line_locate_point(route, crossing)))
    return found


def _is_left(street: Any, place: Any) -> bool:
    """Return whether a place lies on the left of the length of a street that is nearest to it."""
    xy = shapely.get_coordinates(street)
    lengths = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    row = int(np.argmin(shapely.distance(lengths, place)))
    along, beside = xy[row + 1] - xy[row], np.array([place.x, place.y]) - xy[row]
    return bool(along[0] * beside[1] - along[1] * beside[0] > 0.0)
