"""Orders that break one of the laws 17 to 33: a lawful one with a bypass B1, two double stops and a valve, changed."""

from __future__ import annotations

from datetime import datetime, timedelta

from netplan.planfile import model as pm
from tests.support import order_edits as order

__all__ = ["BROKEN_FROM_THE_CUT"]


def _cut_part_shut(option: pm.Option) -> pm.Option:
    place = order.occupied(option)
    shut = option
    for item in option.items:
        if item.kind == "vent" and item.tapping_id in order.cut_part(option).vents:
            shut = order.with_change(shut, place, "vent", item.id, "shut")
    # A step later people are still there.
    return shut


def _people_while_gas(option: pm.Option) -> pm.Option:
    return order.edited(option, order.purge_to(option, order.outlets(option)[0], "gas"), trench="occupied")


def _hose_with_people(option: pm.Option) -> pm.Option:
    place, _ = order.item_change(option, "valve", "test hose", "open")
    return order.edited(option, place, trench="")


def _one_hole_for_both(option: pm.Option) -> pm.Option:
    return order.edited_purge(option, "air", inlet=order.outlets(option)[0])


def _through_the_gauge(option: pm.Option) -> pm.Option:
    gauge = next(item.id for item in option.items if item.role == "gauge" and item.kind == "tapping")
    return order.edited_purge(option, "gas", inlet=gauge)


def _two_outlets(option: pm.Option) -> pm.Option:
    one, two = order.outlets(option)[:2]
    return order.without_change(option, order.purge_to(option, two, "air"), "vent", one)


def _end_left_out(option: pm.Option) -> pm.Option:
    place = order.purge_to(option, order.outlets(option)[1], "air")
    return order.edited(option, place, purge=None)


def _end_not_filled(option: pm.Option) -> pm.Option:
    return order.edited(option, order.purge_to(option, order.outlets(option)[1], "gas"), purge=None)


def _end_without_point(option: pm.Option) -> pm.Option:
    end = pm.BranchEnd(main_id="M99", chainage_m=12.0)
    parts = tuple(
        part.model_copy(update={"ends": (end,)}) if part.role == "zone" else part for part in option.parts
    )
    return order.altered(option, parts=parts)


def _through_a_meter(option: pm.Option) -> pm.Option:
    return order.edited_purge(option, "gas", outlet=order.off(option)[0])


def _against_bags(option: pm.Option) -> pm.Option:
    return order.edited_pressure_test(option, "new pipe", against=(order.set_order(option)[0],))


def _weak_strength_test(option: pm.Option) -> pm.Option:
    return order.edited_pressure_test(option, "new pipe", test_mbar=350.0)


def _tested_after_tie_in(option: pm.Option) -> pm.Option:
    place = order.with_test(option, "new pipe")
    return order.moved(option, place, order.with_test(option, "tie-in"))


def _tie_in_above_live(option: pm.Option) -> pm.Option:
    live = min(stop.pressure_mbar for stop in option.stops if stop.pressure_mbar is not None)
    return order.edited_pressure_test(option, "tie-in", test_mbar=live + 1.0)


def _no_second_tally(option: pm.Option) -> pm.Option:
    steps = list(option.steps)
    for place in order.tallies(option)[1:]:
        steps[place] = steps[place].model_copy(update={"hold": False})
    return order.renumbered(option, steps)


def _both_barriers_at_once(option: pm.Option) -> pm.Option:
    outer, inner = (
        order.place_of(option, "barrier", f"{order.doubles(option)[0]}-{role}", "set")
        for role in ("outer", "inner")
    )
    both = (*option.steps[outer].changes, *option.steps[inner].changes)
    return order.without(order.edited(option, outer, changes=both), inner)


def _both_ends_at_once(option: pm.Option) -> pm.Option:
    one, two = (order.place_of(option, "valve", f"B1-{end}", "shut") for end in ("from", "to"))
    both = (*option.steps[min(one, two)].changes, *option.steps[max(one, two)].changes)
    return order.without(order.edited(option, min(one, two), changes=both), max(one, two))


def _side_by_side(option: pm.Option) -> pm.Option:
    n = option.steps[order.place_of(option, "barrier", order.set_order(option)[1], "set")].n
    bars = tuple(
        bar.model_copy(update={"start_min": bar.start_min - 2.0}) if bar.n == n else bar
        for bar in order.times(option).bars
    )
    return order.altered(option, timeline=order.times(option).model_copy(update={"bars": bars}))


def _outer_first(option: pm.Option) -> pm.Option:
    stop = order.doubles(option)[0]
    place = order.place_of(option, "barrier", f"{stop}-outer", "withdrawn")
    return order.moved(option, place, order.place_of(option, "barrier", f"{stop}-inner", "withdrawn"))


def _space_not_purged(option: pm.Option) -> pm.Option:
    space = f"{order.doubles(option)[0]}-space"
    return order.without(option, order.place_of(option, "part", space, "gas"))


def _no_through_flow(option: pm.Option) -> pm.Option:
    shut = order.place_of(option, "feed", "B1", "shut")
    out = max(
        k
        for k, step in enumerate(option.steps)
        for c in step.changes
        if (c.kind, c.to) == ("barrier", "withdrawn")
    )
    steps = [
        step.model_copy(update={"hold": False}) if out < k <= shut else step
        for k, step in enumerate(option.steps)
    ]
    return order.renumbered(option, steps)


def _shut_before_withdrawn(option: pm.Option) -> pm.Option:
    inner = f"{order.doubles(option)[0]}-inner"
    place = order.place_of(option, "feed", "B1", "shut")
    return order.moved(option, place, order.place_of(option, "barrier", inner, "withdrawn"))


