"""Laws 2, 7, 8 and 9: a baseline, states that are solved and hold, readings of their own state."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import Gauge, Reading, State, Step, ZoneGauge
from netplan.planfile.naming import METERS_OFF_STATE, NORMAL_STATE
from netplan.procedure.order_laws.item_states import Moment, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach
from netplan.procedure.order_laws.laws_of_tappings import tapping_of_gauge
from netplan.procedure.order_laws.network_states import state_names

__all__ = ["baseline_before_change", "kept_meters_hold", "readings_of_their_own_state", "states_are_solved"]

ROUNDING_MBAR: Final = 1.5e-3
"""What writing pressures to 0.001 mbar may cost (own) [mbar]."""
WEATHER_MBAR: Final = 2e-3
"""How far an expected reading may lie outside those by weather, both rounded (own) [mbar]."""
_STATE_PREFIXES: Final = ("purge",)


def _changes_network(moment: Moment) -> tuple[str, ...]:
    """Return what a step changes in the gas network, tappings and proofs left out."""
    turned = {
        "barrier": {"set", "accepted", "withdrawn"},
        "valve": {"open", "shut"},
        "feed": {"purged", "open", "shut"},
        "meter": {"off", "sealed", "relit"},
        "vent": {"open"},
    }
    return tuple(
        change.id for change in moment.step.changes if change.to in turned.get(change.kind, frozenset())
    )


def baseline_before_change(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 2: every gauge is read at normal running, as a hold, before anything is changed."""
    wanted = {gauge.id for gauge in walk.option.gauges}
    for moment in walk.moments:
        step = moment.step
        read = {reading.gauge_id for reading in step.readings}
        if step.hold and step.state == NORMAL_STATE and wanted <= read:
            return
        changed = _changes_network(moment)
        if changed:
            yield LawBreach(2, step.n, changed, "changed before the baseline of every gauge was read")
            return
    if walk.moments:
        yield LawBreach(2, None, (), "no hold reads the baseline of every gauge")


