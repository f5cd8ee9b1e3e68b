"""Who is fed, valves that part the network, stations and the pressures they can bring upon the mains."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.constants import PA_PER_MBAR
from netplan.core.findings import Severity
from netplan.network.checks.pipe_views import ids_of_mains, middle_of
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network
from netplan.network.topology import components, fed_nodes
from netplan.network.vocabulary import Operable, ValveState, YesNo

__all__ = [
    "check_inlet_valves",
    "check_parts_without_station",
    "check_pressure_above_mop",
    "check_sensing_points",
    "check_splitting_valves",
    "check_station_pressures",
    "check_valve_operability",
]


def check_parts_without_station(network: Network, notes: FindingLog) -> None:
    """Notice each connected part that holds mains but is reached by no station and no injection."""
    pieces = network.pieces
    part = components(network)
    fed = fed_nodes(network, injections=True)
    main = (pieces.pipe < network.pipes.n_mains) & ~fed[pieces.from_node]
    dead = np.flatnonzero(main)
    _, first = np.unique(part[pieces.from_node[dead]], return_index=True)
    count = np.bincount(part[pieces.from_node[dead]])
    where = {int(pieces.pipe[dead[place]]): int(part[pieces.from_node[dead[place]]]) for place in first}
    length = np.bincount(
        part[pieces.from_node[dead]], weights=(pieces.to_m - pieces.from_m)[dead], minlength=len(count)
    )
    notes.add_each(
        "part-without-station",
        "mains",
        ids_of_mains(network),
        np.array(sorted(where), dtype=np.int64),
        Severity.WARNING,
        lambda row: f"lies in a part of {length[where[row]]:.0f} m of main that no station feeds",
        "look for a missing main, station or valve state",
        middle_of(network),
    )


def check_splitting_valves(network: Network, notes: FindingLog) -> None:
    """Notice closed valves that part two fed areas: they are boundaries of districts."""
    valves, pieces = network.valves, network.pieces
    part = components(network)
    placed = np.flatnonzero(valves.piece >= 0)
    piece = valves.piece[placed]
    one, other = part[pieces.from_node[piece]], part[pieces.to_node[piece]]
    splitting = placed[(one != other) & (valves.state[placed] == ValveState.CLOSED)]
    fed = fed_nodes(network, injections=True)
    both = fed[pieces.from_node[valves.piece[splitting]]] & fed[pieces.to_node[valves.piece[splitting]]]
    notes.add_each(
        "boundary-valve",
        "valves",
        valves.id,
        splitting[both],
        Severity.NOTE,
        "is closed between two areas that are both fed",
        "check that it is a boundary valve",
        _valve_places(network),
    )
    notes.add_each(
        "closed-valve-cuts-off",
        "valves",
        valves.id,
        splitting[~both],
        Severity.WARNING,
        "is closed and leaves mains behind it without a station",
        "check its recorded state",
        _valve_places(network),
    )


def check_valve_operability(network: Network, notes: FindingLog) -> None:
    """Notice placed valves of known state that may not be operable: none of them can be a stop."""
    valves = network.valves
    xy = _valve_places(network)
    placed = valves.piece >= 0
    notes.add_each(
        "valve-operability-unknown",
        "valves",
        valves.id,
        placed & (valves.operable == Operable.UNKNOWN) & (valves.state != ValveState.UNKNOWN),
        Severity.NOTE,
        "may not be operable; it is never a stop",
        "record whether it can be worked",
        xy,
    )


def _valve_places(network: Network) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    xy = np.full((len(network.valves), 2), np.nan)
    placed = np.flatnonzero(network.valves.piece >= 0)
    node = network.pieces.from_node[network.valves.piece[placed]]
    xy[placed] = np.column_stack([network.nodes.x_m[node], network.nodes.y_m[node]])
    return xy


def check_pressure_above_mop(network: Network, notes: FindingLog) -> None:
    """Notice mains whose greatest operating pressure is below what a station sets or can reach."""
    pipes, stations, pieces = network.pipes, network.stations, network.pieces
    part = components(network)
    placed = stations.node >= 0
    highest = np.full(int(part.max(initial=0)) + 1, -np.inf)
    reach = np.fmax(stations.outlet_pa_gauge, stations.max_outlet_pa_gauge)
    np.fmax.at(highest, part[stations.node[placed]], reach[placed])
    set_at = np.full(len(highest), -np.inf)
    np.fmax.at(set_at, part[stations.node[placed]], stations.outlet_pa_gauge[placed])
    first = np.searchsorted(pieces.pipe, np.arange(pipes.n_mains))
    own = part[pieces.from_node[first]]
    mop = pipes.mop_pa_gauge[: pipes.n_mains]
    above, in_fault = set_at[own] > mop, highest[own] > mop
    for code, rows, pressure, words in (
        ("pressure-above-mop", above, set_at, "the set outlet pressure of its station"),
        ("fault-pressure-above-mop", in_fault & ~above, highest, "the fault pressure of its station"),
    ):
        notes.add_each(
            code,
            "mains",
            ids_of_mains(network),
            rows,
            Severity.WARNING,
            _above(own, mop, pressure, words),
            "check mop_mbar, and the setting of the station",
            middle_of(network),
        )


def _above(
    own: NDArray[np.int32], mop: NDArray[np.float64], pressure: NDArray[np.float64], words: str
) -> _Line:
    return _Line(own, mop, pressure, words)


class _Line:
    """Words for one main; a class, so that each kind of finding keeps its own figures."""

    def __init__(
        self, own: NDArray[np.int32], mop: NDArray[np.float64], pressure: NDArray[np.float64], words: str
    ) -> None:
        self._own, self._mop, self._pressure, self._words = own, mop, pressure, words

    def __call__(self, row: int) -> str:
        high, limit = self._pressure[self._own[row]] / PA_PER_MBAR, self._mop[row] / PA_PER_MBAR
        return f"{self._words}, {high:g} mbar, is above its greatest operating pressure, {limit:g} mbar"


def check_station_pressures(network: Network, notes: FindingLog) -> None:
    """Notice stations without a fault pressure or with one below the outlet pressure."""
    stations = network.stations
    xy = _places(network)
    notes.add_each(
        "no-fault-pressure",
        "regulators",
        stations.id,
        np.isnan(stations.max_outlet_pa_gauge),
        Severity.WARNING,
        "has no recorded fault pressure; stops are rated against the mains' own limit instead",
        "give max_outlet_mbar: the relief or slam-shut setting",
        xy,
    )
    notes.add_each(
        "odd-fault-pressure",
        "regulators",
        stations.id,
        stations.max_outlet_pa_gauge < stations.outlet_pa_gauge,
        Severity.WARNING,
        "has a fault pressure below its set outlet pressure",
        "correct outlet_mbar or max_outlet_mbar",
        xy,
    )
    notes.add_each(
        "odd-capacity",
        "regulators",
        stations.id,
        stations.capacity_m3_per_s_std <= 0,
        Severity.WARNING,
        "has no capacity above zero",
        "correct capacity_m3h",
        xy,
    )


def check_inlet_valves(network: Network, notes: FindingLog) -> None:
    """Notice inlet valves of stations that cannot count as a barrier behind the outlet valve."""
    stations, xy = network.stations, _places(network)
    named = stations.inlet_valve.numpy() != ""
    notes.add_each(
        "inlet-valve-not-usable",
        "regulators",
        stations.id,
        named & ~stations.inlet_is_operable,
        Severity.WARNING,
        lambda row: (
            f"names inlet valve {stations.inlet_valve[row]}, which is not in the valves layer, not known to "
            "be operable, or on the outlet side; it does not count as a barrier"
        ),
        "correct inlet_valve, or record in the valves layer that the valve can be worked",
        xy,
    )
    notes.add_each(
        "no-vent-between",
        "regulators",
        stations.id,
        named & stations.inlet_is_operable & (stations.vent_between != YesNo.YES),
        Severity.NOTE,
        "has an inlet valve, but no vent is recorded between it and the outlet valve; shut, the two count as "
        "one barrier",
        "record vent_between",
        xy,
    )


def check_sensing_points(network: Network, notes: FindingLog) -> None:
    """Notice stations without a sensing point and sensing points without a station."""
    if "sensing_points" in network.recorded:
        sensed = np.zeros(len(network.stations) + 1, dtype=bool)
        sensed[network.sensing.station] = True
        notes.add_each(
            "no-sensing-point",
            "regulators",
            network.stations.id,
            ~sensed[:-1],
            Severity.WARNING,
            "has no recorded sensing point; it is taken to sense at its outlet",
            "record where its control line senses the pressure",
            _places(network),
        )
    else:
        notes.add(
            "no-sensing-points",
            "sensing_points",
            "",
            Severity.WARNING,
            "no sensing point is recorded; every station is taken to sense at its outlet",
            "record where control lines sense the pressure",
        )
    notes.add_each(
        "sensing-without-station",
        "sensing_points",
        None,
        network.sensing.station < 0,
        Severity.WARNING,
        "names no live station",
        "correct station_id",
    )


def _places(network: Network) -> NDArray[np.float64]:
    node = network.stations.node
    xy = np.column_stack([network.nodes.x_m[node], network.nodes.y_m[node]])
    xy[node < 0] = np.nan
    return xy
