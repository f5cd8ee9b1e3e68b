"""Where a valve's zone vent and gauge are tapped beside it: for the oracles alone, sharing no code with the program.

Both are tapped on a length of main that begins at the valve's end on that side: so far from the valve, from
joints, fittings and the end of the length as the rules keep tappings, no nearer to the work than they may, and
within the rules' reach of the valve.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from netplan.network.model import Network
from netplan.rules.rule_set import Rules
from tests.support.main_lengths import Length
from tests.support.outlets import fits_outlets

__all__ = ["Spans", "Tapping", "has_room", "nearest_other", "nearest_place"]

Spans = list[tuple[float, float]]
Tapping = tuple[str, int, float]
"""Role, main and chainage [m]."""


def has_room(
    network: Network,
    rules: Rules,
    lengths: list[Length],
    node: int,
    spans_on: Callable[[Length], Spans],
    to_work: Callable[[int], float],
) -> bool:
    """Return whether something can be tapped beside a valve on the side of one of its nodes.

    Parameters
    ----------
    lengths : list of Length
        Every length of main of the network, valves among them.
    node : int
        The valve's end on that side.
    spans_on : callable
        Returns what the work covers of a length, along it [m].
    to_work : callable
        How far a node is from the work along the mains [m]; 0 in it.
    """
    return any(
        list(_places(network, rules, way, 0.0, (), spans_on(way), to_work))
        for way in _starting(lengths, node)
    )


def nearest_place(
    network: Network,
    rules: Rules,
    lengths: list[Length],
    node: int,
    own_pipe: int,
    wanted: float,
    others: Sequence[Tapping],
    spans_on: Callable[[Length], Spans],
    to_work: Callable[[int], float],
) -> tuple[int, float] | None:
    """Return main and chainage [m] nearest to a distance from a valve that can be tapped; None for none.

    The valve's own main goes first, then the others in their order; the first that has a place is taken.

    Parameters
    ----------
    own_pipe : int
        The main that the valve is on.
    wanted : float
        Distance from the valve [m].
    others : sequence of tuple
        Role, main and chainage [m] of what is tapped already: kept clear of, and nothing beyond a barrier.
    """
    pipe_of = network.pieces.pipe
    ways = _starting(lengths, node)
    first = [(int(pipe_of[way.legs[0].piece]), way.legs[0].piece) for way in ways]
    for _, way in sorted(zip(first, ways, strict=True), key=lambda pair: (pair[0][0] != own_pipe, pair[0])):
        places = list(_places(network, rules, way, wanted, others, spans_on(way), to_work))
        if places:
            return place_on(network, way, min(places, key=lambda at: (round(abs(at - wanted), 9), at)))
    return None


def nearest_other(
    network: Network, lengths: list[Length], node: int, role: str, others: Sequence[Tapping]
) -> tuple[int, float] | None:
    """Return main and chainage [m] of the tapping of a role nearest along the mains from a valve's end."""
    found = [
        (at, way)
        for way in _starting(lengths, node)
        for at in _along(network, way, [one for one in others if one[0] == role])
    ]
    if not found:
        return None
    at, way = min(found, key=lambda pair: pair[0])
    return place_on(network, way, at)


def place_on(network: Network, way: Length, at: float) -> tuple[int, float]:
    """Return main and chainage [m] of a place along a length."""
    leg, pieces = way.leg_at(at), network.pieces
    low, high = float(pieces.from_m[leg.piece]), float(pieces.to_m[leg.piece])
    return int(pieces.pipe[leg.piece]), low + at - leg.low if leg.rises else high - (at - leg.low)


def _starting(lengths: list[Length], node: int) -> list[Length]:
    ways = [way for one in lengths for way in (one, one.turned()) if one.size_m > 0.0]
    return [way for way in ways if way.nodes[0] == node]


def _along(network: Network, way: Length, tappings: Sequence[Tapping]) -> list[float]:
    """Return how far along a length tappings lie [m], those that do."""
    found = []
    for leg in way.legs:
        low, high = float(network.pieces.from_m[leg.piece]), float(network.pieces.to_m[leg.piece])
        for _, pipe, chainage in tappings:
            if pipe == network.pieces.pipe[leg.piece] and low - 1e-9 <= chainage <= high + 1e-9:
                found.append(leg.low + (chainage - low if leg.rises else high - chainage))
    return found


def _places(
    network: Network,
    rules: Rules,
    way: Length,
    wanted: float,
    others: Sequence[Tapping],
    spans: Spans,
    to_work: Callable[[int], float],
) -> Iterator[float]:
    """Yield places that can be tapped [m]: the wanted one, and of all that touch a limit those that hold."""
    pieces, pipes = network.pieces, network.pipes
    od_m = float(pipes.od_m[pieces.pipe[way.legs[0].piece]])
    if not fits_outlets(["zone_vent", "gauge"], "valve", round(1000.0 * od_m, 3)):
        return
    clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
    begin, end = clear, way.size_m - clear
    begin = max(begin, rules.clearance.work_m - to_work(way.nodes[0]))
    end = min(end, way.size_m - rules.clearance.work_m + to_work(way.nodes[-1]))
    if spans:
        end = min(end, min(low for low, _ in spans) - rules.clearance.work_m)
    marks = [leg.high for leg, passed in zip(way.legs, way.passed, strict=False) if not passed]
    marks += way.fittings
    marks += _along(network, way, others)
    end = min([end, rules.valve.tapping_reach_m])
    end = min([end, *_along(network, way, [one for one in others if one[0] == "barrier"])])
    limits = (wanted, begin, end, *(mark + clear for mark in marks), *(mark - clear for mark in marks))
    for at in limits:
        apart = all(abs(at - mark) >= clear - 1e-9 for mark in marks)
        if apart and begin - 1e-9 <= at <= end + 1e-9:
            yield at
