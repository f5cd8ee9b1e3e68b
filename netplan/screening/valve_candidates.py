"""Where one more valve helps most: the burden it saves, summed over all mains.

A valve makes one place cheap. So a main saves at most the difference between the cheapest stop now possible
on that chain and a valve, and nothing at all where the search for its stops never looked at the chain: both
together bound what a valve can save. Chains are tried in the order of that bound, with the network as it
would be, and the search stops when no bound left exceeds the tenth saving found: then the ten are proven.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.errors import BadInputError, NoPlanError
from netplan.isolation import MINOR_PER_UNIT, SegmentGraph
from netplan.network.linear_reference import piece_at, points_at
from netplan.network.model import Network, Nodes, Pieces, Valves
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Operable, ValveState
from netplan.rules.rule_set import MethodKind, Rules
from netplan.screening.main_evaluator import STOPS_FOUND, District, MainEvaluator
from netplan.screening.screen_run import Screen

__all__ = ["NEW_VALVE", "NewValve", "ValvePlaces", "best_valves", "with_valve"]


FROM_JUNCTION_M: Final = 1.0
"""Least distance of a new valve from the junction (own); half the piece where that is shorter [m]."""
ROOM_M: Final = 0.5
"""Length between junction and valve, clear of both, for the valve's tapping (own) [m]."""
MOST_TRIED: Final = 40
"""Places tried out (own) [-]."""


@dataclass(frozen=True, slots=True)
class NewValve:
    """A valve that is not there.

    Parameters
    ----------
    main_id : str
    chainage_m : float
        Place on that main [m].
    x_m, y_m : float
        In the working CRS [m].
    saved : float
        Burden saved, summed over all mains out one by one [currency]: by the lower bounds of their burdens.
    mains : int
        Mains that save something.
    customers : int
        Customers that stay on, summed over these mains.
    """

    main_id: str
    chainage_m: float
    x_m: float
    y_m: float
    saved: float
    mains: int
    customers: int


@dataclass(frozen=True, slots=True)
class ValvePlaces:
    """The best places, and whether no other can be better.

    Parameters
    ----------
    places : tuple of NewValve
        Best first.
    tried : int
    proven : bool
        Whether no place that was not tried can save more than the last one named.
    """

    places: tuple[NewValve, ...]
    tried: int
    proven: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    bound_minor: float
    district: int
    chain: int
    mains: Ints


def best_valves(
    screen: Screen, wanted: int = 10, tell: Callable[[int], None] = lambda _tried: None
) -> ValvePlaces:
    """Return where one more valve, at an end of a chain between junctions, saves most."""
    price = min(
        (method.price for method in screen.rules.method if method.kind is MethodKind.VALVE), default=None
    )
    if price is None:
        return ValvePlaces((), 0, proven=True)
    chains = sorted(
        _bounded(screen, round(price * MINOR_PER_UNIT)), key=lambda c: (-c.bound_minor, c.district, c.chain)
    )
    found: list[NewValve] = []
    benches: dict[int, tuple[District, SegmentGraph]] = {}
    tried = 0
    for chain in chains:
        found.sort(key=lambda valve: (-valve.saved, valve.main_id, valve.chainage_m))
        if len(found) >= wanted and found[wanted - 1].saved * MINOR_PER_UNIT >= chain.bound_minor:
            return ValvePlaces(tuple(found[:wanted]), tried, proven=True)
        if tried >= MOST_TRIED:
            return ValvePlaces(tuple(found[:wanted]), tried, proven=False)
        if chain.district not in benches:
            district, _ = screen.districts(chain.district)
            benches[chain.district] = district, MainEvaluator(district).index
        district, index = benches[chain.district]
        best = [
            valve
            for place in _ends(index, chain.chain, screen.rules)
            if (valve := _tried(screen, district, chain, *place)) is not None
        ]
        tried += 1
        tell(tried)
        # Both ends of a chain seldom need one each: the better is named.
        found += sorted(best, key=lambda valve: (-valve.saved, valve.chainage_m))[:1]
    found.sort(key=lambda valve: (-valve.saved, valve.main_id, valve.chainage_m))
    return ValvePlaces(tuple(found[:wanted]), tried, proven=True)


