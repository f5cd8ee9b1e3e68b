"""Laws of the order: what must never be the wrong way round, on random plans."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netplan.core.errors import BadInputError
from netplan.planfile import model as pm
from netplan.procedure import Stage, step_list, stop_in_state, with_order_items
from netplan.rules import default_rules
from tests.support.random_plans import conditions, options
from tests.support.shares import at_least, seen

WORK = (pm.WorkItem(main_id="M-1", from_m=1.0, to_m=9.0),)
MODEST = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def _steps(option: pm.Option, **more: Any) -> tuple[pm.Step, ...]:
    return step_list(option, conditions(), default_rules(), work=WORK, **more)


def _at(steps: tuple[pm.Step, ...], stage: Stage, key: str = "") -> list[int]:
    return [step.n for step in steps if step.stage == stage and (not key or key in step.uses)]


def _ids(option: pm.Option) -> set[str]:
    """Collect every id of a plan, from its model dump and not from the code that writes steps."""
    found: set[str] = {item.main_id for item in WORK}

    def walk(value: Any, key: str = "") -> None:
        if isinstance(value, dict):
            for name, inner in value.items():
                walk(inner, name)
            if key == "station_flows_m3h":
                found.update(value)
        elif isinstance(value, list):
            for inner in value:
                walk(inner, key)
        elif isinstance(value, str) and (key == "id" or key.endswith("_id") or key == "standby"):
            found.add(value)

    walk(option.model_dump(mode="json"))
    return found


def _set_by_stop(stop: pm.Stop) -> int:
    """Return how many barriers are set at a stop itself: the inlet of a station is shut before, apart."""
    return 1 if stop.shuts_in else stop.barriers


@MODEST
@given(options())
def test_every_id_used_exists_and_numbers_count_up(option: pm.Option) -> None:
    steps = _steps(option)
    known = _ids(with_order_items(option))
    assert [step.n for step in steps] == list(range(1, len(steps) + 1))
    for step in steps:
        assert set(step.uses) <= known, step
        assert len(set(step.uses)) == len(step.uses)
        assert step.does
        assert step.who
        assert step.if_not


@MODEST
@given(options())
def test_every_barrier_goes_in_once_and_every_stop_comes_out_once_equalised(option: pm.Option) -> None:
    steps = _steps(option)
    assert option.stops
    for stop in option.stops:
        into, equal, out = (
            _at(steps, stage, stop.id) for stage in (Stage.STOP_IN, Stage.EQUALISE, Stage.STOP_OUT)
        )
        # Two barriers never move at once: the outer one goes in first, in a step of its own.
        assert len(into) == _set_by_stop(stop)
        withdrawn = [
            step.n
            for step in steps
            for change in step.changes
            if change.to == "withdrawn" and change.id.startswith(f"{stop.id}-")
        ]
        assert len(withdrawn) == stop.barriers
        assert max(into) < min(withdrawn)
        # A station put back into use comes to its own pressure: nothing is equalised there.
        if not stop.shuts_in:
            assert len(equal) == len(out) == 1
            assert max(into) < equal[0] < out[0] == max(withdrawn)
        tests = [step.let_by for step in steps if step.let_by and step.let_by.name != "T0"]
        own = {name for test in tests for name in test.barriers if name.startswith(f"{stop.id}-")}
        assert len(own) == stop.barriers
        assert _at(steps, Stage.BARRIERS_PROVED, stop.id)[0] < into[0]


@MODEST
@given(options())
def test_feeds_prove_their_flow_before_any_stop_and_close_after_through_flow(option: pm.Option) -> None:
    steps = _steps(option)
    through = _at(steps, Stage.THROUGH_FLOW)
    assert len(through) == 1
    first_in, last_out = min(_at(steps, Stage.STOP_IN)), max(_at(steps, Stage.STOP_OUT))
    assert last_out < through[0]
    for key in [*(b.id for b in option.bypasses), *(v.valve_id for v in option.opened_valves)]:
        opened, proved, closed = (
            _at(steps, stage, key) for stage in (Stage.FEED_OPENED, Stage.FEED_PROVED, Stage.FEED_CLOSED)
        )
        # The two ends of a bypass are shut one at a time.
        assert len(closed) == (2 if key.startswith("B") and not key.startswith("BV") else 1)
        assert len(opened) == len(proved) == 1
        assert opened[0] < proved[0] < first_in
        assert through[0] < min(closed)
        assert steps[proved[0] - 1].hold


@MODEST
@given(options())
def test_every_meter_off_comes_on_once_after_the_purge_in(option: pm.Option) -> None:
    steps = _steps(option)
    off = sorted(c.id for c in option.customers if c.effect == "off")
    turned_off = [key for step in steps if step.stage == Stage.METERS_OFF for key in step.uses]
    relit = [key for step in steps if step.stage == Stage.RELIGHT for key in step.uses]
    assert sorted(turned_off) == off
    assert sorted(relit) == off
    if off:
        purged, out = max(_at(steps, Stage.PURGE_IN)), max(_at(steps, Stage.STOP_OUT))
        assert max(purged, out) < min(_at(steps, Stage.RELIGHT))
        assert min(_at(steps, Stage.METERS_RECONCILED)) < min(_at(steps, Stage.STOP_IN))
        assert max(_at(steps, Stage.METERS_AGAIN)) < min(_at(steps, Stage.PURGE_IN))
        assert all(steps[n - 1].hold for n in _at(steps, Stage.METERS_RECONCILED))


@MODEST
@given(options())
def test_priority_customers_are_relit_first_and_crew_hours_add_up(option: pm.Option) -> None:
    steps = _steps(option)
    customers = {c.id: c for c in option.customers}
    relit = [customers[key] for step in steps if step.stage == Stage.RELIGHT for key in step.uses]
    flags = [bool(customer.priority) for customer in relit]
    assert flags == sorted(flags, reverse=True)
    # A visit is in two steps: the service purged outside, then the appliances.
    stages = (Stage.SERVICE_BACK, Stage.RELIGHT)
    minutes = sum(step.minutes or 0.0 for step in steps if step.stage in stages)
    meters = sum(max(customer.meters, 1) for customer in relit)
    assert minutes == pytest.approx(60.0 * meters / default_rules().crew.relights_per_hour, abs=0.5)


@MODEST
@given(options())
def test_gas_free_before_work_and_new_pipe_tested_before_tie_in(option: pm.Option) -> None:
    steps = _steps(option)
    order = (
        Stage.RECORDS,
        Stage.STATIONS,
        Stage.GAUGES,
        Stage.STOP_IN,
        Stage.LET_BY,
        Stage.PURGE_OUT,
        Stage.GAS_FREE,
        Stage.WORK,
        Stage.TIE_IN,
        Stage.JOINTS,
        Stage.PURGE_IN,
        Stage.EQUALISE,
        Stage.THROUGH_FLOW,
        Stage.TAPPINGS_SEALED,
        Stage.REINSTATE,
    )
    done = tuple(stage for stage in order if _at(steps, stage))
    # A part without gas behind any stop stays on nitrogen; a station put back is not equalised.
    assert set(order) - set(done) <= {Stage.PURGE_IN, Stage.EQUALISE, Stage.TAPPINGS_SEALED}
    assert Stage.PURGE_IN in done or _at(steps, Stage.NITROGEN_IN)
    assert Stage.EQUALISE in done or all(stop.shuts_in for stop in option.stops)
    for before, after in pairwise(done):
        assert max(_at(steps, before)) < min(_at(steps, after)), (before, after)
    # The zone is shut at live pressure for the first let-by test, and vented for all others.
    let_by, vented = _at(steps, Stage.LET_BY), _at(steps, Stage.VENT)
    assert not vented or min(let_by) < min(vented) <= max(vented) < max(let_by)
    assert max(_at(steps, Stage.NEW_PIPE)) < min(_at(steps, Stage.TIE_IN))
    # Making a let-by test ready is no hold; its reading is.
    assert all(steps[n - 1].hold for n in _at(steps, Stage.GAS_FREE))
    assert all(step.hold for step in steps if step.let_by)


@MODEST
@given(options(), st.randoms(use_true_random=False))
def test_stops_follow_the_order_given_and_carry_their_solved_pressure(option: pm.Option, random: Any) -> None:
    wanted = [stop.id for stop in option.stops]
    random.shuffle(wanted)
    steps = _steps(option, set_order=wanted)
    into = [step for step in steps if step.stage == Stage.STOP_IN]
    barriers = {stop.id: _set_by_stop(stop) for stop in option.stops}
    wanted_in = [key for key in wanted for _ in range(barriers[key])]
    states = {state.after_step: state for state in option.states}
    for step, key in zip(into, wanted_in, strict=True):
        assert step.uses[0] == key
        assert step.expect_mbar == states[stop_in_state(key)].least_mbar
        assert step.expect_at == states[stop_in_state(key)].at
        assert step.hold
    out = [step.uses[0] for step in steps if step.stage == Stage.STOP_OUT]
    assert out == wanted[::-1]


@at_least(tapped=20)
@MODEST
@given(options())
def test_every_hole_is_proved_and_every_tapped_hole_sealed(option: pm.Option) -> None:
    steps = _steps(option)
    for stop in option.stops:
        if stop.hole_id:
            assert len(_at(steps, Stage.RECORDS, stop.hole_id)) == 1
            seen("hole")
        tapped = any(tapping.size_mm > 0 for tapping in stop.tappings)
        # Capped with its stop, not with its hole: every outlet is counted with what it was for.
        assert len(_at(steps, Stage.TAPPINGS_SEALED, stop.id)) == int(tapped)
        assert len(_at(steps, Stage.TAPPINGS, stop.id)) == int(tapped)
        seen("tapped" if tapped else "untapped")
        assert _at(steps, Stage.RECORDS, stop.id)


@MODEST
@given(options())
def test_an_order_that_forgets_or_repeats_is_refused(option: pm.Option) -> None:
    ids = [stop.id for stop in option.stops]
    for wrong in (ids[1:], [*ids, ids[0]], ["S99", *ids[1:]]):
        with pytest.raises(BadInputError, match="order of stops"):
            _steps(option, set_order=wrong)
    with pytest.raises(BadInputError, match="order of customers off"):
        _steps(option, relight_order=["C999"])
    with pytest.raises(BadInputError, match="has no stop"):
        _steps(option.model_copy(update={"stops": ()}))
