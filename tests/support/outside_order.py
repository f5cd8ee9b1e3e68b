"""The laws of the order of the work, checked on the steps of a plan from plan.json alone.

Shares no code with the package; every law is read from what a step needs, changes, tests and reads.
"""

from __future__ import annotations

from collections.abc import Iterator

from tests.support.outside_walk import STANDING, STATES, TURNED_OFF, Row
from tests.support.outside_zone_laws import OutsideZoneLaws

__all__ = ["OutsideOrder"]


class OutsideOrder(OutsideZoneLaws):
    """One option of a plan; `breaches` walks its steps."""

    def breaches(self) -> list[str]:
        """Return what breaks a law, one line each, with the number of the law and of the step."""
        self.now = {key: one["first"] for key, one in self.items.items()}
        self.seen = []
        found = list(self.items_are_those_of_the_plan())
        for step in self.steps:
            self.before = dict(self.now)
            found += self.applied(step)
            for law in (
                self._tappings,
                self._baseline,
                self._barriers,
                self._feeds,
                self._tally,
                self._solved,
                self.let_by,
                self.purges,
                self.one_pressure,
                self.trench,
                self.tests,
                self._withdrawals,
                self._manned,
            ):
                found += [f"{line} (step {step['n']}, {step['stage']})" for line in law(step)]
            self.seen.append(step)
        return [*found, *self._at_the_end()]

    # -- laws 1, 28: tappings; 2: baseline; 3: proofs ------------------------------------------------------

    def _tappings(self, step: Row) -> Iterator[str]:
        order = STATES["tapping"]
        for change in self.changed(step, "tapping"):
            if order.index(change["to"]) != order.index(change["from"]) + 1:
                yield f"law 1: tapping {change['id']} goes from {change['from']} to {change['to']}"
        used = self.changed(step, "vent", "open") + self.changed(step, "barrier", "set")
        used += self.changed(step, "valve", "open")
        for change in used:
            tapping = self.items[change["kind"], change["id"]]["tapping_id"]
            if tapping and self.now["tapping", tapping] != "drilled":
                yield f"law 1: {change['id']} is used while its tapping {tapping} is not drilled"
        for reading in step["readings"]:
            of = [
                i for (k, i), one in self.items.items() if k == "tapping" and one["of"] == reading["gauge_id"]
            ]
            if any(self.now["tapping", one] != "drilled" for one in of):
                yield f"law 1: gauge {reading['gauge_id']} is read before its tapping is drilled"

    def _touches(self, step: Row) -> bool:
        """Return whether a step changes the live network: a barrier, a valve, a feed or a meter."""
        return bool(
            self.changed(step, "barrier", "set")
            or self.changed(step, "feed", "open", "purged")
            or self.changed(step, "meter")
            or self.changed(step, "valve")
        )

    def _baseline(self, step: Row) -> Iterator[str]:
        if not self._touches(step) or any(self._touches(one) for one in self.seen):
            return
        read = {one["gauge_id"] for earlier in self.seen for one in earlier["readings"]}
        missing = {one["id"] for one in self.option["gauges"]} - read
        if missing:
            yield f"law 2: {sorted(missing)} are not read before the first change"

    def _barriers(self, step: Row) -> Iterator[str]:
        first_off = self.changed(step, "meter", *TURNED_OFF)
        if first_off and not any(self.changed(one, "meter", *TURNED_OFF) for one in self.seen):
            for id_ in sorted(self.barriers_of_stops()):
                if self.before["barrier", id_] != "proved":
                    yield f"law 3: {id_} is {self.before['barrier', id_]} when the first meter goes off"
        for change in self.changed(step, "barrier", "set"):
            if change["from"] not in ("proved", "accepted"):
                yield f"law 3: {change['id']} is set without proof"
        for change in self.changed(step, "barrier", "accepted"):
            tests = [one["let_by"] for one in (*self.seen, step) if one["let_by"]]
            if not any(change["id"] in one["barriers"] and one["name"] != "T0" for one in tests):
                yield f"law 14: {change['id']} is accepted without a test that shows it"
            last_set = max(
                (one["n"] for one in self.seen if change["id"] in _ids(one, "barrier", "set")), default=0
            )
            shown = [
                one["n"]
                for one in (*self.seen, step)
                if one["let_by"] and change["id"] in one["let_by"]["barriers"]
            ]
            if shown and max(shown) < last_set:
                yield f"law 13: {change['id']} was set again after its test"

    # -- laws 4, 5, 25, 27: feeds --------------------------------------------------------------------------

    def _feeds(self, step: Row) -> Iterator[str]:
        order = STATES["feed"]
        hoses = {one["id"] for one in self.option["bypasses"]}
        for change in self.changed(step, "feed"):
            before = self.before["feed", change["id"]]
            if change["id"] in hoses and order.index(change["to"]) != order.index(before) + 1:
                yield f"law 4: feed {change['id']} goes from {before} to {change['to']}"
            if change["to"] == "shut":
                proved = [one for one in self.seen if one["hold"] and one["stage"].startswith("through-flow")]
                if not proved:
                    yield f"law 27: feed {change['id']} is shut before through-flow is proved"
                left = [b for b in self.barriers_of_stops() if self.before["barrier", b] in STANDING]
                if left:
                    yield f"law 27: feed {change['id']} is shut while {left} stand"
        if self.changed(step, "barrier", "set"):
            for feed in self.of("feed"):
                if self.before["feed", feed] != "accepted":
                    yield f"law 5: a barrier is set while feed {feed} is {self.before['feed', feed]}"
        moved = [one["id"] for one in self.changed(step, "barrier", "set", "withdrawn")]
        if len(moved) > 1:
            yield f"law 25: barriers {moved} move in one step"
        for hose in hoses:
            ends = [
                one["id"]
                for one in self.changed(step, "valve")
                if self.items["valve", one["id"]]["of"] == hose
                and "feed end" in self.items["valve", one["id"]]["role"]
            ]
            if len(ends) > 1:
                yield f"law 25: both ends {ends} of {hose} move in one step"

    # -- laws 6, 24, 29: meters ----------------------------------------------------------------------------

    def _tally(self, step: Row) -> Iterator[str]:
        if self.changed(step, "barrier", "set") and self.off:
            on = [one for one in self.off if self.before["meter", one] not in TURNED_OFF]
            if on:
                yield f"law 6: a stop goes in while {len(on)} meters are still on"
            if not self._counted(after=0):
                yield "law 6: no tally hold before the first stop"
        if self.is_zone_purge(step) and step["purge"]["medium"] == "gas" and self.off:
            freed = [one["n"] for one in self.seen if one["trench"] == "occupied"]
            if not self._counted(after=max(freed, default=0)):
                yield "law 24: no second tally hold before gas goes back"
            fed = [one for one in self.off if self.before["meter", one] not in TURNED_OFF]
            if fed:
                yield f"law 33: gas goes back while meters {sorted(fed)[:3]} are not shut"

    def _counted(self, after: int) -> bool:
        """Return whether a hold after a step counts every meter that is off."""
        for one in self.seen:
            met = {need["id"] for need in one["needs"] if need["kind"] == "meter"}
            met |= {change["id"] for change in self.changed(one, "meter", *TURNED_OFF)}
            if one["n"] > after and one["hold"] and self.off <= met:
                return True
        return False

    # -- laws 7 to 9: pressures ----------------------------------------------------------------------------

    def _solved(self, step: Row) -> Iterator[str]:
        state = self.states.get(step["state"]) if step["state"] else None
        if step["state"] and state is None:
            yield f"law 7: state {step['state']!r} is not solved"
        needs_state = self.changed(step, "barrier", "set", "withdrawn") or self.changed(
            step, "feed", "open", "shut"
        )
        if needs_state and not step["state"]:
            yield "law 7: flows change, and no solved state is named"
        if state is not None and state["least_mbar"] is not None:
            least = self.rules["pressure"]["minimum_mbar"] + self.rules["pressure"]["margin_mbar"]
            weak = self.option["pressures"]["weak_before"]
            if state["least_mbar"] < least - 2e-3 and not weak:
                yield f"law 8: a kept inlet has {state['least_mbar']} mbar in state {step['state']!r}"
        known = {one["id"] for one in (*self.option["gauges"], *self.option["zone_gauges"])}
        for reading in step["readings"]:
            if reading["gauge_id"] not in known:
                yield f"law 9: {reading['gauge_id']} is no gauge of the plan"
            low, high = reading["abort_mbar"], reading["abort_high_mbar"]
            if low is not None and not low <= reading["expect_mbar"] - reading["band_mbar"] + 1e-3:
                yield f"law 9: abort of {reading['gauge_id']} lies inside its band"
            if high is not None and not high >= reading["expect_mbar"] + reading["band_mbar"] - 1e-3:
                yield f"law 9: high abort of {reading['gauge_id']} lies inside its band"
            error, gauge = reading["error_mbar"], self.rules["gauge"]
            if reading["band_mbar"] < 2 * error - 1e-3:
                yield f"law 9: the band of {reading['gauge_id']} is less than twice the gauge's error"
            if not gauge["finest_error_mbar"] <= error <= gauge["error_mbar"]:
                yield f"law 9: no gauge of {reading['gauge_id']} errs by {error} mbar"
            asked = f"{reading['gauge_id']}: needs a gauge with an error of at most "
            if error < gauge["error_mbar"] and not any(asked in line for line in self.option["warnings"]):
                yield f"law 9: nobody is told that {reading['gauge_id']} has to be finer"

    # -- law 26: withdrawing -------------------------------------------------------------------------------

    def _withdrawals(self, step: Row) -> Iterator[str]:
        for change in self.changed(step, "barrier", "withdrawn"):
            one = self.items["barrier", change["id"]]
            if one["of"] not in {stop["id"] for stop in self.option["stops"]}:
                continue
            # The inlet of a station is opened first where gas for the purge comes from that station.
            put_back = one["valve_ids"] and step["purge"] and step["purge"]["part_id"] == f"{one['of']}-space"
            inner = self.before["barrier", f"{one['of']}-inner"] if one["role"] == "outer" else "withdrawn"
            if inner != "withdrawn" and not put_back:
                yield f"law 26: {change['id']} before the inner barrier"
            space = ("part", f"{one['of']}-space")
            if one["role"] == "inner" and space in self.items and self.before[space] not in ("gas", "live"):
                yield f"law 26: {change['id']} while its space is {self.before[space]}"
            if one["role"] == "inner" and any(
                self.before["vent", v] == "open" for v in self.vents("between", one["of"])
            ):
                yield f"law 26: {change['id']} while its vent is open"

    # -- law 31: attendance --------------------------------------------------------------------------------

    def _manned(self, step: Row) -> Iterator[str]:
        kinds = {one["id"]: one["kind"] for one in self.option["stops"]}
        for id_ in self.barriers_of_stops():
            stands = self.before["barrier", id_] in STANDING and self.now["barrier", id_] in STANDING
            if stands and kinds[self.items["barrier", id_]["of"]] == "bag" and id_ not in step["manned"]:
                yield f"law 31: {id_} is set and nobody is said to be at it"
        for hose in self.option["bypasses"]:
            if self.before["feed", hose["id"]] in ("open", "accepted") and self.now["feed", hose["id"]] in (
                "open",
                "accepted",
            ):
                for end in ("from", "to"):
                    if f"{hose['id']}-{end}" not in step["manned"]:
                        yield f"law 31: {hose['id']}-{end} is open and nobody is said to be at it"

    # -- at the end ----------------------------------------------------------------------------------------

    def _at_the_end(self) -> Iterator[str]:
        for key, item in self.items.items():
            if item["last"] and self.now[key] != item["last"]:
                yield f"end: {key[0]} {key[1]} ends {self.now[key]}, not {item['last']}"
        drilled = [c["id"] for one in self.steps for c in self.changed(one, "tapping", "drilled")]
        capped = [c["id"] for one in self.steps for c in self.changed(one, "tapping", "capped")]
        if sorted(drilled) != sorted(capped) or len(set(drilled)) != len(drilled):
            yield f"law 28: drilled {len(drilled)}, capped {len(capped)}"
        dug = [c["id"] for one in self.steps for c in self.changed(one, "place", "dug")]
        filled = [c["id"] for one in self.steps for c in self.changed(one, "place", "filled")]
        if sorted(dug) != sorted(filled) or set(dug) != {one["id"] for one in self.option["excavations"]}:
            yield f"end: dug {sorted(dug)}, filled {sorted(filled)}"
        for one in sorted(self.off):
            went = [c["to"] for step in self.steps for c in self.changed(step, "meter") if c["id"] == one]
            if went != ["off", "sealed", "purged", "relit"]:
                yield f"law 29: meter {one} goes {went}"
        yield from self._all_ends_purged()
        yield from self._fallbacks()

    def _all_ends_purged(self) -> Iterator[str]:
        """Law 20: every vent of the purge sheet is an outlet, gas out and gas (or inert gas) back in."""
        points = {one["id"] for one in self.option["purge"]["points"] if one["role"] == "vent"}
        paths = [one["purge"] for one in self.steps if one["purge"]]
        out = {one["outlet"] for one in paths if one["medium"] == "air"}
        back = {one["outlet"] for one in paths if one["medium"] in ("gas", "inert gas")}
        if out and not points <= out:
            yield f"law 20: {sorted(points - out)} are not purged out"
        if not points <= back:
            yield f"law 20: {sorted(points - back)} are not purged in"

    def _fallbacks(self) -> Iterator[str]:
        """Law 30: a fallback beyond the tee of a feed, on its own main, shuts or moves that feed."""
        stops = {one["id"]: one for one in self.option["stops"]}
        for fallback in self.option["fallback"]:
            stop = stops.get(fallback["stop_id"])
            if stop is None:
                yield f"ids: fallback of {fallback['stop_id']}, which is no stop"
                continue
            told = {one["feed_id"] for one in (*fallback["shut"], *fallback["moves"])}
            for use in fallback["use"]:
                if use["main_id"] != stop["main_id"]:
                    continue
                low, high = sorted((stop["chainage_m"], use["chainage_m"]))
                for hose in self.option["bypasses"]:
                    for end in (hose["from"], hose["to"]):
                        inside = end["main_id"] == stop["main_id"] and low < end["chainage_m"] < high
                        if inside and hose["id"] not in told:
                            yield f"law 30: fallback of {stop['id']} cuts off {hose['id']}"


def _ids(step: Row, kind: str, to: str) -> set[str]:
    return {one["id"] for one in step["changes"] if one["kind"] == kind and one["to"] == to}
