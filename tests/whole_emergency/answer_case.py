"""One emergency answer on the raw layers: its hits and stops as places of the network, and its states."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import shapely
from pyproj import Transformer

import netplan
from tests.whole_plan.walk import Key, Network, Raw, State, number, text

__all__ = ["AnswerCase", "Breach", "Row", "rules_with", "transformer"]

Row = dict[str, Any]
CIRCLE_PARTS = 4096
"""Parts of a quarter of a circle as a polygon: at 100 m it lies less than 2 µm inside."""
ROUNDED_M = 0.002
"""What chainages and coordinates rounded to millimetres may be off [m]."""


@dataclass(frozen=True)
class Breach:
    """A rule that an answer breaks, in one line."""

    rule: str
    what: str

    def __str__(self) -> str:
        return f"{self.rule}: {self.what}"


@lru_cache(maxsize=8)
def transformer(source: int | str, target: int | str) -> Transformer:
    """Return what takes coordinates from one reference system to another, east first."""
    return Transformer.from_crs(source, target, always_xy=True)


def rules_with(own: Mapping[str, Any]) -> Row:
    """Return the shipped rules, as their file has them, with some tables changed."""
    shipped = Path(netplan.__file__).parent / "rules" / "defaults.toml"
    found: Row = tomllib.loads(shipped.read_text(encoding="utf-8"))
    for name, table in own.items():
        found[name] = {**found.get(name, {}), **table}
    return found


@dataclass
class AnswerCase:
    """An answer read from emergency.json, with its places on the raw network.

    Parameters
    ----------
    raw : Raw
    rules : dict
    data : dict
        All of emergency.json.
    """

    raw: Raw
    rules: Row
    data: Row
    found: list[Breach] = field(default_factory=list)

    def __post_init__(self) -> None:
        net = self.net = Network(self.raw, [])
        self.hit_nodes: list[Key] = []
        self.hit_shapes: list[Any] = []
        """All of the pipes that may be hit, as points and lines."""
        for hit in self.data["hits"]:
            self._hit(("mains", hit["main_id"]), hit["chainage_m"], hit["confirmed"])
        named = self.named
        for one in self.data["services"]:
            row = self.raw.row[("services", one["service_id"])]
            line = self.raw.lines[row]
            if named:
                self._hit(("services", one["service_id"]), self._asked_m, confirmed=True)
            else:
                at = line.project(self.place) / self.raw.scale
                self._hit(("services", one["service_id"]), at, confirmed=False)
        for ring in self.rings:
            for stop in ring["stops"]:
                key = self.gap(stop)
                if not stop["valve_id"] and key not in net.gaps:
                    net.barrier(stop["main_id"], stop["chainage_m"], key)
        net.finish()

    @property
    def named(self) -> bool:
        """Whether a pipe was named, and not a place."""
        return any(hit["confirmed"] for hit in self.data["hits"]) or "--main" in self.data["asked"]

    @property
    def _asked_m(self) -> float:
        return float(self.data["asked"].split("--at-m")[1].split()[0])

    @cached_property
    def place(self) -> shapely.Point:
        """The place that was asked for, by its longitude and latitude: with all digits where it was given so."""
        to_working = transformer(4326, str(self.raw.layers["mains"].crs))
        asked = self.data["asked"].partition("--at ")[2]
        lon, lat = asked.split()[0].split(",") if asked else (self.data["lon"], self.data["lat"])
        return shapely.Point(to_working.transform(float(lon), float(lat)))

    @cached_property
    def reach_m(self) -> float:
        """How far from the place the pipe that was hit may lie [m]: the error, or beyond the nearest main."""
        error = float(self.data["location_error_m"])
        mains = [line for line, name in zip(self.raw.lines, self.raw.name, strict=True) if name[0] == "mains"]
        nearest = min(line.distance(self.place) for line in mains) / self.raw.scale
        near = any(line.distance(self.place) / self.raw.scale <= error for line in self.raw.lines)
        return error if near else nearest + error

    def _hit(self, name: tuple[str, str], chainage_m: float, confirmed: bool) -> None:
        """Put what may be hit on its pipe: the place; where none is named, all of it within the error."""
        row, scale = self.raw.row[name], self.raw.scale
        key = ("hit", *name, len(self.hit_nodes))
        self.hit_nodes.append(self.net._mark(row, chainage_m * scale, key))
        line = self.raw.lines[row]
        self.hit_shapes.append(line.interpolate(chainage_m * scale))
        if confirmed or self.named:
            return
        circle = self.place.buffer(self.reach_m * scale, quad_segs=CIRCLE_PARTS)
        for part in shapely.get_parts(line.intersection(circle)).tolist():
            ends = [line.project(shapely.Point(xy)) for xy in shapely.get_coordinates(part)]
            if not ends:
                continue
            low, high = min(ends), max(ends)
            self.hit_shapes.append(part)
            for at in (low, high):
                node = ("hit", *name, len(self.hit_nodes))
                self.hit_nodes.append(self.net._mark(row, at, node))
            for ident, (where, at) in self.raw.placed["valves"].items():
                if where == row and low < at < high:
                    self.hit_nodes += self.net.gaps[("valve", ident)]

    @property
    def rings(self) -> list[Row]:
        """All rings, those that are ready for valves that fail too."""
        return [*self.data["rings"], *(one["ring"] for one in self.data["next_rings"])]

    def require(self, holds: bool, rule: str, what: str) -> None:
        """Put on record where a rule does not hold."""
        if not holds:
            self.found.append(Breach(rule, what))

    def gap(self, stop: Row) -> Key:
        """Return the gap of a stop."""
        if stop["valve_id"]:
            return ("valve", stop["valve_id"])
        return ("stop", stop["main_id"], stop["chainage_m"])

    def spot(self, main_id: str, chainage_m: float) -> Any:
        """Return a place on a main as a point."""
        return self.raw.lines[self.raw.row_of(main_id)].interpolate(chainage_m * self.raw.scale)

    @cached_property
    def hit_spots(self) -> list[Any]:
        """The places on pipes that may be hit, as they were given or lie nearest, as points."""
        spots = [self.spot(hit["main_id"], hit["chainage_m"]) for hit in self.data["hits"]]
        for one in self.data["services"]:
            line = self.raw.lines[self.raw.row[("services", one["service_id"])]]
            at = self._asked_m * self.raw.scale if self.named else line.project(self.place)
            spots.append(line.interpolate(at))
        return spots

    @cached_property
    def before(self) -> State:
        """The network with nothing shut."""
        return self.net.state()

    def state(self, ring: Row) -> State:
        """Return the network with a ring shut."""
        return self.net.state(shut={self.gap(stop) for stop in ring["stops"]})

    def sources(self) -> dict[str, Key]:
        """Return the nodes of stations and injections by id."""
        return {**self.net.station_node, **self.net.injection_node}

    def fed(self, state: State, shut: set[str]) -> set[int]:
        """Return the parts that a station or injection still feeds."""
        return {state.part(node) for ident, node in self.sources().items() if ident not in shut}

    def people_off(self, ring: Row) -> set[str]:
        """Return who had gas at some inlet that has none once the ring and its stations are shut."""
        after, before = self.state(ring), self.before
        had, has = self.fed(before, set()), self.fed(after, set(ring["stations_to_shut"]))
        return {
            ident
            for ident, nodes in self.raw.ends_of.items()
            if any(before.part(node) in had and after.part(node) not in has for node in nodes)
        }

    def meters_of(self, ident: str) -> int:
        """Return the meters of a customer: one where none are recorded."""
        known = number(self.raw.people[ident].get("meters"))
        return 1 if known is None else int(known)

    def is_priority(self, ident: str) -> bool:
        """Return whether a customer is recorded as a priority."""
        return bool(text(self.raw.people[ident].get("priority")))