def states_are_solved(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 7: every state is solved, those of withdrawal and of the draw of a purge too."""
    solved = {state.after_step: state for state in walk.option.states}
    order = [state.after_step for state in walk.option.states]
    base = solved.get(METERS_OFF_STATE)
    known_least = base is not None and base.least_mbar is not None
    went_in: list[str] = []
    pending: tuple[str, int] | None = None
    for moment, names in state_names(walk):
        step = moment.step
        if step.state and step.state not in solved:
            yield LawBreach(7, step.n, (), f"state {step.state!r} is not solved")
        elif step.state and known_least and solved[step.state].least_mbar is None:
            yield LawBreach(7, step.n, (), f"state {step.state!r} has no pressure: somebody kept has no gas")
        if names.made and pending:
            yield LawBreach(7, pending[1], (), f"state {pending[0]!r} is named by no step")
        pending = (names.made, step.n) if names.made else pending
        if pending and step.state == pending[0]:
            pending = None
        if step.state and names.may is not None and step.state not in names.may:
            what = f"names state {step.state!r}, the network is in {' or '.join(sorted(names.may))}"
            yield LawBreach(7, step.n, (), what)
        if names.made.endswith(" in") and names.made in solved:
            went_in.append(names.made)
        yield from _purge_draw(walk, moment)
    if pending:
        yield LawBreach(7, pending[1], (), f"state {pending[0]!r} is named by no step")
    if went_in != sorted(went_in, key=order.index):
        yield LawBreach(7, None, tuple(went_in), "stops go in in another order than was solved")


def _purge_draw(walk: OrderWalk, moment: Moment) -> Iterator[LawBreach]:
    purge = moment.step.purge
    if purge is None or purge.medium != "gas" or purge.part_id not in walk.zone_parts:
        return
    if walk.option.purge.loads and not moment.step.state.startswith(_STATE_PREFIXES):
        ids = (purge.inlet, purge.outlet)
        yield LawBreach(7, moment.step.n, ids, "gas is drawn for a purge, but the step names no state of it")


def kept_meters_hold(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 8: kept meters have at least the minimum, and no more than the highest, in every state."""
    named = {moment.step.state: moment.step.n for moment in reversed(walk.moments)}
    for state in walk.option.states:
        yield from _holds(walk, state, named.get(state.after_step))


def _holds(walk: OrderWalk, state: State, step_n: int | None) -> Iterator[LawBreach]:
    rules, least = walk.rules.pressure, state.least_mbar
    if least is None or state.at in walk.option.pressures.weak_before:
        return
    if least < rules.minimum_mbar - ROUNDING_MBAR:
        what = f"state {state.after_step!r} leaves {least:g} mbar, below {rules.minimum_mbar:g}"
        yield LawBreach(8, step_n, (state.at,), what)
    if least > rules.maximum_mbar + ROUNDING_MBAR and state.at not in walk.option.pressures.high_before:
        what = f"state {state.after_step!r} gives {least:g} mbar, above {rules.maximum_mbar:g}"
        yield LawBreach(8, step_n, (state.at,), what)


def readings_of_their_own_state(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 9: a reading is of the state that the network is in, at a gauge that is there."""
    solved = {state.after_step for state in walk.option.states}
    seen: dict[tuple[str, str, float | None, int | None], float] = {}
    for moment, names in state_names(walk):
        step = moment.step
        if not step.readings:
            continue
        of_network = [one for one in step.readings if not _is_zone_gauge(walk, one)]
        if of_network and step.state not in solved:
            yield LawBreach(9, step.n, (), f"readings of state {step.state!r}, which is not solved")
        elif of_network and names.may is not None and step.state not in names.may:
            meant = " or ".join(sorted(names.may))
            yield LawBreach(9, step.n, (), f"readings of state {step.state!r}, but the network is in {meant}")
        for reading in step.readings:
            yield from _at_a_gauge(walk, moment, reading)
            yield from _limits_agree(walk, moment, reading)
            # Once meters are relit more is drawn in a state of the same name.
            if names.may is not None and not _is_zone_gauge(walk, reading):
                yield from _same_as_before(step, reading, seen)


def _same_as_before(
    step: Step, reading: Reading, seen: dict[tuple[str, str, float | None, int | None], float]
) -> Iterator[LawBreach]:
    """Yield a reading that differs from another of the same gauge, state, hour and weather."""
    found = [(reading.air_temp_c, reading.hour, reading.expect_mbar)]
    found += [(one.air_temp_c, one.hour, one.expect_mbar) for one in reading.by_weather]
    for air_temp_c, hour, expect_mbar in found:
        known = seen.setdefault((reading.gauge_id, step.state, air_temp_c, hour), expect_mbar)
        if abs(known - expect_mbar) > WEATHER_MBAR:
            what = f"expects {expect_mbar:g} mbar, {known:g} at another step in state {step.state!r}"
            yield LawBreach(9, step.n, (reading.gauge_id,), what)
            return


def _is_zone_gauge(walk: OrderWalk, reading: Reading) -> bool:
    return any(gauge.id == reading.gauge_id for gauge in walk.option.zone_gauges)


def _at_a_gauge(walk: OrderWalk, moment: Moment, reading: Reading) -> Iterator[LawBreach]:
    gauges: dict[str, Gauge | ZoneGauge] = {gauge.id: gauge for gauge in walk.option.zone_gauges}
    gauges |= {gauge.id: gauge for gauge in walk.option.gauges}
    gauge = gauges.get(reading.gauge_id)
    n = moment.step.n
    if gauge is None:
        yield LawBreach(9, n, (reading.gauge_id,), "a reading at a gauge that the plan does not have")
        return
    tapping = tapping_of_gauge(walk, gauge)
    if tapping is None:
        if isinstance(gauge, ZoneGauge) or not gauge.customer:
            yield LawBreach(9, n, (reading.gauge_id,), "the gauge is on no outlet and at no meter")
    elif moment.before.get(("tapping", tapping.id)) != "drilled":
        yield LawBreach(9, n, (reading.gauge_id, tapping.id), "read before its outlet is drilled, or after")


def _limits_agree(walk: OrderWalk, moment: Moment, reading: Reading) -> Iterator[LawBreach]:
    """Yield where the limits of a reading do not stand in their order, or its band passes an abort."""
    low, high = reading.expect_mbar - reading.band_mbar, reading.expect_mbar + reading.band_mbar
    abort, above, warning = reading.abort_mbar, reading.abort_high_mbar, reading.warning_mbar
    below = abort is not None and low < abort - ROUNDING_MBAR
    over = above is not None and high > above + ROUNDING_MBAR
    unordered = abort is not None and warning is not None and warning < abort - ROUNDING_MBAR
    error, finest = reading.error_mbar, walk.rules.gauge.finest_error_mbar
    if error is not None and error < finest:
        # Nothing is left for a band then: that its limits are out of order says no more.
        what = f"the margin there needs a gauge with an error of {error:g} mbar, finer than {finest:g}"
        yield LawBreach(9, moment.step.n, (reading.gauge_id,), what)
    elif below or over or unordered or reading.band_mbar <= 0.0:
        yield LawBreach(9, moment.step.n, (reading.gauge_id,), "band, warning and abort are out of order")
    by_weather = [one.expect_mbar for one in reading.by_weather]
    if by_weather and not (
        min(by_weather) - WEATHER_MBAR <= reading.expect_mbar <= max(by_weather) + WEATHER_MBAR
    ):
        what = "the expected reading is none of those by weather"
        yield LawBreach(9, moment.step.n, (reading.gauge_id,), what)
