"""Laws of the order: a lawful list breaks none, and a list changed to break one is found, by its number."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import pytest

from netplan.planfile import model as pm
from netplan.planfile.naming import METERS_OFF_STATE, NORMAL_STATE, purge_state, stop_out_state
from netplan.procedure.order_laws import ORDER_LAWS, LawBreach, law_breaches
from netplan.rules import default_rules
from tests.support.order_example import OFF, conditions, lawful_option

Change = Callable[[pm.Option], pm.Option]
RULES = default_rules()


def _breaches(option: pm.Option) -> tuple[LawBreach, ...]:
    return law_breaches(option, conditions(), RULES)


def _with(option: pm.Option, **update: Any) -> pm.Option:
    return option.model_copy(update=update)


def _renumbered(option: pm.Option, steps: Iterable[pm.Step]) -> pm.Option:
    """Return the option with a list in another order: numbers, times and `from` follow it."""
    now = {(item.kind, item.id): item.first for item in option.items}
    renumbered = []
    old = {bar.n: bar for bar in option.timeline.bars} if option.timeline else {}
    for n, step in enumerate(steps, 1):
        changes = []
        for change in step.changes:
            key = (change.kind, change.id)
            changes.append(change.model_copy(update={"from_": now.get(key, change.from_)}))
            now[key] = change.to
        renumbered.append(step.model_copy(update={"n": n, "changes": tuple(changes)}))
    bars = tuple(old[n].model_copy(update={"n": n}) for n in range(1, len(renumbered) + 1) if n in old)
    assert option.timeline is not None
    return _with(option, steps=tuple(renumbered), timeline=option.timeline.model_copy(update={"bars": bars}))


def _changes(step: pm.Step, kind: str, ident: str, to: str) -> bool:
    return any((c.kind, c.id, c.to) == (kind, ident, to) for c in step.changes)


def _place(option: pm.Option, kind: str, ident: str, to: str) -> int:
    return next(k for k, step in enumerate(option.steps) if _changes(step, kind, ident, to))


def _moved(option: pm.Option, place: int, to: int) -> pm.Option:
    """Return the option with one step at another place of the list."""
    steps = list(option.steps)
    steps.insert(to, steps.pop(place))
    return _renumbered(option, steps)


def _without(option: pm.Option, place: int) -> pm.Option:
    return _renumbered(option, [step for k, step in enumerate(option.steps) if k != place])


def _edited(option: pm.Option, place: int, **update: Any) -> pm.Option:
    steps = list(option.steps)
    steps[place] = steps[place].model_copy(update=update)
    return _renumbered(option, steps)


def _first(option: pm.Option, holds: Callable[[pm.Step], bool]) -> int:
    return next(k for k, step in enumerate(option.steps) if holds(step))


def _tapping_change(option: pm.Option, to: str) -> int:
    return _first(option, lambda step: any(c.kind == "tapping" and c.to == to for c in step.changes))


def _let_by(option: pm.Option, name: str) -> int:
    return _first(option, lambda step: step.let_by is not None and step.let_by.name == name)


def _edited_test(option: pm.Option, name: str, **update: Any) -> pm.Option:
    place = _let_by(option, name)
    test = option.steps[place].let_by
    assert test is not None
    return _edited(option, place, let_by=test.model_copy(update=update))


def _purge(option: pm.Option, medium: str, part: str = "Z1") -> int:
    return _first(
        option,
        lambda step: step.purge is not None and (step.purge.medium, step.purge.part_id) == (medium, part),
    )


def _edited_purge(option: pm.Option, medium: str, **update: Any) -> pm.Option:
    place = _purge(option, medium)
    path = option.steps[place].purge
    assert path is not None
    return _edited(option, place, purge=path.model_copy(update=update))


def _pressure_test(option: pm.Option, what: str) -> int:
    return _first(option, lambda step: any(test.what == what for test in step.pressure_tests))


def _edited_pressure_test(option: pm.Option, what: str, **update: Any) -> pm.Option:
    place = _pressure_test(option, what)
    tests = tuple(test.model_copy(update=update) for test in option.steps[place].pressure_tests)
    return _edited(option, place, pressure_tests=tests)


def _tallies(option: pm.Option) -> list[int]:
    return [
        k
        for k, step in enumerate(option.steps)
        if step.hold and {need.id for need in step.needs if need.kind == "meter"} == set(OFF)
    ]


def _occupied(option: pm.Option) -> int:
    return _first(option, lambda step: step.trench == "occupied")


def _state_with(option: pm.Option, name: str, **update: Any) -> pm.Option:
    states = tuple(
        state.model_copy(update=update) if state.after_step == name else state for state in option.states
    )
    return _with(option, states=states)


def _drill_untested(option: pm.Option) -> pm.Option:
    return _without(option, _tapping_change(option, "tested"))


def _use_undrilled(option: pm.Option) -> pm.Option:
    return _moved(option, _tapping_change(option, "drilled"), _place(option, "barrier", "S1-outer", "set"))


def _no_baseline(option: pm.Option) -> pm.Option:
    place = _first(option, lambda step: step.state == NORMAL_STATE)
    return _moved(option, place, _place(option, "feed", "B1", "open"))


def _baseline_misses_a_gauge(option: pm.Option) -> pm.Option:
    place = _first(option, lambda step: step.state == NORMAL_STATE)
    return _edited(option, place, readings=option.steps[place].readings[:-1])


def _proved_late(option: pm.Option) -> pm.Option:
    return _moved(option, _place(option, "barrier", "F1-inner", "proved"), _tallies(option)[0])


def _purged_before_tested(option: pm.Option) -> pm.Option:
    return _moved(option, _place(option, "feed", "B1", "tested"), _place(option, "feed", "B1", "purged"))


def _accepted_without_reading(option: pm.Option) -> pm.Option:
    return _edited(option, _place(option, "feed", "B1", "accepted"), readings=())


def _stop_before_acceptance(option: pm.Option) -> pm.Option:
    return _moved(
        option, _place(option, "feed", "B1", "accepted"), _place(option, "barrier", "S1-outer", "set")
    )


def _trial_without_reading(option: pm.Option) -> pm.Option:
    return _edited(option, _place(option, "barrier", "S1-outer", "set"), readings=())


def _stop_before_tally(option: pm.Option) -> pm.Option:
    return _moved(option, _tallies(option)[0], _place(option, "barrier", "S1-outer", "set"))


def _tally_misses_a_meter(option: pm.Option) -> pm.Option:
    place = _tallies(option)[0]
    return _edited(option, place, needs=option.steps[place].needs[1:])


def _withdrawal_not_solved(option: pm.Option) -> pm.Option:
    states = tuple(state for state in option.states if state.after_step != stop_out_state("S2"))
    return _with(option, states=states)


def _draw_not_solved(option: pm.Option) -> pm.Option:
    return _edited(option, _purge(option, "gas"), state="S3 in", readings=())


def _stops_in_another_order(option: pm.Option) -> pm.Option:
    states = list(option.states)
    states[3], states[4] = states[4], states[3]
    return _with(option, states=tuple(states))


def _kept_meter_too_low(option: pm.Option) -> pm.Option:
    low = RULES.pressure.minimum_mbar - 0.1
    return _state_with(option, stop_out_state("S2"), least_mbar=low)


def _purge_draws_too_much(option: pm.Option) -> pm.Option:
    return _state_with(option, purge_state("S1"), least_mbar=RULES.pressure.minimum_mbar - 0.01)


def _reading_of_another_state(option: pm.Option) -> pm.Option:
    # The reading with all stops in, expected when the bypass is accepted.
    return _edited(option, _place(option, "feed", "B1", "accepted"), state="S3 in")


def _reading_at_no_gauge(option: pm.Option) -> pm.Option:
    place = _place(option, "barrier", "S2-outer", "set")
    readings = option.steps[place].readings
    moved = (readings[0].model_copy(update={"gauge_id": "G9"}), *readings[1:])
    return _edited(option, place, readings=moved)


def _band_below_abort(option: pm.Option) -> pm.Option:
    place = _place(option, "barrier", "S2-outer", "set")
    readings = tuple(one.model_copy(update={"band_mbar": 6.0}) for one in option.steps[place].readings)
    return _edited(option, place, readings=readings)


def _part_apart_before_cut(option: pm.Option) -> pm.Option:
    place = _first(option, lambda step: _changes(step, "part", "Z1", "gas-free"))
    change = pm.Change.model_validate({"kind": "part", "id": "Z1.1", "from": "live", "to": "air"})
    return _edited(option, place, changes=(*option.steps[place].changes, change))


def _zone_pressure_disagrees(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T0", zone_mbar=0.0)


def _two_barriers_no_sum(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T1", barriers=("S1-outer", "S2-outer"))


def _sum_not_declared(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T2", is_sum=False)


def _shows_the_valve_too(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T2", barriers=("S1-inner",), is_sum=False)


def _inner_tested_without_hose(option: pm.Option) -> pm.Option:
    place = _let_by(option, "T2")
    return _without_change(option, place, "valve", "S1-hose")


def _without_change(option: pm.Option, place: int, kind: str, ident: str) -> pm.Option:
    kept = tuple(c for c in option.steps[place].changes if (c.kind, c.id) != (kind, ident))
    return _edited(option, place, changes=kept)


def _meter_on_the_hose(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T2", meter_at="S1-vent")


def _coarse_meter(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T2", resolution_l_min=0.2)


def _limit_raised(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T3", limit_l_min=0.5, resolution_l_min=0.1)


def _reset_not_tested(option: pm.Option) -> pm.Option:
    place = _place(option, "barrier", "S2-inner", "accepted")
    again = option.steps[_place(option, "barrier", "S2-inner", "set")]
    accepted = option.steps[place]
    steps = list(option.steps)
    steps[place + 1 : place + 1] = [again, accepted]
    longer = _with(option, timeline=_longer(option, 2))
    return _renumbered(longer, steps)


def _longer(option: pm.Option, count: int) -> pm.Timeline:
    assert option.timeline is not None
    bars = option.timeline.bars
    last = bars[-1]
    more = [
        last.model_copy(
            update={
                "n": last.n + k,
                "start_min": last.end_min + 10 * k,
                "end_min": last.end_min + 10 * k + 10,
            }
        )
        for k in range(1, count + 1)
    ]
    return option.timeline.model_copy(update={"bars": (*bars, *more)})


def _air_before_last_test(option: pm.Option) -> pm.Option:
    return _moved(option, _purge(option, "air"), _let_by(option, "T3"))


def _hose_left_on(option: pm.Option) -> pm.Option:
    place = _first(option, lambda step: _changes(step, "valve", "S2-hose", "shut"))
    return _without(option, place)


def _no_gas_free_hold(option: pm.Option) -> pm.Option:
    return _edited(option, _first(option, lambda s: _changes(s, "part", "Z1", "gas-free")), hold=False)


def _vented_again(option: pm.Option) -> pm.Option:
    place = _occupied(option) + 1
    change = pm.Change.model_validate({"kind": "part", "id": "Z1", "from": "air", "to": "vented"})
    return _edited(option, place, changes=(change,))


def _one_barrier_only(option: pm.Option) -> pm.Option:
    place = _place(option, "barrier", "S1-outer", "accepted")
    return _without(option, place)


def _vent_between_shut(option: pm.Option) -> pm.Option:
    place = _occupied(option) + 1
    change = pm.Change.model_validate({"kind": "vent", "id": "S2-vent", "from": "open", "to": "shut"})
    return _edited(option, place, changes=(change,))


def _exception_not_signed(option: pm.Option) -> pm.Option:
    place = _first(option, lambda s: any(need.id == "S3-single" for need in s.needs))
    return _without(option, place)


def _cut_part_shut(option: pm.Option) -> pm.Option:
    place = _occupied(option) + 1
    change = pm.Change.model_validate({"kind": "vent", "id": "P2", "from": "open", "to": "shut"})
    steps = list(option.steps)
    steps[place] = steps[place].model_copy(update={"changes": (change,)})
    steps.insert(place + 1, steps[_occupied(option)].model_copy(update={"changes": ()}))
    return _renumbered(_with(option, timeline=_longer(option, 1)), steps)


def _people_while_gas(option: pm.Option) -> pm.Option:
    return _edited(option, _purge(option, "gas"), trench="occupied")


def _hose_with_people(option: pm.Option) -> pm.Option:
    return _edited(option, _let_by(option, "T2"), trench="")


def _one_hole_for_both(option: pm.Option) -> pm.Option:
    return _edited_purge(option, "air", inlet="P2")


def _through_the_gauge(option: pm.Option) -> pm.Option:
    gauge = next(item.id for item in option.items if item.role == "gauge" and item.kind == "tapping")
    return _edited_purge(option, "gas", inlet=gauge)


def _two_outlets(option: pm.Option) -> pm.Option:
    place = _first(
        option, lambda s: s.purge is not None and s.purge.outlet == "P3" and s.purge.medium == "air"
    )
    return _without_change(option, place, "vent", "P2")


def _end_left_out(option: pm.Option) -> pm.Option:
    place = _first(
        option, lambda s: s.purge is not None and s.purge.outlet == "P3" and s.purge.medium == "air"
    )
    return _edited(option, place, purge=None)


def _end_without_point(option: pm.Option) -> pm.Option:
    end = pm.BranchEnd(main_id="M4", chainage_m=12.0)
    parts = tuple(
        part.model_copy(update={"ends": (end,)}) if part.id == "Z1" else part for part in option.parts
    )
    return _with(option, parts=parts)


def _through_a_meter(option: pm.Option) -> pm.Option:
    return _edited_purge(option, "gas", outlet="C1")


def _against_bags(option: pm.Option) -> pm.Option:
    return _edited_pressure_test(option, "new pipe", against=("S1-inner",))


def _weak_strength_test(option: pm.Option) -> pm.Option:
    return _edited_pressure_test(option, "new pipe", test_mbar=350.0)


def _tested_after_tie_in(option: pm.Option) -> pm.Option:
    return _moved(option, _pressure_test(option, "new pipe"), _pressure_test(option, "tie-in"))


def _tie_in_above_live(option: pm.Option) -> pm.Option:
    return _edited_pressure_test(option, "tie-in", test_mbar=27.0)


def _no_second_tally(option: pm.Option) -> pm.Option:
    return _without(option, _tallies(option)[1])


def _both_bags_at_once(option: pm.Option) -> pm.Option:
    place = _place(option, "barrier", "S1-outer", "set")
    both = (*option.steps[place].changes, *option.steps[place + 1].changes)
    return _edited(_without(option, place + 1), place, changes=both)


def _both_ends_at_once(option: pm.Option) -> pm.Option:
    place = _place(option, "feed", "B1", "shut")
    other = _place(option, "valve", "B1-to", "shut")
    both = (*option.steps[other].changes, *option.steps[place].changes)
    return _without(_edited(option, place, changes=both), other)


def _side_by_side(option: pm.Option) -> pm.Option:
    assert option.timeline is not None
    n = option.steps[_place(option, "barrier", "S2-outer", "set")].n
    bars = tuple(
        bar.model_copy(update={"start_min": bar.start_min - 5.0}) if bar.n == n else bar
        for bar in option.timeline.bars
    )
    return _with(option, timeline=option.timeline.model_copy(update={"bars": bars}))


def _outer_first(option: pm.Option) -> pm.Option:
    place = _place(option, "barrier", "S1-outer", "withdrawn")
    return _moved(option, place, _place(option, "barrier", "S1-inner", "withdrawn"))


def _space_not_purged(option: pm.Option) -> pm.Option:
    return _without(option, _first(option, lambda s: _changes(s, "part", "S1-space", "gas")))


def _no_through_flow(option: pm.Option) -> pm.Option:
    place = _first(option, lambda s: _changes(s, "valve", "B1-to", "shut"))
    return _edited(option, place, hold=False)


def _shut_before_withdrawn(option: pm.Option) -> pm.Option:
    place = _place(option, "feed", "B1", "shut")
    return _moved(option, place, _place(option, "barrier", "S2-inner", "withdrawn"))


def _never_capped(option: pm.Option) -> pm.Option:
    place = _tapping_change(option, "capped")
    return _edited(option, place, changes=option.steps[place].changes[1:])


def _coupons_not_counted(option: pm.Option) -> pm.Option:
    place = _first(option, lambda s: any(n.kind == "tapping" and n.state == "capped" for n in s.needs))
    return _edited(option, place, needs=option.steps[place].needs[1:])


def _never_relit(option: pm.Option) -> pm.Option:
    return _without(option, _place(option, "meter", "C2", "relit"))


def _relit_unpurged(option: pm.Option) -> pm.Option:
    return _without(option, _place(option, "meter", "C2", "purged"))


def _relit_before_gas(option: pm.Option) -> pm.Option:
    place = _place(option, "meter", "C1", "purged")
    return _moved(option, place, _occupied(option))


def _fallback_cuts_its_feed(option: pm.Option) -> pm.Option:
    fallback = tuple(
        one.model_copy(update={"shut": (), "moves": (), "standby": ()}) for one in option.fallback
    )
    return _with(option, fallback=fallback)


def _lost_tail_forgotten(option: pm.Option) -> pm.Option:
    fallback = tuple(
        one.model_copy(update={"tail_lost": True, "standby": (), "moves": ()}) for one in option.fallback
    )
    return _with(option, fallback=fallback)


def _bag_left_alone(option: pm.Option) -> pm.Option:
    place = _occupied(option)
    manned = tuple(one for one in option.steps[place].manned if one != "S1-inner")
    return _edited(option, place, manned=manned)


def _end_left_alone(option: pm.Option) -> pm.Option:
    place = _occupied(option)
    manned = tuple(one for one in option.steps[place].manned if one != "B1-from")
    return _edited(option, place, manned=manned)


def _one_meter_fewer(option: pm.Option) -> pm.Option:
    customers = tuple(one for one in option.customers if one.id != "C2")
    return _with(option, customers=customers)


def _off_at_another_time(option: pm.Option) -> pm.Option:
    assert option.timeline is not None
    return _with(option, timeline=option.timeline.model_copy(update={"off_from_min": 500.0}))


def _told_another_time(option: pm.Option) -> pm.Option:
    customers = (
        option.customers[0].model_copy(update={"off_from": "2026-05-04T09:30"}),
        *option.customers[1:],
    )
    return _with(option, customers=customers)


def _moved_hose_meets_open_meters(option: pm.Option) -> pm.Option:
    fallback = tuple(one.model_copy(update={"standby": ("C4",)}) for one in option.fallback)
    return _with(option, fallback=fallback)


def _fallen_tail_not_named(option: pm.Option) -> pm.Option:
    row = option.loss_sheet[1].model_copy(update={"customers": ("C4",), "meters": 1})
    return _with(option, loss_sheet=(option.loss_sheet[0], row))


def _row_counts_who_is_off(option: pm.Option) -> pm.Option:
    row = option.loss_sheet[0].model_copy(update={"customers": ("C1", "C4"), "meters": 2})
    return _with(option, loss_sheet=(row, option.loss_sheet[1]))


def _promised_too_soon(option: pm.Option) -> pm.Option:
    customers = (
        option.customers[0].model_copy(update={"on_by": "2026-05-04T11:00"}),
        *option.customers[1:],
    )
    return _with(option, customers=customers)


def _no_difference(option: pm.Option) -> pm.Option:
    return _edited_test(option, "T1", across_mbar=0.0)


def _two_readings_of_one_state(option: pm.Option) -> pm.Option:
    place = _place(option, "feed", "B1", "accepted")
    readings = tuple(one.model_copy(update={"expect_mbar": 25.0}) for one in option.steps[place].readings)
    return _edited(option, place, readings=readings)


def _gas_before_meters_shut(option: pm.Option) -> pm.Option:
    steps = [step for step in option.steps if not any(c.id == "C6" for c in step.changes)]
    return _renumbered(option, steps)


BROKEN: tuple[tuple[int, Change], ...] = (
    (1, _drill_untested),
    (1, _use_undrilled),
    (2, _no_baseline),
    (2, _baseline_misses_a_gauge),
    (3, _proved_late),
    (4, _purged_before_tested),
    (4, _accepted_without_reading),
    (5, _stop_before_acceptance),
    (5, _trial_without_reading),
    (6, _stop_before_tally),
    (6, _tally_misses_a_meter),
    (7, _withdrawal_not_solved),
    (7, _draw_not_solved),
    (7, _stops_in_another_order),
    (8, _kept_meter_too_low),
    (8, _purge_draws_too_much),
    (9, _reading_of_another_state),
    (9, _reading_at_no_gauge),
    (9, _band_below_abort),
    (10, _part_apart_before_cut),
    (10, _zone_pressure_disagrees),
    (11, _two_barriers_no_sum),
    (11, _sum_not_declared),
    (11, _shows_the_valve_too),
    (11, _inner_tested_without_hose),
    (11, _meter_on_the_hose),
    (12, _coarse_meter),
    (12, _limit_raised),
    (13, _reset_not_tested),
    (14, _air_before_last_test),
    (14, _hose_left_on),
    (15, _no_gas_free_hold),
    (15, _vented_again),
    (16, _one_barrier_only),
    (16, _vent_between_shut),
    (16, _exception_not_signed),
    (17, _cut_part_shut),
    (18, _people_while_gas),
    (18, _hose_with_people),
    (19, _one_hole_for_both),
    (19, _through_the_gauge),
    (19, _two_outlets),
    (20, _end_left_out),
    (20, _end_without_point),
    (21, _through_a_meter),
    (22, _against_bags),
    (22, _weak_strength_test),
    (22, _tested_after_tie_in),
    (23, _tie_in_above_live),
    (24, _no_second_tally),
    (25, _both_bags_at_once),
    (25, _both_ends_at_once),
    (25, _side_by_side),
    (26, _outer_first),
    (26, _space_not_purged),
    (27, _no_through_flow),
    (27, _shut_before_withdrawn),
    (28, _never_capped),
    (28, _coupons_not_counted),
    (29, _never_relit),
    (29, _relit_unpurged),
    (29, _relit_before_gas),
    (30, _fallback_cuts_its_feed),
    (30, _lost_tail_forgotten),
    (31, _bag_left_alone),
    (31, _end_left_alone),
    (32, _one_meter_fewer),
    (32, _off_at_another_time),
    (32, _told_another_time),
    (33, _moved_hose_meets_open_meters),
    (33, _gas_before_meters_shut),
    (33, _fallen_tail_not_named),
    (32, _row_counts_who_is_off),
    (32, _promised_too_soon),
    (11, _no_difference),
    (9, _two_readings_of_one_state),
)


def test_the_lawful_order_breaks_no_law() -> None:
    assert [one.words() for one in _breaches(lawful_option())] == []


@pytest.mark.parametrize(("law", "change"), BROKEN, ids=[f"{law}{change.__name__}" for law, change in BROKEN])
def test_an_order_changed_to_break_a_law_is_found(law: int, change: Change) -> None:
    found = _breaches(change(lawful_option()))
    assert law in {one.law for one in found}, [one.words() for one in found]


def test_each_of_the_33_laws_is_broken_by_some_change() -> None:
    assert {law for law, _ in BROKEN} == set(range(1, 34))
    assert [law.number for law in ORDER_LAWS] == list(range(34))


def test_a_change_from_a_state_the_item_is_not_in_is_found() -> None:
    option = lawful_option()
    steps = list(option.steps)
    place = _place(option, "barrier", "S1-inner", "set")
    del steps[place]
    numbered = tuple(step.model_copy(update={"n": n}) for n, step in enumerate(steps, 1))
    found = _breaches(_with(option, steps=numbered))
    assert any(one.law == 0 and "S1-inner" in one.item_ids for one in found)


def test_a_breach_says_law_step_and_item_in_one_line() -> None:
    option = lawful_option()
    found = _breaches(_without(option, _tallies(option)[1]))
    words = [one.words() for one in found if one.law == 24]
    assert words == ["law 24 at step 65: gas goes back before the second tally"]
    assert METERS_OFF_STATE not in words[0]