def _bounded(screen: Screen, valve_minor: int) -> Iterator[_Chain]:
    """Yield every chain with what a valve on it can save at most."""
    table = screen.table
    burden = np.rint(screen.column("burden_least") * MINOR_PER_UNIT)
    looked = table["looked_at"].combine_chunks()
    start, nodes = looked.offsets.to_numpy(), looked.values.to_numpy()
    for number in np.unique(screen.districts.of_main).tolist():
        district, _ = screen.districts(number)
        evaluator = MainEvaluator(district)
        index = evaluator.index
        mains = np.flatnonzero((screen.districts.of_main == number) & np.isfinite(burden))
        reaching: dict[int, list[int]] = {}
        for main in mains.tolist():
            near = nodes[start[main] : start[main + 1]]
            segments = [index.segments_at(node) for node in near.tolist()]
            if segments:
                for chain in np.unique(index.segment_chain[np.concatenate(segments)]).tolist():
                    reaching.setdefault(chain, []).append(main)
        if not reaching:
            continue
        costs = evaluator.search(0).costs
        cheapest = np.full(int(index.segment_chain.max()) + 1, np.inf)
        for segment, chain in enumerate(index.segment_chain.tolist()):
            if chain in reaching:
                cheapest[chain] = min(cheapest[chain], *costs.price_segment(segment))
        for chain, rows in reaching.items():
            own = np.array(rows, dtype=np.int64)
            gain = np.minimum(cheapest[chain] - valve_minor, burden[own] - valve_minor)
            bound = float(np.maximum(gain, 0.0).sum())
            if bound > 0:
                yield _Chain(bound, number, chain, own)


def _ends(index: SegmentGraph, chain: int, rules: Rules) -> list[tuple[int, float]]:
    """Return the places near both ends of a chain: main of the district and chainage [m].

    Far enough from the junction for what is tapped beside the valve.
    """
    pieces, pipes, clearance = index.network.pieces, index.network.pipes, rules.clearance
    segments = np.flatnonzero(index.segment_chain == chain)
    rows = np.concatenate([index.pieces_of(segment) for segment in segments.tolist()])
    rows = rows[pieces.valve[rows] < 0]
    every = np.concatenate([pieces.from_node[rows], pieces.to_node[rows]])
    node, count = np.unique(every, return_counts=True)
    ends = set(node[count == 1].tolist())
    places: list[tuple[int, float]] = []
    for row in rows.tolist():
        low, high = float(pieces.from_m[row]), float(pieces.to_m[row])
        clear = max(clearance.fitting_m, clearance.fitting_od * float(pipes.od_m[pieces.pipe[row]]))
        inward = min(max(FROM_JUNCTION_M, 2.0 * clear + ROOM_M), (high - low) / 2)
        if inward <= 0.01:
            continue
        if int(pieces.from_node[row]) in ends:
            places.append((int(pieces.pipe[row]), low + inward))
        if int(pieces.to_node[row]) in ends and high - inward != low + inward:
            places.append((int(pieces.pipe[row]), high - inward))
    return sorted(set(places))


