"""The order of the work of a plan, followed step by step from plan.json alone: the states of its items.

Shares no code with the package: states, laws and ids are read from the published form of a plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

__all__ = ["STANDING", "STATES", "TURNED_OFF", "Key", "OutsideWalk", "Row"]

STATES = {
    "place": ("planned", "dug", "filled"),
    "tapping": ("planned", "tested", "drilled", "capped"),
    "barrier": ("out", "proved", "set", "accepted", "withdrawn"),
    "vent": ("shut", "open"),
    "valve": ("shut", "open"),
    "feed": ("planned", "laid", "tested", "purged", "open", "accepted", "shut", "removed"),
    "meter": ("on", "off", "sealed", "purged", "relit", "no access"),
    "part": ("live", "vented", "gas-free", "air", "gas"),
}
STANDING = ("set", "accepted")
TURNED_OFF = ("off", "sealed", "no access")
Row = dict[str, Any]
Key = tuple[str, str]


class OutsideWalk:
    """One option of a plan, and the states its items are in while its steps are gone through."""

    def __init__(self, plan: Row, rank: int = 1) -> None:
        self.option = next(one for one in plan["options"] if one["rank"] == rank)
        self.rules, self.conditions = plan["rules"], plan["conditions"]
        self.steps: list[Row] = self.option["steps"]
        self.items: dict[Key, Row] = {(one["kind"], one["id"]): one for one in self.option["items"]}
        self.off = {one["id"] for one in self.option["customers"] if one["effect"] == "off"}
        self.states = {one["after_step"]: one for one in self.option["states"]}
        self.now: dict[Key, str] = {}
        self.before: dict[Key, str] = {}
        self.seen: list[Row] = []

    # -- states of the items -------------------------------------------------------------------------------

    def items_are_those_of_the_plan(self) -> Iterator[str]:
        if len(self.items) != len(self.option["items"]):
            yield "ids: two items of one kind share an id"
        named = {
            "meter": {one["id"] for one in self.option["customers"]},
            "place": {one["id"] for one in self.option["excavations"]},
            "feed": {one["id"] for one in self.option["bypasses"]}
            | {one["valve_id"] for one in self.option["opened_valves"]},
            "part": {one["id"] for one in self.option["parts"]},
        }
        for kind, ids in named.items():
            mine = {id_ for what, id_ in self.items if what == kind}
            if kind != "meter" and mine != ids:
                yield f"ids: {kind}s {sorted(mine ^ ids)} are not both in the plan and among its items"
            if kind == "meter" and not self.off <= mine <= ids:
                yield f"ids: meters {sorted(self.off - mine | mine - ids)} are not those of customers"
        barriers = [one for (kind, _), one in self.items.items() if kind == "barrier"]
        for stop in self.option["stops"]:
            own = [one for one in barriers if one["of"] == stop["id"]]
            if len(own) != stop["barriers"]:
                yield f"ids: {stop['id']} has {len(own)} barriers among the items, not {stop['barriers']}"
            for tapping in stop["tappings"]:
                if tapping["size_mm"] > 0 and ("tapping", tapping["id"]) not in self.items:
                    yield f"ids: a {tapping['role']} of {stop['id']} is no item"

    def applied(self, step: Row) -> Iterator[str]:
        where = f"(step {step['n']}, {step['stage']})"
        for need in step["needs"]:
            key = (need["kind"], need["id"])
            if self.now.get(key) != need["state"]:
                yield f"needs: {need['id']} is {self.now.get(key)}, not {need['state']} {where}"
        for change in step["changes"]:
            key = (change["kind"], change["id"])
            if key not in self.items:
                yield f"ids: {key} is no item {where}"
                continue
            if change["to"] not in STATES[change["kind"]]:
                yield f"states: {change['id']} cannot be {change['to']} {where}"
            if self.now[key] != change["from"]:
                yield f"states: {change['id']} is {self.now[key]}, not {change['from']} {where}"
            self.now[key] = change["to"]

    def of(self, kind: str, *states: str, now: dict[Key, str] | None = None) -> set[str]:
        at = self.now if now is None else now
        return {id_ for (what, id_), state in at.items() if what == kind and (not states or state in states)}

    def changed(self, step: Row, kind: str, *to: str) -> list[Row]:
        return [one for one in step["changes"] if one["kind"] == kind and (not to or one["to"] in to)]

    def barriers_of_stops(self) -> set[str]:
        stops = {one["id"] for one in self.option["stops"]}
        return {id_ for (kind, id_), one in self.items.items() if kind == "barrier" and one["of"] in stops}

    def vents(self, role: str, of: str | None = None) -> set[str]:
        return {
            id_
            for (kind, id_), one in self.items.items()
            if kind == "vent" and one["role"] == role and of in (None, one["of"])
        }

    def zone_vents(self) -> set[str]:
        return self.vents("zone") | self.vents("purge") | self.vents("part")

    def is_zone_purge(self, step: Row) -> bool:
        """Return whether a step purges a zone or a part of one, not a feed or a space between barriers."""
        roles = {one["id"]: one["role"] for one in self.option["parts"]}
        return bool(step["purge"]) and roles.get(step["purge"]["part_id"]) in ("zone", "cut part")

    def zone_of(self, vent: str) -> Row | None:
        """Return the zone that a vent is on, by the tappings that vent it; None for none."""
        tapping = self.items["vent", vent]["tapping_id"]
        zones = [one for one in self.option["parts"] if one["role"] == "zone"]
        return next((one for one in zones if tapping in one["vents"]), None)