def _never_capped(option: pm.Option) -> pm.Option:
    place = order.tapping_change(option, "capped")
    return order.edited(option, place, changes=option.steps[place].changes[1:])


def _coupons_not_counted(option: pm.Option) -> pm.Option:
    steps = [
        step.model_copy(update={"hold": step.hold and not any(n.state == "capped" for n in step.needs)})
        for step in option.steps
    ]
    return order.renumbered(option, steps)


def _never_relit(option: pm.Option) -> pm.Option:
    last = order.off(option)[-1]
    return order.without_change(option, order.place_of(option, "meter", last, "relit"), "meter", last)


def _relit_unpurged(option: pm.Option) -> pm.Option:
    last = order.off(option)[-1]
    return order.without_change(option, order.place_of(option, "meter", last, "purged"), "meter", last)


def _relit_before_gas(option: pm.Option) -> pm.Option:
    place = order.place_of(option, "meter", order.off(option)[0], "purged")
    return order.moved(option, place, order.occupied(option))


def _fallback_cuts_its_feed(option: pm.Option) -> pm.Option:
    fallback = tuple(
        one.model_copy(update={"shut": (), "moves": (), "standby": ()}) for one in option.fallback
    )
    return order.altered(option, fallback=fallback)


def _lost_tail_forgotten(option: pm.Option) -> pm.Option:
    fallback = tuple(
        one.model_copy(update={"tail_lost": True, "standby": (), "moves": ()}) for one in option.fallback
    )
    return order.altered(option, fallback=fallback)


def _bag_left_alone(option: pm.Option) -> pm.Option:
    bags = [stop.id for stop in option.stops if stop.kind == "bag"]
    place = order.occupied(option)
    manned = tuple(one for one in option.steps[place].manned if one != f"{bags[0]}-inner")
    return order.edited(option, place, manned=manned)


def _end_left_alone(option: pm.Option) -> pm.Option:
    place = order.occupied(option)
    manned = tuple(one for one in option.steps[place].manned if one != "B1-from")
    return order.edited(option, place, manned=manned)


def _one_meter_fewer(option: pm.Option) -> pm.Option:
    last = order.off(option)[-1]
    return order.altered(option, customers=tuple(one for one in option.customers if one.id != last))


def _off_at_another_time(option: pm.Option) -> pm.Option:
    return order.altered(option, timeline=order.times(option).model_copy(update={"off_from_min": 500.0}))


def _told(option: pm.Option, name: str, hours: float) -> pm.Option:
    """Return the option with one customer told a time some hours later."""
    ident = order.off(option)[0]

    def told(one: pm.AffectedCustomer) -> pm.AffectedCustomer:
        if one.id != ident:
            return one
        later = datetime.fromisoformat(getattr(one, name)) + timedelta(hours=hours)
        return one.model_copy(update={name: later.isoformat(timespec="minutes")})

    return order.altered(option, customers=tuple(map(told, option.customers)))


def _told_off_later(option: pm.Option) -> pm.Option:
    return _told(option, "off_from", 1.0)


def _promised_too_soon(option: pm.Option) -> pm.Option:
    return _told(option, "on_by", -6.0)


def _row_counts_who_is_off(option: pm.Option) -> pm.Option:
    row = option.loss_sheet[0]
    more = (*row.customers, order.off(option)[0])
    update = {"customers": more, "meters": row.meters + 1}
    return order.altered(option, loss_sheet=(row.model_copy(update=update), *option.loss_sheet[1:]))


def _begins_before_what_it_rests_on(option: pm.Option) -> pm.Option:
    n = option.steps[order.tapping_change(option, "capped")].n
    bars = tuple(
        bar.model_copy(update={"start_min": bar.start_min + 1e5, "end_min": bar.end_min + 1e5})
        if bar.n == n
        else bar
        for bar in order.times(option).bars
    )
    return order.altered(option, timeline=order.times(option).model_copy(update={"bars": bars}))


def _moved_hose_meets_open_meters(option: pm.Option) -> pm.Option:
    fallback = tuple(one.model_copy(update={"standby": one.standby[:1]}) for one in option.fallback)
    return order.altered(option, fallback=fallback)


def _fallen_tail_not_named(option: pm.Option) -> pm.Option:
    rows = tuple(
        row.model_copy(update={"customers": (), "meters": 0}) if "B1" in row.items else row
        for row in option.loss_sheet
    )
    return order.altered(option, loss_sheet=rows)


def _gas_before_meters_shut(option: pm.Option) -> pm.Option:
    left_on = order.off(option)[-1]
    steps = [
        step.model_copy(
            update={
                "changes": tuple(c for c in step.changes if c.id != left_on),
                "needs": tuple(n for n in step.needs if n.id != left_on),
            }
        )
        for step in option.steps
    ]
    return order.renumbered(option, steps)


BROKEN_FROM_THE_CUT = (
    (17, _cut_part_shut),
    (18, _people_while_gas),
    (18, _hose_with_people),
    (19, _one_hole_for_both),
    (19, _through_the_gauge),
    (19, _two_outlets),
    (20, _end_left_out),
    (20, _end_not_filled),
    (20, _end_without_point),
    (21, _through_a_meter),
    (22, _against_bags),
    (22, _weak_strength_test),
    (22, _tested_after_tie_in),
    (23, _tie_in_above_live),
    (24, _no_second_tally),
    (25, _both_barriers_at_once),
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
    (32, _told_off_later),
    (32, _promised_too_soon),
    (32, _row_counts_who_is_off),
    (32, _begins_before_what_it_rests_on),
    (33, _moved_hose_meets_open_meters),
    (33, _fallen_tail_not_named),
    (33, _gas_before_meters_shut),
)
"""Laws, and what changes a lawful order so that it breaks them."""
