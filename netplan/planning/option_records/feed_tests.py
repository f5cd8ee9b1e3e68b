"""The greatest drop that a bypass may have at its planned flow, and the flow of air that shows it."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down
from netplan.feeds import SizedFeed
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.option_records.gauge_places import felt_inlets

__all__ = ["feed_tests"]

MOST_TIMES_DROP: Final = 1.8
"""Times its planned drop that a bypass may have at most, whatever the margin (own) [-]. One that carries half
the planned flow at the planned drop has at least twice that drop at the planned flow, in laminar flow, and
more in turbulent: it always fails."""


def feed_tests(
    context: PlanningContext, option: EvaluatedOption, bypasses: tuple[model.Bypass, ...]
) -> dict[str, model.FeedTest]:
    """Return the test of each bypass or hose, by its id.

    The resistance may be (drop + half the margin) / drop times the planned one: what it takes more is taken
    off the meters behind it, one for one at most. The margin is what the first kept meter has above its
    minimum with all stops in, less the error of a gauge.
    """
    half_margin_pa = _half_margin_pa(context, option)
    heavier = 1.0 / context.gas.relative_density()
    hoses = [f for f in option.feeds if f is not None and f.size.feed.valve_link < 0]
    return {
        bypass.id: _test(bypass, feed, half_margin_pa, heavier)
        for bypass, feed in zip(bypasses, hoses, strict=True)
    }


def _test(bypass: model.Bypass, feed: SizedFeed, half_margin_pa: float, heavier: float) -> model.FeedTest:
    drop_mbar = abs(feed.drop_pa) / PA_PER_MBAR
    more_mbar = min(half_margin_pa / PA_PER_MBAR, (MOST_TIMES_DROP - 1.0) * drop_mbar)
    return model.FeedTest(
        feed_id=bypass.id,
        flow_m3h=abs(bypass.flow_m3h),
        drop_mbar=drop_mbar,
        most_mbar=drop_mbar + more_mbar,
        air_drop_mbar=heavier * drop_mbar,
        most_air_mbar=heavier * (drop_mbar + more_mbar),
        error_mbar=rounded_down(heavier * more_mbar / 2.0, 3),
    )


def _half_margin_pa(context: PlanningContext, option: EvaluatedOption) -> float:
    rules = context.request.rules
    nodes = felt_inlets(context, option)
    least = [
        float(np.nanmin(state.pressure_pa_gauge[nodes]))
        for state in option.work.states[-1].states
        if len(nodes)
    ]
    lowest = min(least, default=math.inf)
    spare = lowest - (rules.pressure.minimum_mbar + rules.gauge.error_mbar) * PA_PER_MBAR
    return max(spare, 0.0) / 2.0
