"""The steps of the small order written by hand, one after another."""

from __future__ import annotations

from typing import Any

from netplan.planfile import model as pm
from netplan.planfile.naming import (
    METERS_OFF_STATE,
    NORMAL_STATE,
    feed_open_state,
    feed_shut_state,
    purge_state,
    stop_in_state,
    stop_out_state,
)

__all__ = ["BAGS", "GAUGES", "OFF", "OrderByHand"]

OFF = ("C1", "C2", "C3", "C6")
GAUGES = ("G1", "G2", "G3")
BAGS = ("S1", "S2")


class OrderByHand:
    """The list of steps while it is written; it keeps the state every item is in."""

    def __init__(self, option: pm.Option) -> None:
        self.items = {(item.kind, item.id): item for item in option.items}
        self.now: dict[tuple[str, str], str] = {key: item.first for key, item in self.items.items()}
        self.rows: list[pm.Step] = []

    def add(self, who: str, *changes: tuple[str, str, str], **more: Any) -> None:
        """Add a step with its changes (kind, id, state), and what else it says."""
        made = []
        for kind, ident, state in changes:
            before = self.now[kind, ident]
            made.append(pm.Change.model_validate({"kind": kind, "id": ident, "from": before, "to": state}))
            self.now[kind, ident] = state
        needs = tuple(
            pm.Need.model_validate({"kind": kind, "id": ident, "state": state})
            for kind, ident, state in more.pop("needs", ())
        )
        gauges = more.pop("reads", ())
        readings = tuple(
            pm.Reading(
                gauge_id=ident,
                expect_mbar=26.0,
                band_mbar=1.0,
                warning_mbar=22.5,
                abort_mbar=21.0,
                abort_high_mbar=60.0,
            )
            for ident in gauges
        )
        self.rows.append(
            pm.Step(
                n=len(self.rows) + 1,
                does=more.pop("does", "step"),
                who=who,
                if_not="stop",
                minutes=10.0,
                needs=needs,
                changes=tuple(made),
                readings=readings,
                manned=self._manned(),
                **more,
            )
        )

    def _manned(self) -> tuple[str, ...]:
        bags = [
            ident
            for (kind, ident), state in self.now.items()
            if kind == "barrier" and state in ("set", "accepted") and not ident.startswith("S3")
        ]
        ends = ["B1-from", "B1-to"] if self.now["feed", "B1"] in ("open", "accepted") else []
        return (*bags, *ends)

    def all_of(self, kind: str, *roles: str) -> tuple[str, ...]:
        return tuple(
            ident
            for (of_kind, ident), item in self.items.items()
            if of_kind == kind and (not roles or item.role in roles)
        )

    def steps(self) -> tuple[pm.Step, ...]:
        """Write every part of the order."""
        self._prepare()
        self._bypass()
        self._meters_off()
        self._stops()
        self._let_by()
        self._empty()
        self._work()
        self._gas_back()
        self._withdraw()
        self._close()
        return tuple(self.rows)

    def _prepare(self) -> None:
        self.add("competent person", hold=True)
        for hole in self.all_of("place"):
            self.add("stop crew", ("place", hole, "dug"), hold=True)
        tappings = self.all_of("tapping")
        test = pm.PressureTest(what="tapping", test_mbar=350.0, minutes=5.0, medium="air")
        self.add("stop crew", *(("tapping", one, "tested") for one in tappings), pressure_tests=(test,))
        self.add("stop crew", *(("tapping", one, "drilled") for one in tappings))
        self.add("pressure watch", hold=True, state=NORMAL_STATE, reads=GAUGES)
        for barrier in self.all_of("barrier"):
            self.add("stop crew", ("barrier", barrier, "proved"))

    def _bypass(self) -> None:
        test = pm.PressureTest(what="feed", test_mbar=100.0, minutes=15.0, medium="air")
        self.add("bypass crew", ("feed", "B1", "laid"))
        self.add("bypass crew", ("feed", "B1", "tested"), pressure_tests=(test,), hold=True)
        path = pm.PurgePath(part_id="B1", inlet="B1-from", outlet="B1-vent", medium="gas")
        self.add("bypass crew", ("valve", "B1-from", "open"), ("vent", "B1-vent", "open"))
        self.add("bypass crew", ("feed", "B1", "purged"), ("vent", "B1-vent", "shut"), purge=path)
        state = feed_open_state("B1")
        self.add("bypass crew", ("valve", "B1-to", "open"), ("feed", "B1", "open"), state=state, reads=GAUGES)
        self.add("bypass crew", ("feed", "B1", "accepted"), state=state, reads=GAUGES, hold=True)

    def _meters_off(self) -> None:
        self.add("meter crew", *(("meter", one, "off") for one in OFF), state=METERS_OFF_STATE)
        self.add("meter crew", *(("meter", one, "sealed") for one in OFF), state=METERS_OFF_STATE)
        self._tally(state=METERS_OFF_STATE)

    def _tally(self, **more: Any) -> None:
        needs = [("meter", one, "sealed") for one in OFF]
        self.add("meter crew", needs=needs, hold=True, **more)

    def _stops(self) -> None:
        for stop in BAGS:
            state = stop_in_state(stop)
            for role in ("outer", "inner"):
                barrier = f"{stop}-{role}"
                self.add("stop crew", ("barrier", barrier, "set"), hold=True, state=state, reads=GAUGES)
        state = stop_in_state("S3")
        changes = (("valve", "V3", "shut"), ("barrier", "S3-single", "set"))
        self.add("stop crew", *changes, hold=True, state=state, reads=GAUGES)

    def _test(self, name: str, barrier: str, meter_at: str, limit: float, *changes: Any) -> None:
        # On the zone's vent the meter shows the single valve as well.
        barriers = (barrier, "S3-single") if name == "T2" else (barrier,)
        test = pm.LetByTest(
            name=name,
            barriers=barriers,
            is_sum=len(barriers) > 1,
            meter_at=meter_at,
            across_mbar=25.0,
            limit_l_min=limit,
            resolution_l_min=limit / 5.0,
            zone_mbar=0.0,
            minutes=5.0,
        )
        self.add("stop crew", *changes, let_by=test, hold=True, trench="empty", state=stop_in_state("S3"))
        self.add("stop crew", ("barrier", barrier, "accepted"))

    def _let_by(self) -> None:
        none = pm.LetByTest(name="T0", barriers=(), limit_mbar=0.5, zone_mbar=25.0, minutes=10.0)
        self.add("stop crew", let_by=none, hold=True, trench="empty", state=stop_in_state("S3"))
        self.add("stop crew", ("vent", "P2", "open"), ("part", "Z1", "vented"), hold=True)
        for stop in BAGS:
            self.add("stop crew", ("vent", f"{stop}-vent", "open"), ("part", f"{stop}-space", "vented"))
        for stop in BAGS:
            self._test("T1", f"{stop}-outer", f"{stop}-vent", 5.0)
        for stop in BAGS:
            vent, hose = f"{stop}-vent", f"{stop}-hose"
            self.add("stop crew", ("vent", vent, "shut"))
            self._test("T2", f"{stop}-inner", "P2", 0.5, ("valve", hose, "open"))
            self.add("stop crew", ("valve", hose, "shut"), hold=True)
            self.add("stop crew", ("vent", vent, "open"))
        self._test("T3", "S3-single", "P2", 0.1)
        signed = [("barrier", "S3-single", "accepted")]
        self.add("competent person", needs=signed, hold=True, does="exception for one barrier")

    def _empty(self) -> None:
        self.add("stop crew", ("valve", "P1-air", "open"))
        for outlet, other in (("P2", ""), ("P3", "P2")):
            path = pm.PurgePath(part_id="Z1", inlet="P1", outlet=outlet, medium="air")
            shut = (("vent", other, "shut"),) if other else ()
            opens = (("vent", outlet, "open"),) if self.now["vent", outlet] == "shut" else ()
            self.add("stop crew", *shut, *opens, purge=path)
        self.add("stop crew", ("valve", "P1-air", "shut"), ("vent", "P2", "open"), ("vent", "P1", "open"))
        self.add("competent person", ("part", "Z1", "gas-free"), hold=True)

    def _work(self) -> None:
        test = pm.PressureTest(what="new pipe", test_mbar=3450.0, minutes=60.0, medium="air")
        self.add("work crew", pressure_tests=(test,), hold=True)
        parts = (("part", "Z1", "air"), ("part", "Z1.1", "air"), ("part", "Z1.2", "air"))
        state = stop_in_state("S3")
        self.add("work crew", *parts, trench="occupied", state=state, reads=GAUGES)
        self.add("work crew", trench="occupied", state=state)
        for vent in ("P1", "P2", "P3"):
            self.add("stop crew", ("vent", vent, "shut"))
        inner = ("S1-inner", "S2-inner", "S3-single")
        tie_in = pm.PressureTest(what="tie-in", test_mbar=20.0, minutes=10.0, medium="air", against=inner)
        self.add("work crew", pressure_tests=(tie_in,), hold=True, state=state)
        self._tally(trench="empty")

    def _gas_back(self) -> None:
        state = purge_state("S1")
        for outlet in ("P2", "P3"):
            opens = [("vent", outlet, "open")]
            if outlet == "P2":
                opens.append(("valve", "P1-in", "open"))
            else:
                opens.append(("vent", "P2", "shut"))
            path = pm.PurgePath(part_id="Z1", inlet="P1", outlet=outlet, medium="gas", end="90 %")
            self.add("stop crew", *opens, purge=path, trench="empty", state=state, reads=GAUGES, hold=True)
        shut = (("vent", "P3", "shut"), ("valve", "P1-in", "shut"))
        parts = [("part", one, "gas") for one in ("Z1", "Z1.1", "Z1.2")]
        self.add("stop crew", *shut, *parts, trench="empty")

    def _withdraw(self) -> None:
        for stop in BAGS:
            path = pm.PurgePath(
                part_id=f"{stop}-space", inlet=f"{stop}-inner", outlet=f"{stop}-vent", medium="gas"
            )
            self.add("stop crew", ("part", f"{stop}-space", "gas"), purge=path, trench="empty")
            self.add("stop crew", ("vent", f"{stop}-vent", "shut"))
        self.add(
            "stop crew",
            ("valve", "V3", "open"),
            ("barrier", "S3-single", "withdrawn"),
            state=stop_out_state("S3"),
            reads=GAUGES,
            hold=True,
        )
        for stop in reversed(BAGS):
            before = stop_out_state("S3" if stop == "S2" else "S2")
            self.add("stop crew", ("barrier", f"{stop}-inner", "withdrawn"), state=before, reads=GAUGES)
            state = stop_out_state(stop)
            self.add("stop crew", ("barrier", f"{stop}-outer", "withdrawn"), state=state, reads=GAUGES)
        live = [("part", one, "live") for one in self.all_of("part")]
        self.add("stop crew", *live)

    def _close(self) -> None:
        state = feed_shut_state("B1")
        self.add("network control", ("valve", "B1-to", "shut"), state=state, reads=GAUGES, hold=True)
        self.add(
            "bypass crew", ("valve", "B1-from", "shut"), ("feed", "B1", "shut"), state=state, reads=GAUGES
        )
        for one in OFF:
            self.add("meter crew", ("meter", one, "purged"))
            self.add("meter crew", ("meter", one, "relit"))
        self.add("meter crew", state=NORMAL_STATE, reads=GAUGES, hold=True)
        self.add("bypass crew", ("feed", "B1", "removed"))
        unused = [one for one in self.all_of("barrier") if one.startswith("F1")]
        self.add("stop crew", *(("barrier", one, "out") for one in unused))
        tappings = self.all_of("tapping")
        self.add("stop crew", *(("tapping", one, "capped") for one in tappings))
        self.add("stop crew", needs=[("tapping", one, "capped") for one in tappings], hold=True)
        for hole in self.all_of("place"):
            self.add("reinstatement crew", ("place", hole, "filled"))
