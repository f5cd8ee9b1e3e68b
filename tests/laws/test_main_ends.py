"""An end of a main is a joint, whatever is recorded there: laws of whole plans, by the raw layers and plan.json.

The code that checks shares nothing with the package but the rules and the plan that it writes.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from shapely.geometry import Point

from netplan.core.errors import NoPlanError
from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.rules import Rules, read_rules
from tests.support.case_counts import cases
from tests.support.joined_streets import RawMains, joined_streets

MM = 0.002
"""Chainages of plan.json are rounded to a millimetre."""

Stop = dict[str, Any]


def planned(seed: int, rules: Rules) -> tuple[RawMains, list[dict[str, Any]]]:
    """Return the raw mains of a town and the options of its plan as plan.json has them."""
    layers, work = joined_streets(seed)
    network = build_network(layers, strict=False)
    request = PlanRequest(network, (WorkPart(*work),), rules, options=3, weather=False)
    try:
        text = plan_to_json(make_plan(request).plan, provenance=False)
    except NoPlanError:
        return RawMains(layers), []
    return RawMains(layers), json.loads(text)["options"]


def places(option: dict[str, Any]) -> Iterator[tuple[str, float]]:
    """Yield every main and chainage that an option names."""
    rows = [*option["stops"], *option["gauges"], *option["purge"]["points"]]
    rows += [use for fallback in option["fallback"] for use in fallback["use"]]
    rows += [end for hose in option["bypasses"] for end in (hose["from"], hose["to"])]
    rows += [t for stop in option["stops"] for t in stop["tappings"]]
    for row in rows:
        yield row["main_id"], row["chainage_m"]
    for zone in option["zones"]:
        for pipe in zone["pipes"]:
            if pipe["layer"] == "mains":
                yield pipe["pipe_id"], pipe["from_m"]
                yield pipe["pipe_id"], pipe["to_m"]
    for stop in option["stops"]:
        for row in stop["not_nearer"]:
            yield row["main_id"], row["from_m"]
            yield row["main_id"], row["to_m"]


def clearance_m(rules: Rules, method: Any, tapping: dict[str, Any], od_mm: float) -> float:
    od_m, clear = od_mm / 1000.0, 0.0
    if tapping["size_mm"] > 0:
        clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
    if tapping["role"] == "barrier":
        clear = max(clear, method.fitting_m, method.fitting_od * od_m)
    return clear


def too_near(raw: RawMains, rules: Rules, stop: Stop, roles: set[str]) -> set[tuple[float, float]]:
    """Return the ends of mains between the parts of a stop, or nearer to one than its clearance."""
    method = next(m for m in rules.method if m.name == stop["method"])
    parts = [
        (raw.at(t["main_id"], t["chainage_m"]), clearance_m(rules, method, t, stop["od_mm"]))
        for t in stop["tappings"]
        if t["role"] in roles
    ]
    found = set()
    for end in raw.ends:
        here = Point(end)
        near = any(at.distance(here) < clear - MM for at, clear in parts)
        between = any(
            at.distance(here) + here.distance(to) < at.distance(to) + 1e-6
            for at, _ in parts
            for to, _ in parts
        )
        if (near or between) and any(raw.line[t["main_id"]].distance(here) < 0.01 for t in stop["tappings"]):
            found.add(end)
    return found


TEE_M = 2.3
"""From the barrier nearest the work to the bypass tee, by the shipped rules [m]."""
ASSEMBLY = {"zone_vent", "barrier", "vent", "gauge"}


@pytest.mark.parametrize("block", range(4))
def test_every_assembly_lies_within_one_main_clear_of_all_ends(block: int) -> None:
    rules = read_rules(None, {"clearance": {"fitting_od": 5.0}} if block == 3 else {})
    seen: Counter[str] = Counter()
    for seed in range(block, cases(24), 4):
        raw, options = planned(seed, rules)
        for option in options:
            for stop in option["stops"]:
                where = f"seed {seed}, option {option['rank']}, {stop['id']}"
                mains = {t["main_id"] for t in stop["tappings"] if t["role"] in ASSEMBLY}
                assert mains <= {stop["main_id"]}, where
                assert not too_near(raw, rules, stop, ASSEMBLY), where
                tee = [t for t in stop["tappings"] if t["role"] == "bypass"]
                assert not too_near(raw, rules, {**stop, "tappings": tee}, {"bypass"}), where
                seen["stops"] += bool(mains)
                seen["beside a joint"] += any(
                    raw.line[stop["main_id"]].distance(Point(end)) < 0.01
                    and raw.at(stop["main_id"], stop["chainage_m"]).distance(Point(end)) < 4.0
                    and len(raw.meeting(end)) == 2
                    for end in raw.ends
                )
            for fallback in option["fallback"]:
                for use in fallback["use"]:
                    assert "record boundary" not in fallback["note"]
                    method = next(m for m in rules.method if m.name == use["method"])
                    clear = clearance_m(rules, method, {"role": "barrier", "size_mm": 0.0}, 110.0)
                    at = raw.at(use["main_id"], use["chainage_m"])
                    assert all(at.distance(Point(end)) > clear - MM for end in raw.ends), seed
            assert not any("record boundary" in line for line in option["warnings"])
    assert seen["stops"] >= cases(12), seen
    assert seen["beside a joint"] >= cases(6), seen


@pytest.mark.parametrize("through", [False, True])
def test_main_chainage_surface_and_price_of_a_stop_are_of_the_same_main(through: bool) -> None:
    rules = read_rules(None, {"clearance": {"through_record_joints": True}} if through else {})
    stops = 0
    for seed in range(100, 100 + cases(14)):
        raw, options = planned(seed, rules)
        for option in options:
            paid = 0.0
            for stop in option["stops"]:
                row = raw.row[stop["main_id"]]
                method = next(m for m in rules.method if m.name == stop["method"])
                assert stop["surface"] == row.surface, seed
                assert stop["od_mm"] == row.od_mm, seed
                extra = getattr(method.price_surface, row.surface)
                price = method.price + method.price_per_mm_od * row.od_mm + extra
                assert stop["price"] == pytest.approx(price, abs=0.005), f"seed {seed}, {stop['id']}"
                paid += stop["price"]
                stops += 1
                xy = raw.at(stop["main_id"], stop["chainage_m"])
                assert xy.distance(Point(stop["x"], stop["y"])) < MM
            assert paid == pytest.approx(option["burden_parts"]["stops"], abs=0.005)
            for main_id, chainage in places(option):
                assert -MM / 2 <= chainage <= raw.line[main_id].length + MM / 2, (seed, main_id, chainage)
    assert stops >= cases(35)


def test_each_stop_that_rests_on_a_record_boundary_says_so() -> None:
    rules = read_rules(None, {"clearance": {"through_record_joints": True}})
    seen: Counter[str] = Counter()
    for seed in range(200, 200 + cases(18)):
        raw, options = planned(seed, rules)
        for option in options:
            warned = [line for line in option["warnings"] if "record boundary" in line]
            expected: set[str] = set()
            untapped: set[str] = set()
            for stop in option["stops"]:
                if not stop["tappings"]:
                    continue
                # A tee on the next length lies beyond a joint, whatever that is, and keeps clear of it.
                next_length = f"{stop['id']}: the bypass tee does not fit beside the stop"
                is_beside = not any(line.startswith(next_length) for line in option["warnings"])
                roles = {t["role"] for t in stop["tappings"]} if is_beside else ASSEMBLY
                used = too_near(raw, rules, stop, roles)
                assert all(raw.is_record_boundary(end) for end in used), f"seed {seed}, {stop['id']}"
                for end in used:
                    a, b = raw.meeting(end)
                    words = (
                        f"the joint between {a} and {b} is taken for a record boundary: prove by trial hole"
                    )
                    assert words in stop["confidence_note"]
                    assert stop["confidence"] == "provisional"
                    expected.add(f"{stop['id']}: {words}")
                at = raw.at(stop["main_id"], stop["chainage_m"])
                tapped = any(t["role"] == "bypass" for t in stop["tappings"])
                for end in raw.ends:
                    beside = not tapped and at.distance(Point(end)) <= TEE_M + rules.clearance.fitting_m + MM
                    if beside and raw.is_record_boundary(end):
                        a, b = raw.meeting(end)
                        joint = f"the joint between {a} and {b} is taken for a record boundary"
                        untapped.add(f"{stop['id']}: {joint}: prove by trial hole")
                seen["on one"] += bool(used)
                seen["on none"] += not used
            # Room is proved for a tee that the plan does not tap, too.
            assert expected <= set(warned) <= expected | untapped, f"seed {seed}, option {option['rank']}"
            assert len(warned) == len(set(warned))
            seen["in fallback"] += any("record boundary" in each["note"] for each in option["fallback"])
    assert seen["on one"] >= cases(6), seen
    assert seen["on none"] >= cases(6), seen
    assert seen["in fallback"] >= cases(2), seen
