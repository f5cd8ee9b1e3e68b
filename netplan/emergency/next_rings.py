"""The rings of least minutes, and those that are ready beforehand in case valves of them fail to shut."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from netplan.core.errors import BadInputError, quoted
from netplan.emergency.answer_records import RecordedRing, RingKind, ring_of
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits
from netplan.emergency.ring_choice import quickest_ring
from netplan.emergency.ring_search import RingQuestion
from netplan.network.model import Network
from netplan.network.tolerant_layers import rows_of_id
from netplan.planfile import emergency_answer as model

__all__ = [
    "EmergencyRequest",
    "LeastRing",
    "least_rings",
    "pieces_of_valves",
    "with_next_rings",
]

MOST_PAIRS: Final = 60
"""Pairs of valves that a ring is made ready for (own) [-]."""


@dataclass(frozen=True, slots=True)
class EmergencyRequest:
    """What is asked.

    Parameters
    ----------
    asked : str
        The place as it was given.
    crews : int
        Crews on their way, at least 1.
    location_error_m : float
        [m]
    failed_valves : tuple of str
        Ids of valves that failed to shut.
    """

    asked: str
    crews: int
    location_error_m: float
    failed_valves: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class LeastRing:
    """A ring of least minutes, and the question that it answers."""

    question: RingQuestion
    recorded: RecordedRing


def least_rings(tables: EmergencyTables, hits: Hits, request: EmergencyRequest) -> list[LeastRing]:
    """Return the ring of least minutes of each kind, that of valves first.

    Raises
    ------
    BadInputError
        When a valve that failed is not in the network.
    """
    failed = pieces_of_valves(tables.network, request.failed_valves)
    kinds: tuple[RingKind, RingKind] = ("valves", "fastest")
    found = []
    for kind in kinds:
        is_valves = kind == "valves"
        graph = tables.by_valves if is_valves else tables.by_any_method
        keep_away_m = tables.rules.emergency.keep_away_m
        question = RingQuestion(
            tables, graph, hits.mains, keep_away_m, valves_only=is_valves, services=hits.services
        )
        chosen = quickest_ring(question, request.crews, failed)
        found.append(LeastRing(question, ring_of(tables, hits, chosen, kind, "least minutes")))
    return found


def with_next_rings(
    tables: EmergencyTables,
    hits: Hits,
    request: EmergencyRequest,
    answer: model.EmergencyAnswer,
    *,
    pairs: bool = False,
    check: Callable[[], None] = lambda: None,
) -> model.EmergencyAnswer:
    """Return an answer with the rings that are ready in case valves fail.

    Parameters
    ----------
    tables, hits, request
        As the answer was made of.
    answer : EmergencyAnswer
    pairs : bool
        Whether one valve of a ring and one of the ring without it may fail too; else one at a time.
    check : callable
        Called before each ring; what it raises ends the search.
    """
    least = least_rings(tables, hits, request)
    ready = [one for one in answer.next_rings if len(one.if_failed) == 1]
    if not ready:
        for one in least:
            for row in if_one_fails(tables, hits, one, request):
                check()
                ready.append(row)
    if pairs:
        for row in if_two_fail(tables, hits, least, request, tuple(ready)):
            check()
            ready.append(row)
    return answer.model_copy(update={"next_rings": tuple(ready)})


def if_one_fails(
    tables: EmergencyTables, hits: Hits, least: LeastRing, request: EmergencyRequest
) -> Iterator[model.NextRing]:
    """Yield the ring that is ready for each valve of a ring that may fail to shut."""
    for name in _valves_of(least.recorded.ring):
        yield _next_ring(tables, hits, least, request, (name,))


def if_two_fail(
    tables: EmergencyTables,
    hits: Hits,
    least: Iterable[LeastRing],
    request: EmergencyRequest,
    following: Iterable[model.NextRing],
) -> Iterator[model.NextRing]:
    """Yield the ring that is ready for a valve of a ring and one of the ring that is next without it.

    Those that are shut first come first, `MOST_PAIRS` at most of all kinds together.

    Parameters
    ----------
    tables, hits, request
    least : iterable of LeastRing
    following : iterable of NextRing
        As `if_one_fails` yields them.
    """
    ways = {one.recorded.ring.kind: one for one in least}
    places = {kind: _valves_of(one.recorded.ring) for kind, one in ways.items()}
    pairs: dict[tuple[RingKind, frozenset[str]], tuple[int, int, tuple[str, str]]] = {}
    for one in following:
        if len(one.if_failed) != 1:
            continue
        first, kind = one.if_failed[0], one.ring.kind
        rank = places[kind].index(first)
        for second_rank, second in enumerate(_valves_of(one.ring)):
            row = (rank + second_rank, rank, (first, second))
            key = kind, frozenset((first, second))
            pairs[key] = min(pairs.get(key, row), row)
    ranked = sorted((row, kind) for (kind, _), row in pairs.items())
    for (_, _, names), kind in ranked[:MOST_PAIRS]:
        yield _next_ring(tables, hits, ways[kind], request, names)


def _valves_of(ring: model.Ring) -> list[str]:
    return [stop.valve_id for stop in ring.stops if stop.valve_id]


def _next_ring(
    tables: EmergencyTables, hits: Hits, least: LeastRing, request: EmergencyRequest, names: tuple[str, ...]
) -> model.NextRing:
    failed = pieces_of_valves(tables.network, (*request.failed_valves, *names))
    chosen = quickest_ring(least.question, request.crews, failed)
    kind = least.recorded.ring.kind
    return model.NextRing(if_failed=names, ring=ring_of(tables, hits, chosen, kind, "least minutes").ring)


def pieces_of_valves(network: Network, names: Iterable[str]) -> frozenset[int]:
    """Return the pieces of valves by id.

    Raises
    ------
    BadInputError
        When there is none of that id.
    """
    found = set()
    for name in names:
        rows = rows_of_id(network.valves.id, name)
        if not rows:
            raise BadInputError(
                f"--valve-failed: the network has no valve {quoted(name)}; name one by its id"
            )
        # Where several records have one id any of them may be the one that failed.
        found.update(network.valves.piece[list(rows)].tolist())
    return frozenset(found - {-1})
