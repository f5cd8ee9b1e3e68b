"""What is said of a stop beside a regulator station, in every paper alike."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.planfile.model import Fallback, StationBehind, Stop

__all__ = [
    "SHUT_IN",
    "barrier_count",
    "barrier_words",
    "has_fallback",
    "inlet_words",
    "is_alone",
    "is_inlet_barrier",
    "station_fallback_words",
]

SHUT_IN = "shut in: carries nothing"


def has_fallback(stop: Stop, fallbacks: Sequence[Fallback]) -> bool:
    """Return whether something is planned for every failure of a stop."""
    own = [one for one in fallbacks if one.stop_id == stop.id]
    return bool(own) and all(one.minutes is not None for one in own)


def is_alone(stop: Stop) -> bool:
    """Return whether one barrier of a stop alone stands between the work and a station."""
    return bool(stop.shuts_in) and stop.barriers == 1


def is_inlet_barrier(stop: Stop) -> bool:
    """Return whether the inlets of the stations behind a stop are its outer barrier."""
    return stop.kind == "valve" and bool(stop.shuts_in) and all(one.inlet_counts for one in stop.shuts_in)


def inlet_words(one: StationBehind) -> str:
    """Return what shuts a station's inlet."""
    return f"inlet valve {one.inlet_valve_id}" if one.inlet_valve_id else "the inlet valve"


def station_fallback_words(stop: Stop, fallbacks: Sequence[Fallback]) -> str:
    """Return whether a stop beside a station has a fallback; empty where it has one for every failure."""
    if has_fallback(stop, fallbacks):
        return ""
    notes = [one.note for one in fallbacks if one.stop_id == stop.id and one.minutes is None]
    return notes[0] if notes else "no fallback is planned"


def barrier_words(stop: Stop) -> str:
    """Return what stands between the work and each station that a stop shuts in; empty without one."""
    what = f"valve {stop.valve_id}" if stop.valve_id else f"the {stop.method}"
    lines = []
    for one in stop.shuts_in:
        fault = (
            "fault pressure not recorded" if one.fault_mbar is None else f"{one.fault_mbar:g} mbar in a fault"
        )
        upstream = f"station {one.station_id} (outlet {one.outlet_mbar:g} mbar, {fault})"
        if is_alone(stop):
            lines.append(f"1 barrier: {what} alone stands between the work and {upstream}; {one.why}")
        elif one.inlet_counts:
            lines.append(
                f"2 barriers between the work and {upstream}: {what}, and {inlet_words(one)} shut and locked "
                f"with the space between vented; {one.why}"
            )
        else:
            lines.append(f"{stop.barriers} barriers: {what} stands between the work and {upstream}")
    return "; ".join(lines)


def barrier_count(stops: Sequence[Stop]) -> str:
    """Return how many barriers the stops have, those with one named first."""
    one = [stop.id for stop in stops if stop.barriers == 1]
    two = [stop.id for stop in stops if stop.barriers == 2]
    parts = [f"{number} at {', '.join(ids)}" for number, ids in (("1 only", one), ("2", two)) if ids]
    return "; ".join(parts)
