"""A plan made by district beside the plan made on the whole source, field by field."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from netplan.core.errors import NetplanError
from netplan.network.model import Network
from netplan.network.topology import components
from netplan.network.unread_districts import DistrictsNeededError
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers.districts.district_index import DistrictIndex
from netplan.readers.districts.near_network import NearDistricts

__all__ = ["compare_plans", "plan_near", "plan_or_reason", "same_systems"]

Plan = dict[str, Any]
RequestOn = Callable[[Network], PlanRequest]
EVERYWHERE = ("content_sha256", "counts", "demand_total_m3h", "demand_parts")
"""What a plan says of all that was read."""
LOWEST = ("least_mbar", "at", "expect_mbar", "expect_at", "expect_low_mbar", "lowest", "margin_mbar")
"""Figures of the lowest inlet anywhere, which may lie in a system that was not read."""
ROUNDED = 2e-3
"""Figures are rounded to 0.001; what stands at the edge of rounding may fall to either side."""


def plan_or_reason(request: PlanRequest) -> Plan | str:
    """Return a plan without its provenance, or why there is none."""
    try:
        plan: Plan = json.loads(plan_to_json(make_plan(request).plan))
    except DistrictsNeededError:
        raise
    except NetplanError as error:
        return f"{type(error).__name__}: {error}"
    plan.pop("provenance")
    return plan


def plan_near(near: NearDistricts, request_on: RequestOn) -> tuple[Plan | str, Network, int]:
    """Return the plan by district, the network it was made on, and how often more was read."""
    for more in range(50):
        network = near.network()
        try:
            return plan_or_reason(request_on(network)), network, more
        except DistrictsNeededError as needed:
            near.add(needed)
    raise AssertionError("more and more districts")


def compare_plans(near: Plan, whole: Plan, network: Network, *, everything: bool) -> None:
    """Compare two plans; where not everything was read, but for what they say of all systems together.

    Findings about features that `network`, on which the first was made, does not hold are of the whole alone.
    """
    for plan in (near, whole):
        for option in plan["options"]:
            # Numbers of nodes are those of the folder they stand in.
            for load in option["purge"]["loads"]:
                load.pop("nodes")
    if not everything:
        _compare_here(near, whole)
        held = {*network.pipes.id, *network.customers.id, *network.valves.id, *network.fittings.id}
        near, whole = _of_the_work(near, held), _of_the_work(whole, held)
    _same(near, whole, "", () if not everything else ("content_sha256",))


def _compare_here(near: Plan, whole: Plan) -> None:
    """Compare what a plan says of stations: those read give what they give in the whole."""
    for one, other in zip(near["options"], whole["options"], strict=True):
        for state, there in zip(one["states"], other["states"], strict=True):
            flows, all_flows = state["station_flows_m3h"], there["station_flows_m3h"]
            assert flows
            np.testing.assert_allclose(
                list(flows.values()), [all_flows[name] for name in flows], rtol=0.0, atol=ROUNDED
            )


def _of_the_work(plan: Plan, held: set[str]) -> Plan:
    found: Plan = json.loads(json.dumps(plan))
    for name in EVERYWHERE:
        found["network"].pop(name, None)
        found["conditions"].pop(name, None)
    found["findings"] = [row for row in found["findings"] if row["feature_id"] in held]
    for option in found["options"]:
        option["warnings"] = [
            line
            for line in option["warnings"]
            if "before any stop is in" not in line and "lie on no" not in line
        ]
        for name in ("weak_before", "high_before"):
            listed = option["pressures"].get(name)
            if isinstance(listed, list):
                option["pressures"][name] = [one for one in listed if one in held]
        for state in option["states"]:
            state.pop("station_flows_m3h")
        for step in option["steps"]:
            if "stations" in step["does"]:
                for name in ("does", "uses", "needs"):
                    step.pop(name, None)
    bare: Plan = _without_lowest(found)
    return bare


def _without_lowest(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _without_lowest(held) for name, held in value.items() if name not in LOWEST}
    return [_without_lowest(one) for one in value] if isinstance(value, list) else value


def _same(one: Any, other: Any, where: str, but: tuple[str, ...]) -> None:
    if isinstance(one, dict) and isinstance(other, dict):
        assert one.keys() == other.keys(), where
        for name in one:
            if name == "outline":
                # Straight edges may have a vertex more.
                apart = shapely.Polygon(one[name]) ^ shapely.Polygon(other[name])
                assert apart.area < 0.1, where
            elif name not in but:
                _same(one[name], other[name], f"{where}/{name}", but)
    elif isinstance(one, list) and isinstance(other, list):
        assert len(one) == len(other), f"{where}: {one} and {other}"
        for row, (first, second) in enumerate(zip(one, other, strict=True)):
            _same(first, second, f"{where}[{row}]", but)
    elif isinstance(one, float) and isinstance(other, float):
        assert abs(one - other) <= ROUNDED, f"{where}: {one} and {other}"
    else:
        assert one == other, f"{where}: {one} and {other}"


def same_systems(index: DistrictIndex, whole: Network) -> tuple[int, int]:
    """Check that the systems of an index part the mains as the connected parts of the whole network do.

    Returns how many systems hold a main, and how many of them lie in several districts.
    """
    pieces, part = whole.pieces, components(whole)
    rows = np.flatnonzero((pieces.pipe < whole.pipes.n_mains) & (pieces.to_m > pieces.from_m))
    pairs = np.unique(np.column_stack([pieces.pipe[rows], part[pieces.from_node[rows]]]), axis=0)
    parts_of: dict[int, set[int]] = {}
    for pipe, number in pairs.tolist():
        parts_of.setdefault(pipe, set()).add(number)
    system_of: dict[int, set[int]] = {}
    table = index.table("mains")
    for pipe, numbers in parts_of.items():
        systems = {system for _, system in table.find(whole.pipes.id[pipe])}
        assert len(systems) == len(numbers), whole.pipes.id[pipe]
        for number in numbers:
            # A main in several parts lies in the systems of all of them.
            system_of[number] = system_of.get(number, systems) & systems
    found = [min(systems) for systems in system_of.values() if len(systems) == 1]
    assert all(system_of.values())
    assert len(set(found)) == len(found)
    held = index.systems
    several = np.bincount(held["system"], weights=held["pipes"] > 0)[found] > 1
    return len(system_of), int(several.sum())
