"""The emergency at every main: hit in its middle, what a crew shuts, how long it takes, who loses gas."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import pyarrow as pa

from netplan.core.arrays import Floats
from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.emergency.group_flow import SourceArc
from netplan.emergency.group_outcome import GroupOutcome, outside_groups
from netplan.emergency.hit_places import HitPlace
from netplan.emergency.mains_question import MainsQuestion, SharedFlows
from netplan.emergency.mains_tables import MainsTables
from netplan.emergency.ring_choice import quickest_ring
from netplan.graph.minimum_cut import INFINITE
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.rules import Rules

__all__ = ["COLUMNS", "EveryMain", "MainRing", "emergency_at_every_main", "middle_hits"]

COLUMNS: Final = pa.schema(
    [
        ("hit_at_m", pa.float64()),
        ("valve_ring", pa.string()),
        ("valves_minutes", pa.float64()),
        ("valves_needed", pa.int64()),
        ("valves_meters", pa.int64()),
        ("valves_stations", pa.int64()),
        ("valves_shut_stations", pa.string()),
        ("fastest_minutes", pa.float64()),
        ("fastest_stops", pa.int64()),
        ("fastest_methods", pa.string()),
        ("fastest_meters", pa.int64()),
        ("fastest_stations", pa.int64()),
        ("fastest_shut_stations", pa.string()),
    ]
)
"""``hit_at_m``: chainage of the hit [m]. ``valves_*``: the ring of valves recorded as operable and open;
``fastest_*``: any method. Minutes until the last stop is shut, travel left out; meters without gas; stations
and injections to be shut, their number and ids. ``valve_ring``: "yes" where valves alone part the main from
every station, "no" where stations have to be shut too (the minutes are those of the valves beside them)."""

Tell = Callable[[int, int], None]


class MainRing(NamedTuple):
    """What one ring does: seconds until shut, stops by method in words, meters, places of its stations."""

    seconds: int
    methods: tuple[str, ...]
    meters: int
    stations: tuple[int, ...]
    value: int
    looked_at: frozenset[int]


@dataclass(frozen=True, slots=True, eq=False)
class EveryMain:
    """The emergency at every main.

    Parameters
    ----------
    tables : MainsTables
    crews : int
    table : pyarrow.Table
        One row a main in the order of the network; columns `COLUMNS`.
    hits : tuple of HitPlace
        The middle of each main.
    valve_rings, fastest_rings : tuple of MainRing
    """

    tables: MainsTables
    crews: int
    table: pa.Table
    hits: tuple[HitPlace, ...]
    valve_rings: tuple[MainRing, ...]
    fastest_rings: tuple[MainRing, ...]


def middle_hits(network: Network) -> tuple[HitPlace, ...]:
    """Return a hit in the middle of every main."""
    n = network.pipes.n_mains
    at_m: Floats = network.pipes.length_m[:n] / 2.0
    xy = points_at(network, np.arange(n), at_m) if n else np.zeros((0, 2))
    return tuple(
        HitPlace(row, chainage_m, 0.0, x_m, y_m, confirmed=True)
        for row, (chainage_m, (x_m, y_m)) in enumerate(zip(at_m.tolist(), xy.tolist(), strict=True))
    )


def emergency_at_every_main(
    network: Network, rules: Rules, crews: int | None = None, tell: Tell = lambda _done, _all: None
) -> EveryMain:
    """Ask for every main, hit in its middle, what the emergency answer says: by valves, and by any method.

    Parameters
    ----------
    network : Network
    rules : Rules
    crews : int, optional
        By the rules without it.
    tell : callable, optional
        Called with the number of mains finished and of all mains.
    """
    tables, count = MainsTables(network, rules), network.pipes.n_mains
    crews = crews or rules.emergency.crews
    valves = _Kind(tables, crews, valves_only=True)
    fastest = _Kind(tables, crews, valves_only=False)
    hits = middle_hits(network)
    rings: list[tuple[MainRing, MainRing]] = []
    for row, hit in enumerate(hits):
        by_valves = valves.ring(hit)
        # With one crew a ring that is shut sooner than anything is dug takes no stop that is dug.
        same = crews == 1 and not by_valves.stations and by_valves.seconds < fastest.least_dug
        rings.append((by_valves, by_valves if same else fastest.ring(hit)))
        if row % 100 == 0:
            tell(row, count)
    tell(count, count)
    of_valves, of_any = (tuple(column) for column in zip(*rings, strict=True)) if rings else ((), ())
    return EveryMain(tables, crews, _table(network, hits, of_valves, of_any), hits, of_valves, of_any)


class _Kind:
    """The rings of one kind, of one hit after the other."""

    def __init__(self, tables: MainsTables, crews: int, *, valves_only: bool) -> None:
        self.tables, self.crews, self.valves_only = tables, crews, valves_only
        self.graph = tables.by_valves if valves_only else tables.by_any_method
        self.flows = SharedFlows(tables, self.graph, valves_only=valves_only)
        self.outcome = GroupOutcome(tables, self.graph)
        dug = self.graph.seconds[tables.network.pieces.valve < 0]
        self.least_dug = int(dug.min(initial=INFINITE))
        self._known: dict[Any, MainRing] = {}

    def ring(self, hit: HitPlace) -> MainRing:
        """Return the ring round a hit; hits that see the same valves have one."""
        question = MainsQuestion(self.flows, hit)
        if not self.valves_only:
            return self._ring(question)
        sources: list[SourceArc] = question.sources()
        key = (tuple(sorted(set(sources))), tuple(sorted(question.prices().items())))
        if key not in self._known:
            self._known[key] = self._ring(question)
        return self._known[key]

    def _ring(self, question: MainsQuestion) -> MainRing:
        chosen = quickest_ring(question, self.crews)
        side = question.side_of(chosen.cut)
        graph, rules, pieces = self.graph, self.tables.rules, self.tables.network.pieces
        outside: set[int] = set()
        if self.tables.network.beyond is not None:
            outside = outside_groups(graph, side.groups)
            outside |= {graph.group.item(half.node) for half in question.halves()}
        # Else nothing outside is parted: what no supply reaches would be inside, and its stops spared.
        loss = self.outcome.loss(side.groups, outside, question.hit_pieces)
        names = [
            "valve"
            if pieces.valve.item(stop.piece) >= 0 or stop.method < 0
            else rules.method[stop.method].name
            for stop in chosen.cut.stops
        ]
        looked_at = frozenset(side.looked_at.tolist()) if self.valves_only else frozenset()
        return MainRing(chosen.seconds, tuple(names), loss.meters, loss.stations, side.value, looked_at)


def _table(
    network: Network,
    hits: tuple[HitPlace, ...],
    by_valves: tuple[MainRing, ...],
    by_any: tuple[MainRing, ...],
) -> pa.Table:
    def names(ring: MainRing) -> str:
        stations = len(network.stations)
        return ", ".join(
            network.stations.id[row] if row < stations else network.injections.id[row - stations]
            for row in ring.stations
        )

    columns: dict[str, list[Any]] = {
        "hit_at_m": [round(hit.chainage_m, 3) for hit in hits],
        "valve_ring": ["no" if ring.stations else "yes" for ring in by_valves],
        "valves_needed": [len(ring.methods) for ring in by_valves],
        "fastest_stops": [len(ring.methods) for ring in by_any],
        "fastest_methods": [_counted(ring.methods) for ring in by_any],
    }
    for kind, rings in (("valves", by_valves), ("fastest", by_any)):
        columns[f"{kind}_minutes"] = [round(ring.seconds / SECONDS_PER_MINUTE, 2) for ring in rings]
        columns[f"{kind}_meters"] = [ring.meters for ring in rings]
        columns[f"{kind}_stations"] = [len(ring.stations) for ring in rings]
        columns[f"{kind}_shut_stations"] = [names(ring) for ring in rings]
    return pa.table({name: columns[name] for name in COLUMNS.names}, schema=COLUMNS)


def _counted(methods: tuple[str, ...]) -> str:
    return ", ".join(f"{count} {name}" for name, count in sorted(Counter(methods).items()))
