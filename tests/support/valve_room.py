"""Whether a valve has room for its zone vent and its gauge: for the oracles alone, sharing no code with the program.

Both are tapped on a length of main that begins at the valve's end on that side: so far from the valve, from
joints, fittings and the end of the length as the rules keep tappings, no nearer to the work than they may, and
within the rules' reach of the valve.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from netplan.network.model import Network
from netplan.rules.rule_set import Rules
from tests.support.main_lengths import Length
from tests.support.outlets import fits_outlets

Spans = list[tuple[float, float]]


def has_room(
    network: Network,
    rules: Rules,
    lengths: list[Length],
    node: int,
    spans_on: Callable[[Length], Spans],
    is_work: Callable[[int], bool],
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
    is_work : callable
        Whether a node lies in the work.
    """
    ways = [way for one in lengths for way in (one, one.turned()) if one.size_m > 0.0]
    return any(
        list(_places(network, rules, way, spans_on(way), is_work)) for way in ways if way.nodes[0] == node
    )


def _places(
    network: Network, rules: Rules, way: Length, spans: Spans, is_work: Callable[[int], bool]
) -> Iterator[float]:
    """Yield places that can be tapped [m]: of all that touch something they keep clear of, those that hold."""
    pieces, pipes = network.pieces, network.pipes
    od_m = float(pipes.od_m[pieces.pipe[way.legs[0].piece]])
    if not fits_outlets(["zone_vent", "gauge"], "valve", round(1000.0 * od_m, 3)):
        return
    clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
    begin, end = clear, way.size_m - clear
    if is_work(way.nodes[0]):
        begin = max(begin, rules.clearance.work_m)
    if is_work(way.nodes[-1]):
        end = min(end, way.size_m - rules.clearance.work_m)
    if spans:
        end = min(end, min(low for low, _ in spans) - rules.clearance.work_m)
    marks = [leg.high for leg, passed in zip(way.legs, way.passed, strict=False) if not passed]
    for leg in way.legs:
        base, pipe = float(pieces.from_m[leg.piece]), pieces.pipe[leg.piece]
        for at in network.fittings.chainage_m[network.fittings.pipe == pipe].tolist():
            if base - 1e-6 <= at <= float(pieces.to_m[leg.piece]) + 1e-6:
                marks.append(leg.low + at - base if leg.rises else leg.high - (at - base))
    for at in (begin, *(mark + clear for mark in marks)):
        apart = all(abs(at - mark) >= clear - 1e-9 for mark in marks)
        if apart and begin - 1e-9 <= at <= min(end, rules.valve.tapping_reach_m) + 1e-9:
            yield at
