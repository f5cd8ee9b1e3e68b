"""An emergency answer in words, once for the page and the sheet: both say the same, in the same order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import (
    EmergencyAnswer,
    HitMain,
    HitService,
    Ring,
    RingStop,
    ValveRecord,
)

__all__ = [
    "CHECK_FIRST",
    "NOT_FOR_DISTANCES",
    "NOT_SOLVED",
    "NO_GAS_BACK",
    "RingWords",
    "StopWords",
    "counted",
    "customers_by_street",
    "escape_lines",
    "hit_letter",
    "hit_lines",
    "material_words",
    "nearby_rows",
    "notify_lines",
    "priority_rows",
    "rings_in_words",
    "service_lines",
    "stop_in_words",
    "title_of",
    "valve_facts",
]

NO_GAS_BACK: Final = "No gas back until every meter is shut."
NOT_SOLVED: Final = (
    "Pressures: not solved yet. Who falls weak outside a ring, and what stations then do, is not in this "
    "answer."
)
CHECK_FIRST: Final = "Check first; not an evacuation limit."
NOT_FOR_DISTANCES: Final = "Order of magnitude; not for distances."
DO_NOT_APPROACH: Final = "do not approach until the competent person permits"
_RING_NAMES: Final = {"valves": "valve ring", "fastest": "fastest ring"}
_KIND_WORDS: Final = {"valve": "valve", "squeeze": "squeeze-off", "bag": "bag stop"}


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
        Counts and figures with their unit.
    priority : int
        Priority meter points without gas.
    do_first : tuple of str
    rows : tuple of StopWords
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
    ring: Ring = field(repr=False)


def counted(n: int, one: str, many: str = "") -> str:
    """Return a number with its word: ``1 crew``, ``2 crews``."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def material_words(material: str) -> str:
    """Return a material as it is spoken: ``cast iron``."""
    return material.replace("_", " ")


def title_of(answer: EmergencyAnswer) -> str:
    """Return what was hit, in one line."""
    names = ", ".join(dict.fromkeys([hit.main_id for hit in answer.hits])) or "no main on record"
    streets = ", ".join(dict.fromkeys(hit.street for hit in answer.hits if hit.street))
    service = f"service {', '.join(one.service_id for one in answer.services)}; " if answer.services else ""
    return f"Hit: {service}main {names}{', ' + streets if streets else ''}"


def hit_lines(answer: EmergencyAnswer, figures: Figures) -> list[tuple[str, str]]:
    """Return each main that may be hit: its name, and distance, size and pressure."""
    several = len(answer.hits) > 1
    return [
        (f"{f'HIT {hit_letter(k)}: ' if several else ''}main {hit.main_id}", _hit(hit, figures))
        for k, hit in enumerate(answer.hits)
    ]


def hit_letter(k: int) -> str:
    """Return the letter of a main that may be hit, by its place in the answer from 0."""
    return chr(ord("A") + k % 26)


def _hit(hit: HitMain, figures: Figures) -> str:
    away = f"{figures.length(hit.distance_m)} from the place given"
    sure = "named by the caller" if hit.confirmed else away
    pressure = (
        "no station feeds it on record"
        if hit.set_outlet_mbar is None
        else f"set outlet {figures.pressure(hit.set_outlet_mbar)}"
    )
    pipe = f"{material_words(hit.material)} {figures.size(hit.od_mm)}"
    street = f"{hit.street}, " if hit.street else ""
    return f"{street}at {figures.length(hit.chainage_m)}; {sure}; {pipe}; system {hit.system}; {pressure}"


def service_lines(answer: EmergencyAnswer, figures: Figures) -> list[str]:
    """Return each service that may be hit: its valve or the ring of its main, and who is on it."""
    return [_service(one, figures) for one in answer.services]


def _service(one: HitService, figures: Figures) -> str:
    if one.curb_valve_usable:
        what = f"shut curb valve {one.curb_valve}, from outside the keep-away distance"
    elif one.curb_valve:
        what = f"curb valve {one.curb_valve} is not known to be usable: shut the ring of its main"
    else:
        what = "no curb valve on record: shut the ring of its main"
    main = f"on main {one.main_id}" if one.main_id else "main not on record"
    on_it = counted(len(one.customers), "meter point")
    away = figures.length(one.distance_m)
    return f"Service {one.service_id} ({main}, {away} from the place given): {what}. {on_it} on it."


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
    name = " and ".join(_RING_NAMES[one.kind] for one in group)
    if ring.aim != "least minutes":
        name = f"{name}, {ring.aim}"
    return RingWords(
        letter=letter,
        name=name,
        stops=counted(len(ring.stops), "stop"),
        minutes=f"{ring.minutes:g} min by {counted(ring.crews, 'crew')}",
        proof=_proof(ring),
        meters=f"{counted(ring.meters, 'meter')} off",
        stations=", ".join(ring.stations_to_shut),
        priority=len(ring.priority),
        do_first=ring.do_first,
        rows=tuple(stop_in_words(stop, figures) for stop in ring.stops),
        ring=ring,
    )


