"""An emergency answer in words, once for the page and the sheet: both say the same, in the same order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from netplan.outputs.emergency.ring_words import RING_NAMES, RingWords
from netplan.outputs.emergency.word_forms import counted, hit_letter, material_words
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, HitMain, HitService, OffCause, RingKind

__all__ = [
    "ALL_SHUT",
    "CHECK_FIRST",
    "DO_NOT_APPROACH",
    "NOT_FOR_DISTANCES",
    "NOT_SOLVED",
    "NO_GAS_BACK",
    "customers_by_street",
    "escape_lines",
    "escape_notes",
    "escape_range_lines",
    "failed_lines",
    "foot_line",
    "hit_lines",
    "keep_away_line",
    "meta_line",
    "nearby_rows",
    "notify_lines",
    "priority_line",
    "priority_rows",
    "reached_parties",
    "service_lines",
    "tail_parts",
    "title_of",
    "who_line",
]

NO_GAS_BACK: Final = "No gas back until every meter is shut."
NOT_SOLVED: Final = (
    "Pressures: not solved yet. This answer does not say who outside a ring falls below minimum, nor what "
    "the stations then do."
)
CHECK_FIRST: Final = "Check first; not an evacuation limit."
NOT_FOR_DISTANCES: Final = "Order of magnitude only: set no distance by it."
_MOST_NAMED: Final = 6
"""Priority meter points named on page one of the sheet (own) [-]."""
DO_NOT_APPROACH: Final = "do not approach until the competent person permits"
ALL_SHUT: Final = "Any of these may be the one: all are shut until one is confirmed (--main)."


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


def _hit(hit: HitMain, figures: Figures) -> str:
    away = f"{figures.length(hit.distance_m)} from the place given"
    sure = "named by the caller" if hit.confirmed else away
    pressure = (
        "its pressure is not on record"
        if hit.set_outlet_mbar is None
        else f"set outlet {figures.pressure(hit.set_outlet_mbar)}"
    )
    pipe = f"{material_words(hit.material)} {figures.pipe(hit.od_mm)}"
    street = f"{hit.street}, " if hit.street else ""
    return f"{street}at {figures.length(hit.chainage_m)}; {sure}; {pipe}; system {hit.system}; {pressure}"


def service_lines(answer: EmergencyAnswer, figures: Figures) -> list[str]:
    """Return each service that may be hit: its valve or the ring of its main, and who is on it."""
    return [_service(one, answer.keep_away_m, figures) for one in answer.services]


def _service(one: HitService, keep_away_m: float, figures: Figures) -> str:
    near = one.curb_valve_distance_m is not None and one.curb_valve_distance_m <= keep_away_m
    if one.curb_valve_usable:
        what = f"shut curb valve {one.curb_valve}, from outside the keep-away distance"
    elif near:
        what = (
            f"curb valve {one.curb_valve} lies within the keep-away distance: do not approach it until the "
            "competent person permits; shut the ring of its main"
        )
    elif one.curb_valve:
        what = f"curb valve {one.curb_valve} is not known to be usable: shut the ring of its main"
    else:
        what = "no curb valve on record: shut the ring of its main"
    main = f"on main {one.main_id}" if one.main_id else "main not on record"
    on_it = counted(len(one.customers), "meter point")
    away = figures.length(one.distance_m)
    return f"Service {one.service_id} ({main}, {away} from the place given): {what}. {on_it} on it."


def notify_lines(answer: EmergencyAnswer, rings: Iterable[RingWords]) -> list[tuple[str, str, bool]]:
    """Return who is to be told, by which ring the threshold is reached, and whether any does."""
    reached = dict(reached_parties(answer, rings))
    lines = []
    for row in answer.notify:
        when = f"reached by ring {reached[row.whom]}" if row.whom in reached else "not reached by these rings"
        lines.append((row.whom, f"from {counted(row.from_meters, 'meter')} off; {when}", row.whom in reached))
    return lines


def who_line(answer: EmergencyAnswer) -> str:
    """Return how many are without gas in the rings of least minutes, together."""
    points, meters = len(answer.customers), sum(one.meters for one in answer.customers)
    priority = sum(bool(one.priority) for one in answer.customers)
    return (
        f"{counted(points, 'meter point')}, {counted(meters, 'meter')}, {priority} priority: everybody who "
        f"loses gas in a ring of least minutes, or on a service that was hit. An exclamation mark means "
        f"priority."
    )


def escape_range_lines(answer: EmergencyAnswer, figures: Figures) -> list[str]:
    """Return in a line for each main what escapes from the least hole of the rules up to all of its bore."""
    lines = []
    for row in answer.escape:
        least = min(row.flows, key=lambda flow: flow.least_m3h)
        most = max(row.flows, key=lambda flow: flow.most_m3h)
        up_to = "all of its bore" if most.full_bore else f"one of {figures.size(most.hole_mm)}"
        lines.append(
            f"Gas escaping at {row.main_id}: {figures.flow(least.least_m3h)} (hole of "
            f"{figures.size(least.hole_mm)}) to {figures.flow(most.most_m3h)} ({up_to}). {NOT_FOR_DISTANCES}"
        )
    return lines


def escape_notes(answer: EmergencyAnswer, figures: Figures) -> list[str]:
    """Return what stands below the ranges of gas escaping: note, formula and source, each once."""
    notes = (f"{figures.sentence(row.note)} {row.formula} ({row.source})" for row in answer.escape)
    at = [f"Flows are at {figures.reference}."] if answer.escape else []
    return [*dict.fromkeys(notes), *at]


def reached_parties(answer: EmergencyAnswer, rings: Iterable[RingWords]) -> list[tuple[str, str]]:
    """Return who is to be told now, each with the letters of the rings that reach the threshold."""
    letters = {kind: words.letter for words in rings for kind in words.kinds}
    return [
        (row.whom, ", ".join(sorted({letters.get(kind, RING_NAMES[kind]) for kind in kinds})))
        for row in answer.notify
        if (kinds := [kind for kind, yes in row.reached.items() if yes])
    ]


def meta_line(answer: EmergencyAnswer, figures: Figures) -> str:
    """Return which answer this is, of when, to what."""
    within = figures.length(answer.location_error_m)
    return (
        f"Answer {answer.revision}, {time_words(answer.log[-1].at)}; asked for {answer.asked}; every main "
        f"within {within} counts; {answer.lon:.6f},{answer.lat:.6f} (longitude,latitude)."
    )


def time_words(at: str) -> str:
    """Return a moment of the log as it is read: date, time, UTC."""
    return at.replace("T", " ").replace("+00:00", " UTC")


def failed_lines(answer: EmergencyAnswer) -> list[str]:
    """Return the valves that failed to shut, in one line; none where none did."""
    if not answer.failed_valves:
        return []
    return [f"Failed to shut: {', '.join(answer.failed_valves)}. The rings below do not use them."]


def keep_away_line(answer: EmergencyAnswer, figures: Figures) -> str:
    """Return how far to keep away, and until when."""
    return f"Within {figures.length(answer.keep_away_m)} of the hit: {DO_NOT_APPROACH}. No stop lies there."


def tail_parts(answer: EmergencyAnswer, figures: Figures) -> list[tuple[str, list[str]]]:
    """Return what stands last: doubts, cautions, log."""
    log = [f"{time_words(one.at)}, answer {one.revision}: {one.what}" for one in answer.log]
    return [
        ("In doubt, nearest first", [figures.sentence(line) for line in answer.doubts]),
        ("Cautions", [figures.sentence(line) for line in answer.cautions]),
        ("Log", log),
    ]


def foot_line(answer: EmergencyAnswer) -> str:
    """Return what an answer was made from, and which it is."""
    return (
        f"Answer {answer.revision} of {time_words(answer.log[-1].at)}. Network "
        f"{answer.network.content_sha256[:16]}, {answer.network.crs}, from {answer.provenance.source}; "
        f"gas-netplan {answer.provenance.versions['gas-netplan']}."
    )


def nearby_rows(answer: EmergencyAnswer, figures: Figures) -> list[tuple[str, str, str]]:
    """Return the addresses near the hit, nearest first: address, distance, priority."""
    return [
        (row.address, figures.length(row.distance_m), row.priority.replace("_", " ")) for row in answer.nearby
    ]


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
    known = {row.main_id for row in answer.escape}
    lines += [
        f"{hit.main_id}: not worked out, its pressure is not on record"
        for hit in answer.hits
        if hit.main_id not in known
    ]
    return lines


def priority_rows(answer: EmergencyAnswer) -> list[tuple[str, str, str, str]]:
    """Return the priority meter points without gas: address, why, meters, by which ring and why."""
    return [
        (one.address, one.priority.replace("_", " "), counted(one.meters, "meter"), _off_by(one.off_by))
        for one in answer.customers
        if one.priority
    ]


def _off_by(off_by: Mapping[RingKind, OffCause]) -> str:
    causes: dict[str, list[str]] = {}
    for kind, cause in off_by.items():
        causes.setdefault(cause, []).append(RING_NAMES[kind])
    return "; ".join(f"{' and '.join(kinds)}: {cause}" for cause, kinds in causes.items())


def priority_line(answer: EmergencyAnswer) -> str:
    """Return the first priority meter points without gas in one line; empty where there is none."""
    rows = priority_rows(answer)
    named = "; ".join(f"{address} ({why})" for address, why, _, _ in rows[:_MOST_NAMED])
    more = f"; and {len(rows) - _MOST_NAMED} more overleaf" if len(rows) > _MOST_NAMED else ""
    return f"{named}{more}"


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
