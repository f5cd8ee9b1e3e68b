"""Stations that the stops leave with nothing to feed, and whether their inlet counts as a barrier."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.network.model import Network
from netplan.network.vocabulary import YesNo
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import FailureCase
from netplan.rules import MethodKind, Rules

__all__ = [
    "ShutInStation",
    "barriers_of",
    "may_count_inlets",
    "stations_at_stop",
    "stations_shut_in",
    "vented_places",
]


@dataclass(frozen=True, slots=True)
class ShutInStation:
    """A station that carries nothing while the stops are in.

    Parameters
    ----------
    row : int
        In `Network.stations`.
    stops : tuple of int
        Places in the cut of the stops on whose live side it stands.
    inlet_counts : bool
        Whether its inlet valve, shut and locked with the space between vented, counts as a barrier.
    why : str
        What says so, or what is missing.
    """

    row: int
    stops: tuple[int, ...]
    inlet_counts: bool
    why: str


def stations_shut_in(case: FailureCase, option: EvaluatedOption) -> tuple[ShutInStation, ...]:
    """Return the stations whose part of the network serves nobody once the stops and all feeds are in.

    Part by part: no kept customer is attached there, and it does not go on beyond the network.

    Parameters
    ----------
    case : FailureCase
        Of the option.
    option : EvaluatedOption
    """
    context = case.context
    network, rules = context.request.network, context.request.rules
    label = case.labels(case.planned)
    served = case.served(label, option.gone)
    injected = {int(label[node]) for node in network.injections.node.tolist() if node >= 0}
    found = []
    for row, node in enumerate(network.stations.node.tolist()):
        part = int(label[node])
        if node < 0 or part in served:
            continue
        stops = tuple(k for k, stop in enumerate(option.cut.stops) if int(label[stop.live_node]) == part)
        counts, why = _inlet_counts(network, rules, row)
        if counts and part in injected:
            counts, why = False, "gas from an injection point may stand behind the outlet valve as well"
        found.append(ShutInStation(row, stops, counts, why))
    return tuple(found)


def _inlet_counts(network: Network, rules: Rules, row: int) -> tuple[bool, str]:
    """Return whether a station's inlet may be shut as a barrier, and why, in words."""
    stations = network.stations
    name = stations.inlet_valve[row]
    if name and not stations.inlet_is_operable[row]:
        return False, f"its recorded inlet valve {name} is not known to be usable"
    vent = stations.vent_between[row]
    if vent == YesNo.NO:
        return False, "no vent lies between its inlet and its outlet valve as recorded"
    if name and vent == YesNo.YES:
        return True, f"inlet valve {name} and the vent between are recorded"
    if rules.station.inlet_shut_counts:
        return True, "rule station.inlet_shut_counts"
    if name:
        return False, f"inlet valve {name} is recorded, a vent between is not"
    return False, "no inlet valve is recorded"


def stations_at_stop(shut_in: tuple[ShutInStation, ...], place: int) -> tuple[ShutInStation, ...]:
    """Return those of the stations that stand behind the stop at a place in the cut."""
    return tuple(one for one in shut_in if place in one.stops)


def may_count_inlets(network: Network, rules: Rules) -> bool:
    """Return whether the inlet of any station at all may count as a barrier."""
    return any(
        _inlet_counts(network, rules, row)[0]
        for row, node in enumerate(network.stations.node.tolist())
        if node >= 0
    )


def vented_places(
    option: EvaluatedOption, shut_in: tuple[ShutInStation, ...], rules: Rules
) -> frozenset[int]:
    """Return the places in the cut of valves behind which the inlets of all stations count as a barrier."""
    kind = {method.name: method.kind for method in rules.method}
    found = set()
    for place, stop in enumerate(option.cut.stops):
        behind = stations_at_stop(shut_in, place)
        if kind[stop.method] is MethodKind.VALVE and behind and all(one.inlet_counts for one in behind):
            found.add(place)
    return frozenset(found)


def barriers_of(option: EvaluatedOption, shut_in: tuple[ShutInStation, ...], rules: Rules) -> tuple[int, ...]:
    """Return how many barriers each stop of an option has, inlets of stations behind a valve counted."""
    vented = vented_places(option, shut_in, rules)
    return tuple(2 if place in vented else stop.barriers for place, stop in enumerate(option.cut.stops))
