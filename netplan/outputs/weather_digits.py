"""Digits of temperatures in what people read of a plan: none that holds reads like one that does not."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.outputs.number_format import Figures
from netplan.planfile.model import Plan

__all__ = ["figures_for_weather"]


def figures_for_weather(units: Figures, *plans: Plan) -> Figures:
    """Return the figures with digits that tell the planned air temperatures from the coldest held for.

    Parameters
    ----------
    units : Figures
    *plans : Plan
        What is read side by side.
    """
    planned = [plan.conditions.air_temp_c for plan in plans]
    return units.telling_apart("temperature", planned, (limit for plan in plans for limit in _limits(plan)))


def _limits(plan: Plan) -> Iterator[float | None]:
    for option in plan.options:
        yield from (bypass.minimum_air_temp_c for bypass in option.bypasses)
        yield from (line.coldest_air_temp_c for line in option.weather)
