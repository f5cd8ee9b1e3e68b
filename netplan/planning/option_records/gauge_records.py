"""Where to watch the pressure while the stops go in, and at which readings to stop."""

from __future__ import annotations

from collections.abc import Collection

from netplan.planfile import model
from netplan.planfile.naming import METERS_OFF_STATE, gauge_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork
from netplan.planning.option_records.gauge_places import gauge_places
from netplan.planning.option_records.state_readings import StateReadings

__all__ = ["gauges_of"]


def gauges_of(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork, vented: Collection[int] = ()
) -> tuple[model.Gauge, ...]:
    """Return the gauges of an option: one on the live side of every stop, one at the worst kept inlet.

    None beside a stop at a place of `vented` in the cut: what lies beyond it is vented while it is in.

    The worst kept inlet is read at the test point of a customer's own meter there: no main is tapped for it.
    Normal is the solved reading with meters off and no stop in yet. Warning and abort are those of the
    readings with all stops in; where the gauge reads more then than before, as far below what it read before.
    """
    places = {gauge_id(k): place for k, place in enumerate(gauge_places(context, option, vented))}
    readings = StateReadings(context, option, final, places)
    found = []
    for gauge, place in places.items():
        before = readings.reading(gauge, METERS_OFF_STATE)
        after = readings.reading(gauge, option.work.states[-1].name)
        # Gauges stand only where there is gas in both states, and somebody or the gauge itself has to hold.
        assert before is not None  # noqa: S101
        assert after is not None  # noqa: S101
        assert after.warning_mbar is not None  # noqa: S101
        assert after.abort_mbar is not None  # noqa: S101
        lower = min(before.expect_mbar - after.expect_mbar, 0.0)
        found.append(
            model.Gauge(
                id=gauge,
                main_id=context.request.network.pipes.id[place.pipe],
                chainage_m=place.chainage_m,
                customer=place.customer,
                normal_mbar=before.expect_mbar,
                warning_mbar=after.warning_mbar + lower,
                abort_mbar=after.abort_mbar + lower,
            )
        )
    return tuple(found)
