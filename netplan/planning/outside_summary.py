"""What lies beyond the subnetwork that a plan is made in: it stays as it is, and counts in a few figures."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["LoadedStation", "Lowest", "OutsideSummary", "lowest_of"]


@dataclass(frozen=True, slots=True)
class Lowest:
    """A meter inlet: its pressure [Pa gauge] and its customer's id."""

    pressure_pa_gauge: float
    customer_id: str


@dataclass(frozen=True, slots=True)
class LoadedStation:
    """A station, the greatest share of its capacity that it gives [-], and its capacity [m³/s at 15 °C]."""

    station_id: str
    share: float
    capacity_m3_per_s_std: float


@dataclass(frozen=True, slots=True)
class OutsideSummary:
    """The rest of the network; nothing where a plan is made in all of it.

    Parameters
    ----------
    lowest, held : tuples of (Lowest or None)
        Of all its meter inlets, and of those that held before any stop, in each hour to check; empty or None
        without any.
    weak, high : tuples of str
        Customers that fall short in some hour before any stop, and those above the highest allowed pressure.
    station_flow_m3_per_s_std : tuple of dict
        What its stations give in each hour to check, by id [m³/s at 15 °C, 101.325 kPa].
    loaded : tuple of LoadedStation
        Its stations that have a capacity.
    on_no_pipe : int
        Customers that lie on no pipe.
    """

    lowest: tuple[Lowest | None, ...] = ()
    held: tuple[Lowest | None, ...] = ()
    weak: tuple[str, ...] = ()
    high: tuple[str, ...] = ()
    station_flow_m3_per_s_std: tuple[dict[str, float], ...] = ()
    loaded: tuple[LoadedStation, ...] = ()
    on_no_pipe: int = 0


def lowest_of(inlets: tuple[Lowest | None, ...]) -> tuple[Lowest, int] | None:
    """Return the lowest inlet of all hours and the place of its hour, the first of several."""
    known = [(one.pressure_pa_gauge, place, one) for place, one in enumerate(inlets) if one is not None]
    if not known:
        return None
    _, place, lowest = min(known, key=lambda one: one[:2])
    return lowest, place
