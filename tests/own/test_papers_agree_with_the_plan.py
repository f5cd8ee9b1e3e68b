"""What the papers and the order of the work say of stops and people is what the plan holds (own)."""

from __future__ import annotations

from netplan.outputs.documents.work_pack_stops import stop_part
from netplan.outputs.layers import plan_layers
from netplan.outputs.number_format import METRIC
from netplan.procedure import step_list
from netplan.rules import default_rules
from tests.support.plans import hamlet_result


def test_the_zone_lies_on_the_side_that_the_pack_names() -> None:
    result = hamlet_result()
    layers = plan_layers(result)
    assert len(result.plan.options) == 2
    for option, state in zip(result.plan.options, result.states, strict=True):
        stops, _ = stop_part(result.plan, option, layers, state.pipes, METRIC)
        assert stops
        for stop, said in zip(option.stops, stops, strict=True):
            zone = [
                pipe
                for zone in option.zones
                for pipe in zone.pipes
                if pipe.layer == "mains" and pipe.pipe_id == stop.main_id
            ]
            assert zone
            beyond = any(pipe.to_m > stop.chainage_m + 0.01 for pipe in zone)
            words = dict(said["rows"])["zone lies"]
            assert words == f"towards {'higher' if beyond else 'lower'} chainage"


def test_a_round_of_relighting_holds_priority_customers_alone_or_none() -> None:
    plan = hamlet_result().plan
    option = plan.options[0]
    priority = {customer.id for customer in option.customers if customer.priority}
    off = [customer.id for customer in option.customers if customer.effect == "off"]
    steps = step_list(option, plan.conditions, default_rules(), work=plan.work)
    rounds = [step.uses for step in steps if step.stage == "relight"]
    assert sorted(name for uses in rounds for name in uses) == sorted(off)
    assert any(set(uses) <= priority for uses in rounds)
    for uses in rounds:
        assert set(uses) <= priority or not set(uses) & priority
