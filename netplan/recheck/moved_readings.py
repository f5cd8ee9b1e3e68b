"""Pressures that the pack tells people to read, against what they would read today."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.core.errors import in_brief
from netplan.planfile.model import Option, Reading, Step
from netplan.planfile.recheck_answer import Against, LeastNow, MovedReading

__all__ = ["least_in_states", "moved_feed_tests", "moved_readings", "steps_differ"]

SAME_MBAR: Final = 0.0015
"""What rounding to 0.001 mbar may cost a comparison (own) [mbar]."""


def _key(step: Step) -> tuple[object, ...]:
    """Return what tells a step of one order from the others: what is done to what."""
    return step.stage, step.uses, tuple((one.id, one.to) for one in step.changes), step.state


def steps_differ(recorded: Option, today: Option) -> str:
    """Return in a few words where the order of the work is another one today; empty where it is the same."""
    was, now = [_key(step) for step in recorded.steps], [_key(step) for step in today.steps]
    if was == now:
        return ""
    for old, new in zip(recorded.steps, today.steps, strict=False):
        if _key(old) != _key(new):
            what = in_brief(new.does.partition(";")[0].partition(": ")[0])
            return f"the order of the work differs from step {old.n} on; today: {what}"
    return f"the order of the work has {len(now)} steps today, {len(was)} in the plan"


def _pairs(recorded: Option, today: Option) -> Iterator[tuple[Step, Reading, Reading]]:
    """Yield the same reading as planned and today: of the same step, at the same gauge."""
    now = {(_key(step), one.gauge_id): one for step in today.steps for one in step.readings}
    for step in recorded.steps:
        for one in step.readings:
            other = now.get((_key(step), one.gauge_id))
            if other is not None:
                yield step, one, other


def moved_readings(recorded: Option, today: Option, *, is_milder: bool = False) -> tuple[MovedReading, ...]:
    """Return the readings that today's records and weather move beyond what the pack allows.

    Today's reading must lie within the band of the one that the pack expects, or between those that its table
    over weather gives, each with that band. A pressure at which the last change is undone must not be higher
    today than the pack says. In weather milder than planned a higher reading is a correction.

    Parameters
    ----------
    recorded, today : Option
    is_milder : bool
    """
    places = {gauge.id: (gauge.main_id, gauge.chainage_m) for gauge in recorded.gauges}
    places |= {gauge.id: (gauge.main_id, gauge.chainage_m) for gauge in recorded.zone_gauges}
    found = []
    for step, was, now in _pairs(recorded, today):
        expected = [was.expect_mbar, *(row.expect_mbar for row in was.by_weather)]
        low, high = min(expected) - was.band_mbar, max(expected) + was.band_mbar
        inside = low - SAME_MBAR <= now.expect_mbar <= high + SAME_MBAR
        sooner = _abort_is_higher(was, now)
        if inside and not sooner:
            continue
        main_id, chainage_m = places.get(was.gauge_id, ("", None))
        found.append(
            MovedReading(
                step=step.n,
                gauge_id=was.gauge_id,
                main_id=main_id,
                chainage_m=chainage_m,
                planned_mbar=was.expect_mbar,
                band_mbar=was.band_mbar,
                today_mbar=now.expect_mbar,
                planned_abort_mbar=was.abort_mbar,
                today_abort_mbar=now.abort_mbar,
                by_milder_weather=is_milder and not sooner and now.expect_mbar > high,
            )
        )
    return tuple(found)


def _abort_is_higher(was: Reading, now: Reading) -> bool:
    """Return whether the change must be undone earlier today than the pack says."""
    if now.abort_mbar is None:
        return False
    planned = [was.abort_mbar, *(row.abort_mbar for row in was.by_weather)]
    known = [one for one in planned if one is not None]
    # A gauge shows no more than its error: within the band nobody could tell the two apart.
    return not known or now.abort_mbar > max(known) + max(SAME_MBAR, was.error_mbar or 0.0)


def moved_feed_tests(recorded: Option, today: Option) -> list[Against]:
    """Return the drops along feeds that are greater today than the pack lets them be."""
    now = {(_key(step), step.feed_test.feed_id): step.feed_test for step in today.steps if step.feed_test}
    found = []
    for step in recorded.steps:
        if step.feed_test is None:
            continue
        other = now.get((_key(step), step.feed_test.feed_id))
        if other is not None and other.drop_mbar > step.feed_test.most_mbar + SAME_MBAR:
            found.append(
                Against(
                    subject="reading",
                    what=f"step {step.n}: {step.feed_test.feed_id} drops {other.drop_mbar:.2f} mbar "
                    f"today, at most {step.feed_test.most_mbar:.2f} mbar is allowed in the pack",
                )
            )
    return found


def least_in_states(recorded: Option, today: Option, required_mbar: float) -> tuple[LeastNow, ...]:
    """Return the least kept meter inlet in every state of the work, planned and today."""
    was = {state.after_step: state for state in recorded.states}
    found = []
    for state in today.states:
        planned = was.get(state.after_step)
        least = state.least_mbar
        found.append(
            LeastNow(
                state=state.after_step,
                planned_mbar=None if planned is None else planned.least_mbar,
                today_mbar=least,
                at=state.at,
                holds=least is None or least >= required_mbar - SAME_MBAR,
            )
        )
    return tuple(found)
