"""Rows of a loss sheet solved again from plan.json and plan.gpkg, by `tests.support.open_end_flow`."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from netplan.planfile.model import LossRow, Option, Plan, Stop
from tests.support.open_end_flow import LIVE, OpenEndFlow, Outflow, Solved

__all__ = ["AGREE_MBAR", "check_rows"]

AGREE_MBAR = 0.01
"""What two programs may differ by at a pressure [mbar]."""
AGREE_M3H = 0.06
"""What they may differ by at a flow: the plan rounds to 0.1 [m³/h]."""
DISCHARGE = 0.62
"""Discharge coefficient of a sharp-edged outlet; IEC 60079-10-1:2015, annex B: 0.50 to 0.75."""


@dataclass
class _Rebuilt:
    """One option: its record, its layers, and the solver."""

    plan: Plan
    option: Option
    layers: dict[str, Any]
    flow: OpenEndFlow

    def barrier_node(self, stop: Stop) -> int:
        """Return the node on the live side of the barrier nearest the work."""
        pipes = self.layers["pipes"]
        if stop.valve_id is not None:
            (own,) = pipes[pipes.valve_id == stop.valve_id].itertuples()
            others = pipes[pipes.state.isin(LIVE)]
            ends = [n for n in (own.from_node, own.to_node) if n in {*others.from_node, *others.to_node}]
            return int(ends[0])
        main = pipes[(pipes.pipe_id == stop.main_id) & (pipes.layer == "mains")]
        for row in main[main.state.isin(LIVE)].itertuples():
            if abs(row.from_m - stop.chainage_m) < 2e-3:
                return int(row.from_node)
            if abs(row.to_m - stop.chainage_m) < 2e-3:
                return int(row.to_node)
        raise AssertionError(f"{stop.id}: no live piece ends at its barrier")

    def outlet_mm(self, stop: Stop, role: str) -> float:
        return next(t.size_mm for t in stop.tappings if t.role == role)

    def zone_vents_mm(self, stop: Stop) -> float:
        """Return the bore with the area of all vents of the zone."""
        fallbacks = {one.id for one in self.option.prepared_fallbacks}
        mains = {
            pipe.pipe_id
            for zone in self.option.zones
            if stop.main_id in {pipe.pipe_id for pipe in zone.pipes}
            for pipe in zone.pipes
        }
        sizes = {t.id: t.size_mm for one in self.option.stops for t in one.tappings if t.id}
        points = {point.id: point.outlet_mm for point in self.option.purge.points}
        vents = [
            item
            for item in self.option.items
            if item.kind == "vent" and item.role in ("zone", "purge") and item.of not in fallbacks
        ]
        near = [item for item in vents if item.main_id in mains or item.of == stop.id] or vents
        return math.sqrt(sum((points.get(item.of) or sizes.get(item.tapping_id, 0.0)) ** 2 for item in near))

    def solve(self, row: LossRow) -> Solved:
        """Solve what a row says has failed."""
        stops = {stop.id: stop for stop in self.option.stops}
        stop = stops.get(row.items[0].split("-")[0])
        feeds = {feed.id: feed for feed in self.option.bypasses}
        if row.items[0] in feeds:
            feed = self.layers["bypasses"].set_index("bypass_id").loc[row.items[0]]
            way = Outflow(int(feed.from_node), float(feed.bore_mm), DISCHARGE)
            return self.flow.solve([way], lost_feeds=row.items)
        if stop is not None and row.items[0].rpartition("-")[2] in ("outer", "inner", "single"):
            node = self.barrier_node(stop)
            if row.items == (f"{stop.id}-outer",):
                return self.flow.solve([Outflow(node, self.outlet_mm(stop, "vent"), DISCHARGE)])
            if row.state == "main cut":
                return self.flow.solve([Outflow(node, stop.bore_mm)])
            return self.flow.solve([Outflow(node, self.zone_vents_mm(stop), DISCHARGE)])
        (station,) = row.items
        if "shut" in row.what:
            return self.flow.solve(lost_station=station)
        record = self.layers["stations"].set_index("station_id").loc[station]
        return self.flow.solve(fault=(station, float(record.max_outlet_mbar)))

    def inlets(self, found: Solved) -> Iterator[tuple[str, float, bool]]:
        """Yield id, pressure [mbar gauge] and whether it is starved, of every inlet kept so far."""
        for row in self.layers["customers"].itertuples():
            if row.effect == "off":
                continue
            for node in (int(one) for one in str(row.nodes).split(";") if one):
                yield row.customer_id, found.pressure_mbar.get(node, math.nan), node in found.starved


def _band(value: float, limit: float) -> bool:
    return abs(value - limit) <= AGREE_MBAR


def _check(built: _Rebuilt, row: LossRow) -> None:
    found, rules = built.solve(row), built.plan.rules["pressure"]
    assert found.is_solved, f"{row.id}: the plan has a solution, this has none"
    limit = rules["minimum_mbar"] + rules["margin_mbar"]
    weak = set(built.option.pressures.weak_before)
    low: set[str] = set()
    unclear: set[str] = set()
    least = math.inf
    for name, pressure, is_starved in built.inlets(found):
        if is_starved or math.isnan(pressure):
            low.add(name)
            continue
        least = min(least, pressure)
        if name in weak:
            continue
        if _band(pressure, limit):
            unclear.add(name)
        elif pressure < limit:
            low.add(name)
        elif pressure > rules["maximum_mbar"] + AGREE_MBAR:
            assert name in row.customers, f"{row.id}: {name} has {pressure:.3f} mbar"
    assert low <= set(row.customers), f"{row.id}: {sorted(low - set(row.customers))[:5]} fall too low as well"
    further = _gone_besides(built.option, row)
    extra = set(row.customers) - low - unclear - further
    if "fails open" not in row.what:
        assert not extra, f"{row.id}: {sorted(extra)[:5]} do not fall too low"
    assert row.least_mbar is not None or "fails open" in row.what or least == math.inf
    if row.least_mbar is not None:
        assert abs(least - row.least_mbar) <= AGREE_MBAR, f"{row.id}: {least} against {row.least_mbar} mbar"
    if row.flow_m3h is not None:
        near = max(AGREE_M3H, 1e-4 * row.flow_m3h)
        assert abs(found.escaping_m3h - row.flow_m3h) <= near, f"{row.id}: {found.escaping_m3h} m³/h"
    if "fails open" in row.what:
        on = [found.pressure_mbar.get(built.barrier_node(stop), math.nan) for stop in built.option.stops]
        assert row.barrier_mbar is not None
        assert abs(max(one for one in on if not math.isnan(one)) - row.barrier_mbar) <= AGREE_MBAR
    if row.barrier_mbar is not None and "-outer" in row.items[0]:
        stop = next(stop for stop in built.option.stops if row.items[0] == f"{stop.id}-outer")
        there = found.pressure_mbar[built.barrier_node(stop)]
        assert abs(there - row.barrier_mbar) <= AGREE_MBAR, f"{row.id}: {there} on the inner barrier"


def _gone_besides(option: Option, row: LossRow) -> set[str]:
    """Return who goes off by what is done then, or in another hour of the window."""
    names = {row.items[0], row.items[0].split("-")[0]}
    found = {id_ for loss in option.losses if loss.id in names for id_ in loss.customers}
    if row.state == "gas back in":
        # The purge draws then: whoever has the feed for that alone falls as well.
        found |= {one.id for one in option.customers if one.effect == "kept" and one.kept_by in names}
    for fallback in option.fallback:
        if fallback.stop_id in names and fallback.failure == "lost during open work":
            found |= set(fallback.standby)
    return found


def check_rows(plan: Plan, option: Option, layers: dict[str, Any]) -> list[str]:
    """Check every solved row of an option; return what was checked, in the words of the rows."""
    built = _Rebuilt(plan, option, layers, OpenEndFlow(layers))
    checked: list[str] = []
    for row in option.loss_sheet:
        if row.solved:
            _check(built, row)
            checked.append(f"{row.state}: {row.what}")
    return checked