def _tried(
    screen: Screen, district: District, chain: _Chain, pipe: int, chainage_m: float
) -> NewValve | None:
    """Try a valve out: every main that can gain from it is asked again, with the valve there."""
    evaluator = MainEvaluator(replace(district, network=with_valve(district.network, pipe, chainage_m)))
    _, rows = screen.districts(chain.district)
    before = screen.table.select(["outcome", "burden_least", "isolated"])
    saved, mains, customers = 0, 0, 0
    for main in chain.mains.tolist():
        row: dict[str, Any] = {name: before[name][main].as_py() for name in before.column_names}
        if row["outcome"] != STOPS_FOUND:
            continue
        try:
            cut = next(evaluator.search(rows[main]))
        except (NoPlanError, StopIteration):
            continue
        least = cut.bound_minor + evaluator.work_excavations_minor(rows[main])
        gain = round(row["burden_least"] * MINOR_PER_UNIT) - least
        if gain > 0:
            saved, mains = saved + gain, mains + 1
            customers += row["isolated"] - len(cut.customers)
    if not saved:
        return None
    x, y = points_at(district.network, np.array([pipe]), np.array([chainage_m]))[0]
    return NewValve(
        district.network.pipes.id[pipe],
        round(chainage_m, 3),
        float(x),
        float(y),
        saved / MINOR_PER_UNIT,
        mains,
        customers,
    )


NEW_VALVE = "\U0010ffff new valve"
"""Id of the valve: it sorts behind every other."""


def with_valve(network: Network, main: int, chainage_m: float) -> Network:
    """Return the network with an open, operable valve in a main; nothing else is changed.

    Rows of pipes, nodes, customers and stations stay; pieces behind the valve move by two.

    Raises
    ------
    BadInputError
        When the chainage is not inside a piece of the main.
    """
    pieces, nodes = network.pieces, network.nodes
    piece = piece_at(network, main, chainage_m)
    low, high = float(pieces.from_m[piece]), float(pieces.to_m[piece])
    if not low < chainage_m < high:
        raise BadInputError(f"a valve at {chainage_m:g} m lies at an end of its piece; move it inward")
    x, y = points_at(network, np.array([main]), np.array([chainage_m]))[0]
    a, b = int(pieces.from_node[piece]), int(pieces.to_node[piece])
    share = (chainage_m - low) / (high - low)
    height = nodes.height_m[a] + share * (nodes.height_m[b] - nodes.height_m[a])
    first, second = len(nodes), len(nodes) + 1
    after = piece + 1

    def split(column: Any, values: list[Any], own: Any) -> Any:
        changed = column.copy()
        changed[piece] = own
        return np.insert(changed, after, np.array(values, dtype=column.dtype))

    valves = network.valves
    moved = np.where(valves.piece > piece, valves.piece + 2, valves.piece)
    return replace(
        network,
        nodes=Nodes(
            np.append(nodes.x_m, [x, x]),
            np.append(nodes.y_m, [y, y]),
            np.append(nodes.height_m, [height, height]),
            np.append(nodes.system, [nodes.system[a]] * 2).astype(nodes.system.dtype),
        ),
        pieces=Pieces(
            pipe=split(pieces.pipe, [main, main], main),
            from_m=split(pieces.from_m, [chainage_m, chainage_m], low),
            to_m=split(pieces.to_m, [chainage_m, high], chainage_m),
            from_node=split(pieces.from_node, [first, second], a),
            to_node=split(pieces.to_node, [second, b], first),
            valve=split(pieces.valve, [len(valves), -1], -1),
            is_open=split(pieces.is_open, [True, pieces.is_open[piece]], pieces.is_open[piece]),
        ),
        valves=Valves(
            id=TextColumn([*valves.id, NEW_VALVE]),
            state=np.append(valves.state, np.uint8(ValveState.OPEN)).astype(np.uint8),
            operable=np.append(valves.operable, np.uint8(Operable.YES)).astype(np.uint8),
            pipe=np.append(valves.pipe, main).astype(np.int32),
            piece=np.append(moved, after).astype(np.int32),
            chainage_m=np.append(valves.chainage_m, chainage_m),
            turns_to_close=np.append(valves.turns_to_close, np.nan),
            size_m=np.append(valves.size_m, np.nan),
            closing_direction=TextColumn([*valves.closing_direction, ""]),
            cover_type=TextColumn([*valves.cover_type, ""]),
            last_operated=TextColumn([*valves.last_operated, ""]),
            remark=TextColumn([*valves.remark, ""]),
            x_m=np.append(valves.x_m, np.nan),
            y_m=np.append(valves.y_m, np.nan),
        ),
    )
