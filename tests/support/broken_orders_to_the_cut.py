"""Orders that break one of the laws 1 to 16: a lawful one with a bypass B1, two double stops and a valve, changed."""

from __future__ import annotations

from netplan.planfile import model as pm
from netplan.planfile.naming import stop_out_state
from netplan.rules import default_rules
from tests.support import order_edits as order

__all__ = ["BROKEN_TO_THE_CUT"]

MINIMUM_MBAR = default_rules().pressure.minimum_mbar


def _drilled_untested(option: pm.Option) -> pm.Option:
    return order.without(option, order.tapping_change(option, "tested"))


def _used_undrilled(option: pm.Option) -> pm.Option:
    vent = f"{order.doubles(option)[0]}-vent"
    tapping = next(item.tapping_id for item in option.items if (item.kind, item.id) == ("vent", vent))
    to = order.place_of(option, "vent", vent, "open")
    return order.moved(option, order.place_of(option, "tapping", tapping, "drilled"), to)


def _baseline_late(option: pm.Option) -> pm.Option:
    return order.moved(option, order.baseline(option), order.place_of(option, "feed", "B1", "open"))


def _baseline_misses_a_gauge(option: pm.Option) -> pm.Option:
    place = order.baseline(option)
    missing = option.gauges[-1].id
    readings = tuple(one for one in option.steps[place].readings if one.gauge_id != missing)
    return order.edited(option, place, readings=readings)


def _proved_late(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "barrier", order.set_order(option)[-1], "proved")
    return order.moved(option, place, order.tallies(option)[0])


def _purged_before_tested(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "feed", "B1", "tested")
    return order.moved(option, place, order.place_of(option, "feed", "B1", "purged"))


def _accepted_without_reading(option: pm.Option) -> pm.Option:
    return order.edited(option, order.place_of(option, "feed", "B1", "accepted"), readings=())


def _stop_before_acceptance(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "feed", "B1", "accepted")
    return order.moved(option, place, order.place_of(option, "barrier", order.set_order(option)[0], "set"))


def _trial_without_reading(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "barrier", order.set_order(option)[0], "set")
    return order.edited(option, place, readings=())


def _stop_before_tally(option: pm.Option) -> pm.Option:
    to = order.place_of(option, "barrier", order.set_order(option)[0], "set")
    return order.moved(option, order.tallies(option)[0], to)


def _tally_misses_a_meter(option: pm.Option) -> pm.Option:
    place = order.tallies(option)[0]
    missing = order.off(option)[-1]
    needs = tuple(need for need in option.steps[place].needs if need.id != missing)
    return order.edited(option, place, needs=needs)


def _withdrawal_not_solved(option: pm.Option) -> pm.Option:
    out = stop_out_state(order.doubles(option)[0])
    states = tuple(state for state in option.states if state.after_step != out)
    return order.altered(option, states=states)


def _draw_not_solved(option: pm.Option) -> pm.Option:
    place = order.purge_to(option, order.outlets(option)[0], "gas")
    return order.edited(option, place, state=order.last_in(option), readings=())


def _stops_in_another_order(option: pm.Option) -> pm.Option:
    states = list(option.states)
    place = next(k for k, state in enumerate(states) if state.after_step.endswith(" in"))
    states[place], states[place + 1] = states[place + 1], states[place]
    return order.altered(option, states=tuple(states))


def _state_named_by_no_step(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "feed", "B1", "open")
    return order.edited(order.edited(option, place, state=""), place + 1, state="")


def _kept_meter_too_low(option: pm.Option) -> pm.Option:
    out = stop_out_state(order.doubles(option)[0])
    return order.state_with(option, out, least_mbar=MINIMUM_MBAR - 0.1, at="")


def _purge_draws_too_much(option: pm.Option) -> pm.Option:
    drawn = next(state.after_step for state in option.states if state.after_step.startswith("purge"))
    return order.state_with(option, drawn, least_mbar=MINIMUM_MBAR - 0.01, at="")


def _reading_of_another_state(option: pm.Option) -> pm.Option:
    # What a gauge reads with all stops in, expected when the bypass is accepted.
    place = order.place_of(option, "feed", "B1", "accepted")
    return order.edited(option, place, state=order.last_in(option))


def _reading_at_no_gauge(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "barrier", order.set_order(option)[0], "set")
    readings = option.steps[place].readings
    other = readings[0].model_copy(update={"gauge_id": "G99"})
    return order.edited(option, place, readings=(other, *readings[1:]))


def _band_below_abort(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "barrier", order.set_order(option)[0], "set")
    readings = tuple(one.model_copy(update={"band_mbar": 60.0}) for one in option.steps[place].readings)
    return order.edited(option, place, readings=readings)


def _two_readings_of_one_state(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "feed", "B1", "accepted")
    readings = tuple(
        one.model_copy(update={"expect_mbar": one.expect_mbar - 1.0}) for one in option.steps[place].readings
    )
    return order.edited(option, place, readings=readings)


