"""Ids of items beside records of the same name, the bag in a small zone, and the valve shut on trial (own)."""

from __future__ import annotations

import pytest

from netplan.planfile import model as pm
from netplan.planfile.naming import NORMAL_STATE, stop_in_state
from netplan.procedure import Stage, step_list, with_order_items
from netplan.procedure.order_items import order_items
from netplan.procedure.stop_steps import bag_rise_mbar
from netplan.rules import default_rules
from tests.support.plans import hamlet_result


def test_records_named_like_items_keep_their_ids_and_items_find_others() -> None:
    option = hamlet_result().plan.options[0]
    stop = option.stops[0].model_copy(update={"kind": "valve", "barriers": 1, "valve_id": "B1-from"})
    opened = pm.OpenedValve(valve_id="B1", flow_m3h=5.0)
    mixed = option.model_copy(update={"stops": (stop, *option.stops[1:]), "opened_valves": (opened,)})
    items = order_items(with_order_items(mixed))
    valve, end = items.valve("B1-from"), items.feed_end("B1", "from")
    assert valve is not None
    assert end is not None
    assert (valve.role, valve.first) == ("stop", "open")
    assert (end.id, end.role, end.first) == ("B1-from-own", "feed end from", "shut")
    assert len({(item.kind, item.id) for item in items.all}) == len(items.all)
    bypass, by_valve = items.feed("B1"), items.opened("B1")
    assert bypass is not None
    assert by_valve is not None
    assert (bypass.role, by_valve.role) == ("bypass", "opened valve")
    assert sorted(item.id for item in items.every("feed")) == ["B1", "B1-own"]


@pytest.mark.parametrize(("litres", "rise"), [(100.0, 50.7), (1000.0, 5.07)])
def test_a_bag_of_five_litres_in_a_shut_zone(litres: float, rise: float) -> None:
    # Two bores long: 5 l at a bore of 147.1 mm. By hand: 1013.25 mbar × 5 l / 100 l.
    assert bag_rise_mbar(147.1, litres / 1000.0) == pytest.approx(rise, rel=2e-3)


def test_a_valve_is_shut_on_trial_only_where_that_state_is_solved() -> None:
    plan = hamlet_result().plan
    alone = plan.options[1]
    kept = tuple(c.model_copy(update={"effect": "kept"}) for c in alone.customers)
    state = pm.State(
        after_step=stop_in_state(alone.stops[0].id), least_mbar=22.0, at="C0131", station_flows_m3h={}
    )
    solved = alone.model_copy(update={"customers": kept, "states": (state,)})
    for option, is_tried in ((alone, False), (solved, True)):
        steps = step_list(option, plan.conditions, default_rules(), work=plan.work)
        tried = [step for step in steps if step.stage == Stage.VALVE_TRIED]
        moves = [[change.to for change in step.changes if change.kind == "valve"] for step in tried]
        assert moves == ([["shut"], ["open"]] if is_tried else [])
        assert [step.state for step in tried] == ([state.after_step, NORMAL_STATE] if is_tried else [])
        said = any("do not shut it on trial" in step.does for step in steps)
        assert said != is_tried
