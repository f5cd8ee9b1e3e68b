"""The rows of a loss sheet in their order, with their ids."""

from __future__ import annotations

from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.loss_sheet.loss_case import loss_case
from netplan.planning.loss_sheet.site_rows import site_rows
from netplan.planning.loss_sheet.stop_rows import stop_rows
from netplan.planning.loss_sheet.supply_rows import feed_rows, gauge_rows, station_rows

__all__ = ["loss_sheet"]


def loss_sheet(
    context: PlanningContext, priced: EvaluatedOption, option: model.Option
) -> tuple[model.LossRow, ...]:
    """Return what to do when one thing fails in each state of the work, L1 first.

    Every pressure is solved once, with all stops in and everybody off who is off by plan, at the hour of the
    greatest total; states in which the same gas goes the same way share it.

    Parameters
    ----------
    context, priced
    option : Option
        As it stands in the plan, with its items.
    """
    case = loss_case(context, priced, option)
    rows = [row for part in (stop_rows, feed_rows, station_rows, gauge_rows, site_rows) for row in part(case)]
    return tuple(row.model_copy(update={"id": f"L{n}"}) for n, row in enumerate(rows, start=1))
