"""An emergency answer as the planning page shows it: the words of its page and sheet, doubts earlier."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from netplan.core.printable_text import shown_signs
from netplan.outputs.emergency import answer_headings as headings
from netplan.outputs.emergency import answer_words as words
from netplan.outputs.emergency.ring_words import (
    NO_STOP,
    RingWords,
    StopWords,
    next_ring_rows,
    rings_in_words,
    tape_lines,
    valve_facts,
)
from netplan.outputs.emergency.solved_words import solved_parts
from netplan.outputs.emergency.word_forms import counted
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.emergency_answer import EmergencyAnswer

__all__ = ["answer_parts"]

_SENT_BACK: Final = ("id", "valve_id", "if_failed", "failed_valves")
Line = tuple[str, str]
"""What is printed strongly, and what follows it."""


def answer_parts(answer: EmergencyAnswer, figures: Figures) -> dict[str, Any]:
    """Return an answer in words, part by part, ready to be sent as JSON; no markup in it.

    Parameters
    ----------
    answer : EmergencyAnswer
    figures : Figures
        How figures are written.
    """
    rings = rings_in_words(answer, figures)
    parts: dict[str, Any] = _shown(_parts(answer, rings, figures))
    return parts


def _shown(value: Any, key: str = "") -> Any:
    """Return words with their invisible signs shown; ids, which are sent back, as they are."""
    if isinstance(value, dict):
        return {name: _shown(one, name) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_shown(one, key) for one in value]
    return shown_signs(value) if isinstance(value, str) and key not in _SENT_BACK else value


def _parts(answer: EmergencyAnswer, rings: list[RingWords], figures: Figures) -> dict[str, Any]:
    return {
        "revision": answer.revision,
        "governs": answer.governs,
        "make_safe": answer.make_safe,
        "title": words.title_of(answer),
        "meta": words.meta_line(answer, figures),
        "not_solved": words.NOT_SOLVED if answer.solved is None else "",
        "failed": words.failed_lines(answer),
        "failed_valves": answer.failed_valves,
        "hits": {
            "heading": headings.WHAT_WAS_HIT,
            "rows": [
                {"id": hit.main_id, "at_m": hit.chainage_m, "confirmed": hit.confirmed, "words": [name, line]}
                for hit, (name, line) in zip(answer.hits, words.hit_lines(answer, figures), strict=True)
            ],
            "services": [
                {"id": one.service_id, "words": line}
                for one, line in zip(answer.services, words.service_lines(answer, figures), strict=True)
            ],
            "all_shut": words.ALL_SHUT if len(answer.hits) > 1 else "",
            "keep_away": words.keep_away_line(answer, figures),
        },
        "rings": {
            "heading": headings.WHAT_TO_SHUT,
            "first": headings.FIRST,
            "columns": headings.STOP_COLUMNS,
            "rows": [_ring(ring, figures) for ring in rings],
        },
        "no_gas_back": words.NO_GAS_BACK,
        "next_rings": {
            "heading": headings.IF_A_VALVE_FAILS,
            "rows": [
                {
                    "if_failed": row.if_failed,
                    "heading": row.heading,
                    "line": row.line,
                    "do_first": row.do_first,
                    "stops": row.stops,
                }
                for row in next_ring_rows(answer, figures)
            ],
        },
        "lists": [
            {"heading": heading, "notes": notes, "lines": list(lines)}
            for heading, notes, lines in _lists(answer, rings, figures)
        ],
        "log": _log(answer),
        "foot": words.foot_line(answer),
    }


def _ring(ring: RingWords, figures: Figures) -> dict[str, Any]:
    return {
        "letter": ring.letter,
        "heading": f"Ring {ring.letter}: {ring.name}",
        "line": f"{ring.minutes}; {ring.meters}, {ring.priority} priority; {ring.stations}.",
        "proof": ring.proof,
        "do_first": ring.do_first,
        "stops": [_stop(stop, figures) for stop in ring.rows],
        "no_stop": "" if ring.rows else NO_STOP,
    }


def _stop(row: StopWords, figures: Figures) -> dict[str, Any]:
    return {
        "n": row.n,
        "kind": row.kind,
        "valve_id": row.stop.valve_id,
        "stop": [row.name, row.method],
        "where": [row.street, row.where],
        "crew": row.crew,
        "minutes": row.minutes,
        "ends": row.ends,
        "facts": valve_facts(row.stop, figures),
        "tape": tape_lines(row.stop, figures),
        "x": row.stop.x,
        "y": row.stop.y,
    }


def _lists(
    answer: EmergencyAnswer, rings: Sequence[RingWords], figures: Figures
) -> Iterator[tuple[str, list[str], Iterable[Line]]]:
    """Yield heading, notes and lines of what stands below the rings."""
    doubts, *others = words.tail_parts(answer, figures)[:-1]
    yield doubts[0], [], [("", line) for line in doubts[1]]
    told = words.notify_lines(answer, rings)
    yield (
        headings.WHOM_TO_TELL,
        [],
        [(f"{'TELL ' if reached else ''}{whom}", when) for whom, when, reached in told],
    )
    priority = words.priority_rows(answer)
    yield (
        headings.PRIORITY,
        [] if priority else [headings.NO_PRIORITY],
        [(f"! {address}", f"{why}, {meters}; {off}") for address, why, meters, off in priority],
    )
    near = words.nearby_rows(answer, figures)
    yield (
        headings.addresses_within(figures.length(answer.nearby_m)),
        [words.CHECK_FIRST, *([] if near else [headings.NO_ADDRESS_NEAR])],
        [(f"! {priority}" if priority else "", f"{address}, {away}") for address, away, priority in near],
    )
    yield (
        headings.ESCAPING,
        [words.NOT_FOR_DISTANCES],
        [("", line) for line in (*words.escape_lines(answer, figures), *words.escape_notes(answer, figures))],
    )
    for heading, lines in solved_parts(answer, figures):
        yield heading, [], [("", line) for line in lines]
    yield (
        headings.WHO_IS_WITHOUT,
        [words.who_line(answer)],
        [
            (street, f"{counted(meters, 'meter')}: {numbers}")
            for street, meters, numbers in words.customers_by_street(answer)
        ],
    )
    for heading, lines in others:
        yield heading, [], [("", line) for line in lines]


def _log(answer: EmergencyAnswer) -> dict[str, Any]:
    heading, lines = words.tail_parts(answer, METRIC)[-1]  # the log has no figures
    return {"heading": heading, "lines": lines}
