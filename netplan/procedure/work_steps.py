"""The work itself: new pipe tested beforehand, cut, tie-in and its test."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import OrderItem, PressureTest, Stop
from netplan.planfile.naming import stop_in_state
from netplan.procedure.step_case import OrderCase, fallback_words
from netplan.procedure.step_kinds import ItemState, Stage, StepDraft, Who, in_state
from netplan.procedure.zone_order import ZoneOrder, zones_in_order

__all__ = ["do_work", "reverse_rating_mbar", "test_new_pipe"]


def test_new_pipe(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the test of the new pipe, on an earlier day and against no barrier."""
    rules = case.rules.pressure_test
    highest = case.rules.pressure.maximum_mbar
    minutes = case.rules.duration.new_pipe_test
    yield StepDraft(
        Stage.NEW_PIPE,
        "Test the new pipe for strength and tightness before it is joined to anything, capped at both "
        "ends; never against bags or squeezes.",
        Who.WORK,
        "Repair and retest; tie in nothing that has not passed.",
        uses=_mains(case),
        hold=True,
        minutes=minutes,
        pressure_tests=(
            PressureTest(
                what="new pipe",
                test_mbar=max(rules.new_pipe_mop_share * highest, rules.new_pipe_least_mbar),
                minutes=minutes,
                medium="air or water",
            ),
        ),
    )


def _mains(case: OrderCase) -> tuple[str, ...]:
    return tuple(dict.fromkeys(item.main_id for item in case.work))


def do_work(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the cut, the tie-in and its test; what if the day runs out stands on the loss sheet."""
    zones = zones_in_order(case)
    yield _cut(case, zones)
    yield StepDraft(
        Stage.TIE_IN,
        "Tie in; let fusion joints cool their full time; every joint recorded by number and welder.",
        Who.WORK,
        "Cut the joint out and make it again.",
        uses=_mains(case),
        minutes=case.rules.duration.joint,
        needs=_held(case),
        changes=in_state("air", *(zone.part for zone in zones)),
        reads=case.gauge_ids,
        state=stop_in_state(case.stops[-1].id),
        trench="occupied",
    )
    for zone in zones:
        yield _test(case, zone)
        yield _let_off(case, zone)


def _held(case: OrderCase) -> tuple[ItemState, ...]:
    items = case.items
    return (
        *in_state("accepted", *(b for stop in case.stops for b in items.barriers(stop.id))),
        *in_state("open", *(vent for stop in case.stops if (vent := items.vent(stop.id)))),
    )


def _cut(case: OrderCase, zones: tuple[ZoneOrder, ...]) -> StepDraft:
    lost = ". ".join(
        f"{stop.id}: {fallback_words(case.fallback(stop.id, 'lost during open work'))}" for stop in case.stops
    )
    parts = [item for zone in zones for item in zone.cut_parts]
    vents = [vent for zone in zones for vent in zone.vents]
    apart = f" From then on each part is vented by itself: {_vented(case, zones)}." if parts else ""
    ends = tuple(
        end.id
        for feed in case.option.bypasses
        for name in ("from", "to")
        if (end := case.items.feed_end(feed.id, name))
    )
    return StepDraft(
        Stage.WORK,
        "Cut out, plug both ends at once, and work with a gas detector running in the trench, the vents "
        "between barriers open, stops and ends of feeds manned; bond across the cut before cutting "
        f"metal.{apart}",
        Who.WORK,
        "Everybody leaves the trench, and the competent person counts people; then by the loss sheet: "
        f"{lost}.",
        uses=(*_mains(case), *(stop.id for stop in case.stops), *(vent.id for vent in vents)),
        minutes=case.rules.duration.cut_and_fit,
        needs=(
            *_held(case),
            *in_state("open", *vents),
            *in_state("gas-free", *(zone.part for zone in zones)),
        ),
        changes=in_state("air", *parts),
        reads=case.gauge_ids,
        state=stop_in_state(case.stops[-1].id),
        trench="occupied",
        manned=ends,
    )


def _vented(case: OrderCase, zones: tuple[ZoneOrder, ...]) -> str:
    """Return which vents each cut part keeps."""
    words = []
    by_tapping = {vent.tapping_id: vent.id for zone in zones for vent in zone.vents}
    for part in case.option.parts:
        if part.role == "cut part":
            vents = [by_tapping[key] for key in part.vents if key in by_tapping]
            words.append(f"{part.id} keeps {' and '.join(vents) or 'no vent'}")
    return ", ".join(words)


def reverse_rating_mbar(case: OrderCase, stop: Stop) -> float | None:
    """Return what the barriers of a stop may carry from the work side [mbar gauge]; None: not limited."""
    return next(
        (method.reverse_rating_mbar for method in case.rules.method if method.name == stop.method), None
    )


def _against(case: OrderCase, zone: ZoneOrder) -> tuple[OrderItem, ...]:
    """Return the barriers that a pressure in the zone stands against: those nearest the work."""
    return tuple(barriers[-1] for stop in zone.stops if (barriers := case.items.barriers(stop.id)))


def _test(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    """Return the air test of the tie-in: within the lowest live pressure and the reverse ratings."""
    live = [value for stop in case.stops if (value := stop.pressure_mbar)]
    rated = [value for stop in case.stops if (value := reverse_rating_mbar(case, stop))]
    most = min([*live, *rated], default=case.rules.let_by.space_mbar)
    inlet = zone.inlets[0] if zone.inlets else None
    into = case.items.air_inlet(inlet.id) if inlet else None
    minutes = case.rules.duration.tie_in_test
    return StepDraft(
        Stage.JOINTS,
        f"Test the tie-in joints of {zone.ident} with leak fluid, by air let in at "
        f"{inlet.id if inlet else 'a zone vent'}, at no more than the lowest live pressure now and no more "
        f"than the maker allows from the work side, because the stops hold against it.",
        Who.WORK,
        "Let the pressure off, repair the joint and retest.",
        uses=(*_mains(case), *((inlet.id,) if inlet else ()), *zone.gauge_ids),
        hold=True,
        expect_mbar=most,
        expect_at=zone.gauge.id if zone.gauge else next((stop.id for stop in zone.stops), ""),
        minutes=minutes,
        needs=_held(case),
        changes=(*in_state("shut", *zone.vents), *in_state("open", into)),
        reads=case.gauge_ids,
        state=stop_in_state(case.stops[-1].id),
        trench="occupied",
        pressure_tests=(
            PressureTest(
                what="tie-in",
                test_mbar=most,
                minutes=minutes,
                medium="air",
                against=tuple(barrier.id for barrier in _against(case, zone)),
            ),
        ),
    )


def _let_off(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    inlet = zone.inlets[0] if zone.inlets else None
    into = case.items.air_inlet(inlet.id) if inlet else None
    stack = zone.stack
    return StepDraft(
        Stage.TEST_LET_OFF,
        f"Shut the air in at {inlet.id if inlet else 'the zone vent'} and let the test pressure of "
        f"{zone.ident} off at {stack.id if stack else 'the zone vent'}.",
        Who.WORK,
        "Let no gas in against air under pressure.",
        uses=tuple(key for key in (inlet.id if inlet else "", stack.id if stack else "") if key)
        or tuple(stop.id for stop in zone.stops),
        minutes=case.rules.duration.vent,
        changes=(*in_state("shut", into), *in_state("open", stack)),
        state=stop_in_state(case.stops[-1].id),
    )
