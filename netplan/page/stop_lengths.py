"""Along a main: where the barrier nearest the work can be, by which methods, and why not elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from netplan.isolation.blocked_lengths import BlockedLength, free_intervals
from netplan.isolation.segment_geometry import SegmentGeometry
from netplan.isolation.stop_methods import MethodRefusal
from netplan.isolation.stop_placement import StopPlacement
from netplan.isolation.work_segments import WorkSegments

__all__ = ["BESIDE_WORK", "StopLength", "joined_lengths", "on_mains", "stop_lengths"]

BESIDE_WORK: Final = "it lies beside the work on both sides"
OTHER_KIND: Final = frozenset({MethodRefusal.NOT_A_VALVE.code, MethodRefusal.VALVE_PIECE.code})
"""Codes that say of a method only that it is for something else than stands here."""
OF_THE_MAIN: Final = frozenset(one.code for one in MethodRefusal) - OTHER_KIND
"""Codes that keep a method off a whole length, wherever on it."""
AT_ENDS: Final = frozenset({"clearance", "assembly"})
"""Codes of what the two ends of a length keep off, as seen from the one side and from the other."""
NEAR_FITTING: Final = "too near to a fitting or tapping"
LEAST_M: Final = 1e-3
"""Lengths below this are none: a plan states chainages to it (own) [m]."""


@dataclass(frozen=True, slots=True)
class StopLength:
    """A length of a main on which the same holds for a stop.

    Parameters
    ----------
    from_m, to_m : float
        Chainages [m], from_m <= to_m; along a segment before `on_mains`.
    methods : tuple of str
        Methods of the rules that can be used here, the zone on one side or the other; none: it is refused.
    sides : tuple of str
        "from", "to": on which side of the chainage the zone may lie.
    words : str
        Why it is refused.
    other_words : str
        Where the zone may lie on one side alone: why not on the other.
    """

    from_m: float
    to_m: float
    methods: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    words: str = ""
    other_words: str = ""


_Blocks = list[BlockedLength]


def stop_lengths(
    placement: StopPlacement, geometry: SegmentGeometry, sides: tuple[bool, bool], work: WorkSegments | None
) -> list[StopLength]:
    """Return what holds for a stop along a segment, from its start to its end.

    Parameters
    ----------
    placement : StopPlacement
    geometry : SegmentGeometry
        The segment, or what is left of it beside the work.
    sides : tuple of bool
        Whether the zone may lie at its start, and at its end.
    work : WorkSegments or None
        The work, where it may be near.
    """
    length_m, methods = geometry.length_m, placement.rules.method
    blocks: dict[tuple[int, bool], _Blocks] = {}
    for at_start in (True, False):
        way = geometry if at_start else geometry.turned()
        for method in range(len(methods)):
            some = placement.blocks(way, method, work)
            blocks[method, at_start] = some if at_start else [_mirrored(one, length_m) for one in some]
    ways = [key for key in blocks if sides[0 if key[1] else 1]]
    free = {key: free_intervals(length_m, blocks[key]) for key in ways}
    allowed = [(low, high, key) for key in ways for low, high in free[key]]
    feasible = [_with_other_side(placement, blocks, one) for one in _feasible(placement, allowed)]
    shown = {key: blocks[key] for key in ways} or blocks
    found: list[StopLength] = []
    at_m = 0.0
    for one in feasible:
        found += [*_refused(placement, shown, at_m, one.from_m, bool(ways)), one]
        at_m = one.to_m
    return [*found, *_refused(placement, shown, at_m, length_m, bool(ways), whole=not feasible)]


def _mirrored(block: BlockedLength, length_m: float) -> BlockedLength:
    return BlockedLength(length_m - block.high_m, length_m - block.low_m, block.code, block.words)


def _feasible(
    placement: StopPlacement, allowed: Sequence[tuple[float, float, tuple[int, bool]]]
) -> list[StopLength]:
    """Return the lengths that at least one way leaves, in order, those of equal ways as one."""
    ends = sorted({end for low, high, _ in allowed for end in (low, high)})
    points = [(at, at) for low, at, _ in allowed if low == at]
    found: list[StopLength] = []
    for low, high in sorted({*pairwise(ends), *points}):
        keys = {key for a, b, key in allowed if a <= low and high <= b}
        if not keys or (high - low < LEAST_M and (low, high) not in points):
            continue
        methods = tuple(placement.rules.method[row].name for row in sorted({row for row, _ in keys}))
        sides = tuple(
            word for word, at_start in (("from", True), ("to", False)) if any(k[1] is at_start for k in keys)
        )
        last = found[-1] if found else None
        if last is not None and (last.methods, last.sides) == (methods, sides) and low - last.to_m < LEAST_M:
            found[-1] = StopLength(last.from_m, max(last.to_m, high), methods, sides)
        else:
            found.append(StopLength(low, high, methods, sides))
    return found


def _with_other_side(
    placement: StopPlacement, blocks: dict[tuple[int, bool], _Blocks], one: StopLength
) -> StopLength:
    """Return a length with why the zone may not lie on its other side."""
    if len(one.sides) != 1:
        return one
    names = [method.name for method in placement.rules.method]
    other = {
        key: some
        for key, some in blocks.items()
        if key[1] is (one.sides == ("to",)) and names[key[0]] in one.methods
    }
    return replace(one, other_words=_words(placement, other, (one.from_m + one.to_m) / 2.0) or BESIDE_WORK)


def _refused(
    placement: StopPlacement,
    blocks: dict[tuple[int, bool], _Blocks],
    low_m: float,
    high_m: float,
    has_ways: bool,
    *,
    whole: bool = False,
) -> list[StopLength]:
    """Return what lies between two places, cut where the reasons change."""
    if high_m - low_m < LEAST_M and not whole:
        return []
    ends = {low_m, high_m}
    for some in blocks.values():
        ends |= {end for one in some for end in (one.low_m, one.high_m) if low_m < end < high_m}
    inner = sorted(ends) if len(ends) > 1 else [low_m, high_m]
    found: list[StopLength] = []
    for low, high in pairwise(inner):
        if high - low < LEAST_M and high_m - low_m >= LEAST_M:
            continue
        words = _words(placement, blocks, (low + high) / 2.0)
        words = words if has_ways and words else "; ".join(filter(None, (BESIDE_WORK, words)))
        if found and found[-1].words == words:
            found[-1] = StopLength(found[-1].from_m, high, words=words)
        else:
            found.append(StopLength(low, high, words=words))
    return found


def _words(placement: StopPlacement, blocks: dict[tuple[int, bool], _Blocks], at_m: float) -> str:
    """Return why no method can be used at a place, what is peculiar to the place first.

    Of methods for something else than stands here something is said only where nothing else remains.
    """
    here: dict[str, list[str]] = {}
    along: dict[str, list[str]] = {}
    others: dict[str, list[str]] = {}
    for (method, _), some in blocks.items():
        first = next((one for one in some if one.low_m < at_m < one.high_m), None)
        if first is None:
            continue
        name = placement.rules.method[method].name
        said = others if first.code in OTHER_KIND else along if first.code in OF_THE_MAIN else here
        names = said.setdefault(NEAR_FITTING if first.code in AT_ENDS else first.words, [])
        if name not in names:
            names.append(name)
    lines = []
    for words, names in {**here, **along}.items() or others.items():
        lines.append(words if words.startswith(names[0]) else f"{', '.join(names)}: {words}")
    return "; ".join(lines)


def on_mains(geometry: SegmentGeometry, lengths: Iterable[StopLength]) -> dict[int, list[StopLength]]:
    """Return lengths along a segment by main, with its chainages [m]."""
    found: dict[int, list[StopLength]] = {}
    for one in lengths:
        for leg in geometry.legs:
            low, high = max(one.from_m, leg.start_m), min(one.to_m, leg.end_m)
            if high < low or (high - low < LEAST_M and one.to_m - one.from_m >= LEAST_M):
                continue
            a, b = sorted((leg.chainage(low), leg.chainage(high)))
            sides = one.sides if leg.sign > 0 else tuple({"from": "to", "to": "from"}[s] for s in one.sides)
            placed = replace(one, from_m=a, to_m=b, sides=tuple(sorted(sides)))
            found.setdefault(leg.pipe, []).append(placed)
    return found


def joined_lengths(lengths: Iterable[StopLength]) -> list[StopLength]:
    """Return the lengths of one main in order, neighbours of which the same holds as one."""
    found: list[StopLength] = []
    for one in sorted(lengths, key=lambda length: (length.from_m, length.to_m)):
        last = found[-1] if found else None
        if (
            last is not None
            and not one.methods
            and (last.methods, last.words) == (one.methods, one.words)
            and one.from_m - last.to_m < LEAST_M
        ):
            found[-1] = StopLength(last.from_m, max(one.to_m, last.to_m), words=one.words)
        else:
            found.append(one)
    return found
