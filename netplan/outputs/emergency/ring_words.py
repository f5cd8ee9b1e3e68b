"""Rings, their stops and what follows when a valve fails, in words, for the page and the sheet alike."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from netplan.outputs.emergency.word_forms import counted, material_words
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, NextRing, Ring, RingStop, ValveRecord

__all__ = [
    "NO_STOP",
    "RING_NAMES",
    "NextRingWords",
    "RingWords",
    "StopWords",
    "next_ring_rows",
    "rings_in_words",
    "stops_with_rings",
    "tape_lines",
    "valve_facts",
]

NO_STOP: Final = "No stop isolates it: the stations named are all that can be shut."
RING_NAMES: Final = {"valves": "valve ring", "fastest": "fastest ring"}
_KIND_WORDS: Final = {"valve": "valve", "squeeze": "squeeze-off", "bag": "bag stop"}
_QUARTER_TURN: Final = 0.25
_MOST_USES: Final = 4
"""Rings that a card names at most (own) [-]."""


@dataclass(frozen=True, slots=True)
class StopWords:
    """One stop, ready to be read out.

    Parameters
    ----------
    n : int
        Number in the order of shutting.
    kind, method : str
        Kind as recorded, which has a symbol, and what is done.
    name : str
        Valve, or main and chainage.
    street, where : str
        Street; distance and quarter from the hit, and the nearest address.
    crew, minutes, ends : str
        Crew, own minutes, minute at which it is shut.
    stop : RingStop
    """

    n: int
    kind: str
    method: str
    name: str
    street: str
    where: str
    crew: str
    minutes: str
    ends: str
    stop: RingStop


@dataclass(frozen=True, slots=True)
class RingWords:
    """One or several rings of the same stops.

    Parameters
    ----------
    letter : str
        What the ring is called on page and sheet.
    name : str
        Such as ``valve ring, and fastest ring``.
    stops, minutes, proof, meters, stations : str
        Counts and figures with their unit, and the stations to shut.
    priority : int
        Priority meter points without gas.
    do_first : tuple of str
    rows : tuple of StopWords
    kinds : tuple of str
        Kinds of the rings of least minutes that it is; empty for one of fewer meters off.
    ring : Ring
    """

    letter: str
    name: str
    stops: str
    minutes: str
    proof: str
    meters: str
    stations: str
    priority: int
    do_first: tuple[str, ...]
    rows: tuple[StopWords, ...]
    kinds: tuple[str, ...]
    ring: Ring = field(repr=False)


@dataclass(frozen=True, slots=True)
class NextRingWords:
    """What is shut when a valve fails.

    Parameters
    ----------
    heading, line : str
        Which valve of which ring; figures.
    do_first : tuple of str
    stops : tuple of str
        One line a stop, in the order of shutting.
    if_failed : tuple of str
        Ids of the valves.
    """

    heading: str
    line: str
    do_first: tuple[str, ...]
    stops: tuple[str, ...]
    if_failed: tuple[str, ...]


def rings_in_words(answer: EmergencyAnswer, figures: Figures) -> list[RingWords]:
    """Return the rings, those of the same stops together, with letters in their order."""
    groups: list[list[Ring]] = []
    for ring in answer.rings:
        for group in groups:
            if _same(group[0], ring):
                group.append(ring)
                break
        else:
            groups.append([ring])
    return [_ring(chr(ord("A") + k), group, figures) for k, group in enumerate(groups)]


def _same(one: Ring, other: Ring) -> bool:
    keys = ([(s.main_id, s.chainage_m, s.ends_min) for s in ring.stops] for ring in (one, other))
    first, second = keys
    return first == second and one.stations_to_shut == other.stations_to_shut and one.aim == other.aim


def _ring(letter: str, group: list[Ring], figures: Figures) -> RingWords:
    ring = group[0]
    name = " and ".join(RING_NAMES[one.kind] for one in group)
    if ring.aim != "least minutes":
        name = f"{name}, {ring.aim}"
    return RingWords(
        letter=letter,
        name=name,
        stops=counted(len(ring.stops), "stop"),
        minutes=_minutes(ring),
        proof=_proof(ring),
        meters=f"{counted(ring.meters, 'meter')} off",
        stations=stations_line(ring),
        priority=len(ring.priority),
        do_first=tuple(figures.sentence(line) for line in ring.do_first),
        rows=tuple(stop_in_words(stop, figures) for stop in ring.stops),
        kinds=tuple(one.kind for one in group) if ring.aim == "least minutes" else (),
        ring=ring,
    )


def _minutes(ring: Ring) -> str:
    if not ring.stops:
        return "by network control, minutes not on record"
    return f"{ring.minutes:g} min by {counted(ring.crews, 'crew')}"


def _proof(ring: Ring) -> str:
    proof = ring.proof
    if not ring.stops:
        return "no usable stop parts the hit from the stations named"
    if ring.aim != "least minutes":
        return f"chosen to keep more meters on ({proof.reason})"
    if proof.optimal:
        return "proven: no such ring takes fewer recorded minutes, travel left out"
    return (
        f"best found, not proven: at least {proof.lower_bound_min:g} min, gap {proof.gap_min:g} min; "
        "recorded minutes, travel left out"
    )


def stop_in_words(stop: RingStop, figures: Figures) -> StopWords:
    """Return one stop in words."""
    what = _KIND_WORDS[stop.kind]
    if stop.kind != "valve" and stop.method.replace("_", " ") not in (what, stop.kind):
        what = f"{what} ({stop.method})"
    name = stop.valve_id or f"{stop.main_id} at {figures.length(stop.chainage_m)}"
    # The place in words begins with what the row says already.
    where = stop.place.partition(", ")[2] or stop.place
    return StopWords(
        n=stop.n,
        kind=stop.kind,
        method=what,
        name=name,
        street=stop.street or "street not on record",
        where=figures.sentence(where),
        crew=str(stop.crew),
        minutes=f"{stop.minutes:g}",
        ends=f"{stop.ends_min:g}",
        stop=stop,
    )


def valve_facts(stop: RingStop, figures: Figures) -> list[tuple[str, str]]:
    """Return what a card says of a stop: what it closes, where it is, how it is worked."""
    closes = f"main {stop.main_id} at {figures.chainage(stop.chainage_m)}"
    facts = [
        ("closes", f"{closes}, {material_words(stop.material)} {figures.pipe(stop.od_mm)}"),
        ("where", figures.sentence(stop.place)),
        ("from the hit", f"{figures.length(stop.distance_m)}, straight"),
        ("position", f"{stop.lon:.6f},{stop.lat:.6f} (longitude,latitude)"),
    ]
    if stop.kind == "valve":
        facts += _record(stop.record or ValveRecord(), figures)
    return facts


def _record(record: ValveRecord, figures: Figures) -> Iterator[tuple[str, str]]:
    unknown = "not on record"
    turns = record.turns_to_close
    quarter = " (a quarter turn)" if turns == _QUARTER_TURN else ""
    yield "turns to close", unknown if turns is None else f"{turns:g}{quarter}"
    yield "turns", record.closing_direction.upper() or unknown
    yield "cover", record.cover_type or unknown
    yield "last operated", record.last_operated or unknown
    yield "size", unknown if record.size_mm is None else figures.bore(record.size_mm)
    if record.remark:
        yield "remark", record.remark


def stations_line(ring: Ring) -> str:
    """Return the stations to shut with a ring."""
    if not ring.stations_to_shut:
        return "no station to shut"
    return f"stations to shut, by network control: {', '.join(ring.stations_to_shut)}"


def tape_lines(stop: RingStop, figures: Figures) -> list[str]:
    """Return what a stop is taped from, lettered as on its sketch."""
    lines = [
        f"{chr(ord('A') + k)}: {figures.chainage(one.distance_m)} from {one.what}"
        for k, one in enumerate(stop.offsets)
    ]
    return lines or ["nothing on the base map within reach: use the position"]


def stops_with_rings(answer: EmergencyAnswer, figures: Figures) -> list[tuple[StopWords, str]]:
    """Return every stop of every ring and next ring once, with where it is used in words."""
    stops: dict[tuple[str, float, str], StopWords] = {}
    used: dict[tuple[str, float, str], list[str]] = {}
    rings = [(f"ring {words.letter}", words.ring) for words in rings_in_words(answer, figures)]
    rings += [(f"if {_failed(one)}", one.ring) for one in answer.next_rings]
    for where, ring in rings:
        for stop in ring.stops:
            key = stop.main_id, stop.chainage_m, stop.valve_id
            stops.setdefault(key, stop_in_words(stop, figures))
            words = f"stop {stop.n} {'of' if where.startswith('ring') else ''} {where}".replace("  ", " ")
            if words not in used.setdefault(key, []):
                used[key].append(words)
    return [(stop, _few("; ", used[key])) for key, stop in stops.items()]


def _failed(one: NextRing) -> str:
    return f"{' and '.join(one.if_failed)} {'fails' if len(one.if_failed) == 1 else 'fail'}"


def _few(gap: str, words: list[str]) -> str:
    more = len(words) - _MOST_USES
    return gap.join(words) if more <= 0 else f"{gap.join(words[:_MOST_USES])}{gap}and {more} more"


def next_ring_rows(answer: EmergencyAnswer, figures: Figures) -> list[NextRingWords]:
    """Return what is ready for each valve that may fail, the same for two kinds of ring once."""
    rows: list[NextRingWords] = []
    groups: list[tuple[NextRing, list[str]]] = []
    for one in answer.next_rings:
        for other, names in groups:
            if other.if_failed == one.if_failed and _same(other.ring, one.ring):
                if one.ring.kind not in names:
                    names.append(one.ring.kind)
                break
        else:
            groups.append((one, [one.ring.kind]))
    for one, names in groups:
        ring = one.ring
        kinds = " and ".join(RING_NAMES[name] for name in names)
        line = (
            f"{_minutes(ring)}; {counted(len(ring.stops), 'stop')}; "
            f"{counted(ring.meters, 'meter')} off, {len(ring.priority)} priority; {stations_line(ring)}; "
            f"{_proof(ring)}."
        )
        stops = tuple(_next_stop(stop, figures) for stop in ring.stops)
        heading = f"If {_failed(one)} ({kinds})"
        first = tuple(figures.sentence(words) for words in ring.do_first)
        rows.append(NextRingWords(heading, line, first, stops, one.if_failed))
    return rows


def _next_stop(stop: RingStop, figures: Figures) -> str:
    words = stop_in_words(stop, figures)
    return f"{words.name}, {words.method}; {words.street}; crew {words.crew}, shut at {words.ends} min"
