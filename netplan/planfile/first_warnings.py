"""Warnings to be read first: work beside a station, and gas let back in below its least flow."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.core.units import rounded_down, rounded_up
from netplan.planfile import model
from netplan.planfile.station_words import barrier_words, is_alone, station_fallback_words

__all__ = ["first_warnings", "purge_warnings", "station_warnings"]


def station_warnings(stops: Sequence[model.Stop], fallbacks: Sequence[model.Fallback]) -> tuple[str, ...]:
    """Return a warning for each stop beside a station: its barriers, what is upstream, any fallback."""
    found = []
    for stop in stops:
        if not stop.shuts_in:
            continue
        missing = station_fallback_words(stop, fallbacks)
        then = f"; {missing}" if missing else ""
        prove = (
            "test it for let-by before relying on it"
            if is_alone(stop)
            else "prove the inlet valve, the vent and both locks on site"
        )
        found.append(f"{stop.id}: {barrier_words(stop)}{then}; {prove}")
    return tuple(found)


def purge_warnings(purge: model.Purge) -> tuple[str, ...]:
    """Return a warning where gas back in stays below its least flow, with the way out and its volume."""
    nitrogen_m3 = purge.nitrogen_m3
    if nitrogen_m3 is None and purge.reached is False:
        words = (
            "gas back in: a part of the zone has no stop with gas behind it to purge with; purge it through "
            "nitrogen by the operator's procedure (rule purge.below_least)"
        )
        return (words,)
    if nitrogen_m3 is None:
        return ()
    short = ", ".join(_flow_had(point) for point in purge.points if point.is_short)
    words = (
        f"gas back in stays below the least flow, {short}: gas and air would lie over each other; nitrogen "
        f"first, {rounded_up(nitrogen_m3, 1):.1f} m³ in the pipe, through every purge point until no air is "
        "left, then gas (rule purge.below_least)"
    )
    return (words,)


def _flow_had(point: model.PurgePoint) -> str:
    had, least = rounded_down(point.flow_in_m3h or 0.0, 1), rounded_up(point.least_m3h or 0.0, 1)
    return f"{had:.1f} m³/h of {least:.1f} m³/h to {point.id}"


def first_warnings(option: model.Option) -> tuple[str, ...]:
    """Return the warnings of an option that its cover puts before all others."""
    return (*station_warnings(option.stops, option.fallback), *purge_warnings(option.purge))
