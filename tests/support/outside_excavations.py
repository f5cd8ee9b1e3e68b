"""What excavations of a plan cost, from plan.json, raw lines of mains and the rules alone.

Shares no code with the package. Lines may bend; outlines and what is one are worked out by shapely alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import shapely
from shapely import ops

from tests.support.independent import Walker
from tests.support.plan_excavations import grown, one

__all__ = ["OutsideExcavations"]

FAR_M = 100.0
Places = dict[str, list[float]]
"""Chainages on each main [m]."""


class OutsideExcavations:
    """Prices of excavations by the rules of a plan, amounts in minor units."""

    def __init__(
        self, rules: dict[str, Any], walker: Walker, mains: dict[str, dict[str, Any]], scale: float
    ) -> None:
        self.rules, self.walker, self.mains, self.scale = rules["excavation"], walker, mains, scale
        self.tee_m = {
            (method["name"], part["offset_m"])
            for method in rules["method"]
            for part in method["assembly"]
            if part["role"] == "bypass"
        }
        self.near = self.rules["merge_m"] * scale

    def amount(self, main: str) -> int:
        """Return what one excavation over a main costs."""
        surface = self.mains[main]["surface"] or "unknown"
        amount: int = round(100 * (self.rules["price"] + self.rules["price_surface"][surface]))
        return amount

    def work(self, work: Sequence[dict[str, Any]]) -> float:
        """Return what the work's own excavations cost, before rounding."""
        things = [{item["main_id"]: [item["from_m"], item["to_m"]]} for item in work]
        total = 0.0
        for group in self._grown(things)[0]:
            metres = sum(work[row]["to_m"] - work[row]["from_m"] for row in group)
            total += max(self.amount(work[row]["main_id"]) for row in group)
            total += 100 * self.rules["price_per_m"] * max(0.0, metres - self.rules["length_m"])
        return total

    def ends(
        self, option: dict[str, Any], work: Sequence[dict[str, Any]], dead: Sequence[tuple[str, float]]
    ) -> int:
        """Return what dead ends cost beside the pits of stops and the work."""
        paid = self._paid(option, work)
        things = [*paid, *({main: [at]} for main, at in dead)]
        return sum(
            max(self.amount(dead[row - len(paid)][0]) for row in group)
            for group in self._grown(things)[0]
            if min(group) >= len(paid)
        )

    def tees(self, option: dict[str, Any], work: Sequence[dict[str, Any]], feed: dict[str, Any]) -> int:
        """Return what the tees of a feed away from every stop cost."""
        total = 0
        for end in (feed["from"], feed["to"]):
            main, at = end["main_id"], end["chainage_m"]
            tapped = any(
                tapping["role"] == "bypass"
                and tapping["main_id"] == main
                and abs(tapping["chainage_m"] - at) < 2e-3
                for stop in option["stops"]
                for tapping in self._own(stop)
            )
            shapes = self._grown(self._paid(option, work))[1]
            own = self._outline({main: [at]})
            if not tapped and not any(one(own, shape, self.near) for shape in shapes):
                total += self.amount(main)
        return total

    def _paid(self, option: dict[str, Any], work: Sequence[dict[str, Any]]) -> list[Places]:
        things: list[Places] = []
        for stop in option["stops"]:
            places: Places = {stop["main_id"]: [stop["chainage_m"]]}
            for tapping in self._own(stop):
                places.setdefault(tapping["main_id"], []).append(tapping["chainage_m"])
            things.append(places)
        return [*things, *({item["main_id"]: [item["from_m"], item["to_m"]]} for item in work)]

    def _own(self, stop: dict[str, Any]) -> list[dict[str, Any]]:
        """Return the tappings of a stop in its own pit: a tee elsewhere than the method has it is not."""
        return [
            tapping
            for tapping in stop["tappings"]
            if tapping["role"] != "bypass" or (stop["method"], tapping["offset_m"]) in self.tee_m
        ]

    def _grown(self, things: Sequence[Places]) -> tuple[list[list[int]], list[Any]]:
        shapes = [self._outline(thing) for thing in things]
        return grown(shapes, self.near, self.rules["width_m"] * self.scale)

    def _outline(self, places: Places) -> Any:
        strips = []
        for main, at in places.items():
            line = _longer(self.walker.lines[self.walker.row["mains", main]])
            low, high = (FAR_M + self.scale * value for value in (min(at), max(at)))
            margin = self.rules["margin_m"] * self.scale
            part = ops.substring(line, low - margin, high + margin)
            strips.append(
                part.buffer(self.rules["width_m"] * self.scale / 2, cap_style="flat", join_style="mitre")
            )
        return shapely.union_all(strips)


def _longer(line: Any) -> Any:
    """Return a line led straight on at both ends."""
    xy = list(line.coords)

    def beyond(end: tuple[float, float], inner: tuple[float, float]) -> tuple[float, float]:
        size = math.dist(end, inner)
        return (
            end[0] + (end[0] - inner[0]) / size * FAR_M,
            end[1] + (end[1] - inner[1]) / size * FAR_M,
        )

    return shapely.LineString([beyond(xy[0], xy[1]), *xy, beyond(xy[-1], xy[-2])])