def _part_apart_before_cut(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "part", order.zone(option), "gas-free")
    part = order.cut_part(option).id
    return order.with_change(order.without_change(option, place, "part", part), place, "part", part, "air")


def _zone_pressure_disagrees(option: pm.Option) -> pm.Option:
    return order.edited_test(option, "T0", zone_mbar=0.0)


def _cut_part_without_state(option: pm.Option) -> pm.Option:
    part = order.cut_part(option).id
    steps = [
        step.model_copy(update={"changes": tuple(c for c in step.changes if c.id != part)})
        for step in option.steps
    ]
    return order.renumbered(option, steps)


def _two_barriers_at_once(option: pm.Option) -> pm.Option:
    outer = tuple(f"{stop}-outer" for stop in order.doubles(option))
    return order.edited_test(option, "T1", barriers=outer)


def _sum_not_declared(option: pm.Option) -> pm.Option:
    return order.edited_test(option, "T2", is_sum=False)


def _shows_the_valve_too(option: pm.Option) -> pm.Option:
    tested = order.changed_test(option, "T2").barriers[0]
    return order.edited_test(option, "T2", barriers=(tested,), is_sum=False)


def _inner_tested_without_hose(option: pm.Option) -> pm.Option:
    place, hose = order.item_change(option, "valve", "test hose", "open")
    return order.without_change(option, place, "valve", hose)


def _meter_on_the_hose(option: pm.Option) -> pm.Option:
    tested = order.changed_test(option, "T2").barriers[0]
    return order.edited_test(option, "T2", meter_at=tested.replace("-inner", "-vent"))


def _no_difference(option: pm.Option) -> pm.Option:
    return order.edited_test(option, "T1", across_mbar=0.0)


def _coarse_meter(option: pm.Option) -> pm.Option:
    return order.edited_test(option, "T2", resolution_l_min=0.2)


def _limit_raised(option: pm.Option) -> pm.Option:
    return order.edited_test(option, "T3", limit_l_min=0.5, resolution_l_min=0.1)


def _reset_not_tested(option: pm.Option) -> pm.Option:
    inner = f"{order.doubles(option)[0]}-inner"
    place = order.place_of(option, "barrier", inner, "accepted")
    steps = list(option.steps)
    again = steps[order.place_of(option, "barrier", inner, "set")]
    steps[place + 1 : place + 1] = [again, steps[place].model_copy(update={"let_by": None})]
    return order.renumbered(order.longer(option, 2), steps)


def _air_before_last_test(option: pm.Option) -> pm.Option:
    place = order.purge_to(option, order.outlets(option)[0], "air")
    return order.moved(option, place, order.let_by(option, "T2"))


def _hose_left_on(option: pm.Option) -> pm.Option:
    place, hose = order.item_change(option, "valve", "test hose", "shut")
    return order.without_change(option, place, "valve", hose)


def _no_gas_free_hold(option: pm.Option) -> pm.Option:
    return order.edited(option, order.place_of(option, "part", order.zone(option), "gas-free"), hold=False)


def _vented_again(option: pm.Option) -> pm.Option:
    return order.with_change(option, order.occupied(option), "part", order.zone(option), "vented")


def _one_barrier_only(option: pm.Option) -> pm.Option:
    barrier = f"{order.doubles(option)[0]}-outer"
    place = order.place_of(option, "barrier", barrier, "accepted")
    return order.without_change(option, place, "barrier", barrier)


def _vent_between_shut(option: pm.Option) -> pm.Option:
    vent = f"{order.doubles(option)[0]}-vent"
    return order.with_change(option, order.occupied(option), "vent", vent, "shut")


def _exception_not_signed(option: pm.Option) -> pm.Option:
    wanted = (order.single(option), "accepted")
    place = order.first(option, lambda s: s.hold and any((n.id, n.state) == wanted for n in s.needs))
    return order.edited(option, place, hold=False)


BROKEN_TO_THE_CUT = (
    (1, _drilled_untested),
    (1, _used_undrilled),
    (2, _baseline_late),
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
    (7, _state_named_by_no_step),
    (8, _kept_meter_too_low),
    (8, _purge_draws_too_much),
    (9, _reading_of_another_state),
    (9, _reading_at_no_gauge),
    (9, _band_below_abort),
    (9, _two_readings_of_one_state),
    (10, _part_apart_before_cut),
    (10, _zone_pressure_disagrees),
    (10, _cut_part_without_state),
    (11, _two_barriers_at_once),
    (11, _sum_not_declared),
    (11, _shows_the_valve_too),
    (11, _inner_tested_without_hose),
    (11, _meter_on_the_hose),
    (11, _no_difference),
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
)
"""Laws, and what changes a lawful order so that it breaks them."""
