"""Which pipes that are set aside meet what an option stops, empties, feeds or feeds through."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from netplan.core.arrays import Flags
from netplan.network.linear_reference import piece_at
from netplan.network.model import Network
from netplan.network.topology import fed_nodes
from netplan.planfile.model import Option
from netplan.planfile.result import PlanResult
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import PieceState

__all__ = ["touched_pipes"]


def touched_pipes(result: PlanResult) -> frozenset[tuple[bool, str]]:
    """Return the pipes taken as not live that meet what any option of a plan touches.

    Touched are the zones, what is stranded or kept by a feed, and the pieces that carry a stop, a tapping, an
    end of a feed or a fallback stop. A pipe meets them where one of its nodes is theirs.

    Returns
    -------
    frozenset of (bool, str)
        Whether it is a main, and its id.
    """
    network = result.network
    pieces = network.pieces
    bad = np.flatnonzero(
        ~pieces.is_open & (pieces.valve < 0)
    )  # of those that are no valve, these alone are shut
    if not len(bad):
        return frozenset()
    touched = np.zeros(len(network.nodes), dtype=bool)
    for option, state in zip(result.plan.options, result.states, strict=True):
        touched |= _emptied_or_fed(network, state)
        rows = [piece_at(network, pipe, at) for pipe, at in _places(network, option)]
        touched[pieces.from_node[rows]] = True
        touched[pieces.to_node[rows]] = True
    met = bad[touched[pieces.from_node[bad]] | touched[pieces.to_node[bad]]]
    pipes = network.pipes
    return frozenset((row < pipes.n_mains, pipes.id[row]) for row in np.unique(pieces.pipe[met]).tolist())


def _emptied_or_fed(network: Network, state: SolvedState) -> Flags:
    pipes = state.pipes
    # What has no gas before any stop either is stranded by no stop; nodes of stops and hoses have some.
    has_gas = fed_nodes(network, injections=True)
    count = len(has_gas)
    touched = np.zeros(count, dtype=bool)
    isolated = pipes.state == PieceState.ISOLATED
    beyond = np.isin(pipes.state, (PieceState.STRANDED, PieceState.FED))
    for ends in (pipes.from_node, pipes.to_node):
        own = ends < count
        touched[ends[own & isolated]] = True
        kept = ends[own & beyond]
        touched[kept[has_gas[kept]]] = True
    return touched


def _places(network: Network, option: Option) -> Iterator[tuple[int, float]]:
    """Yield the main and the chainage [m] of all that is dug, tapped or shut."""
    pipes = network.pipes
    for main_id, at in _named_places(option):
        row = pipes.id.find(main_id, 0, pipes.n_mains)
        if row >= 0:
            yield row, min(max(at, 0.0), float(pipes.length_m[row]))


def _named_places(option: Option) -> Iterable[tuple[str, float]]:
    for stop in option.stops:
        yield stop.main_id, stop.chainage_m
        yield from ((tapping.main_id or stop.main_id, tapping.chainage_m) for tapping in stop.tappings)
    for feed in option.bypasses:
        yield from ((end.main_id, end.chainage_m) for end in (feed.from_, feed.to))
    for fallback in option.fallback:
        yield from ((use.main_id, use.chainage_m) for use in fallback.use)
        yield from ((shut.main_id, shut.chainage_m) for shut in fallback.shut)
    for gauge in option.gauges:
        yield gauge.main_id, gauge.chainage_m
