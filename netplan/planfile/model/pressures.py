"""Pressures, states on the way, gauges."""

from __future__ import annotations

from pydantic import Field

from netplan.planfile.model.part import Part
from netplan.planfile.numbers import HeldPressure, Metres, NeededPressure, Rounded3

__all__ = ["Gauge", "LeastPressure", "Pressures", "State"]


class LeastPressure(Part):
    """The least pressure of kept meter inlets in any hour of the window, whose it is, and in which hour."""

    least_mbar: HeldPressure | None
    at: str
    hour: str = ""


class Pressures(Part):
    """Least pressures before and after, and the customers that failed already before any stop."""

    before: LeastPressure
    after: LeastPressure
    with_local_peak: LeastPressure | None = Field(
        default=None,
        description="of the kept meter inlets that the work lowers: the least while the few customers at the "
        "end of a branch peak together; none where the work lowers none",
    )
    weak_before: tuple[str, ...] = Field(default=(), description="customers below minimum before any stop")
    high_before: tuple[str, ...] = Field(
        default=(), description="customers above the highest allowed pressure before any stop"
    )


class State(Part):
    """A state of the network on the way: after which step, how low, what each station gives [m³/h].

    The least pressure is that of the hour named, the worst of the window for this state; station flows are
    those of the hour in which most is drawn in all.
    """

    after_step: str
    least_mbar: HeldPressure | None
    at: str
    station_flows_m3h: dict[str, Rounded3]
    hour: str = ""


class Gauge(Part):
    """Where to watch the pressure while the stops go in [mbar gauge]; readings are never rounded down."""

    id: str
    main_id: str
    chainage_m: Metres
    normal_mbar: NeededPressure
    warning_mbar: NeededPressure
    abort_mbar: NeededPressure