def _proof(ring: Ring) -> str:
    proof = ring.proof
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
        where=where,
        crew=str(stop.crew),
        minutes=f"{stop.minutes:g}",
        ends=f"{stop.ends_min:g}",
        stop=stop,
    )


def valve_facts(stop: RingStop, figures: Figures) -> list[tuple[str, str]]:
    """Return what a card says of a stop: what it closes, where it is, how it is worked."""
    closes = f"main {stop.main_id} at {figures.chainage(stop.chainage_m)}"
    facts = [
        ("closes", f"{closes}, {material_words(stop.material)} {figures.size(stop.od_mm)}"),
        ("where", stop.place),
        ("from the hit", f"{figures.length(stop.distance_m)}, straight"),
        ("position", f"{stop.lat:.6f}, {stop.lon:.6f} (latitude, longitude)"),
    ]
    if stop.kind == "valve":
        facts += _record(stop.record or ValveRecord(), figures)
    return facts


def _record(record: ValveRecord, figures: Figures) -> Iterator[tuple[str, str]]:
    unknown = "not on record"
    turns = record.turns_to_close
    quarter = " (a quarter turn)" if turns == 0.25 else ""
    yield "turns to close", unknown if turns is None else f"{turns:g}{quarter}"
    yield "turns", record.closing_direction.upper() or unknown
    yield "cover", record.cover_type or unknown
    yield "last operated", record.last_operated or unknown
    yield "size", unknown if record.size_mm is None else figures.size(record.size_mm)
    if record.remark:
        yield "remark", record.remark


def notify_lines(answer: EmergencyAnswer, rings: Iterable[RingWords]) -> list[tuple[str, str]]:
    """Return who is to be told, and by which ring the threshold is reached."""
    letters = {}
    for words in rings:
        if words.ring.aim == "least minutes":
            letters |= {kind: words.letter for kind in _RING_NAMES if f"{_RING_NAMES[kind]}" in words.name}
    lines = []
    for row in answer.notify:
        reached = sorted({letters.get(kind, kind) for kind, yes in row.reached.items() if yes})
        when = f"TELL: reached by ring {', '.join(reached)}" if reached else "not reached by these rings"
        lines.append((row.whom, f"from {counted(row.from_meters, 'meter')} off; {when}"))
    return lines


def nearby_rows(answer: EmergencyAnswer, figures: Figures) -> list[tuple[str, str, str]]:
    """Return the addresses near the hit, nearest first: address, distance, priority."""
    return [(row.address, figures.length(row.distance_m), row.priority) for row in answer.nearby]


def escape_lines(answer: EmergencyAnswer, figures: Figures) -> list[str]:
    """Return what escapes for each main that may be hit, as ranges."""
    lines = []
    for row in answer.escape:
        holes = "; ".join(
            f"{'full bore' if flow.full_bore else 'hole'} {figures.size(flow.hole_mm)}: "
            f"{figures.flow(flow.least_m3h)} to {figures.flow(flow.most_m3h)}"
            for flow in row.flows
        )
        lines.append(f"{row.main_id} at {figures.pressure(row.pressure_mbar)} ({row.pressure_of}): {holes}")
    return lines


def priority_rows(answer: EmergencyAnswer) -> list[tuple[str, str, str, str]]:
    """Return the priority meter points without gas: address, why, meters, by which ring and why."""
    return [
        (one.address, one.priority, counted(one.meters, "meter"), _off_by(one.off_by))
        for one in answer.customers
        if one.priority
    ]


def _off_by(off_by: dict[str, str] | object) -> str:
    causes: dict[str, list[str]] = {}
    for kind, cause in dict(off_by).items():  # type: ignore[call-overload]
        causes.setdefault(cause, []).append(_RING_NAMES[kind])
    return "; ".join(f"{' and '.join(kinds)}: {cause}" for cause, kinds in causes.items())


def customers_by_street(answer: EmergencyAnswer) -> list[tuple[str, int, str]]:
    """Return everybody who loses gas in a ring of least minutes: street, meters, house numbers.

    A number with several meters says how many; ``!`` stands after a priority one.
    """
    streets: dict[str, list[str]] = {}
    meters: dict[str, int] = {}
    for one in sorted(answer.customers, key=lambda row: (row.street, _number_key(row.number), row.id)):
        street = one.street or "street not on record"
        words = one.number or one.address or one.id
        words += f" ({one.meters} meters)" if one.meters != 1 else ""
        streets.setdefault(street, []).append(words + (" !" if one.priority else ""))
        meters[street] = meters.get(street, 0) + one.meters
    return [
        (street, meters[street], ", ".join(_without_repeats(numbers))) for street, numbers in streets.items()
    ]


def _number_key(number: str) -> tuple[int, str]:
    digits = "".join(sign for sign in number if sign.isdigit() and sign.isascii())[:9]
    return int(digits or 0), number


def _without_repeats(numbers: list[str]) -> Iterator[str]:
    """Yield house numbers; those that stand several times once, with how many meter points."""
    counts: dict[str, int] = {}
    for number in numbers:
        counts[number] = counts.get(number, 0) + 1
    for number, count in counts.items():
        yield number if count == 1 else f"{number} ({count} meter points)"
