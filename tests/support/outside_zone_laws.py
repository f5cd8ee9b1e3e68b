"""Laws of the zone: let-by tests, purging, people in the trench, tests of pipe, from plan.json alone.

Shares no code with the package.
"""

from __future__ import annotations

from collections.abc import Iterator

from tests.support.outside_walk import OutsideWalk, Row

__all__ = ["OutsideZoneLaws"]


class OutsideZoneLaws(OutsideWalk):
    """What holds in the zone at each step, by the states of the items."""

    # -- laws 11, 12, 14: let-by ---------------------------------------------------------------------------

    def _space_pressure(self, stop: Row) -> float | None:
        """Return the pressure between the two barriers of a stop [mbar]; None: what lets by settles it."""
        live = stop["pressure_mbar"] or 0.0
        hoses = [
            i
            for (k, i), one in self.items.items()
            if k == "valve" and one["role"] == "test hose" and one["of"] == stop["id"]
        ]
        if any(self.now["valve", one] == "open" for one in hoses):
            # Where no gas stands behind a stop, its space is held at some pressure with nitrogen.
            return live or 1.0
        if any(self.now["vent", one] == "open" for one in self.vents("between", stop["id"])):
            return 0.0
        return None

    def _loaded_towards(self, meter: str) -> set[str] | None:
        """Return the barriers that gas may pass to a meter on a vent; None where the reading shows nothing."""
        vent = self.items["vent", meter]
        zones = [one for one in self.option["parts"] if one["role"] == "zone" and vent["of"] in one["stops"]]
        zone_open = any(
            self.now["vent", one] == "open" and self.zone_of(one) in (None, *zones)
            for one in self.zone_vents()
        )
        if vent["role"] == "between":
            found = set()
            for stop in self.option["stops"]:
                if stop["id"] == vent["of"]:
                    found.add(f"{stop['id']}-outer")
                    if not zone_open:
                        found.add(f"{stop['id']}-inner")
            return found
        found = set()
        zone = self.zone_of(meter)
        inside = [s for s in self.option["stops"] if zone is None or s["id"] in zone["stops"]]
        for stop in inside:
            own = {id_ for (k, id_), one in self.items.items() if k == "barrier" and one["of"] == stop["id"]}
            if len(own) == 1:
                found |= own
                continue
            pressure = self._space_pressure(stop)
            if pressure is None:
                return None
            if pressure > 0.0:
                found.add(f"{stop['id']}-inner")
        return found

    def let_by(self, step: Row) -> Iterator[str]:
        test = step["let_by"]
        if not test:
            return
        rules = self.rules["let_by"]
        limits = {"T1": rules["outer_l_min"], "T2": rules["inner_l_min"], "T3": rules["single_l_min"]}
        if test["name"] == "T0":
            if any(self.now["vent", one] == "open" for one in self.zone_vents()):
                yield "law 11: T0 with an open vent on the zone"
            lives = [one["pressure_mbar"] for one in self.option["stops"] if one["pressure_mbar"]]
            if lives and test["limit_mbar"] is not None and test["limit_mbar"] >= max(lives):
                yield f"law 11: T0 allows a fall of {test['limit_mbar']} mbar, all that the zone holds"
            return
        if test["limit_l_min"] is None or test["limit_l_min"] > limits[test["name"]] + 1e-9:
            yield f"law 12: the limit of {test['name']} is {test['limit_l_min']}, not that of the rules"
        elif test["resolution_l_min"] is None or test["resolution_l_min"] > 0.2 * test["limit_l_min"] + 1e-9:
            yield f"law 12: the meter of {test['name']} is too coarse"
        if step["trench"] == "occupied" or not step["trench"]:
            yield f"law 18: {test['name']} while the trench is not said to be empty"
        if ("vent", test["meter_at"]) not in self.items or self.now["vent", test["meter_at"]] != "open":
            yield f"law 11: the meter of {test['name']} is on {test['meter_at']!r}, no open vent"
            return
        loaded = self._loaded_towards(test["meter_at"])
        if loaded != set(test["barriers"]):
            yield f"law 11: {test['name']} shows {loaded and sorted(loaded)}, not {test['barriers']}"
        if (len(test["barriers"]) > 1) != test["is_sum"]:
            yield f"law 11: {test['name']} of {test['barriers']} does not say whether it is a sum"

    # -- laws 18 to 21: purging ----------------------------------------------------------------------------

    def purges(self, step: Row) -> Iterator[str]:
        into_air = self.changed(step, "part", "air", "gas-free")
        purge = step["purge"]
        zone_purge = self.is_zone_purge(step)
        if into_air or (zone_purge and purge["medium"] == "air"):
            waiting = [one for one in self.barriers_of_stops() if self.now["barrier", one] != "accepted"]
            if waiting:
                yield f"law 14: air while {sorted(waiting)} are not accepted"
        if not purge:
            return
        if purge["inlet"] == purge["outlet"]:
            yield f"law 19: in and out at {purge['inlet']}"
        for end in (purge["inlet"], purge["outlet"]):
            if ("meter", end) in self.items:
                yield f"law 21: purged through meter {end}"
            tapped = [
                one["tapping_id"] for (_, id_), one in self.items.items() if id_ == end and one["tapping_id"]
            ]
            # A space between barriers gets its gas past one of them, let go a crack, and the vent of a
            # station is the station's own.
            is_space = self.items.get(("part", purge["part_id"]), {}).get("role") == "space"
            if is_space and (("barrier", end) in self.items or not tapped):
                continue
            if any(self.now["tapping", one] != "drilled" for one in tapped) or not tapped:
                yield f"law 19: {end} is at no drilled tapping"
        if zone_purge and purge["medium"] == "gas" and step["trench"] != "empty":
            yield "law 18: gas goes in while the trench is not said to be empty"
        zone = self.zone_of(purge["outlet"]) if ("vent", purge["outlet"]) in self.items else None
        others = {
            one
            for one in self.zone_vents() - {purge["outlet"]}
            if self.now["vent", one] == "open" and self.zone_of(one) == zone
        }
        if zone_purge and others and purge["medium"] != "air":
            yield f"law 19: {sorted(others)} are open besides {purge['outlet']}"

    # -- laws 10, 15 to 17: the trench ---------------------------------------------------------------------

    def one_pressure(self, step: Row) -> Iterator[str]:
        """Law 10: before the cut every gauge on one zone reads the same."""
        if step["trench"] == "occupied" or any(one["trench"] == "occupied" for one in self.seen):
            return
        zone = {one["id"]: one["part_id"] for one in self.option["zone_gauges"]}
        read: dict[str, float] = {}
        for one in step["readings"]:
            if one["gauge_id"] in zone:
                first = read.setdefault(zone[one["gauge_id"]], one["expect_mbar"])
                if abs(first - one["expect_mbar"]) > 2e-3:
                    yield f"law 10: {one['gauge_id']} reads {one['expect_mbar']}, another {first} mbar"

    def trench(self, step: Row) -> Iterator[str]:
        if step["trench"] != "occupied":
            return
        if not any(one["hold"] and self.changed(one, "part", "gas-free") for one in self.seen):
            yield "law 15: people in the trench before the zone is proved gas-free"
        zones = [one["id"] for one in self.option["parts"] if one["role"] in ("zone", "cut part")]
        gas = [one for one in zones if self.now["part", one] in ("gas", "live", "vented")]
        if gas and not any(self.changed(one, "part", "gas-free") for one in self.seen):
            yield f"law 15: people in the trench while {gas} hold gas"
        yield from self._barriers_at_work()
        # Once the joints are made, and while they are tested, the parts are one again.
        if not any(t["what"] == "tie-in" for one in (*self.seen, step) for t in one["pressure_tests"]):
            yield from self._vents_at_work()

    def _barriers_at_work(self) -> Iterator[str]:
        for stop in self.option["stops"]:
            own = [id_ for (k, id_), one in self.items.items() if k == "barrier" and one["of"] == stop["id"]]
            for one in own:
                if self.now["barrier", one] != "accepted":
                    yield f"law 16: {one} is {self.now['barrier', one]} while people work"
            for vent in self.vents("between", stop["id"]):
                if self.now["vent", vent] != "open":
                    yield f"law 16: {vent} is shut while people work"
            if len(own) == 1 and not any(self._signs(one, own[0]) for one in self.seen):
                yield f"law 16: single barrier {own[0]} without a signed exception"

    def _vents_at_work(self) -> Iterator[str]:
        for part in self.option["parts"]:
            if part["role"] == "cut part":
                open_ = self.of("vent", "open")
                at = {self.items["vent", one]["tapping_id"] for one in open_}
                if not at & set(part["vents"]):
                    yield f"law 17: {part['id']} is not vented"

    def _signs(self, step: Row, barrier: str) -> bool:
        named = {one["id"] for one in (*step["needs"], *step["changes"])} | set(step["uses"])
        return bool(step["hold"]) and barrier in named

    # -- laws 22, 23: tests --------------------------------------------------------------------------------

    def tests(self, step: Row) -> Iterator[str]:
        rules = self.rules["pressure_test"]
        for test in step["pressure_tests"]:
            if test["what"] == "new pipe":
                if test["against"]:
                    yield f"law 22: the new pipe is tested against {test['against']}"
                if test["test_mbar"] < rules["new_pipe_least_mbar"] - 1e-9:
                    yield f"law 22: the new pipe is tested at {test['test_mbar']} mbar"
            if test["what"] == "tie-in":
                lives = [
                    one["pressure_mbar"] for one in self.option["stops"] if one["pressure_mbar"] is not None
                ]
                if lives and test["test_mbar"] > min(lives) + 1e-3:
                    yield f"law 23: tie-in at {test['test_mbar']} mbar, live pressure {min(lives)}"
                if not any(t["what"] == "new pipe" for one in self.seen for t in one["pressure_tests"]):
                    yield "law 22: tie-in before the new pipe is tested"
