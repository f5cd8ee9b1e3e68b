"""Laws of the items of the order on random plans: each goes from its first state to its last, as said."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from netplan.planfile import model as pm
from netplan.planfile.model import ITEM_STATES
from netplan.procedure import Stage, step_list, with_order_items
from netplan.rules import default_rules
from tests.support.random_plans import conditions, options
from tests.support.shares import at_least, seen

WORK = (pm.WorkItem(main_id="M-1", from_m=1.0, to_m=9.0),)
MODEST = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def _order(option: pm.Option) -> tuple[pm.Option, tuple[pm.Step, ...]]:
    numbered = with_order_items(option)
    return numbered, step_list(numbered, conditions(), default_rules(), work=WORK)


@MODEST
@given(options())
def test_items_are_each_once_and_every_hole_in_a_main_is_one(option: pm.Option) -> None:
    option, _ = _order(option)
    keys = Counter((item.kind, item.id) for item in option.items)
    assert set(keys.values()) == {1}
    tappings = {item.id for item in option.items if item.kind == "tapping"}
    for stop in option.stops:
        for tapping in stop.tappings:
            assert (tapping.id in tappings) == (tapping.size_mm > 0)
    for item in option.items:
        assert item.first in ITEM_STATES[item.kind]
        assert item.last in (*ITEM_STATES[item.kind], "")
        assert not item.tapping_id or item.tapping_id in tappings
    # The same option gets the same ids, and one that has them keeps them.
    assert with_order_items(option) is option


@at_least(feed=10, tapping=100)
@MODEST
@given(options())
def test_every_change_begins_where_the_one_before_ended(option: pm.Option) -> None:
    option, steps = _order(option)
    now = {(item.kind, item.id): item.first for item in option.items}
    for step in steps:
        for change in step.changes:
            assert change.to in ITEM_STATES[change.kind]
            assert now[change.kind, change.id] == change.from_ != change.to, (step.does, change)
            now[change.kind, change.id] = change.to
        assert len({(change.kind, change.id) for change in step.changes}) == len(step.changes)
    for item in option.items:
        if item.last:
            assert now[item.kind, item.id] == item.last, item
            seen(item.kind)


@MODEST
@given(options())
def test_what_a_step_needs_is_so_when_it_begins(option: pm.Option) -> None:
    option, steps = _order(option)
    now = {(item.kind, item.id): item.first for item in option.items}
    assert len(steps) > 0
    for step in steps:
        for need in step.needs:
            assert need.state in ITEM_STATES[need.kind]
            assert now[need.kind, need.id] == need.state, (step.n, step.does, need)
        now |= {(change.kind, change.id): change.to for change in step.changes}


@at_least(tappings=100)
@MODEST
@given(options())
def test_every_outlet_is_tested_drilled_and_capped_once(option: pm.Option) -> None:
    option, steps = _order(option)
    at: dict[str, list[str]] = {}
    for step in steps:
        for change in step.changes:
            if change.kind == "tapping":
                at.setdefault(change.id, []).append(change.to)
    tappings = [item.id for item in option.items if item.kind == "tapping"]
    assert sorted(at) == sorted(tappings)
    for states in at.values():
        assert states == ["tested", "drilled", "capped"]
        seen("tappings")
    places = [item.id for item in option.items if item.kind == "place"]
    for state in ("dug", "filled"):
        found = [c.id for step in steps for c in step.changes if c.kind == "place" and c.to == state]
        assert sorted(found) == sorted(places)


@at_least(bypass=5, double=5)
@MODEST
@given(options())
def test_neither_two_barriers_nor_both_ends_move_at_once(option: pm.Option) -> None:
    option, steps = _order(option)
    ends = {item.id for item in option.items if item.kind == "valve" and item.role.startswith("feed end")}
    for step in steps:
        assert sum(change.kind == "barrier" and change.to == "set" for change in step.changes) <= 1
        assert sum(change.id in ends for change in step.changes) <= 1
    for bypass in option.bypasses:
        order = [c.to for step in steps for c in step.changes if c.kind == "feed" and c.id == bypass.id]
        assert order == ["laid", "tested", "purged", "open", "accepted", "shut", "removed"]
        seen("bypass")
    for stop in option.stops:
        if stop.barriers == 2 and not stop.shuts_in:
            set_in = [c.id for step in steps for c in step.changes if c.kind == "barrier" and c.to == "set"]
            assert set_in.index(f"{stop.id}-outer") + 1 == set_in.index(f"{stop.id}-inner")
            seen("double")


@at_least(off=5)
@MODEST
@given(options())
def test_barriers_are_proved_and_the_baseline_is_read_before_anything_changes(option: pm.Option) -> None:
    option, steps = _order(option)
    first_off = next((s.n for s in steps if any(c.kind == "meter" for c in s.changes)), None)
    proved = [s.n for s in steps if any(c.kind == "barrier" and c.to == "proved" for c in s.changes)]
    baseline = [s.n for s in steps if s.stage == Stage.BASELINE]
    assert len(baseline) == bool(option.gauges)
    # A drilled outlet changes nothing in the network; what is set, turned off, opened or shut does.
    moved = next(
        s.n for s in steps for c in s.changes if c.kind in ("barrier", "meter", "valve") and c.to != "proved"
    )
    assert all(n < moved for n in baseline)
    if first_off is not None:
        assert max(proved) < first_off
        seen("off")


@MODEST
@given(options())
def test_bypass_ends_and_set_barriers_are_manned_in_every_step(option: pm.Option) -> None:
    option, steps = _order(option)
    items = {(item.kind, item.id): item for item in option.items}
    now = {key: item.first for key, item in items.items()}
    assert len(steps) > 0
    for step in steps:
        now |= {(change.kind, change.id): change.to for change in step.changes}
        for key, state in now.items():
            item = items[key]
            if item.kind == "barrier" and state in ("set", "accepted") and not item.valve_ids:
                assert item.id in step.manned
            if item.role.startswith("feed end") and state == "open":
                assert item.id in step.manned


def _bypass(**values: Any) -> pm.Bypass:
    place = pm.Place(main_id="M-1", chainage_m=1.0, x=0.0, y=0.0)
    given_values: dict[str, Any] = {
        "id": "B1",
        "from_": place,
        "to": place.model_copy(update={"chainage_m": 30.0}),
        "flow_m3h": 10.0,
        "bore_mm": 51.0,
        "parallel": 1,
        "length_m": 60.0,
        "loss_coefficient": 6.0,
        "drop_mbar": 1.0,
        "velocity_m_s": 2.0,
        "pressure_from_mbar": 25.0,
        "pressure_to_mbar": 24.0,
        "minimum_air_temp_c": None,
    }
    return pm.Bypass(**{**given_values, **values})


@pytest.mark.parametrize("parallel", [1, 2, 3])
def test_every_hose_of_a_bypass_has_tees_of_its_own(parallel: int) -> None:
    base = next(iter(_some_options()))
    option = base.model_copy(update={"bypasses": (_bypass(parallel=parallel),), "stops": base.stops[:1]})
    items = with_order_items(option).items
    own = [item for item in items if item.kind == "tapping" and item.of == "B1"]
    assert Counter(item.chainage_m for item in own) == {1.0: parallel, 30.0: parallel}


def _some_options() -> list[pm.Option]:
    found: list[pm.Option] = []

    @settings(max_examples=1, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(options())
    def collect(option: pm.Option) -> None:
        found.append(option)

    collect()
    return found
